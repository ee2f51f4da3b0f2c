"""When to ease: how early may the brake be eased before the stop, and how late?

Question: a good stop ends in step 1, so that the last metre is smooth. Eased too early the train
runs past the platform end; too late it stops with a jolt. How much is it worth?
Source: usual driving practice (no source); a jolt under 0.75 m/s3 is taken for smooth (assumed).
Scenario: the Elderwick unit (invented) on `dry`, step 3 from 75 mph, braking begun where easing
at 8 and 3.5 mph stops just at the platform end; strategy `slip_band`.
Run: `python -m slipbench.experiments.when_to_ease`
"""

import math
import sys
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from slipbench import Stop, simulate
from slipbench.experiments.asked import own_scenario, own_strategy
from slipbench.experiments.notebook import MPH, Answer, Column, Experiment, Options, Row, drawing
from slipbench.figures import style
from slipbench.ground.arrays import Floats
from slipbench.results.wording import compared, place
from slipbench.scenario import Driver, Routine, Scenario

SMOOTH = 0.75
PLATFORM_END, RIGHT = 800.0, "right"
EASINGS: Mapping[str, tuple[float, ...]] = {
    "too early": (30.0, 15.0),
    RIGHT: (8.0, 3.5),
    "too late": (3.0, 1.0),
    "never": (),
}
"""Speeds at which step 2 and step 1 are selected. [mph]"""

JERK_TIME = 0.5
"""Acceleration is smoothed over this before its rate of change is taken (assumed). [s]"""

COLUMNS = (
    Column("easing"),
    Column("step_2_at", "mph", 1),
    Column("step_1_at", "mph", 1),
    Column("past_the_platform_end", "m", 1),
    Column("jolt", "m/s3", 2),
    Column("time", "s", 1),
)


def scenario_with(easing: str, lead_distance: float) -> Scenario:
    """Return the stop, braking begun so far before the platform end. [m]"""
    speeds = tuple(mph * MPH for mph in EASINGS[easing])
    kind = "final_easing" if speeds else "hold"
    routine = Routine(
        kind=kind, position=3, ease_speeds=speeds or None, lead_distance=lead_distance
    )
    driver = Driver(routine=routine, stopping_point=PLATFORM_END)
    return own_scenario("dry").replace({"driver": driver})


def jolt(time: Floats, speed: Floats) -> float:
    """Return the largest jerk below 5 m/s, the moment of standstill included. [m/s3]

    Acceleration goes to zero at standstill and is smoothed over `JERK_TIME`, so that moment gives
    the deceleration at standstill over that time.
    """
    smooth, largest = 0.0, 0.0
    for duration, change, now in zip(np.diff(time), np.diff(speed), speed[1:], strict=True):
        if duration > 0.0:
            jerk = (change / duration - smooth) / JERK_TIME
            smooth += jerk * duration
            if now < 5.0:
                largest = max(largest, abs(jerk))
    return max(largest, abs(smooth) / JERK_TIME)


def investigate(options: Options) -> Answer:
    """Run the right easing to find where to begin, then all of them; always quick."""
    strategy = own_strategy("slip_band")
    lead = 660.0
    for _ in range(3):  # coasting changes the speed a little, so the place is found in steps
        lead += simulate(scenario_with(RIGHT, lead), strategy).summary["final_distance"]
        lead -= PLATFORM_END
    stops = {easing: simulate(scenario_with(easing, lead), strategy) for easing in EASINGS}
    rows = []
    for easing, stop in stops.items():
        speeds = EASINGS[easing] or (math.nan, math.nan)
        traces, place = stop.traces, float(stop.summary["stopping_distance"])
        row = {"easing": easing, "step_2_at": speeds[0], "step_1_at": speeds[1]}
        row["past_the_platform_end"] = place - PLATFORM_END
        row["jolt"] = jolt(traces["time"], traces["train_speed"])
        rows.append({**row, "time": float(stop.summary["stopping_time"])})
    notes = [f"Braking begins {lead:.0f} m before the end; a jolt under {SMOOTH} m/s3 is smooth."]
    return Answer(COLUMNS, rows, sentence(rows), {"when_to_ease": draw(stops, rows)}, notes)


def sentence(rows: Sequence[Row]) -> str:
    """Say where each way of easing ends, how smooth it is, and what easing late is worth."""
    of = {row["easing"]: row for row in rows}
    early, right, late = of["too early"], of[RIGHT], of["too late"]
    is_smooth = "smooth" if right["jolt"] < SMOOTH else "not smooth"
    gain = late["past_the_platform_end"] - right["past_the_platform_end"]
    than = compared(gain, "m", 1, "farther than", "sooner than", "where")
    return (
        f"the platform end is the mark: eased too early the train "
        f"{place(early['past_the_platform_end'])}; eased right it "
        f"{place(right['past_the_platform_end'])}, {is_smooth} ({right['jolt']:.2f} m/s3); eased "
        f"too late it ends with a jolt of {late['jolt']:.2f} m/s3, {than} eased right."
    )


def draw(stops: Mapping[str, Stop], rows: Sequence[Row]) -> Figure:
    """Draw speed over the last metres, zoomed on where the ways part, and the jolt of each stop."""
    with drawing(3.4, ncols=2, width_ratios=(2.2, 1.0)) as (figure, (left, right)):
        for i, (easing, stop) in enumerate(stops.items()):
            look: Any = {"color": style.COLOURS[i + (i > 2)]}
            past = stop.traces["distance"] - PLATFORM_END
            speed = stop.traces["train_speed"] / MPH
            line = ("--", "-", ":", "-.")[i]
            left.plot(past, speed, linestyle=line, linewidth=1.8, label=easing, **look)
            left.plot([past[-1]], [0.0], "o", markersize=5, clip_on=False, zorder=5, **look)
            right.plot([rows[i]["jolt"]], [i], marker=style.MARKERS[i], linestyle="", **look)
        left.axvline(0.0, color=style.INK, linewidth=1.0)
        left.annotate("platform\nend", (0.0, 1.0), (-4, -2), xycoords=("data", "axes fraction"),
                      textcoords="offset points", ha="right", va="top")  # fmt: skip
        ends = [row["past_the_platform_end"] for row in rows]
        far = max([end for end in ends if math.isfinite(end)], default=0.0)
        left.set_xlim(-60.0, max(15.0, 1.15 * far))
        left.set_ylim(0, 26)
        left.set_xlabel("distance past the platform end [m]")
        left.set_ylabel("train speed [mph]")
        left.legend(title="eased", loc="upper right")
        right.axvline(SMOOTH, color=style.QUIET, linestyle=":")
        right.annotate("smooth", (SMOOTH, 1.0), (-4, -2), xycoords=("data", "axes fraction"),
                       textcoords="offset points", ha="right", va="top")  # fmt: skip
        right.set_yticks(range(len(rows)), [row["easing"] for row in rows])
        right.set_ylim(3.6, -0.9)
        right.set_xlim(left=0.0)
        right.set_xlabel("largest jerk of the stop [m/s³]")
        right.grid(axis="x")
    return figure


EXPERIMENT = Experiment(
    "when_to_ease",
    "How early may the brake be eased before the stop, and how late?",
    investigate,
    sets={"driver": "the way of driving is its question"},
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())

"""How does the brake build up and release, and how fast is the slip control's valve?

Question: how long from moving the handle to the brake, and back; and how fast do a cylinder's
pressure fall and rise when slip control vents and fills it?
Source: build-up 1.5 to 2.5 s for electro-pneumatic multiple units; through the slip control's valve
3 to 8 bar/s down and 2 to 6 bar/s up (values from memory, not verified).
Scenario: the Elderwick unit (invented) on `dry` from 75 mph; handle to a step at 1 s and to
release at 7 s, slip control idle; then step 3 held and a strategy of this file that commands vent
at 6 s and fill at 7.5 s.
Run: `python -m slipbench.experiments.how_the_brake_builds_up`
"""

import sys
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from slipbench import Controller, Stop, controllers, simulate
from slipbench.experiments.asked import own_scenario
from slipbench.experiments.notebook import Answer, Column, Experiment, Options, Row, drawing
from slipbench.figures import style
from slipbench.ground.arrays import Floats
from slipbench.scenario import Driver, HandleEntry, Scenario

APPLY, RELEASE, VENT_AT, FILL_AT, SHOWN = 1.0, 7.0, 6.0, 7.5, 11.0
"""When the handle moves, and when the valve is commanded; how much is shown. [s]"""

BAR, LOW, HIGH = 1e5, 0.1, 0.9
STEPS: Mapping[str, int] = {"step 1": 1, "step 2": 2, "step 3": 3, "emergency": 4}
COLUMNS = (
    Column("what"),
    Column("direction"),
    Column("from_command_to_10_%", "s", 2),
    Column("from_command_to_90_%", "s", 2),
    Column("rate", "bar/s", 1),
)


def _vent_then_fill(
    observation: Any, parameters: Any, memory: Any, command: Any, signals: Any
) -> None:
    memory[-1, 0] += observation[0, 3]
    valve = 2.0 if VENT_AT <= memory[-1, 0] < FILL_AT else 0.0
    for i in range(len(command)):
        command[i, 0] = valve
        command[i, 1] = 1.0


VENT_THEN_FILL = Controller(
    name="vent_then_fill",
    title="vents every axle once, then fills it again",
    update=_vent_then_fill,
    observes=("sample_time",),
)


def scenario_with(*programme: HandleEntry) -> Scenario:
    """Return the dry stop under a handle programme, cut off once all is seen."""
    return own_scenario("dry").replace(
        {"driver": Driver(programme=programme), "run.maximum_time": SHOWN}
    )


def response(time: Floats, pressure: Floats, command: float, *, is_rise: bool) -> dict[str, float]:
    """Return times from a command to 10 and 90 % of the change, and the rate between. [s], [Pa/s]

    `pressure` must be monotone after the command; both are (n,).
    """
    later = time >= command
    at, p = time[later], pressure[later]
    p = p if is_rise else -p
    places = [np.interp(p[0] + share * (p.max() - p[0]), p, at) for share in (LOW, HIGH)]
    change = (HIGH - LOW) * (p.max() - p[0])
    return {
        "from_command_to_10_%": float(places[0]) - command,
        "from_command_to_90_%": float(places[1]) - command,
        "rate": float(change / (places[1] - places[0])) / BAR,
    }


def investigate(options: Options) -> Answer:
    """Run the steps, then the valve; always quick."""
    rows: list[Row] = []
    stops = {}
    for name, position in STEPS.items():
        up = HandleEntry(at_time=APPLY, position=position)
        down = HandleEntry(at_time=RELEASE, position=0)
        stops[name] = simulate(scenario_with(up, down), controllers.by_name("none"))
        time, pressure = _first_axle(stops[name])
        before = time < RELEASE
        rise = response(time[before], pressure[before], APPLY, is_rise=True)
        fall = response(time, pressure, RELEASE, is_rise=False)
        rows += [
            {"what": name, "direction": "build-up", **rise},
            {"what": name, "direction": "release", **fall},
        ]
    step_3 = HandleEntry(at_time=APPLY, position=3)
    stops["valve"] = simulate(scenario_with(step_3), VENT_THEN_FILL)
    time, pressure = _first_axle(stops["valve"])
    before = time < FILL_AT
    vent = response(time[before], pressure[before], VENT_AT, is_rise=False)
    fill = response(time, pressure, FILL_AT, is_rise=True)
    rows += [
        {"what": "valve", "direction": "vent", **vent},
        {"what": "valve", "direction": "fill", **fill},
    ]
    return Answer(COLUMNS, rows, sentence(rows), {"how_the_brake_builds_up": draw(stops)})


def _first_axle(stop: Stop) -> tuple[Floats, Floats]:
    return stop.traces["time"], stop.traces["pressure"][:, 0]


def sentence(rows: Sequence[Row]) -> str:
    """Give the times of step 3 and of the valve."""
    of = {(row["what"], row["direction"]): row for row in rows}
    up, down = of["step 3", "build-up"], of["step 3", "release"]
    vent, fill = of["valve", "vent"], of["valve", "fill"]
    return (
        f"step 3 stands at 90 % {up['from_command_to_90_%']:.1f} s after the handle moved and is "
        f"down to 10 % {down['from_command_to_90_%']:.1f} s after release; the slip control's "
        f"valve vents at {vent['rate']:.1f} bar/s and fills at {fill['rate']:.1f} bar/s."
    )


def draw(stops: Mapping[str, Stop]) -> Figure:
    """Draw cylinder pressure over time: the handle on the left, the valve on the right."""
    with drawing(3.2, ncols=2, sharey=True) as (figure, (left, right)):
        for i, name in enumerate(STEPS):
            time, pressure = _first_axle(stops[name])
            left.plot(
                time,
                pressure / BAR,
                color=style.COLOURS[i],
                linestyle=("-", "--", "-.", ":")[i],
            )
            highest = pressure.max() / BAR
            left.annotate(name, (0.5 * (APPLY + RELEASE) + 1.0, highest + 0.05), fontsize=8.0)
        time, pressure = _first_axle(stops["valve"])
        right.plot(time, pressure / BAR, color=style.BLUE)
        for axes, marks in (
            (left, ((APPLY, "handle\nmoved"), (RELEASE, "released"))),
            (right, ((VENT_AT, "vent"), (FILL_AT, "fill"))),
        ):
            for at, label in marks:
                axes.axvline(at, color=style.QUIET, linewidth=0.8, linestyle=":")
                axes.annotate(label, (at + 0.08, 3.05), fontsize=8.0, va="top")
            axes.set_xlabel("time [s]")
            axes.grid(axis="y")
        left.set_xlim(0.0, SHOWN)
        right.set_xlim(VENT_AT - 0.5, FILL_AT + 1.0)
        left.set_ylim(0.0, 3.1)
        left.set_ylabel("cylinder pressure, first axle [bar]")
    return figure


EXPERIMENT = Experiment(
    "how_the_brake_builds_up",
    "How fast does the brake come on, go off, and vent?",
    investigate,
    sets={
        "driver": "its driver moves the handle up and down",
        "strategy": "its valve is commanded open and shut",
    },
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())

"""Disc or tread: how does deceleration change with speed?

Question: a train is braked by discs, by cast-iron or by composite tread blocks, or by a mixture.
The handle is left alone. How does deceleration change from high speed to standstill?
Source: Karwatzki's formula for cast iron and that of the Russian traction rules for composite
blocks (both from memory, not verified); disc pads nearly flat, 0.35.
Scenario: the Elderwick unit (invented) on `dry`, step 3 from 75 mph, no slip control, running
resistance off; four tread blocks an axle, matched at a friction of 0.12 (cast iron) or 0.28
(composite); mixed: motor cars with discs, trailers with cast iron.
Run: `python -m slipbench.experiments.disc_or_tread`
"""

import sys
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.figure import Figure

from slipbench import simulate
from slipbench.experiments.asked import own_scenario, own_strategy
from slipbench.experiments.notebook import MPH, Answer, Column, Experiment, Options, Row, drawing
from slipbench.figures import style
from slipbench.results.wording import listed
from slipbench.scenario import Scenario

FAST, MIDDLE, SLOW = 60, 30, 3
"""Speeds of the table. [mph]"""

BRAKES: Mapping[str, Mapping[str, Any]] = {
    "disc": {"train.vehicles.*.brake_kind": "disc"},
    "cast iron": {"train.vehicles.*.brake_kind": "cast_iron"},
    "composite": {
        "train.vehicles.*.brake_kind": "composite",
        "train.vehicles.*.block_design_friction": 0.28,
    },
    "mixed": {
        "train.vehicles.1.brake_kind": "cast_iron",
        "train.vehicles.2.brake_kind": "cast_iron",
    },
}
COLUMNS = (
    Column("brake"),
    Column("at_60_mph", "m/s2", 2),
    Column("at_30_mph", "m/s2", 2),
    Column("at_3_mph", "m/s2", 2),
    Column("slow_over_fast", "-", 2),
    Column("distance", "m", 0),
)
Curve = tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]


def scenario_with(brake: str) -> Scenario:
    """Return the dry stop of the train braked so."""
    changes: dict[str, Any] = dict(BRAKES[brake])
    for part in ("constant", "linear", "quadratic"):
        changes[f"train.resistance_{part}"] = 0.0
    return own_scenario("dry").replace(changes)


def deceleration_curve(brake: str) -> tuple[Curve, float]:
    """Return speeds [m/s] and decelerations [m/s2] of one stop, and its distance [m]."""
    stop = simulate(scenario_with(brake), own_strategy("none"))
    time, speed = stop.traces["time"], stop.traces["train_speed"]
    middle = 0.5 * (speed[1:] + speed[:-1])
    return (middle, -np.diff(speed) / np.diff(time)), float(stop.summary["stopping_distance"])


def investigate(options: Options) -> Answer:
    """Run the four trains; `--quick` changes nothing, it is quick."""
    rows, curves = [], {}
    for brake in BRAKES:
        curves[brake], distance = deceleration_curve(brake)
        speed, deceleration = curves[brake]
        fast, middle, slow = (
            float(np.interp(mph * MPH, speed[::-1], deceleration[::-1]))
            for mph in (FAST, MIDDLE, SLOW)
        )
        row = {"brake": brake, "at_60_mph": fast, "at_30_mph": middle, "at_3_mph": slow}
        rows.append({**row, "slow_over_fast": slow / fast, "distance": distance})
    return Answer(COLUMNS, rows, sentence(rows), {"disc_or_tread": draw(curves)})


def sentence(rows: Sequence[Row]) -> str:
    """Compare how much harder each brake bites at walking pace than at speed."""
    of = {row["brake"]: row for row in rows}
    said = [
        f"{of[brake]['slow_over_fast']:.2f} times {words}"
        for brake, words in (("disc", "with discs"), ("composite", "with composite blocks"),
                             ("cast iron", "with cast-iron blocks"))
    ]  # fmt: skip
    return f"at walking pace deceleration is, over that at 60 mph, {listed(said)}."


def draw(curves: Mapping[str, Curve]) -> Figure:
    """Draw deceleration against speed, one line a brake."""
    with drawing(3.4) as (figure, axes):
        for i, (brake, (speed, deceleration)) in enumerate(curves.items()):
            axes.plot(
                speed / MPH,
                deceleration,
                color=style.COLOURS[i],
                linestyle=("-", "--", "-.", ":")[i],
                marker=style.MARKERS[i],
                markevery=max(1, len(speed) // 12),
                label=brake,
            )
        axes.set_xlim(75, 0)
        axes.set_ylim(bottom=0.0)
        axes.set_xlabel("train speed [mph], falling to the right as in the stop")
        axes.set_ylabel("deceleration [m/s²]")
        axes.grid(axis="y")
        axes.legend()
    return figure


EXPERIMENT = Experiment(
    "disc_or_tread", "Disc or tread: how does deceleration change with speed?", investigate
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())

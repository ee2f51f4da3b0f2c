"""Does load matter: does a full train stop where an empty one does?

Question: variable load control weighs each car and brakes by what it weighs. What is it worth, what
if it leaves out the rotating mass (which load does not change), and what if it fails?
Source: mechanics. Force by weighed plus rotating mass gives the same deceleration at every load.
Scenario: the Elderwick unit (invented), step 3 from 75 mph on `dry` and on `wet_leaf`, running
resistance off so that nothing else depends on load; tare and fully laden (crush). Strategy
`slip_band`.
Run: `python -m slipbench.experiments.does_load_matter`
"""

import sys
from collections.abc import Mapping, Sequence
from statistics import fmean
from typing import Any

from matplotlib.figure import Figure

from slipbench.experiments.asked import own_rails, own_scenario, own_strategy
from slipbench.experiments.notebook import (
    Answer,
    Column,
    Experiment,
    Options,
    Row,
    Run,
    distance_of,
    drawing,
    summaries,
)
from slipbench.figures import style
from slipbench.results.wording import compared, stops
from slipbench.scenario import Fault, Scenario

RAILS = ("dry", "wet_leaf")
WEIGHING = "weighs mass and rotating mass"
NO_CONTROL = "no variable load control"
SYSTEMS: Mapping[str, Mapping[str, Any]] = {
    WEIGHING: {},
    "weighs without rotating mass": {"brake.weighs_rotating_mass": False},
    NO_CONTROL: {"brake.variable_load": False},
    "fails to tare": {"faults": "load_weighed_tare"},
    "fails to crush": {"faults": "load_weighed_crush"},
}
COLUMNS = (
    Column("rail"),
    Column("brake"),
    Column("tare", "m", 1),
    Column("crush", "m", 1),
    Column("crush_over_tare", "%", 2),
)


def scenario_with(rail: str, system: str, load: float) -> Scenario:
    """Return the stop on a rail, with a way of weighing, at a load from 0 (tare) to 1 (crush)."""
    scenario = own_scenario(rail)
    changes = dict(SYSTEMS[system])
    if "faults" in changes:
        n_vehicles = len(scenario.train.vehicles)
        changes["faults"] = tuple(
            Fault(kind=changes["faults"], at_time=0.0, vehicle=i + 1) for i in range(n_vehicles)
        )
    for part in ("constant", "linear", "quadratic"):
        changes[f"train.resistance_{part}"] = 0.0
    return scenario.replace({**changes, "train.load": load})


def investigate(options: Options) -> Answer:
    """Run every system tare and crush."""
    rails = own_rails(RAILS[:1] if options.is_quick else RAILS)
    cases = [(rail, system) for rail in rails for system in SYSTEMS]
    n_seeds, strategy = options.n_seeds, own_strategy("slip_band")
    found = iter(
        summaries(
            [
                Run(scenario_with(rail, system, load), strategy, seed)
                for rail, system in cases
                for load in (0.0, 1.0)
                for seed in range(n_seeds)
            ]
        )
    )
    rows = []
    for rail, system in cases:
        tare, crush = (fmean(distance_of(next(found)) for _ in range(n_seeds)) for _ in range(2))
        row = {"rail": rail, "brake": system, "tare": tare, "crush": crush}
        rows.append({**row, "crush_over_tare": 100.0 * (crush / tare - 1.0)})
    return Answer(COLUMNS, rows, sentence(rows), {"does_load_matter": draw(rows)})


def sentence(rows: Sequence[Row]) -> str:
    """Compare the loads on the dry rail with and without weighing, and name the worst."""
    rail = rows[0]["rail"]
    dry = {row["brake"]: row for row in rows if row["rail"] == rail}
    worst = max(dry.values(), key=lambda row: row["crush"])
    weighed, without = (dry[brake]["crush_over_tare"] for brake in (WEIGHING, NO_CONTROL))
    said = [compared(by, "%", 2, "longer", "shorter", "as long") for by in (weighed, without)]
    return (
        f"on {rail} the crush-laden train's distance is {said[0]} against the empty one's if "
        f"each car is weighed and rotating mass added, and {said[1]} without variable load "
        f"control; of the crush-laden stops there the longest is that of the brake that "
        f"{worst['brake']}: it {stops(worst['crush'])}."
    )


def draw(rows: Sequence[Row]) -> Figure:
    """Draw tare and crush side by side for every system, a panel a rail."""
    rails = list(dict.fromkeys(row["rail"] for row in rows))
    with drawing(2.9, ncols=len(rails), sharey=True, squeeze=False) as (figure, panels):
        for axes, rail in zip(panels[0], rails, strict=True):
            own = [row for row in rows if row["rail"] == rail]
            places = range(len(own))
            axes.hlines(
                places,
                [row["tare"] for row in own],
                [row["crush"] for row in own],
                color=style.GREY,
                linewidth=1.6,
            )
            for key, marker, colour in (("tare", "o", style.BLUE), ("crush", "s", style.VERMILION)):
                axes.plot(
                    [row[key] for row in own], places, marker, color=colour, label=key, alpha=0.9
                )
            axes.set_xlabel(f"stopping distance on {rail.replace('_', ' ')} rail [m]")
            axes.set_yticks(places, [row["brake"] for row in own])
            axes.grid(axis="x")
            style.bare(axes)
        panels[0][0].invert_yaxis()
        panels[0][0].legend(loc="upper left")
    return figure


EXPERIMENT = Experiment(
    "does_load_matter", "Does a full train stop where an empty one does?", investigate
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())

"""What does equipment as it comes cost each strategy?

Question: teeth out of place, lost pulses, diameters set wrong, slow valves and uneven pads: how
much longer does each strategy stop with them, does it act on rail that needs nothing, do wheels
lock?
Source: none; no measured scatter of such equipment was found, the grades are assumed.
Scenario: every shipped rail, the shipped unit in the grades clean, service and worn; a seed is a
train of its own.
Run: `python -m slipbench.experiments.what_real_equipment_costs`
"""

import math
import sys
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from slipbench import controllers, simulate
from slipbench.experiments.asked import named, own_rails, own_scenario, own_strategies
from slipbench.experiments.notebook import (
    MPH,
    Answer,
    Column,
    Experiment,
    Options,
    Row,
    Run,
    distance_of,
    drawing,
    in_parallel,
)
from slipbench.figures import style
from slipbench.results.wording import rounds_to_nothing
from slipbench.scenario import GRADES, scenario_names

LOCK_SPEED = 10.0 * MPH
"""Locks count while the train is faster. [m/s]"""

GOOD_RAILS = ("dry", "wet")
"""Rails on which a strategy has nothing to do."""

EXCUSED = ("none", "speed_difference", "deceleration")
"""Strategies that let wheels lock by their stated principle."""

COLUMNS = (
    Column("strategy"),
    Column("rail"),
    *(Column(f"{grade}", "m", 0) for grade in GRADES),
    Column("service_over_clean", "%", 1),
    Column("worn_over_clean", "%", 1),
    *(Column(f"vents_{grade}", "-", 0) for grade in GRADES),
    *(Column(f"lock_{grade}", "s", 1) for grade in GRADES),
    *(Column(f"air_{grade}", "normal litres", 0) for grade in GRADES),
)

QUICK = (("none", "slip_band", "cleaning_balance"), ("dry", "wet_leaf"))
"""Strategies and rails of the small version."""


def investigate(options: Options) -> Answer:
    """Stop on every rail in every grade, the same trains for all strategies."""
    names: tuple[str, ...]
    rails: tuple[str, ...]
    names, rails = QUICK
    if not options.is_quick:
        names = tuple(c.name for c in controllers.ALL_CONTROLLERS if not c.uses_truth)
        rails = tuple(scenario_names())
    names, rails = own_strategies(names), own_rails(rails)
    n_seeds = options.n_seeds if options.is_quick else max(options.n_seeds, 3)
    runs = [
        Run(
            own_scenario(rail).replace({"equipment.grade": grade}),
            named(name),
            seed,
        )
        for name in names
        for rail in rails
        for grade in GRADES
        for seed in range(n_seeds)
    ]
    found = iter(in_parallel(stop_numbers, runs))
    rows: list[Mapping[str, Any]] = []
    for name in names:
        for rail in rails:
            row: dict[str, Any] = {"strategy": name, "rail": rail}
            for grade in GRADES:
                own = np.array([next(found) for _ in range(n_seeds)])
                row[grade], row[f"vents_{grade}"], _, row[f"air_{grade}"] = own.mean(axis=0)
                row[f"lock_{grade}"] = own[:, 2].max()
            for grade in GRADES[1:]:
                row[f"{grade}_over_clean"] = 100.0 * (row[grade] / row["clean"] - 1.0)
            rows.append(row)
    picture = {"what_real_equipment_costs": draw(rows)}
    notes = (
        "distances, vents and air are means over seeds, locks the longest of all; "
        f"locks count above {LOCK_SPEED:.1f} m/s (10 mph).",
    )
    return Answer(COLUMNS, rows, sentence(rows), picture, notes)


def stop_numbers(run: Run) -> tuple[float, float, float, float]:
    """Return distance [m], vents, longest lock above 10 mph [s] and air [normal litres]."""
    stop = simulate(run.scenario, run.controller, run.seed)
    traces, limits = stop.traces, stop.scenario.run
    is_locked = traces["wheel_speed"] < limits.locked_wheel_speed
    is_locked &= traces["train_speed"][:, None] > LOCK_SPEED
    longest = max(_longest(axle) for axle in is_locked.T) * limits.trace_interval
    vents, air = stop.summary["vent_count"], stop.summary["air_vented_litres"]
    return distance_of(stop.summary), float(vents), longest, float(air)


def _longest(is_so: np.ndarray) -> int:
    """Return the length of the longest run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], is_so, [False]]).astype(np.int8)))
    return int((edges[1::2] - edges[::2]).max(initial=0))


def worst(rows: Iterable[Row], column: str) -> tuple[float, str, str]:
    """Return the largest value of a column, and its strategy and rail."""
    return max((float(row[column]), str(row["strategy"]), str(row["rail"])) for row in rows)


def sentence(rows: list[Row]) -> str:
    """Say what service costs at most, who acts on good rail, and who locks with worn equipment."""
    judged = [row for row in rows if row["strategy"] not in EXCUSED] or rows
    most, strategy, rail = worst(judged, "service_over_clean")
    if not math.isfinite(most):
        longer = "keeps a train from stopping, or starts from one that does not"
    elif rounds_to_nothing(max(most, 0.0), 1):
        longer = "lengthens no stop"
    else:
        longer = f"lengthens a stop by {most:.1f} % at most ({strategy} on {rail})"
    good = [row for row in judged if row["rail"] in GOOD_RAILS]
    vents, venting, _ = worst(good, "vents_service") if good else (0.0, "", "")
    acts = f"{venting} vents {vents:.1f} times a stop" if vents > 0.0 else "nobody vents"
    lock, locking, _ = worst(judged, "lock_worn")
    locked = (
        "no wheel locks above 10 mph"
        if rounds_to_nothing(lock, 1)
        else (f"the longest lock above 10 mph is {lock:.1f} s ({locking})")
    )
    return (
        f"beside {', '.join(EXCUSED)}, equipment as in service {longer}, {acts} on dry or really "
        f"wet rail, and with worn equipment {locked}."
    )


def draw(rows: list[Row]) -> Figure:
    """Draw the worst distance over that of clean equipment, a pair of bars a strategy."""
    names = list(dict.fromkeys(str(row["strategy"]) for row in rows))
    places = np.arange(len(names))
    with drawing(0.9 + 0.42 * len(names)) as (figure, axes):
        for i, grade in enumerate(GRADES[1:]):
            values = [
                worst([r for r in rows if r["strategy"] == name], f"{grade}_over_clean")[0]
                for name in names
            ]
            axes.barh(
                places + 0.2 * (2 * i - 1),
                values,
                0.36,
                color=style.COLOURS[i + 1],
                label=grade,
            )
        axes.set_yticks(places, names)
        axes.invert_yaxis()
        axes.set_xlabel("distance over that with clean equipment, worst shipped rail [%]")
        axes.axvline(5.0, color=style.QUIET, linewidth=0.8)
        axes.legend()
    return figure


EXPERIMENT = Experiment(
    "what_real_equipment_costs",
    "What does equipment as it comes cost each strategy?",
    investigate,
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())

"""What does it gain to coordinate a train's axles, with and without moving demand?

Question: `train_coordinated` lets leading axles clean the rail for the others, and asks of gripping
axles what sliding ones do not bear, through the demand factor, as far as the equipment allows.
Fitted equipment allows 1.0: no axle brakes harder than demanded. What does the cleaning gain there,
and what would equipment that allows 1.3 gain on top?
Source: none; equipment that brakes an axle harder than demanded is an assumption.
Scenario: the Elderwick unit (invented) on the shipped rails, step 3; strategy
`train_coordinated`, seeds paired.
Run: `python -m slipbench.experiments.what_moved_demand_gains`
"""

import math
import sys
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from slipbench import Controller, controllers
from slipbench.experiments.asked import own_rails, own_scenario
from slipbench.experiments.notebook import (
    Answer,
    Column,
    Experiment,
    Options,
    Row,
    distance_of,
    drawing,
    over_seeds,
)
from slipbench.figures import style
from slipbench.results.wording import listed
from slipbench.scenario import Scenario
from slipbench.statistics.intervals import bootstrap_mean

RAILS = (
    "detergent", "autumn_guide", "wet", "frost", "damp_oxide", "grease", "wet_leaf", "tough_film"
)  # fmt: skip
QUICK_RAILS = ("detergent", "wet_leaf")
LIMIT = 1.3
"""What the better equipment allows. [-]"""

COLUMNS = (
    Column("rail"),
    Column("no_cleaning", "m", 1),
    Column("limit_1", "m", 1),
    Column("limit_1.3", "m", 1),
    Column("cleaning_gains", "m", 1),
    Column("at_least", "m", 1),
    Column("at_most", "m", 1),
    Column("moving_gains", "m", 1),
    Column("moving_at_least", "m", 1),
    Column("moving_at_most", "m", 1),
)


def case(rail: str, limit: float, **values: float) -> tuple[Scenario, Controller]:
    """Return scenario and strategy, equipment and strategy both up to a limit. [-]"""
    strategy = controllers.by_name("train_coordinated")
    return (
        own_scenario(rail).replace({"brake.demand_factor_limit": limit}),
        strategy.with_parameters(factor_limit=limit, **values),
    )


def investigate(options: Options) -> Answer:
    """Run three trains on every rail with the same seeds; intervals need two of them at least."""
    rails, n_seeds = own_rails(QUICK_RAILS if options.is_quick else RAILS), max(2, options.n_seeds)
    cases = []
    for rail in rails:
        cases += [case(rail, 1.0, cleaning_share=0.0), case(rail, 1.0), case(rail, LIMIT)]
    found = over_seeds(cases, n_seeds)
    rows = []
    for i, rail in enumerate(rails):
        alike, fitted, more = (
            np.array([distance_of(stop) for stop in stops]) for stops in found[3 * i : 3 * i + 3]
        )
        cleaned, moved = bootstrap_mean(alike - fitted), bootstrap_mean(fitted - more)
        row = {"rail": rail, "no_cleaning": alike.mean(), "limit_1": fitted.mean()}
        row |= {"limit_1.3": more.mean(), "cleaning_gains": cleaned.estimate}
        row |= {"at_least": cleaned.low, "at_most": cleaned.high, "moving_gains": moved.estimate}
        rows.append({**row, "moving_at_least": moved.low, "moving_at_most": moved.high})
    notes = ["Gains with their 95 % intervals over the seeds; at limit 1 no demand moves."]
    return Answer(COLUMNS, rows, sentence(rows), {"what_moved_demand_gains": draw(rows)}, notes)


def sentence(rows: Sequence[Row]) -> str:
    """Say on which rails the interval of each gain lies above zero, on which below."""
    if not any(math.isfinite(row["at_least"]) for row in rows):
        return "one seed cannot tell a gain from chance; four or more can (--seeds 4)."
    cleaned = _effect(rows, "cleaning_gains", ("at_least", "at_most"), "no_cleaning")
    moved = _effect(rows, "moving_gains", ("moving_at_least", "moving_at_most"), "limit_1")
    return f"leading axles that clean {cleaned}; equipment up to {LIMIT:g} on top of it {moved}."


def _effect(rows: Sequence[Row], gain: str, ends: tuple[str, str], before: str) -> str:
    """Say where a gain is told from zero: shorter, longer, or nowhere."""
    least, most = ends
    parts = []
    for word, told in (
        ("shorten", [row for row in rows if row[least] > 0.0]),
        ("lengthen", [row for row in rows if row[most] < 0.0]),
    ):
        named = [f"{row['rail']} ({_percent(row, gain, before)})" for row in told]
        if named:
            parts.append(f"{word} the stop on {listed(named)}")
    return " and ".join(parts) or "change no stop here by more than chance"


def _percent(row: Row, gain: str, before: str) -> str:
    share = abs(row[gain]) / row[before]
    return f"{100.0 * share:.1f} %" if math.isfinite(share) else "where it did not stop before"


def _named(rows: Sequence[Row], gain: str, least: str, before: str) -> str:
    named = [
        f"{row['rail']} ({100.0 * row[gain] / row[before]:.1f} %)" for row in rows if row[least] > 0
    ]
    return ", ".join(named) or "no rail here"


def draw(rows: Sequence[Row]) -> Figure:
    """Draw what cleaning and what moving demand gains on each rail, with intervals, a row each."""
    with drawing(0.42 * len(rows) + 1.5) as (figure, axes):
        for k, (gain, least, most, label) in enumerate((
            ("cleaning_gains", "at_least", "at_most", "leading axles that clean, against alike"),
            ("moving_gains", "moving_at_least", "moving_at_most",
             f"equipment up to {LIMIT:g} on top of it"),
        )):  # fmt: skip
            look: Any = {"color": style.COLOURS[k + 1], "marker": style.MARKERS[k + 1]}
            for i, row in enumerate(rows):
                y = i + 0.18 * (2 * k - 1)
                share = 100.0 / (row["no_cleaning"] if k == 0 else row["limit_1"])
                ends = [share * row[least], share * row[most]]
                if all(map(math.isfinite, ends)):
                    axes.plot(ends, [y, y], color=look["color"], linewidth=2.0)
                axes.plot([share * row[gain]], [y], linestyle="", label=label if i == 0 else None,
                          **look)  # fmt: skip
        axes.axvline(0.0, color=style.INK, linewidth=0.9)
        axes.set_yticks(range(len(rows)), [str(row["rail"]).replace("_", " ") for row in rows])
        axes.set_ylim(len(rows) - 0.4, -0.6)
        axes.set_xlabel("shorter by [% of the distance before]; bar: 95 % interval")
        axes.grid(axis="x")
        axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.1)
        style.bare(axes)
    return figure


EXPERIMENT = Experiment(
    "what_moved_demand_gains",
    "What does it gain to coordinate a train's axles, with and without moving demand?",
    investigate,
    n_seeds=4,
    sets={"strategy": "what train_coordinated gains is its question"},
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())

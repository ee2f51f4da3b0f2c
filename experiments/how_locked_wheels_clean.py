"""How much do results hang on what a locked wheel still cleans?

Question: `rail.locked_cleaning_share` says how much of its sliding work a locked wheel spends on
cleaning. It is assumed (0.05); no measurement is known. What if it is something else?
Source: slides of kilometres with wheels locked (RAIB report 18/2011 for one) speak for little.
Scenario: the shipped rails on which sliding cleans; strategies `none` and `slip_band`.
Run: `python -m slipbench.experiments.how_locked_wheels_clean`
"""

import math
import sys
from collections.abc import Mapping
from typing import Any

from matplotlib.figure import Figure

from slipbench import controllers
from slipbench.experiments.asked import own_rails, own_scenario
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
from slipbench.results.wording import rounds_to_nothing

RAILS = ("wet_leaf", "detergent", "tough_film")
SHARES = (0.0, 0.05, 0.2, 0.5, 1.0)
COLUMNS = (
    Column("rail"),
    Column("share", "-", 2),
    Column("none", "m", 0),
    Column("slip_band", "m", 0),
    Column("ratio", "-", 2),
)


def investigate(options: Options) -> Answer:
    """Run both strategies on every rail with every share."""
    rails, shares = (
        (own_rails(RAILS[:1]), SHARES[1::3]) if options.is_quick else (own_rails(RAILS), SHARES)
    )
    cases = [(rail, share) for rail in rails for share in shares]
    runs = [
        Run(
            own_scenario(rail).replace({"rail.locked_cleaning_share": share}),
            controllers.by_name(name),
            seed,
        )
        for rail, share in cases
        for name in ("none", "slip_band")
        for seed in range(options.n_seeds)
    ]
    distances = iter(distance_of(summary) for summary in summaries(runs))
    rows: list[Mapping[str, Any]] = []
    for rail, share in cases:
        none, slip_band = (
            sum(next(distances) for _ in range(options.n_seeds)) / options.n_seeds for _ in "12"
        )
        row = {"rail": rail, "share": share, "none": none, "slip_band": slip_band}
        rows.append({**row, "ratio": none / slip_band})
    picture = {"how_locked_wheels_clean": draw(rows)}
    return Answer(COLUMNS, rows, sentence(rows), picture)


def sensitivity(rows: list[Row], strategy: str) -> tuple[float, str]:
    """Return the longest distance over the shortest as the share changes [-], and on which rail.

    A rail on which the train never stops knows no share: its ratio is 1.
    """
    found = []
    for rail in dict.fromkeys(row["rail"] for row in rows):
        distances = [row[strategy] for row in rows if row["rail"] == rail]
        never = math.isinf(min(distances))
        found.append((1.0 if never else max(distances) / min(distances), rail))
    return max(found)


def _moves(rows: list[Row], strategy: str) -> str:
    ratio, rail = sensitivity(rows, strategy)
    if math.isinf(ratio):
        return f"between a stop and none on {rail}"
    if rounds_to_nothing(100.0 * (ratio - 1.0), 1):
        return "by less than 0.1 %"
    return f"by up to {100.0 * (ratio - 1.0):.1f} % (on {rail})"


def sentence(rows: list[Row]) -> str:
    """Say how far the share moves both distances, and where locked wheels stop shorter."""
    shares = [row["share"] for row in rows]
    turned = [
        f"{row['rail']} at {row['share']:g}" for row in rows if row["none"] < row["slip_band"]
    ]
    where = f"on {', '.join(turned)}" if turned else "nowhere in this table"
    return (
        f"from a share of {min(shares):g} to {max(shares):g} the distance without slip control "
        f"moves {_moves(rows, 'none')}, with slip_band {_moves(rows, 'slip_band')}; locked wheels "
        f"stop shorter than slip control {where}."
    )


def draw(rows: list[Row]) -> Figure:
    """Draw the ratio of the two distances against the share, a line a rail."""
    with drawing(3.2) as (figure, axes):
        for i, rail in enumerate(dict.fromkeys(row["rail"] for row in rows)):
            own = [row for row in rows if row["rail"] == rail]
            axes.plot(
                [row["share"] for row in own],
                [row["ratio"] for row in own],
                color=style.COLOURS[i + 1],
                marker=style.MARKERS[i + 1],
                label=rail.replace("_", " "),
            )
        axes.axhline(1.0, color=style.QUIET, linewidth=0.8)
        axes.set_xlabel("share of its sliding work a locked wheel spends on cleaning [-]")
        axes.set_ylabel("distance without slip control\nover that with slip_band [-]")
        axes.legend()
    return figure


EXPERIMENT = Experiment(
    "how_locked_wheels_clean",
    "How much do results hang on what a locked wheel still cleans?",
    investigate,
    sets={"strategy": "it sets locked wheels (none) against slip_band"},
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())

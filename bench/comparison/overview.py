"""Many strategies on many rails in one look: a table of distances and one of locks."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from slipbench.comparison.compare import Comparison, Score
from slipbench.comparison.standing import SAME_DISTANCE
from slipbench.results.tables import plain_table
from slipbench.scenario import Scenario

ONE_SEED = (
    "One seed cannot tell how much of a difference between strategies is chance; six or more can "
    "(--seeds 6)."
)

BEST, WORST = "best", "worst"

MANY_RAILS, MANY_STRATEGIES = 3, 5
"""From so many rails with so many strategies on, the terminal shows the overview."""


def is_many(comparison: Comparison, rails: Sequence[Scenario]) -> bool:
    """Return whether the tables of all rails would run over several screens."""
    return len(rails) >= MANY_RAILS and len(comparison.strategies) >= MANY_STRATEGIES


def ends(scores: Sequence[Score]) -> dict[str, str]:
    """Return which strategies stop shortest and longest on a rail, by the mean.

    Those that see truth are left out; distances within 0.1 % are ties, and all of a tie are named.
    Nothing is marked where all are alike, or there is only one.
    """
    fair = [score for score in scores if not score.uses_truth]
    if len(fair) < 2:
        return {}
    ranked = sorted(fair, key=_rank)
    first = {s.controller for s in fair if _is_tie(s, ranked[0])}
    last = {s.controller for s in fair if _is_tie(s, ranked[-1])}
    if first & last:
        return {}
    return dict.fromkeys(first, BEST) | dict.fromkeys(last, WORST)


def _rank(score: Score) -> tuple[int, float]:
    return score.n_runs - score.n_stopped, score.distance


def _is_tie(one: Score, other: Score) -> bool:
    if one.n_stopped != other.n_stopped:
        return False
    if not (math.isfinite(one.distance) and math.isfinite(other.distance)):
        return math.isfinite(one.distance) == math.isfinite(other.distance)
    return abs(one.distance - other.distance) <= SAME_DISTANCE * other.distance


def overview_tables(comparison: Comparison, rails: Sequence[Scenario]) -> list[str]:
    """Return two tables, a column a rail: stopping distance [m] and longest lock [s]."""
    by_rail = {
        rail.name: {score.controller: score for score in comparison.scores(rail.name)}
        for rail in rails
    }
    known = [strategy.controller for strategy in comparison.strategies]
    names = [own.name for own in known if not own.uses_truth]
    seeing = [own.name for own in known if own.uses_truth]
    marks = {rail.name: ends(comparison.scores(rail.name)) for rail in rails}
    heads = [rail.name.replace("_", "\n").replace(" ", "\n") for rail in rails]

    def table(title: str, cell: str) -> str:
        rows: list[Sequence[str] | str] = [_row(name, by_rail, marks, cell) for name in names]
        if seeing:
            rows += ["sees truth, ranked apart:"]
            rows += [_row(name, by_rail, marks, cell) for name in seeing]
        return plain_table([title, *heads], rows)

    return [table("stopping distance [m]", "distance"), table("longest lock of all [s]", "lock")]


def _row(
    name: str,
    by_rail: Mapping[str, Mapping[str, Score]],
    marks: Mapping[str, Mapping[str, str]],
    cell: str,
) -> list[str]:
    cells = [name]
    for rail, scores in by_rail.items():
        score = scores[name]
        if cell == "lock":
            cells.append(f"{score.worst_lock:.1f} " if math.isfinite(score.worst_lock) else "- ")
            continue
        mark = {BEST: "<", WORST: ">"}.get(marks[rail].get(name, ""), " ")
        n_over = score.n_runs - score.n_stopped
        text = f"{n_over}/{score.n_runs} over" if n_over else f"{score.distance:.0f}"
        cells.append(text + mark)
    return cells

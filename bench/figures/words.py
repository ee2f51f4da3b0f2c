"""What a comparison found, in sentences: each clause holds for the rows it was built from."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

import numpy as np

from slipbench.comparison.compare import ComparedStop, Score, half_width, scores_on
from slipbench.comparison.overview import ONE_SEED
from slipbench.results.wording import is_alike, listed, rounds_to_nothing
from slipbench.statistics.intervals import signed_rank
from slipbench.strategies.registry import DRY_STRATEGY

FEWEST = 6
"""Seeds below which no 95 % interval of a median exists; of a mean it does, from two on."""


def rail_sentences(rails: Sequence[str], rows: Sequence[ComparedStop]) -> list[str]:
    """Return a sentence a rail, and of one seed once more what it cannot tell.

    Strategies that see the true state are left out, unless there is no other.
    """
    said = [rail_sentence(rail, rows) for rail in rails]
    n_seeds = len({row.seed for row in rows})
    n_strategies = len({row.controller for row in rows})
    return [*said, ONE_SEED] if n_seeds == 1 and n_strategies > 1 else said


def rail_sentence(rail: str, rows: Sequence[ComparedStop]) -> str:
    """Return what came out on one rail: the shortest, what it cost, and what the longest took."""
    scores = scores_on(rail, rows)
    fair = [score for score in scores if not score.uses_truth] or scores
    stopped = [score for score in fair if math.isfinite(score.distance)]
    over = [score for score in fair if not math.isfinite(score.distance)]
    where = f"On {plain(rail)}"
    if not stopped:
        return f"{where}, {_nobody(fair)}."
    firsts = [score for score in stopped if is_alike(score.distance, stopped[0].distance)]
    parts = [_first(firsts, stopped, over)]
    last = stopped[-1]
    if last not in firsts:
        parts.append(f"{named(last.controller)} took longest, {last.distance:.0f} m")
    if over:
        counts = [f"{named(s.controller)} ({s.n_runs - s.n_stopped} of {s.n_runs})" for s in over]
        parts.append(f"not stopped: {listed(counts)}")
    text = f"{where}, {'; '.join(parts)}."
    others = [score for score in stopped if score not in firsts]
    if len(firsts) == 1 and others and firsts[0].n_runs > 1:
        text += _told(rail, rows, firsts[0], others)
    return text


def _nobody(fair: Sequence[Score]) -> str:
    if len(fair) == 1:
        name, score = named(fair[0].controller), fair[0]
        return f"{name} stopped in {score.n_stopped} of {score.n_runs} runs"
    most = max(score.n_stopped for score in fair)
    if not most:
        return "no strategy stopped in any run"
    best = [named(s.controller) for s in fair if s.n_stopped == most]
    return (
        f"no strategy stopped in every run; most often {listed(best)} ({most} of {fair[0].n_runs})"
    )


def _first(firsts: Sequence[Score], stopped: Sequence[Score], over: Sequence[Score]) -> str:
    best = firsts[0]
    names = listed([named(score.controller) for score in firsts])
    distance = f"{best.distance:.0f} m"
    if math.isfinite(best.over_shortest):
        distance += f" ({best.over_shortest:.2f} times the floor)"
    if len(stopped) == 1 and not over:
        said = f"{names} stopped in {distance}"
    elif len(firsts) == len(stopped):
        who = f"all {len(firsts)} strategies" if not over and len(firsts) > 2 else names
        said = f"{who} stopped in {distance}"
        said += ", alike" if len(firsts) > 1 else ""
    elif len(firsts) > 1:
        said = f"{names} stopped shortest, alike, in {distance}"
    else:
        said = f"{names} stopped shortest, in {distance}"
    lock = max(score.worst_lock for score in firsts)
    if rounds_to_nothing(lock, 1):
        return f"{said}, and no wheel locked"
    return f"{said}, and a wheel locked for up to {lock:.1f} s"


def _told(rail: str, rows: Sequence[ComparedStop], first: Score, others: Sequence[Score]) -> str:
    """Return which others the runs do not tell from the first; nothing where they tell all."""
    alike = [
        named(score.controller)
        for score in others
        if not is_told_apart(paired_difference(rail, rows, first, score))
    ]
    if not alike:
        return ""
    verb = "is" if len(alike) == 1 else "are"
    return f" By these runs {listed(alike)} {verb} not told apart from {named(first.controller)}."


def paired_difference(
    rail: str, rows: Sequence[ComparedStop], first: Score, second: Score
) -> np.ndarray:
    """Return second minus first, seed by seed; infinite where one did not stop. (n,) [m]"""
    one, other = (_distances(rail, rows, score.controller) for score in (first, second))
    pairs = [(one[seed], other[seed]) for seed in one if seed in other]
    return np.array([0.0 if a == b else b - a for a, b in pairs])


def _distances(rail: str, rows: Sequence[ComparedStop], controller: str) -> dict[int, float]:
    return {
        row.seed: row.summary["stopping_distance"] if row.summary["is_stopped"] else math.inf
        for row in rows
        if row.scenario == rail and row.controller == controller
    }


def is_told_apart(differences: np.ndarray) -> bool:
    """Return whether the 95 % interval of paired differences leaves zero out.

    From six pairs on Wilcoxon's signed-rank interval, below that Student's t of the mean.
    """
    values = differences.tolist()
    if len(values) < 2:
        return False
    if len(values) >= FEWEST:
        found = signed_rank(differences)
        return bool(found.excludes_zero and math.isfinite(found.low))
    if all(value == math.inf for value in values):
        return True
    width = half_width(values)
    return math.isfinite(width) and abs(statistics.fmean(values)) > width


def named(name: str) -> str:
    """Return a strategy as a sentence names it: `none` would read as if nobody did."""
    return "no slip control" if name == DRY_STRATEGY else plain(name)


def plain(name: str) -> str:
    """Return a name as words."""
    return name.replace("_", " ")

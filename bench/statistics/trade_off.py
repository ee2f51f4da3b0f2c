"""Settings against each other on several objectives at once; lower is better everywhere."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from slipbench.ground.arrays import Floats

Integers = npt.NDArray[np.int64]


def dominates(first: Floats, second: Floats) -> bool:
    """Return whether the first is nowhere worse and somewhere better."""
    return bool((first <= second).all() and (first < second).any())


def fronts(scores: Floats) -> Integers:
    """Return the number of the non-dominated front each setting lies on, 0 the best.

    Parameters
    ----------
    scores : (n, n_objectives)
    """
    n = len(scores)
    better = (scores[:, None, :] <= scores[None, :, :]).all(axis=2)
    better &= (scores[:, None, :] < scores[None, :, :]).any(axis=2)
    number = np.full(n, -1, dtype=np.int64)
    level = 0
    while (number < 0).any():
        left = number < 0
        is_dominated = (better & left[:, None]).any(axis=0)
        number[left & ~is_dominated] = level
        level += 1
    return number


def crowding(scores: Floats) -> Floats:
    """Return how far each setting's neighbours are, objective by objective; ends are infinite."""
    n, n_objectives = scores.shape
    distance = np.zeros(n)
    for i in range(n_objectives):
        order = np.argsort(scores[:, i], kind="stable")
        column = scores[order, i]
        width = column[-1] - column[0]
        distance[order[[0, -1]]] = math.inf
        if width > 0.0:
            distance[order[1:-1]] += (column[2:] - column[:-2]) / width
    return distance


def best_first(scores: Floats, violations: Floats) -> list[int]:
    """Return the settings' numbers, best first.

    What keeps the constraints comes before what does not; the latter by how little it violates
    them; the former front by front, and within a front the less crowded first.
    """
    kept = np.flatnonzero(violations <= 0.0)
    broken = np.flatnonzero(violations > 0.0)
    order: list[int] = []
    if len(kept):
        number = fronts(scores[kept])
        for level in range(int(number.max()) + 1):
            members = kept[number == level]
            loneliness = crowding(scores[members])
            order += members[np.argsort(-loneliness, kind="stable")].tolist()
    order += broken[np.argsort(violations[broken], kind="stable")].tolist()
    return order


def knee(scores: Floats) -> int:
    """Return the setting nearest the ideal point, each objective scaled to 0 to 1 over the front.

    The ideal point has the best of every objective. With one objective it is the best setting.
    """
    low, high = scores.min(axis=0), scores.max(axis=0)
    width = np.where(high > low, high - low, 1.0)
    return int(np.argmin((((scores - low) / width) ** 2).sum(axis=1)))


def recommended(scores: Floats, default: Floats) -> int:
    """Return the knee of the settings that are nowhere worse than the default, if there are any.

    Whoever changes settings in service wants nothing to become worse; without such a setting it is
    the knee of them all, and something does.
    """
    safe = [i for i, row in enumerate(scores) if (row <= default).all()]
    return safe[knee(scores[safe])] if safe else knee(scores)


def non_dominated(scores: Floats, violations: Floats) -> Sequence[int]:
    """Return the settings on the best front among those that keep the constraints, by objective 0.

    Equal scores appear once.
    """
    kept = np.flatnonzero(violations <= 0.0)
    if not len(kept):
        return []
    best = kept[fronts(scores[kept]) == 0]
    _, first = np.unique(scores[best], axis=0, return_index=True)
    return [int(i) for i in best[np.sort(first)][np.argsort(scores[best[np.sort(first)], 0])]]

"""Probabilities too small to count: subset simulation, and plain counting beside it.

Both take a function of independent standard normals, `margin(points)`, which is above zero where
the event happens.

References
----------
[Au2001] Au, Beck, Probabilistic Engineering Mechanics 16, 263-277: subset simulation. From memory.
[Papaioannou2015] Papaioannou et al., Probabilistic Engineering Mechanics 41, 89-103: conditional
sampling in standard normal space. From memory. tests/statistics/test_rare.py holds both to
probabilities known in closed form.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass

import numpy as np
from scipy import stats

from slipbench.ground.arrays import Floats
from slipbench.ground.errors import InputError
from slipbench.statistics.intervals import CONFIDENCE, Interval, wilson

Margin = Callable[[Floats], Floats]
"""margin(points (n, n_dims)) -> (n,): above 0 where the event happens; may be infinite."""

LEVEL_SHARE = 0.1
"""Share of a level's points that lie beyond the next level's threshold."""

CORRELATION = 0.8
"""Of a point of a chain with the one before it. A choice: steps accepted from a third to a half of
the time at the levels tried."""

FRESH = 0.3
"""Chance that a coordinate without neighbours (a seed) is drawn anew in a step. A choice."""

MOST_LEVELS = 12
"""With a tenth a level: down to 1e-12."""


@dataclass(frozen=True)
class Subset:
    """One subset simulation.

    Attributes
    ----------
    probability : float    0 where no level got to the event
    thresholds : tuple     margins of the levels passed; the last is 0 if the event was reached
    n_points : int         margins evaluated
    """

    probability: float
    thresholds: tuple[float, ...]
    n_points: int


def count_plainly(margin: Margin, n_dims: int, n_points: int, seed: int = 0) -> Interval:
    """Return the share of independent points where the event happens, with Wilson's interval."""
    points = np.random.default_rng([seed, 0]).standard_normal((n_points, n_dims))
    return wilson(int((margin(points) > 0.0).sum()), n_points)


def subset_simulation(
    margin: Margin, n_dims: int, n_each: int, seed: int = 0, unordered: Collection[int] = ()
) -> Subset:
    """Return the probability that the margin is above zero.

    Parameters
    ----------
    margin : Margin
    n_dims : int            independent standard normals
    n_each : int            points a level, a multiple of ten, at least 50
    seed : int
    unordered : collection  columns in which near points are not alike (a seed)

    Raises
    ------
    InputError   for `n_each`

    Notes
    -----
    Each level keeps the tenth of its points that lie farthest out; from each of these a chain of
    ten points is drawn that stays beyond its threshold. A step keeps the distribution of the
    normals whatever it starts from, so a chain's points are distributed as they should be.
    """
    n_kept = round(LEVEL_SHARE * n_each)
    if n_each < 50 or n_kept * 10 != n_each:
        raise InputError(f"{n_each} points a level; allowed: a multiple of 10, at least 50")
    generator = np.random.default_rng([seed, 1])
    points = generator.standard_normal((n_each, n_dims))
    values = margin(points)
    n_points, probability = n_each, 1.0
    thresholds: list[float] = []
    for _ in range(MOST_LEVELS):
        order = np.argsort(-values, kind="stable")
        threshold = float(values[order[n_kept - 1]])
        if threshold > 0.0 or int((values > 0.0).sum()) >= n_kept:
            break
        if thresholds and threshold <= thresholds[-1]:  # no farther: nothing lies beyond
            return Subset(0.0, tuple(thresholds), n_points)
        thresholds.append(threshold)
        seeds = order[:n_kept]
        probability *= LEVEL_SHARE
        points, values = _chains(
            margin, points[seeds], values[seeds], threshold, generator, [*unordered]
        )
        n_points += n_each - n_kept
    share = float((values > 0.0).mean())
    return Subset(probability * share, (*thresholds, 0.0) if share else (*thresholds,), n_points)


def _chains(
    margin: Margin,
    points: Floats,
    values: Floats,
    threshold: float,
    generator: np.random.Generator,
    unordered: list[int],
) -> tuple[Floats, Floats]:
    """Draw ten points of a chain from each point, all beyond a threshold; the first are given."""
    all_points, all_values = [points], [values]
    for _ in range(round(1.0 / LEVEL_SHARE) - 1):
        fresh = generator.standard_normal(points.shape)
        tried = CORRELATION * points + math.sqrt(1.0 - CORRELATION**2) * fresh
        for column in unordered:
            is_new = generator.random(len(points)) < FRESH
            tried[:, column] = np.where(is_new, fresh[:, column], points[:, column])
        found = margin(tried)
        stays = found >= threshold
        points = np.where(stays[:, None], tried, points)
        values = np.where(stays, found, values)
        all_points.append(points)
        all_values.append(values)
    return np.concatenate(all_points), np.concatenate(all_values)


def repeated(estimates: Floats) -> Interval:
    """Return the mean of repeated subset simulations, and Student's interval of it.

    The formula for the scatter of one simulation takes its chains for independent and comes out too
    small, so repeats are compared; where the interval would pass zero, it is taken in logarithms.

    Raises
    ------
    InputError   for fewer than two repeats
    """
    n = len(estimates)
    if n < 2:
        raise InputError(f"{n} repeats; allowed: 2 or more, an interval needs them")
    mean = float(np.mean(estimates))
    factor = float(stats.t.ppf(0.5 + 0.5 * CONFIDENCE, n - 1)) / math.sqrt(n)
    half = factor * float(np.std(estimates, ddof=1))
    if half < mean or min(estimates) <= 0.0:
        return Interval(mean, max(mean - half, 0.0), min(mean + half, 1.0))
    wide = math.exp(factor * float(np.std(np.log(estimates), ddof=1)))
    return Interval(mean, mean / wide, min(mean * wide, 1.0))

"""Sensitivity of a number to its factors: elementary effects and variance-based indices.

Both work on points and values, however those were computed: first the design, then the estimate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import stats
from scipy.stats import qmc

from slipbench.ground.arrays import Floats
from slipbench.ground.errors import InputError

N_LEVELS = 4
"""Levels of the elementary-effects grid; an even number, so that all are met equally often."""

FEWEST_TRAJECTORIES = 4
"""Trajectories without which a bootstrap over them says nothing."""


def morris_design(n_factors: int, n_trajectories: int, seed: int = 0) -> Floats:
    """Return trajectories in the unit cube, each changing one factor at a time.

    Parameters
    ----------
    n_factors, n_trajectories : int   >= 1

    Returns
    -------
    (n_trajectories, n_factors + 1, n_factors) float64   steps are of 2/3 of the range

    References
    ----------
    M. D. Morris, Technometrics 33 (1991) 161-174 (from memory).
    """
    if n_factors < 1 or n_trajectories < 1:
        raise InputError(f"{n_trajectories} trajectories of {n_factors} factors; allowed: >= 1")
    generator = np.random.default_rng(seed)
    step = N_LEVELS / (2.0 * (N_LEVELS - 1))
    low_levels = np.arange(N_LEVELS // 2) / (N_LEVELS - 1)
    paths = np.empty((n_trajectories, n_factors + 1, n_factors))
    for path in paths:
        is_rising = generator.random(n_factors) < 0.5
        low = generator.choice(low_levels, n_factors)
        path[:] = np.where(is_rising, low, low + step)
        for i_step, i_factor in enumerate(generator.permutation(n_factors), start=1):
            path[i_step:, i_factor] += step if is_rising[i_factor] else -step
    return paths


@dataclass(frozen=True)
class Effects:
    """Elementary effects, a factor's range taken as 1: (n_factors,), the interval (n_factors, 2).

    Attributes
    ----------
    mean : signed mean; near zero with a large `size` if the effect changes sign
    size : mean of the magnitudes, the measure of importance
    spread : standard deviation: interactions and curvature
    size_interval : of `size`, percentile bootstrap over trajectories; NaN for fewer than 4
    """

    mean: Floats
    size: Floats
    spread: Floats
    size_interval: Floats


def elementary_effects(
    paths: Floats,
    values: Floats,
    confidence: float = 0.95,
    n_resamples: int = 2000,
    seed: int = 0,
) -> Effects:
    """Return the elementary effects of a design.

    Parameters
    ----------
    paths : (n_trajectories, n_factors + 1, n_factors)   of `morris_design`
    values : (n_trajectories, n_factors + 1)             at its points
    """
    n_paths, _, n_factors = paths.shape
    steps = np.diff(paths, axis=1)
    moved = np.abs(steps).argmax(axis=2)
    effects = np.empty((n_paths, n_factors))
    rows = np.arange(n_paths)[:, None]
    effects[rows, moved] = np.diff(values, axis=1) / np.take_along_axis(
        steps, moved[:, :, None], axis=2
    ).squeeze(2)
    spread = effects.std(axis=0, ddof=1) if n_paths > 1 else np.full(n_factors, np.nan)
    sizes = np.abs(effects)
    interval = np.full((n_factors, 2), np.nan)
    if n_paths >= FEWEST_TRAJECTORIES:
        chosen = np.random.default_rng(seed).integers(0, n_paths, (n_resamples, n_paths))
        tail = 0.5 * (1.0 - confidence)
        means = sizes[chosen].mean(axis=1)
        interval = np.quantile(means, [tail, 1.0 - tail], axis=0).T
    return Effects(effects.mean(axis=0), sizes.mean(axis=0), spread, interval)


@dataclass(frozen=True)
class SaltelliDesign:
    """Points for variance-based indices, in the unit cube.

    Attributes
    ----------
    first, second : (n, n_factors)       two independent samples, A and B
    mixed : (n_factors, n, n_factors)    A with column i taken from B
    """

    first: Floats
    second: Floats
    mixed: Floats

    @property
    def points(self) -> Floats:
        """All points in one array. (n (n_factors + 2), n_factors)"""
        n_factors = self.first.shape[1]
        return np.concatenate([self.first, self.second, self.mixed.reshape(-1, n_factors)])


def saltelli_design(n_factors: int, n_base: int, seed: int = 0) -> SaltelliDesign:
    """Return a design of n_base (n_factors + 2) points from one scrambled Sobol sequence.

    Parameters
    ----------
    n_base : int   a power of two

    Raises
    ------
    InputError   if it is none
    """
    if n_base < 2 or n_base & (n_base - 1):
        raise InputError(f"sensitivity with {n_base} base points; allowed: a power of two, >= 2")
    sampler = qmc.Sobol(2 * n_factors, scramble=True, seed=np.random.default_rng(seed))
    both = sampler.random(n_base)
    first, second = both[:, :n_factors], both[:, n_factors:]
    mixed = np.repeat(first[None], n_factors, axis=0)
    for i in range(n_factors):
        mixed[i, :, i] = second[:, i]
    return SaltelliDesign(first, second, mixed)


@dataclass(frozen=True)
class Indices:
    """Variance-based indices with bootstrap intervals. All (n_factors,), intervals (n_factors, 2).

    Attributes
    ----------
    first : share of the variance a factor causes by itself
    total : share it has any part in; above `first` by its interactions
    first_interval, total_interval : at the given confidence
    """

    first: Floats
    total: Floats
    first_interval: Floats
    total_interval: Floats


def sobol_indices(
    design: SaltelliDesign,
    values: Floats,
    confidence: float = 0.95,
    n_resamples: int = 500,
    seed: int = 0,
) -> Indices:
    """Return first-order and total indices.

    Parameters
    ----------
    values : (n (n_factors + 2),)   at `design.points`

    Raises
    ------
    InputError   if a value is not finite

    References
    ----------
    A. Saltelli et al., Comput. Phys. Commun. 181 (2010) 259-270 (from memory), estimators as in
    `scipy.stats.sobol_indices`; percentile bootstrap over the base points.
    """
    values = np.asarray(values, dtype=np.float64)
    if not np.isfinite(values).all():
        raise InputError("sensitivity: a value is not finite; variance needs finite numbers")
    n, n_factors = design.first.shape
    if np.ptp(values) == 0.0:  # nothing matters
        zeros = np.zeros(n_factors)
        return Indices(zeros, zeros, np.zeros((n_factors, 2)), np.zeros((n_factors, 2)))
    # centred: the estimators are right only on average, and a large mean adds to their noise
    values = values - values[: 2 * n].mean()
    parts = (values[:n], values[n : 2 * n], values[2 * n :].reshape(n_factors, n))
    generator = np.random.default_rng(seed)
    drawn = [_estimate(parts, generator.integers(0, n, n)) for _ in range(n_resamples)]
    tail = 0.5 * (1.0 - confidence)
    intervals = np.quantile(drawn, [tail, 1.0 - tail], axis=0)  # (2, first or total, n_factors)
    first, total = _estimate(parts, np.arange(n))
    return Indices(first, total, intervals[:, 0].T, intervals[:, 1].T)


def _estimate(parts: tuple[Floats, Floats, Floats], chosen: Any) -> tuple[Floats, Floats]:
    """Return first-order and total indices from the chosen base points."""
    f_a, f_b, f_ab = (part[..., chosen] for part in parts)
    content: Any = {"f_A": f_a[None], "f_B": f_b[None], "f_AB": f_ab[:, None]}
    found = stats.sobol_indices(func=content, n=len(chosen))
    return np.ravel(found.first_order), np.ravel(found.total_order)

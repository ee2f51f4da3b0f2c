"""Designs of experiment: points in a box of factors, the same points for the same seed."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from scipy.stats import qmc

from slipbench.ground.arrays import Floats
from slipbench.ground.errors import InputError

LOG_RATIO = 20.0
"""Bounds further apart than this (both above zero) are searched on a logarithmic scale."""

MOST_POINTS = 1_000_000


@dataclass(frozen=True)
class Factor:
    """One thing varied.

    Attributes
    ----------
    name : str                  a strategy's parameter, or see `slipbench.campaign.variation`
    low, high : float           bounds, SI
    is_log : bool               spread evenly in the logarithm
    levels : tuple of float     the values of a grid; empty: taken evenly between the bounds
    """

    name: str
    low: float
    high: float
    is_log: bool = False
    levels: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        """Check the bounds."""
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low <= self.high):
            raise InputError(
                f"factor {self.name}: bounds {self.low:g} to {self.high:g}; "
                "allowed: finite, the lower one first"
            )
        if self.is_log and self.low <= 0.0:
            raise InputError(
                f"factor {self.name}: lower bound {self.low:g}; a logarithmic scale needs > 0"
            )

    def at(self, share: Floats) -> Floats:
        """Return the values at shares 0 to 1 of the way between the bounds."""
        if self.is_log:
            # the logarithm of a product, not a product of logarithms: both ends come out exactly
            values = self.low * np.exp(share * math.log(self.high / self.low))
        else:
            values = self.low + share * (self.high - self.low)
        return np.asarray(np.clip(values, self.low, self.high), dtype=np.float64)

    def share(self, value: float) -> float:
        """Return where a value lies between the bounds, 0 to 1."""
        if self.low == self.high:
            return 0.0
        if self.is_log:
            return math.log(value / self.low) / math.log(self.high / self.low)
        return (value - self.low) / (self.high - self.low)


Space = tuple[Factor, ...]


def scaled(space: Space, shares: Floats) -> Floats:
    """Return points of the unit cube moved into the box. (n, n_factors)"""
    columns = [factor.at(shares[:, i]) for i, factor in enumerate(space)]
    return np.stack(columns, axis=1) if columns else np.zeros((len(shares), 0))


def sobol_design(space: Space, n_points: int, seed: int = 0) -> Floats:
    """Return the first points of a scrambled Sobol sequence. (n_points, n_factors), SI

    Balanced when `n_points` is a power of two; any number from 1 is allowed.
    """
    _check_number(n_points)
    power = max(0, math.ceil(math.log2(n_points)))
    sampler = qmc.Sobol(len(space), scramble=True, seed=np.random.default_rng(seed))
    return scaled(space, sampler.random_base2(power)[:n_points])


def latin_design(space: Space, n_points: int, seed: int = 0) -> Floats:
    """Return a Latin hypercube: each factor meets each of n equal slices once. SI"""
    _check_number(n_points)
    sampler = qmc.LatinHypercube(len(space), seed=np.random.default_rng(seed))
    return scaled(space, sampler.random(n_points))


def grid_design(space: Space, n_levels: int = 3) -> Floats:
    """Return every combination of levels, the last factor changing fastest. SI"""
    _check_number(n_levels)
    shares = np.linspace(0.0, 1.0, n_levels) if n_levels > 1 else np.array([0.5])
    levels = [factor.levels or tuple(factor.at(shares).tolist()) for factor in space]
    _check_number(math.prod(map(len, levels)))
    return np.array(list(itertools.product(*levels)), dtype=np.float64).reshape(-1, len(space))


def make_design(kind: str, space: Space, n_points: int, seed: int = 0) -> Floats:
    """Return a design by name: `grid` (n_points is the number of levels), `sobol` or `latin`."""
    if kind == "grid":
        return grid_design(space, n_points)
    if kind in ("sobol", "latin"):
        design = sobol_design if kind == "sobol" else latin_design
        return design(space, n_points, seed)
    raise InputError(f"design {kind!r}; allowed: grid, sobol, latin")


def _check_number(n_points: int) -> None:
    if not 1 <= n_points <= MOST_POINTS:
        raise InputError(f"design of {n_points} points; allowed: 1 to {MOST_POINTS}")

"""Friction that rises again as sliding cleans: reference functions, outside the hot loop.

Two laws share one shape, lambda = 1 - exp(-(W/W0)^p).  With W the energy a rail cell has received
it is the rail memory this project adds; with W the energy the contact gives off at this moment,
per metre, it is the memoryless law of degraded and recovered adhesion.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slipbench.contact.hertz import require_positive
from slipbench.contact.polach import PolachSet, polach_adhesion
from slipbench.ground.errors import InputError

FloatArray = NDArray[np.float64]

_ALLOTTA = (
    "Allotta, Meli, Ridolfi, Rindi, Tribology Int. 69 (2014) 128-140; Meli, Ridolfi, Rindi, "
    "Meccanica 49 (2014) 919-937: values from memory, not verified"
)
DEGRADED = PolachSet("degraded", 0.3, 0.1, 0.06, 0.40, 0.20, _ALLOTTA)
RECOVERED = PolachSet("recovered", 0.3, 0.1, 0.28, 0.40, 0.60, _ALLOTTA + " (kA, kS unsure)")
DEGRADED_ENERGY_SCALE = 1.0 / 1.9e-4
"""1/tau of the same papers, 5.3 kJ/m (value from memory, not verified). [J/m]"""


def recovery_fraction(
    slide_energy: ArrayLike, energy_scale: float, exponent: float = 1.0
) -> FloatArray:
    """Return lambda = 1 - exp(-(W/W0)^p), the recovered share of the contact.

    Parameters
    ----------
    slide_energy : (...,) float   W, energy per metre of rail, one wheel on one rail. [J/m], >= 0
    energy_scale : float          W0. [J/m], > 0
    exponent : float              p; 1 one film, 2 a film that lets go late. [-], > 0

    Returns
    -------
    (...,) float64   [-], 0 to 1

    Raises
    ------
    InputError
        If a value is out of range.

    Notes
    -----
    p = 1 is the solution of d(lambda)/dW = (1 - lambda)/W0 (form from memory); other exponents
    are assumed.
    """
    scale = require_positive("energy_scale", energy_scale, "J/m")
    power = require_positive("exponent", exponent, "-")
    energy = np.asarray(slide_energy, dtype=np.float64)
    if not np.all(energy >= 0.0):
        raise InputError("slide_energy [J/m]: must be >= 0")
    return np.asarray(-np.expm1(-((energy / scale) ** power)), dtype=np.float64)


def conditioned_friction(
    slide_energy: ArrayLike,
    degraded_friction: float,
    recovered_friction: float,
    energy_scale: float,
    exponent: float = 1.0,
) -> FloatArray:
    """Return mu = mu_d + (mu_r - mu_d) lambda(W), friction rising with slide energy.

    Parameters
    ----------
    slide_energy : (...,) float    W. [J/m], >= 0
    degraded_friction : float      mu_d. [-], > 0
    recovered_friction : float     mu_r. [-], > 0
    energy_scale : float           W0. [J/m], > 0
    exponent : float               p. [-], > 0

    Returns
    -------
    (...,) float64   Peak friction of the contact. [-]

    Raises
    ------
    InputError
        If a value is out of range.
    """
    low = require_positive("degraded_friction", degraded_friction, "-")
    high = require_positive("recovered_friction", recovered_friction, "-")
    return low + (high - low) * recovery_fraction(slide_energy, energy_scale, exponent)


class _Balance(NamedTuple):
    """The equation f = f_d + (f_r - f_d) lambda(f N e) at one creepage."""

    degraded: float
    recovered: float
    scale: float
    exponent: float

    def surplus(self, adhesion: float) -> float:
        """Return right side less left side; it pulls f up where positive. [-]."""
        share = -math.expm1(-((adhesion / self.scale) ** self.exponent))
        return self.degraded + (self.recovered - self.degraded) * share - adhesion

    def surplus_slope(self, adhesion: float) -> float:
        """Return the derivative of the surplus. [-]."""
        z = adhesion / self.scale
        rise: float = self.exponent / self.scale * z ** (self.exponent - 1.0)
        return (self.recovered - self.degraded) * rise * math.exp(-(z**self.exponent)) - 1.0


def memoryless_adhesions(
    creepage: float,
    degraded_adhesion: float,
    recovered_adhesion: float,
    load: float,
    energy_scale: float,
    exponent: float = 1.0,
) -> tuple[float, ...]:
    """Return every adhesion that solves the memoryless law at one creepage.

    Parameters
    ----------
    creepage : float             e. [-], >= 0
    degraded_adhesion : float    f_d at this creepage. [-], > 0, or 0 at creepage 0
    recovered_adhesion : float   f_r at this creepage. [-], likewise
    load : float                 Wheel load N. [N], > 0
    energy_scale : float         W0 = 1/tau. [J/m], > 0
    exponent : float             p. [-], > 0

    Returns
    -------
    tuple of float   One or three rising solutions; of three, the middle one is unstable. [-]

    Raises
    ------
    InputError
        If a value is out of range.

    Notes
    -----
    f = (1 - lambda) f_d + lambda f_r, lambda = 1 - exp(-(W/W0)^p), W = T e = f N e: the energy a
    wheel gives off per metre at this moment, no memory.  For p <= 1 the right side is concave in
    f, so the solution is unique; only p > 1 (S-shaped recovery) has folds, and then at most
    three solutions, which are bracketed by the extremes of the surplus and cannot be missed.

    References
    ----------
    [Allotta2014] Tribology Int. 69, 128-140; [Meli2014] Meccanica 49, 919-937 (equations with
    p = 1 from memory, not verified; the exponent is an addition).
    """
    for name, value in (
        ("creepage", creepage),
        ("degraded_adhesion", degraded_adhesion),
        ("recovered_adhesion", recovered_adhesion),
    ):
        if not (math.isfinite(value) and value >= 0.0):
            raise InputError(f"{name} = {value!r} -: must be finite and >= 0")
        if value == 0.0 < creepage:
            raise InputError(f"{name} = 0 -: must be above 0 at creepage {creepage!r}")
    force = require_positive("load", load, "N")
    scale = require_positive("energy_scale", energy_scale, "J/m")
    power = require_positive("exponent", exponent, "-")
    if creepage == 0.0 or degraded_adhesion == recovered_adhesion:
        return (float(degraded_adhesion),)
    balance = _Balance(
        float(degraded_adhesion), float(recovered_adhesion), scale / (force * creepage), power
    )
    return _roots(balance)


def _roots(balance: _Balance) -> tuple[float, ...]:
    """Return the rising roots of the surplus."""
    from scipy.optimize import brentq  # no stop needs it, and it is slow to import

    # A hair wider than the two steady values, so that rounding cannot hide a root at an end.
    low = min(balance.degraded, balance.recovered) * (1.0 - 1e-12)
    high = max(balance.degraded, balance.recovered) * (1.0 + 1e-12)
    edges = [low, *_extremes(balance, low, high), high]
    roots: list[float] = []
    for left, right in itertools.pairwise(edges):
        at_left, at_right = balance.surplus(left), balance.surplus(right)
        if at_left == 0.0:
            roots.append(left)
        elif at_left * at_right < 0.0:
            roots.append(float(brentq(balance.surplus, left, right, xtol=1e-15)))
    return tuple(roots)


def _extremes(balance: _Balance, low: float, high: float) -> list[float]:
    """Return where the surplus turns, inside (low, high): none, or its dip and its hump."""
    from scipy.optimize import brentq  # no stop needs it, and it is slow to import

    power = balance.exponent
    if power <= 1.0 or balance.recovered <= balance.degraded:
        return []
    inflection = balance.scale * ((power - 1.0) / power) ** (1.0 / power)
    if balance.surplus_slope(inflection) <= 0.0:
        return []
    dip = float(brentq(balance.surplus_slope, 0.0, inflection))
    far = inflection
    while balance.surplus_slope(far) > 0.0:
        far *= 2.0
    hump = float(brentq(balance.surplus_slope, inflection, far))
    return [turn for turn in (dip, hump) if low < turn < high]


def memoryless_adhesion(
    creepage: float,
    degraded_adhesion: float,
    recovered_adhesion: float,
    load: float,
    energy_scale: float,
    exponent: float = 1.0,
    previous: float | None = None,
) -> float:
    """Return the adhesion of the memoryless law reached continuously from a previous value.

    Parameters
    ----------
    creepage, degraded_adhesion, recovered_adhesion, load, energy_scale, exponent
        As in `memoryless_adhesions`.
    previous : float, optional   Adhesion just before; without it the contact starts uncleaned,
        from f_d. [-], >= 0

    Returns
    -------
    float   The solution the adhesion moves to when the law is read as df/dt proportional to
        right side less left side: the next one above `previous` if that is positive there, else
        the next one below.  So a branch is kept until its fold. [-]

    Raises
    ------
    InputError
        If a value is out of range.
    """
    roots = memoryless_adhesions(
        creepage, degraded_adhesion, recovered_adhesion, load, energy_scale, exponent
    )
    start = degraded_adhesion if previous is None else previous
    if not (math.isfinite(start) and start >= 0.0):
        raise InputError(f"previous = {previous!r} -: must be finite and >= 0")
    if len(roots) == 1:
        return roots[0]
    balance = _Balance(
        degraded_adhesion, recovered_adhesion, energy_scale / (load * creepage), exponent
    )
    if balance.surplus(start) >= 0.0:
        return next((root for root in roots if root >= start), roots[-1])
    return next((root for root in reversed(roots) if root <= start), roots[0])


def follow_memoryless_curve(
    creepages: Sequence[float] | FloatArray,
    degraded_adhesions: Sequence[float] | FloatArray,
    recovered_adhesions: Sequence[float] | FloatArray,
    load: float,
    energy_scale: float,
    exponent: float = 1.0,
    previous: float | None = None,
) -> FloatArray:
    """Return the adhesion along a path of creepages, each from the one before.

    Parameters
    ----------
    creepages, degraded_adhesions, recovered_adhesions : (n,) float
        The path, and f_d and f_r along it. [-]
    load, energy_scale, exponent, previous
        As in `memoryless_adhesion`; `previous` is the value before the first point.

    Returns
    -------
    (n,) float64   Adhesion. [-]  With p > 1 it depends on the direction of the path.

    Raises
    ------
    InputError
        If a value is out of range.
    """
    followed: list[float] = []
    for creepage, low, high in zip(creepages, degraded_adhesions, recovered_adhesions, strict=True):
        previous = memoryless_adhesion(
            float(creepage), float(low), float(high), load, energy_scale, exponent, previous
        )
        followed.append(previous)
    return np.array(followed)


def degraded_recovered_adhesion(
    creepages: Sequence[float] | FloatArray,
    train_speed: float,
    stiffness: float,
    load: float,
    *,
    degraded: PolachSet = DEGRADED,
    recovered: PolachSet = RECOVERED,
    energy_scale: float = DEGRADED_ENERGY_SCALE,
    exponent: float = 1.0,
) -> FloatArray:
    """Return the degraded-to-recovered adhesion along a path of creepages.

    Parameters
    ----------
    creepages : (n,) float               The path. [-], >= 0
    train_speed : float                  [m/s], > 0
    stiffness : float                    Creep stiffness G a b C11. [N], > 0
    load : float                         Wheel load. [N], > 0
    degraded, recovered : PolachSet      The two steady curves.
    energy_scale : float                 W0. [J/m], > 0
    exponent : float                     p. [-], > 0

    Returns
    -------
    (n,) float64   Adhesion. [-]

    Raises
    ------
    InputError
        If a value is out of range.

    Notes
    -----
    The default sets are values from memory, not verified; see `DEGRADED`.
    """
    path = np.asarray(creepages, dtype=np.float64)
    low = polach_adhesion(path, train_speed, stiffness, load, degraded)
    high = polach_adhesion(path, train_speed, stiffness, load, recovered)
    return follow_memoryless_curve(path, low, high, load, energy_scale, exponent)

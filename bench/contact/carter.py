"""Carter's two-dimensional rolling contact: the exact solution of a driven cylinder."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slipbench.contact.hertz import require_positive

FloatArray = NDArray[np.float64]


def carter_parameter(
    creepage: float, relative_radius: float, friction: float, semi_axis: float
) -> float:
    """Return Carter's creepage parameter kappa = |xi| R / (mu a). [-].

    Parameters
    ----------
    creepage : float          xi. [-]
    relative_radius : float   R, with 1/R = 1/R1 + 1/R2. [m], > 0
    friction : float          mu. [-], > 0
    semi_axis : float         Half-length a of the contact strip along rolling. [m], > 0

    Raises
    ------
    InputError
        If a radius, friction or semi-axis is not above zero.
    """
    radius = require_positive("relative_radius", relative_radius, "m")
    mu = require_positive("friction", friction, "-")
    return abs(creepage) * radius / (mu * require_positive("semi_axis", semi_axis, "m"))


def carter_force_ratio(kappa: ArrayLike) -> FloatArray:
    """Return F/(mu P) = 2 kappa - kappa^2, and 1 beyond kappa = 1.

    Parameters
    ----------
    kappa : (...,) float   Carter's parameter. [-], >= 0

    Returns
    -------
    (...,) float64   Tangential over limiting force, per unit width. [-]

    Notes
    -----
    Two elastically similar cylinders in plane strain; exact within half-space elasticity.

    References
    ----------
    [Carter1926] Proc. R. Soc. A 112, 151; [Johnson1985] eq. 8.7 (from memory, not verified).
    """
    limited = np.minimum(np.asarray(kappa, dtype=np.float64), 1.0)
    return limited * (2.0 - limited)


def carter_stick_half_length(kappa: ArrayLike) -> FloatArray:
    """Return the stick half-length over the contact half-length, c/a = 1 - kappa.

    Parameters
    ----------
    kappa : (...,) float   Carter's parameter. [-], >= 0

    Returns
    -------
    (...,) float64   c/a; equal to sqrt(1 - F/(mu P)). [-], 0 to 1

    Notes
    -----
    The stick zone touches the leading edge, so it spans x/a from 1 - 2 c/a to 1.
    """
    return np.maximum(1.0 - np.asarray(kappa, dtype=np.float64), 0.0)


def carter_traction(x_over_a: ArrayLike, kappa: float) -> FloatArray:
    """Return the tangential traction over mu p0 along the contact strip.

    Parameters
    ----------
    x_over_a : (n,) float   Position, +1 at the leading edge. [-], -1 to 1
    kappa : float           Carter's parameter. [-], >= 0

    Returns
    -------
    (n,) float64   q(x)/(mu p0), p0 the peak pressure. [-]

    Notes
    -----
    q = mu p0 [sqrt(1 - x^2) - (c/a) sqrt(1 - ((x - d)/c)^2)], the second root only inside the
    stick zone centred at d = a - c.
    """
    x = np.asarray(x_over_a, dtype=np.float64)
    c = float(carter_stick_half_length(kappa))
    sliding = np.sqrt(np.maximum(1.0 - x**2, 0.0))
    return sliding - np.sqrt(np.maximum(c**2 - (x - (1.0 - c)) ** 2, 0.0))


def carter_traction_ratio(normalised_creepage: ArrayLike) -> FloatArray:
    """Return F/(mu N) of Carter's law against tau, here tau = 2 kappa.

    Parameters
    ----------
    normalised_creepage : (...,) float   Linear force over mu N. [-], either sign

    Returns
    -------
    (...,) float64   Signed like tau: tau - tau^2/4, and 1 beyond tau = 2. [-]
    """
    tau = np.asarray(normalised_creepage, dtype=np.float64)
    return np.sign(tau) * carter_force_ratio(0.5 * np.abs(tau))

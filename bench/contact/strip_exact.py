"""Closed forms of Kalker's simplified theory in pure creepage, to check the strip algorithm."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

FULL_SLIP_TAU = 32.0 / (3.0 * math.pi)
"""Least tau at which the whole patch slips in pure creepage. [-]"""


def strip_force_ratio_exact(normalised_creepage: ArrayLike) -> FloatArray:
    """Return the closed-form F/(mu N) of the simplified theory in pure creepage.

    Parameters
    ----------
    normalised_creepage : (...,) float   tau. [-], either sign

    Returns
    -------
    (...,) float64   Signed like tau; 1 beyond tau = 32/(3 pi) = 3.395. [-]

    Notes
    -----
    Derived: delta = (3 pi/32) tau is the slip width over the patch length 2a; the slip zone is a
    trailing strip of that constant width.
    """
    tau = np.asarray(normalised_creepage, dtype=np.float64)
    delta = np.minimum(np.abs(tau) / FULL_SLIP_TAU, 1.0)
    root = np.sqrt(1.0 - delta**2)
    bracket = (
        0.5 * np.arcsin(delta)
        + 13.0 / 6.0 * delta * root
        + delta**3 * root / 3.0
        - 2.0 * delta**2 * np.arccos(delta)
    )
    ratio: FloatArray = np.sign(tau) * (4.0 / math.pi) * bracket
    return ratio


def strip_stick_fraction_exact(normalised_creepage: ArrayLike) -> FloatArray:
    """Return the closed-form stick area over the patch area in pure creepage.

    Parameters
    ----------
    normalised_creepage : (...,) float   tau. [-], either sign

    Returns
    -------
    (...,) float64   (2/pi)[acos(delta) - delta sqrt(1 - delta^2)]. [-]
    """
    tau = np.abs(np.asarray(normalised_creepage, dtype=np.float64))
    delta = np.minimum(tau / FULL_SLIP_TAU, 1.0)
    fraction: FloatArray = (2.0 / math.pi) * (np.arccos(delta) - delta * np.sqrt(1.0 - delta**2))
    return fraction

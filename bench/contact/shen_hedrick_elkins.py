"""Shen, Hedrick and Elkins' law: Kalker's linear force with spin, limited by one curve."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slipbench.contact.rolling import Creepages, CreepForces, RollingContact

FloatArray = NDArray[np.float64]


def saturation_factor(linear_ratio: ArrayLike) -> FloatArray:
    """Return the factor that limits the linear force: 1 - e/3 + e^2/27, and 1/e beyond e = 3.

    Parameters
    ----------
    linear_ratio : (...,) float   e = |linear force| / (mu N). [-], >= 0

    Returns
    -------
    (...,) float64   Limited over linear force. [-], 0 to 1

    References
    ----------
    [ShenHedrickElkins1983] Proc. 8th IAVSD Symposium, MIT (formula from memory, not verified).
    """
    e = np.asarray(linear_ratio, dtype=np.float64)
    inside = np.minimum(e, 3.0)
    return np.where(e <= 3.0, 1.0 - inside / 3.0 + inside**2 / 27.0, 1.0 / np.maximum(e, 3.0))


def shen_hedrick_elkins_traction_ratio(normalised_creepage: ArrayLike) -> FloatArray:
    """Return F/(mu N) in pure longitudinal creepage; the Vermeulen-Johnson curve.

    Parameters
    ----------
    normalised_creepage : (...,) float   tau, linear force over mu N. [-], either sign

    Returns
    -------
    (...,) float64   Signed like tau. [-]
    """
    tau = np.asarray(normalised_creepage, dtype=np.float64)
    return tau * saturation_factor(np.abs(tau))


def shen_hedrick_elkins_forces(contact: RollingContact, creepages: Creepages) -> CreepForces:
    """Return Fx and Fy: the linear forces, spin included, times one saturation factor.

    Parameters
    ----------
    contact : RollingContact   Patch, material and friction.
    creepages : Creepages      Longitudinal, lateral [-] and spin [1/m].

    Returns
    -------
    CreepForces   [N]

    Notes
    -----
    Small spin only: with much spin the law gives a force where none can be, since the lateral
    force of spin falls again as slip spreads and the factor cannot show it.
    """
    linear = contact.linear_forces(creepages)
    size = math.hypot(linear.longitudinal, linear.lateral)
    factor = float(saturation_factor(size / contact.friction_limit))
    return CreepForces(factor * linear.longitudinal, factor * linear.lateral)

"""Vermeulen and Johnson's law: an elliptic patch with an elliptic stick zone, no spin."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slipbench.contact.rolling import (
    Creepages,
    CreepForces,
    RollingContact,
    limited_forces,
    refuse_spin,
)

FloatArray = NDArray[np.float64]


def vermeulen_johnson_traction_ratio(normalised_creepage: ArrayLike) -> FloatArray:
    """Return F/(mu N) = 1 - (1 - tau/3)^3, and 1 beyond tau = 3.

    Parameters
    ----------
    normalised_creepage : (...,) float   tau, linear force over mu N. [-], either sign

    Returns
    -------
    (...,) float64   Signed like tau. [-]

    Notes
    -----
    Equals Kalker's simplified theory on a single strip at tau = 3 delta, delta the slip length
    over the strip length.

    References
    ----------
    [VermeulenJohnson1964] J. Appl. Mech. 31, 338 (from memory, not verified).
    """
    tau = np.asarray(normalised_creepage, dtype=np.float64)
    stick = np.maximum(1.0 - np.abs(tau) / 3.0, 0.0)
    return np.sign(tau) * (1.0 - stick**3)


def vermeulen_johnson_forces(contact: RollingContact, creepages: Creepages) -> CreepForces:
    """Return Fx and Fy of Vermeulen and Johnson's law with Kalker's coefficients.

    Parameters
    ----------
    contact : RollingContact   Patch, material and friction.
    creepages : Creepages      Longitudinal and lateral creepage. [-]; spin must be 0

    Returns
    -------
    CreepForces   [N]

    Raises
    ------
    InputError
        If spin is not zero.

    Notes
    -----
    The 1964 paper has its own coefficients; Kalker's replace them, as is common since (memory).
    """
    refuse_spin("vermeulen_johnson", creepages)
    tau_x, tau_y, _ = contact.normalise(creepages)
    ratio = float(vermeulen_johnson_traction_ratio(math.hypot(tau_x, tau_y)))
    return limited_forces(contact.linear_forces(creepages), ratio, contact.friction_limit)

"""Polach's law for large creep: reduction factors and friction falling with slip speed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slipbench.contact.hertz import require_positive
from slipbench.contact.rolling import (
    Creepages,
    CreepForces,
    RollingContact,
    limited_forces,
    refuse_spin,
)
from slipbench.ground.errors import InputError

FloatArray = NDArray[np.float64]

MONOTONE_REDUCTION_RATIO = 0.1317
"""Least kS/kA for which the curve at constant friction never falls (computed)."""


@dataclass(frozen=True)
class PolachSet:
    """One parameter set of Polach's law.

    Attributes
    ----------
    name : str                   What rail it stands for.
    adhesion_reduction : float   kA, reduction in the area of adhesion. [-], 0 < kA <= 1
    slip_reduction : float       kS, reduction in the area of slip. [-], 0 < kS <= kA
    friction : float             mu0, friction at vanishing slip speed. [-], > 0
    friction_ratio : float       A = mu_inf/mu0. [-], 0 to 1
    friction_decay : float       B, decay of friction with slip speed. [s/m], >= 0
    source : str                 Where the values come from, with their mark.

    Raises
    ------
    InputError
        If a value is out of range.
    """

    name: str
    adhesion_reduction: float
    slip_reduction: float
    friction: float
    friction_ratio: float
    friction_decay: float
    source: str

    def __post_init__(self) -> None:
        check_reductions(self.adhesion_reduction, self.slip_reduction)
        require_positive("friction", self.friction, "-")
        _check_falling(self.friction_ratio, self.friction_decay)


def check_reductions(adhesion_reduction: float, slip_reduction: float) -> None:
    """Refuse reduction factors outside 0 < kS <= kA <= 1.

    Raises
    ------
    InputError
        If the factors are out of range or order.
    """
    if not 0.0 < slip_reduction <= adhesion_reduction <= 1.0:
        raise InputError(
            f"slip_reduction = {slip_reduction!r}, adhesion_reduction = {adhesion_reduction!r} -: "
            "allowed are 0 < slip_reduction <= adhesion_reduction <= 1"
        )


def _check_falling(friction_ratio: float, friction_decay: float) -> None:
    """Refuse a friction ratio outside 0 to 1 or a negative decay."""
    if not 0.0 <= friction_ratio <= 1.0:
        raise InputError(f"friction_ratio = {friction_ratio!r} -: must lie between 0 and 1")
    if not (math.isfinite(friction_decay) and friction_decay >= 0.0):
        raise InputError(f"friction_decay = {friction_decay!r} s/m: must be finite and >= 0")


_TABLE_2005 = (
    "Polach, Wear 258 (2005) 992-1000, recommended-parameter table: value from memory, not verified"
)
POLACH_DRY = PolachSet("dry", 1.0, 0.4, 0.55, 0.40, 0.60, _TABLE_2005)
POLACH_WET = PolachSet("wet", 0.3, 0.1, 0.30, 0.40, 0.20, _TABLE_2005)
POLACH_SETS = {one.name: one for one in (POLACH_DRY, POLACH_WET)}
"""Dry and wet only: no low-adhesion set of that paper could be verified."""


def falling_friction(
    slip_speed: ArrayLike, friction: float, friction_ratio: float, friction_decay: float
) -> FloatArray:
    """Return mu = mu0 [(1 - A) exp(-B w) + A], friction falling with slip speed.

    Parameters
    ----------
    slip_speed : (...,) float   w, sliding speed in the contact; its sign does not matter. [m/s]
    friction : float            mu0. [-], > 0
    friction_ratio : float      A = mu_inf/mu0. [-], 0 to 1
    friction_decay : float      B. [s/m], >= 0

    Returns
    -------
    (...,) float64   Friction coefficient. [-]

    Raises
    ------
    InputError
        If a parameter is out of range.

    References
    ----------
    [Polach2005] Wear 258, 992-1000 (the law is printed there; published).
    """
    mu0 = require_positive("friction", friction, "-")
    _check_falling(friction_ratio, friction_decay)
    w = np.abs(np.asarray(slip_speed, dtype=np.float64))
    return mu0 * ((1.0 - friction_ratio) * np.exp(-friction_decay * w) + friction_ratio)


def polach_traction_ratio(
    normalised_creepage: ArrayLike,
    *,
    adhesion_reduction: float = 1.0,
    slip_reduction: float = 1.0,
) -> FloatArray:
    """Return F/(mu N) = (2/pi) [kA e/(1 + (kA e)^2) + atan(kS e)], e = (pi/4) tau.

    Parameters
    ----------
    normalised_creepage : (...,) float   tau, linear force over mu N. [-], either sign
    adhesion_reduction : float           kA. [-], 0 < kA <= 1
    slip_reduction : float               kS. [-], 0 < kS <= kA

    Returns
    -------
    (...,) float64   Signed like tau; reaches 1 only as tau -> infinity. [-]

    Raises
    ------
    InputError
        If the factors are out of range.

    Notes
    -----
    Initial slope (kA + kS)/2.  Without reduction the curve is Polach's eq. (2), printed in the
    2005 paper; the kA, kS form is from memory, not verified.  At constant friction the curve
    never falls if kS/kA >= `MONOTONE_REDUCTION_RATIO`; below, it has a hump.

    References
    ----------
    [Polach2005] Wear 258, 992-1000, eqs (2), (3).
    """
    check_reductions(adhesion_reduction, slip_reduction)
    gradient = 0.25 * math.pi * np.asarray(normalised_creepage, dtype=np.float64)
    adhesive = adhesion_reduction * gradient
    sliding = np.arctan(slip_reduction * gradient)
    return (2.0 / math.pi) * (adhesive / (1.0 + adhesive**2) + sliding)


def polach_adhesion(
    creepage: ArrayLike,
    train_speed: float,
    stiffness: float,
    load: float,
    parameters: PolachSet,
) -> FloatArray:
    """Return the adhesion f = F/N of Polach's law with falling friction.

    Parameters
    ----------
    creepage : (...,) float   xi, pure longitudinal. [-], either sign
    train_speed : float       v; the slip speed is w = |xi| v. [m/s], > 0
    stiffness : float         G a b C11 of the contact. [N], > 0
    load : float              N. [N], > 0
    parameters : PolachSet    Reduction factors and friction law.

    Returns
    -------
    (...,) float64   Signed like the creepage. [-]

    Raises
    ------
    InputError
        If a value is out of range.

    Notes
    -----
    The same falling friction stands before the bracket and inside the gradient e.
    """
    xi = np.asarray(creepage, dtype=np.float64)
    speed = require_positive("train_speed", train_speed, "m/s")
    mu = falling_friction(
        xi * speed, parameters.friction, parameters.friction_ratio, parameters.friction_decay
    )
    slope = require_positive("stiffness", stiffness, "N") / require_positive("load", load, "N")
    return mu * polach_traction_ratio(
        slope * xi / mu,
        adhesion_reduction=parameters.adhesion_reduction,
        slip_reduction=parameters.slip_reduction,
    )


def polach_forces(
    contact: RollingContact,
    creepages: Creepages,
    *,
    adhesion_reduction: float = 1.0,
    slip_reduction: float = 1.0,
) -> CreepForces:
    """Return Fx and Fy at constant friction, along the linear force.

    Parameters
    ----------
    contact : RollingContact     Patch, material and friction.
    creepages : Creepages        Longitudinal and lateral creepage. [-]; spin must be 0
    adhesion_reduction : float   kA. [-], 0 < kA <= 1
    slip_reduction : float       kS. [-], 0 < kS <= kA

    Returns
    -------
    CreepForces   [N]

    Raises
    ------
    InputError
        If a factor is out of range or spin is not zero.

    Notes
    -----
    Polach's own treatment of spin is left out: its formulas could not be verified.
    """
    refuse_spin("polach", creepages)
    tau_x, tau_y, _ = contact.normalise(creepages)
    ratio = polach_traction_ratio(
        math.hypot(tau_x, tau_y),
        adhesion_reduction=adhesion_reduction,
        slip_reduction=slip_reduction,
    )
    return limited_forces(contact.linear_forces(creepages), float(ratio), contact.friction_limit)

"""What every three-component creep law takes and gives: contact, creepages, forces."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from slipbench.contact.hertz import ContactPatch, require_positive, shear_modulus
from slipbench.contact.kalker import KalkerCoefficients, kalker_coefficients
from slipbench.ground.errors import InputError


class Creepages(NamedTuple):
    """Rigid slip of the wheel over the rail, divided by rolling speed.

    Attributes
    ----------
    longitudinal : float   xi, positive when the rim slides forward over the rail (braking). [-]
    lateral : float        eta, positive along +y. [-]
    spin : float           phi, rotation about the contact normal. [1/m]
    """

    longitudinal: float
    lateral: float = 0.0
    spin: float = 0.0


class CreepForces(NamedTuple):
    """Tangential force of the rail on the wheel; opposes the creepages.

    Attributes
    ----------
    longitudinal : float   Fx, negative when braking. [N]
    lateral : float        Fy. [N]
    """

    longitudinal: float
    lateral: float


class NormalisedCreepages(NamedTuple):
    """Linear (Kalker) forces of each creepage over mu N, signed like the creepage.

    Attributes
    ----------
    longitudinal : float   tau = G a b C11 xi / (mu N). [-]
    lateral : float        G a b C22 eta / (mu N). [-]
    spin : float           G (a b)^1.5 C23 phi / (mu N). [-]
    """

    longitudinal: float
    lateral: float = 0.0
    spin: float = 0.0


@dataclass(frozen=True)
class RollingContact:
    """A loaded, rolling, frictional contact of two bodies of the same material.

    Attributes
    ----------
    patch : ContactPatch                Ellipse and load.
    coefficients : KalkerCoefficients   C11, C22, C23, C33 at the patch's axis ratio.
    shear_modulus : float               G. [Pa]
    friction : float                    Coulomb coefficient mu. [-]
    """

    patch: ContactPatch
    coefficients: KalkerCoefficients
    shear_modulus: float
    friction: float

    @property
    def friction_limit(self) -> float:
        """Largest tangential force mu N. [N]."""
        return self.friction * self.patch.load

    @property
    def stiffness(self) -> float:
        """Longitudinal creep stiffness G a b C11. [N]."""
        a, b = self.patch.semi_axis_rolling, self.patch.semi_axis_lateral
        return self.shear_modulus * a * b * self.coefficients.c11

    def normalise(self, creepages: Creepages) -> NormalisedCreepages:
        """Return each creepage as its linear force over mu N. [-]."""
        a_b = self.patch.semi_axis_rolling * self.patch.semi_axis_lateral
        scale = self.shear_modulus * a_b / self.friction_limit
        return NormalisedCreepages(
            scale * self.coefficients.c11 * creepages.longitudinal,
            scale * self.coefficients.c22 * creepages.lateral,
            scale * math.sqrt(a_b) * self.coefficients.c23 * creepages.spin,
        )

    def linear_forces(self, creepages: Creepages) -> CreepForces:
        """Return Kalker's linear forces, not limited by friction. [N]."""
        normalised = self.normalise(creepages)
        return CreepForces(
            -self.friction_limit * normalised.longitudinal,
            -self.friction_limit * (normalised.lateral + normalised.spin),
        )


def rolling_contact(
    patch: ContactPatch,
    friction: float,
    *,
    elastic_modulus: float = 210e9,
    poisson_ratio: float = 0.28,
) -> RollingContact:
    """Return the rolling contact of a patch at a friction level.

    Parameters
    ----------
    patch : ContactPatch      Ellipse and load.
    friction : float          Coulomb coefficient mu. [-], > 0
    elastic_modulus : float   Young's modulus of both bodies. [Pa], > 0
    poisson_ratio : float     Poisson's ratio of both bodies. [-], 0 to 0.5

    Raises
    ------
    InputError
        If a value is out of range.
    """
    return RollingContact(
        patch,
        kalker_coefficients(patch.axis_ratio, poisson_ratio),
        shear_modulus(elastic_modulus, poisson_ratio),
        require_positive("friction", friction, "-"),
    )


def refuse_spin(law: str, creepages: Creepages) -> None:
    """Refuse spin for a law that has none.

    Raises
    ------
    InputError
        If the spin creepage is not zero.
    """
    if creepages.spin != 0.0:
        raise InputError(f"spin = {creepages.spin!r} 1/m: the law {law!r} has no spin; allowed: 0")


def limited_forces(linear: CreepForces, force_ratio: float, friction_limit: float) -> CreepForces:
    """Return a force of size force_ratio x mu N along the linear force. [N]."""
    size = math.hypot(linear.longitudinal, linear.lateral)
    if size == 0.0:
        return CreepForces(0.0, 0.0)
    scale = force_ratio * friction_limit / size
    return CreepForces(scale * linear.longitudinal, scale * linear.lateral)

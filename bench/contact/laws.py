"""The one registry of creep laws, and the two calls that are common to them."""

from __future__ import annotations

import difflib
import inspect
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slipbench.contact.carter import carter_traction_ratio
from slipbench.contact.measured import measured_traction_ratio
from slipbench.contact.polach import polach_forces, polach_traction_ratio
from slipbench.contact.rolling import Creepages, CreepForces, RollingContact
from slipbench.contact.shen_hedrick_elkins import (
    shen_hedrick_elkins_forces,
    shen_hedrick_elkins_traction_ratio,
)
from slipbench.contact.strip import strip_forces, strip_traction_ratio
from slipbench.contact.vermeulen_johnson import (
    vermeulen_johnson_forces,
    vermeulen_johnson_traction_ratio,
)
from slipbench.ground.errors import InputError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class CreepLaw:
    """One creep law and what is known of it.

    Attributes
    ----------
    name : str                       Name in the registry.
    traction_ratio : callable        (tau, **options) -> F/(mu N), pure longitudinal creepage.
    forces : callable or None        (contact, creepages, **options) -> CreepForces; None if the
        law has no lateral force.
    has_spin : bool                  Whether `forces` accepts spin.
    source : str                     Publication, with the mark of what was taken from it.
    validity : str                   Where the law holds.
    """

    name: str
    traction_ratio: Callable[..., FloatArray]
    forces: Callable[..., CreepForces] | None
    has_spin: bool
    source: str
    validity: str

    @property
    def options(self) -> tuple[str, ...]:
        """Names of the options `traction_ratio` takes."""
        return _keyword_names(self.traction_ratio)


def _keyword_names(function: Callable[..., object]) -> tuple[str, ...]:
    parameters = inspect.signature(function).parameters.values()
    return tuple(one.name for one in parameters if one.kind is one.KEYWORD_ONLY)


_ALL = (
    CreepLaw(
        "carter",
        carter_traction_ratio,
        None,
        False,
        "Carter, Proc. R. Soc. A 112 (1926) 151; Johnson 1985, eq. 8.7 (memory)",
        "two dimensions: patch much wider than long (a/b -> 0), longitudinal creepage only",
    ),
    CreepLaw(
        "vermeulen_johnson",
        vermeulen_johnson_traction_ratio,
        vermeulen_johnson_forces,
        False,
        "Vermeulen and Johnson, J. Appl. Mech. 31 (1964) 338 (memory)",
        "elliptic patch, longitudinal and lateral creepage, no spin, constant friction",
    ),
    CreepLaw(
        "shen_hedrick_elkins",
        shen_hedrick_elkins_traction_ratio,
        shen_hedrick_elkins_forces,
        True,
        "Shen, Hedrick and Elkins, 8th IAVSD Symposium, MIT (1983) (formula from memory)",
        "elliptic patch, small spin, constant friction",
    ),
    CreepLaw(
        "polach",
        polach_traction_ratio,
        polach_forces,
        False,
        "Polach, Wear 258 (2005) 992-1000, eqs (2), (3) (published); kA, kS form (memory)",
        "elliptic patch, large creep; spin left out",
    ),
    CreepLaw(
        "strip",
        strip_traction_ratio,
        strip_forces,
        True,
        "Kalker, Veh. Syst. Dyn. 11 (1982) 1-13 (memory, linear coefficients recomputed)",
        "elliptic patch, any creepages, constant friction; forces within about 10-15 % of full "
        "theory (memory), 3.6 % in pure longitudinal creepage (computed)",
    ),
    CreepLaw(
        "measured",
        measured_traction_ratio,
        None,
        False,
        "the user's file",
        "the creepages and speeds measured; longitudinal creepage only",
    ),
)
CREEP_LAWS: dict[str, CreepLaw] = {law.name: law for law in _ALL}


def creep_law(name: str) -> CreepLaw:
    """Return a law of the registry by name.

    Raises
    ------
    InputError
        If no law has this name; the message gives the nearest names.
    """
    if name in CREEP_LAWS:
        return CREEP_LAWS[name]
    nearest = difflib.get_close_matches(name, CREEP_LAWS, n=2) or list(CREEP_LAWS)
    raise InputError(f"creep law {name!r} is not known; nearest: {', '.join(nearest)}")


def _check_options(name: str, function: Callable[..., object], options: dict[str, object]) -> None:
    allowed = _keyword_names(function)
    for key in options:
        if key not in allowed:
            listed = ", ".join(allowed) or "none"
            raise InputError(f"option {key!r} of creep law {name!r} is not known; has: {listed}")


def traction_ratio(law_name: str, normalised_creepage: ArrayLike, **options: object) -> FloatArray:
    """Return F/(mu N) of a law in pure longitudinal creepage.

    Parameters
    ----------
    law_name : str                       A name in `CREEP_LAWS`.
    normalised_creepage : (...,) float   tau = G a b C11 xi/(mu N). [-], either sign
    **options                            The law's own options, see `CreepLaw.options`.

    Returns
    -------
    (...,) float64   Signed like tau. [-]

    Raises
    ------
    InputError
        If the law or an option is not known, tau is not finite, or an option is out of range.
    """
    law = creep_law(law_name)
    _check_options(law_name, law.traction_ratio, options)
    if law_name == "measured" and "curve" not in options:
        raise InputError("creep law 'measured' needs the option 'curve', a MeasuredCurve")
    tau = np.asarray(normalised_creepage, dtype=np.float64)
    if not np.all(np.isfinite(tau)):
        raise InputError("normalised_creepage [-]: must be finite")
    return law.traction_ratio(tau, **options)


def creep_forces(
    law_name: str, contact: RollingContact, creepages: Creepages, **options: object
) -> CreepForces:
    """Return Fx and Fy of a law for longitudinal and lateral creepage and spin.

    Parameters
    ----------
    law_name : str             A name in `CREEP_LAWS` whose law has `forces`.
    contact : RollingContact   Patch, material and friction.
    creepages : Creepages      Longitudinal, lateral [-] and spin [1/m].
    **options                  The law's own options.

    Returns
    -------
    CreepForces   [N]

    Raises
    ------
    InputError
        If the law is not known, has no lateral force or no spin, or an option is not known.
    """
    law = creep_law(law_name)
    if law.forces is None:
        having = ", ".join(one.name for one in CREEP_LAWS.values() if one.forces)
        raise InputError(f"creep law {law_name!r} has longitudinal force only; use: {having}")
    _check_options(law_name, law.forces, options)
    return law.forces(contact, creepages, **options)

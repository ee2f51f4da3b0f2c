"""Adhesion against train speed: the classical fits and the design caps of regulations.

The formulas are printed for V in km/h; here every function takes the train speed in m/s.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slipbench.ground.errors import InputError

FloatArray = NDArray[np.float64]

_KMH = 3.6


@dataclass(frozen=True)
class AdhesionFormula:
    """One adhesion-against-speed formula and what is known of it.

    Attributes
    ----------
    name : str            Name in the registry.
    formula : str         As printed, V in km/h.
    use : str             What it was made for.
    validity : str        Where it holds.
    mark : str            published, secondary or memory.
    source : str          Where it was seen.
    function : callable   V in km/h -> adhesion [-].
    """

    name: str
    formula: str
    use: str
    validity: str
    mark: str
    source: str
    function: Callable[[FloatArray], FloatArray]


def _hyperbola(numerator: float, shift: float, floor: float, speed_kmh: FloatArray) -> FloatArray:
    value: FloatArray = numerator / (speed_kmh + shift) + floor
    return value


def _ratio(start: float, above: float, below: float, speed_kmh: FloatArray) -> FloatArray:
    value: FloatArray = start * (1.0 + above * speed_kmh) / (1.0 + below * speed_kmh)
    return value


def _polyline(
    speeds_kmh: tuple[float, ...], values: tuple[float, ...], speed_kmh: FloatArray
) -> FloatArray:
    return np.asarray(np.interp(speed_kmh, speeds_kmh, values), dtype=np.float64)


_NOTES = "seen in secondary notes citing the OTIF UTP and doi 10.3390/eng5030086"
_JAPAN = "Japanese encyclopedia article on planned adhesion coefficients"
_LOWER_BOUND = "lower-bound fit that includes wet rail and leading cars"
_TSI = "TSI LOC&PAS 4.2.4.6.1"
_TSI_VALIDITY = "30 to 250 km/h, falling linearly by .05 to 350 km/h; check the text before use"


def _tsi(name: str, cap: float, use: str) -> AdhesionFormula:
    return AdhesionFormula(
        name,
        f"{cap:g} to 250 km/h, then linear to {cap - 0.05:g} at 350 km/h",
        use,
        _TSI_VALIDITY,
        "memory",
        _TSI,
        partial(_polyline, (250.0, 350.0), (cap, cap - 0.05)),
    )


_ALL = (
    AdhesionFormula(
        "curtius_kniffler_dry",
        "7.5/(V+44) + .161",
        "traction, dry rail",
        "mainly up to 160 km/h",
        "secondary",
        f"Curtius and Kniffler; {_NOTES}",
        partial(_hyperbola, 7.5, 44.0, 0.161),
    ),
    AdhesionFormula(
        "curtius_kniffler_wet",
        "7.5/(V+44) + .13",
        "traction, wet rail",
        "mainly up to 160 km/h",
        "secondary",
        f"Curtius and Kniffler; {_NOTES}",
        partial(_hyperbola, 7.5, 44.0, 0.13),
    ),
    AdhesionFormula(
        "kother",
        "9/(V+42) + .116",
        "traction",
        "not known",
        "memory",
        "Kother",
        partial(_hyperbola, 9.0, 42.0, 0.116),
    ),
    AdhesionFormula(
        "shinkansen",
        "13.6/(V+85)",
        "planning of high-speed electric multiple units, traction and braking",
        "high speed; planning value",
        "published",
        f"{_JAPAN}; Saito, Railway Journal 2004/10 (seen second-hand)",
        partial(_hyperbola, 13.6, 85.0, 0.0),
    ),
    AdhesionFormula(
        "jr_dc_locomotive",
        ".265 (1+.403V)/(1+.522V)",
        "traction of DC and AC/DC locomotives",
        _LOWER_BOUND,
        "published",
        _JAPAN,
        partial(_ratio, 0.265, 0.403, 0.522),
    ),
    AdhesionFormula(
        "jr_ac_locomotive",
        ".326 (1+.279V)/(1+.367V)",
        "traction of AC locomotives",
        _LOWER_BOUND,
        "published",
        _JAPAN,
        partial(_ratio, 0.326, 0.279, 0.367),
    ),
    AdhesionFormula(
        "jr_multiple_unit",
        ".245 (1+.05V)/(1+.1V)",
        "traction of narrow-gauge electric multiple units",
        _LOWER_BOUND,
        "published",
        _JAPAN,
        partial(_ratio, 0.245, 0.05, 0.1),
    ),
    AdhesionFormula(
        "jr_braking",
        ".200/(1+.0059V)",
        "braking",
        f"{_LOWER_BOUND}; listed with the DC locomotive row, its span there is unclear",
        "published",
        _JAPAN,
        partial(_ratio, 0.200, 0.0, 0.0059),
    ),
    AdhesionFormula(
        "koffman_dry",
        ".25",
        "braking, dry rail; wet rail about .6 of it",
        "up to 40-50 mph",
        "published",
        "Koffman 1948 (library abstract)",
        partial(_polyline, (0.0, 80.0), (0.25, 0.25)),
    ),
    AdhesionFormula(
        "utp_traction_cap",
        ".30 at 0, .275 at 100, .19 at 200, .10 at 300 km/h",
        "design cap on traction",
        "0 to 300 km/h; straight lines between the four values are assumed",
        "secondary",
        f"UTP LOC&PAS 4.2.8.1.2; {_NOTES}",
        partial(_polyline, (0.0, 100.0, 200.0, 300.0), (0.30, 0.275, 0.19, 0.10)),
    ),
    _tsi("tsi_braking_cap", 0.15, "design cap on braking demand"),
    _tsi("tsi_braking_cap_few_axles", 0.13, "design cap on braking demand, up to 7 axles"),
    _tsi("tsi_braking_cap_many_axles", 0.17, "design cap on braking demand, 20 axles or more"),
)
ADHESION_FORMULAS: dict[str, AdhesionFormula] = {one.name: one for one in _ALL}


def adhesion_at_speed(formula_name: str, train_speed: ArrayLike) -> FloatArray:
    """Return the adhesion of a named formula at a train speed.

    Parameters
    ----------
    formula_name : str          A name in `ADHESION_FORMULAS`.
    train_speed : (...,) float  [m/s], >= 0

    Returns
    -------
    (...,) float64   Adhesion, force over load. [-]

    Raises
    ------
    InputError
        If the name is not known or a speed is negative or not finite.

    Notes
    -----
    No answer is refused for being outside a formula's range: see its `validity`.  Caps given at
    a few speeds are held constant outside them.
    """
    if formula_name not in ADHESION_FORMULAS:
        nearest = difflib.get_close_matches(formula_name, ADHESION_FORMULAS, n=2)
        listed = ", ".join(nearest or ADHESION_FORMULAS)
        raise InputError(f"adhesion formula {formula_name!r} is not known; nearest: {listed}")
    speed = np.asarray(train_speed, dtype=np.float64)
    if not np.all(np.isfinite(speed) & (speed >= 0.0)):
        raise InputError(f"train_speed = {train_speed!r} m/s: must be finite and >= 0")
    return ADHESION_FORMULAS[formula_name].function(speed * _KMH)

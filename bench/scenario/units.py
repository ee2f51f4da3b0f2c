"""Units a scenario file may use, and their conversion to SI.

A TOML key is the field name, an underscore and a unit suffix (`build_up_time_s`). This module is
the only place in the project that knows any unit but SI.
"""

import math
import re
from typing import NamedTuple

from slipbench.ground.errors import InputError
from slipbench.ground.telling import shown

STANDARD_GRAVITY = 9.80665  # m/s2, exact by definition


class Unit(NamedTuple):
    """One unit: `SI value = value * multiplier / divisor`.

    Two factors instead of one, so that 35 ms becomes exactly the float 0.035 s.
    """

    suffix: str
    text: str
    multiplier: float = 1.0
    divisor: float = 1.0

    def to_si(self, value: float) -> float:
        """Return `value`, given in this unit, in SI."""
        return value * self.multiplier / self.divisor

    def from_si(self, value: float) -> float:
        """Return the SI `value` in this unit."""
        return value * self.divisor / self.multiplier


# The first unit of each dimension is the SI one.
DIMENSIONS: dict[str, tuple[Unit, ...]] = {
    "speed": (
        Unit("m_per_s", "m/s"),
        Unit("kmh", "km/h", 1.0, 3.6),
        Unit("mph", "mph", 0.44704),
    ),
    "length": (
        Unit("m", "m"),
        Unit("mm", "mm", 1.0, 1e3),
        Unit("km", "km", 1e3),
        Unit("yd", "yd", 0.9144),
        Unit("mile", "mile", 1609.344),
    ),
    "mass": (Unit("kg", "kg"), Unit("t", "t", 1e3)),
    "time": (Unit("s", "s"), Unit("ms", "ms", 1.0, 1e3), Unit("us", "us", 1.0, 1e6)),
    "pressure": (Unit("pa", "Pa"), Unit("kpa", "kPa", 1e3), Unit("bar", "bar", 1e5)),
    "pressure_rate": (Unit("pa_per_s", "Pa/s"), Unit("bar_per_s", "bar/s", 1e5)),
    "acceleration": (
        Unit("m_per_s2", "m/s2"),
        Unit("percent_g", "%g", STANDARD_GRAVITY, 100.0),
    ),
    "jerk": (Unit("m_per_s3", "m/s3"),),
    "force": (Unit("n", "N"), Unit("kn", "kN", 1e3)),
    "power": (Unit("w", "W"), Unit("kw", "kW", 1e3)),
    "work_per_length": (Unit("j_per_m", "J/m"), Unit("kj_per_m", "kJ/m", 1e3)),
    "mass_rate": (
        Unit("kg_per_s", "kg/s"),
        Unit("g_per_s", "g/s", 1.0, 1e3),
        Unit("kg_per_min", "kg/min", 1.0, 60.0),
    ),
    "air_flow": (
        Unit("m3_per_s", "normal m3/s"),  # at 20 degrees C and 100 kPa
        Unit("nl_per_min", "NL/min", 1.0, 6e4),
    ),
    "mass_per_length": (Unit("kg_per_m", "kg/m"), Unit("g_per_m", "g/m", 1.0, 1e3)),
    "modulus": (Unit("pa", "Pa"), Unit("gpa", "GPa", 1e9)),
    "volume": (Unit("m3", "m3"), Unit("l", "l", 1.0, 1e3)),
    "conductance": (
        Unit("m3_per_s_pa", "m3/(s Pa)"),
        Unit("l_per_s_bar", "l/(s bar)", 1.0, 1e8),
    ),
    "inverse_temperature": (Unit("per_k", "1/K"),),
    "heat_capacity": (Unit("j_per_k", "J/K"), Unit("kj_per_k", "kJ/K", 1e3)),
    "cooling": (Unit("w_per_k", "W/K"),),
    "cooling_by_speed": (Unit("w_s_per_k_m", "W s/(K m)"),),
    "inertia": (Unit("kg_m2", "kg m2"),),
    "inverse_speed": (Unit("s_per_m", "s/m"),),
    "inverse_time": (Unit("per_s", "1/s"),),
    "inverse_length": (Unit("per_m", "1/m"),),
    "slope": (
        Unit("ratio", "-"),
        Unit("percent", "%", 1.0, 1e2),
        Unit("permille", "permille", 1.0, 1e3),
    ),
    "ratio": (Unit("", "-"),),
    "count": (Unit("", ""),),
}

ALL_SUFFIXES: frozenset[str] = frozenset(
    unit.suffix for units in DIMENSIONS.values() for unit in units if unit.suffix
)

_PRACTICAL = {
    "speed": "mph", "mass": "t", "pressure": "bar", "pressure_rate": "bar_per_s",
    "work_per_length": "kj_per_m", "mass_rate": "kg_per_min", "air_flow": "nl_per_min",
    "mass_per_length": "g_per_m", "modulus": "gpa", "volume": "l", "conductance": "l_per_s_bar",
    "heat_capacity": "kj_per_k", "slope": "permille",
}  # fmt: skip
"""Units other than SI in which a practitioner would give a dimension."""

_SPEED_UNITS = {"mph": "mph", "km/h": "kmh", "kmh": "kmh", "m/s": "m_per_s"}
_NUMBER = r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*"
_SPEED_PATTERN = re.compile(_NUMBER + r"(\S*)\s*", re.ASCII)
_VALUE_PATTERN = re.compile(_NUMBER + r"(.*?)\s*", re.ASCII)
_SHARES = {"%": Unit("percent", "%", 1.0, 1e2), "percent": Unit("percent", "%", 1.0, 1e2)}
"""Other ways to write a plain ratio on a command line."""


def unit_of(dimension: str, suffix: str) -> Unit | None:
    """Return the unit with `suffix` in `dimension`, or None if the dimension has none such."""
    return next((unit for unit in DIMENSIONS[dimension] if unit.suffix == suffix), None)


def si_unit(dimension: str) -> Unit:
    """Return the SI unit of `dimension`."""
    return DIMENSIONS[dimension][0]


def practical_unit(dimension: str) -> Unit:
    """Return the unit in which a practitioner would give a dimension; often the SI one."""
    suffix = _PRACTICAL.get(dimension)
    return (
        si_unit(dimension) if suffix is None else unit_of(dimension, suffix) or si_unit(dimension)
    )


def parse_speed(text: str) -> float:
    """Read a speed written with its unit, such as `75mph`, `120 km/h` or `33.5m/s`.

    Parameters
    ----------
    text : str
        A number and one of mph, km/h, kmh, m/s; spaces around either are ignored.

    Returns
    -------
    float
        The speed. [m/s], > 0 and finite

    Raises
    ------
    InputError
        If the text is no number, has no unit or an unknown one, or the speed is not above 0.
    """
    allowed = "write a number and mph, km/h or m/s, such as 75mph"
    said = shown(text)
    match = _SPEED_PATTERN.fullmatch(text)
    if match is None:
        raise InputError(f"speed {said}: not a speed; {allowed}")
    number, unit_text = match.groups()
    if not unit_text:
        raise InputError(f"speed {said}: a unit is needed; {allowed}")
    suffix = _SPEED_UNITS.get(unit_text.lower())
    unit = unit_of("speed", suffix) if suffix else None
    if unit is None:
        raise InputError(f"speed {said}: unknown unit {unit_text[:20]!r}; {allowed}")
    speed = unit.to_si(float(number))
    if not (math.isfinite(speed) and speed > 0.0):
        raise InputError(f"speed {said}: must be above 0 and finite; {allowed}")
    return speed


def spellings(si_text: str) -> dict[str, Unit]:
    """Return every unit whose SI unit is `si_text`, by each way to write it, in small letters.

    A unit is written as text (`m/s2`, `km/h`) or as the suffix of a file's key (`m_per_s2`, `kmh`).
    """
    found = dict(_SHARES) if si_text == "-" else {}
    for units in DIMENSIONS.values():
        if units[0].text == si_text != "":
            for unit in units:
                for word in (unit.text, unit.suffix):
                    if word not in ("", "-"):
                        found.setdefault(word.replace(" ", "").casefold(), unit)
    return found


def parse_value(text: str, si_text: str) -> float:
    """Read a number written with its unit, such as `1.1m/s2`, `35 ms` or `12%`.

    Parameters
    ----------
    text : str      a number, and its unit unless it has none
    si_text : str   the SI unit of what is read, as `Unit.text` has it; "-" or "" for a plain number

    Returns
    -------
    float   in SI

    Raises
    ------
    InputError   if it is no number, or its unit is missing or another; the message says what is
                 allowed and leaves it to the caller to say where
    """
    return parse_in_unit(text, si_text)[0]


def plain_unit() -> Unit:
    """Return the unit of a plain number."""
    return DIMENSIONS["ratio"][0]


def parse_in_unit(text: str, si_text: str, default: Unit | None = None) -> tuple[float, Unit]:
    """Read a number written with its unit as `parse_value` does; return the unit as well.

    Parameters
    ----------
    text, si_text : str   as of `parse_value`
    default : Unit        of a number without one, where that is not an error

    Raises
    ------
    InputError   as `parse_value`
    """
    known = spellings(si_text)
    units = [text for text in dict.fromkeys(unit.text for unit in known.values()) if text != "-"]
    units = units or [si_text]
    is_plain = si_text in ("", "-")
    allowed = "a plain number" if is_plain else f"a number with its unit: {', '.join(units)}"
    said = shown(text)
    match = _VALUE_PATTERN.fullmatch(text)
    if match is None:
        raise InputError(f"{said}: no number; allowed: {allowed}")
    number, unit_text = match.groups()
    if not unit_text:
        if is_plain:
            return float(number), plain_unit()
        if default is not None:
            return default.to_si(float(number)), default
        raise InputError(f"{said}: a unit is needed; allowed: {allowed}")
    word = unit_text.replace(" ", "").casefold()
    if word == si_text.replace(" ", "").casefold():
        return float(number), Unit("", si_text)
    unit = known.get(word)
    if unit is None:
        raise InputError(f"{said}: unknown unit {unit_text[:20]!r}; allowed: {allowed}")
    return unit.to_si(float(number)), unit


_FOREIGN: dict[str, tuple[Unit, ...]] = {
    "speed": (Unit("m_per_s", "mps"), Unit("kmh", "kph", 1.0, 3.6), Unit("kmh", "km/hr", 1.0, 3.6),
              Unit("kmh", "kmph", 1.0, 3.6), Unit("", "ft/s", 0.3048)),
    "pressure": (Unit("", "mbar", 1e2), Unit("", "hPa", 1e2), Unit("", "MPa", 1e6),
                 Unit("", "psi", 6894.757293168), Unit("", "kgf/cm2", 98066.5),
                 Unit("bar", "bar(g)", 1e5), Unit("bar", "barg", 1e5)),
    "time": (Unit("s", "sec"), Unit("s", "seconds"), Unit("", "min", 60.0), Unit("", "ns", 1e-9)),
    "length": (Unit("", "ft", 0.3048), Unit("", "cm", 1.0, 1e2), Unit("mile", "mi", 1609.344)),
    "acceleration": (Unit("m_per_s2", "m/s^2"), Unit("m_per_s2", "m/s²"),
                     Unit("", "g", STANDARD_GRAVITY)),
    "force": (Unit("n", "N"), Unit("", "kN", 1e3)),
    "ratio": (Unit("", "%", 1.0, 1e2), Unit("", "percent", 1.0, 1e2), Unit("", "V")),
    "rotation": (Unit("", "rad/s"), Unit("", "r/min", math.pi, 30.0),
                 Unit("", "rpm", math.pi, 30.0),
                 Unit("", "1/min", math.pi, 30.0), Unit("", "r/s", 2.0 * math.pi),
                 Unit("", "Hz", 2.0 * math.pi)),
}  # fmt: skip
"""Other units and spellings in which measuring equipment logs; the first of a dimension that
`DIMENSIONS` lacks is its SI unit."""


def logged_units(dimension: str) -> dict[str, Unit]:
    """Return the units in which a log may give a dimension, by spelling in small letters.

    A ratio or a count may have none, written "" or "-".
    """
    found: dict[str, Unit] = {}
    if dimension in DIMENSIONS and si_unit(dimension).text not in ("", "-"):
        found |= spellings(si_unit(dimension).text)
    if dimension in ("ratio", "count"):
        found |= {"": Unit("", "-"), "-": Unit("", "-"), "1": Unit("", "-")}
    for unit in _FOREIGN.get(dimension, ()):
        found.setdefault(unit.text.replace(" ", "").casefold(), unit)
    return found

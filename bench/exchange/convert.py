"""Units of measurement between a unit's variables and the bench, which is SI inside."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from slipbench.exchange.description import BaseUnit
from slipbench.ground.errors import InputError
from slipbench.ground.telling import shown
from slipbench.scenario.units import spellings

EXPONENTS: dict[str, dict[str, int]] = {
    "m/s": {"m": 1, "s": -1},
    "Pa": {"kg": 1, "m": -1, "s": -2},
    "s": {"s": 1},
    "m": {"m": 1},
    "m/s2": {"m": 1, "s": -2},
    "N": {"kg": 1, "m": 1, "s": -2},
    "J": {"kg": 1, "m": 2, "s": -2},
    "kg": {"kg": 1},
    "-": {},
}
"""SI units of what is exchanged, as powers of the base units."""

_PLAIN = ("", "-", "1")


class Conversion(NamedTuple):
    """SI value = factor * value + offset; exact where the unit is SI."""

    factor: float = 1.0
    offset: float = 0.0

    def to_si(self, value: float) -> float:
        """Return a value of the unit in SI."""
        return self.factor * value + self.offset


def conversion(text: str, si_text: str, units: Mapping[str, BaseUnit], where: str) -> Conversion:
    """Return how values written in a unit become SI.

    Parameters
    ----------
    text : str       the unit, as the description or the mapping writes it; empty: SI
    si_text : str    the SI unit of the quantity; "" where it may be any
    units : mapping  those the description defines
    where : str      what it is, for the message

    Raises
    ------
    InputError   for a unit that is unknown or of another quantity
    """
    if text in units:
        base = units[text]
        wanted = EXPONENTS.get(si_text)
        if wanted is not None and dict(base.exponents) != wanted:
            raise InputError(f"{where}: unit {shown(text)} is none of {_told(si_text)}")
        return Conversion(base.factor, base.offset)
    if text in _PLAIN or text == si_text:
        return Conversion()
    known = spellings(si_text).get(text.replace(" ", "").casefold())
    if known is None:
        raise InputError(f"{where}: unit {shown(text)} is none of {_told(si_text)}")
    return Conversion(known.to_si(1.0))


def _told(si_text: str) -> str:
    if si_text in _PLAIN:
        return "a plain number"
    others = dict.fromkeys(u.text for u in spellings(si_text).values())
    return f"{si_text} (known: {', '.join(dict.fromkeys([si_text, *others]))})"

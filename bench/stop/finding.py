"""One thing worth telling about a stop, and how places in a stop are written."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from slipbench.contract import Floats


MPH = 0.44704
"""A mile an hour, by definition. [m/s]"""


@dataclass(frozen=True)
class Finding:
    """One thing worth telling.

    Attributes
    ----------
    kind : str             short name, the same for all findings of its kind
    text : str             one sentence with its numbers
    axle : int or None     from 1; None where it is not about one axle
    time : float           [s], NaN where it has none
    speed : float          train speed then. [m/s], NaN where it has none
    value : float          the number that tells how bad
    unit : str             of `value`
    """

    kind: str
    text: str
    axle: int | None
    time: float
    speed: float
    value: float
    unit: str


def at(time: float, speed: float) -> str:
    """Return when something happened, and at which train speed, in words."""
    return f"at {time:.1f} s, {speed:.1f} m/s ({speed / MPH:.0f} mph)"


def values_at(i_axle: int, *columns: Floats) -> tuple[float, ...]:
    """Return the values of one axle, or one drive, of several columns."""
    return tuple(float(column[i_axle]) for column in columns)


_SPEED = re.compile(r"(?:(\d+\.\d+) m/s \(\d+ mph\)|(\d+(?:\.\d+)?) mph)")


def in_unit(text: str, said_speed: Callable[[float], str]) -> str:
    """Return a finding's sentence with its speeds in one unit, that of `said_speed` (of m/s)."""

    def said(found: re.Match[str]) -> str:
        return said_speed(float(found[1]) if found[1] else float(found[2]) * MPH)

    return _SPEED.sub(said, text)

"""The units pictures and pages show: one switch, metric or miles; files of numbers stay SI."""

from __future__ import annotations

from dataclasses import dataclass

from slipbench.ground.errors import InputError


@dataclass(frozen=True)
class Shown:
    """Units of speed and of way.

    Attributes
    ----------
    speed, length : str            as written
    per_speed, per_length : float  m/s and m in one of them, by definition
    """

    name: str
    speed: str
    per_speed: float
    length: str
    per_length: float

    def said_speed(self, speed: float, decimals: int = 0) -> str:
        """Return a speed [m/s] in words."""
        return f"{speed / self.per_speed:.{decimals}f} {self.speed}"

    def said_length(self, length: float, decimals: int = 0) -> str:
        """Return a way [m] in words."""
        return f"{length / self.per_length:.{decimals}f} {self.length}"


METRIC = Shown("metric", "km/h", 1.0 / 3.6, "m", 1.0)
MILES = Shown("miles", "mph", 0.44704, "yd", 0.9144)

ALL_SHOWN = {own.name: own for own in (METRIC, MILES)}


def shown_named(name: str) -> Shown:
    """Return units by name.

    Raises
    ------
    InputError   for a name that is none of them
    """
    if name not in ALL_SHOWN:
        raise InputError(f"--units {name!r}; allowed: {', '.join(ALL_SHOWN)}")
    return ALL_SHOWN[name]

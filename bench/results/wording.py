"""Words of sentences that are built from rows: one clause a case, so that none says the opposite.

A number that rounds to nothing is none, a negative gain is a loss, an infinite distance is no stop.
"""

from __future__ import annotations

import math
from collections.abc import Sequence


def listed(names: Sequence[str]) -> str:
    """Return names as a reader lists them: `a`, `a and b`, `a, b and c`."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def stops(distance: float, decimals: int = 0) -> str:
    """Return what a train does: `stops in 648 m`, or `does not stop` (infinite or no number)."""
    if not math.isfinite(distance):
        return "does not stop"
    return f"stops in {distance:.{decimals}f} m"


def compared(by: float, unit: str, decimals: int, more: str, less: str, same: str) -> str:
    """Return a difference in words: `12 m longer`, `12 m shorter`, or `as long`.

    Parameters
    ----------
    by : float          the difference; infinite or no number: `not to be told`
    more, less : str    the word of a positive and of a negative one
    same : str          what is said where it rounds to nothing
    """
    if not math.isfinite(by):
        return "not to be told"
    text = f"{abs(by):.{decimals}f}"
    if float(text) == 0.0:
        return same
    return f"{text}{'' if unit == '%' else ' '}{unit} {more if by > 0.0 else less}"


def place(past: float, decimals: int = 0) -> str:
    """Return where a train came to rest: `at it`, `42 m past it`, `3 m short of it`."""
    if not math.isfinite(past):
        return "does not stop"
    return f"stops {compared(past, 'm', decimals, 'past it', 'short of it', 'there')}"


def is_alike(one: float, other: float, share: float = 1e-3) -> bool:
    """Return whether two distances count as one: within a share, or both of them no stop."""
    if not (math.isfinite(one) and math.isfinite(other)):
        return math.isfinite(one) == math.isfinite(other)
    return abs(one - other) <= share * max(abs(one), abs(other))


def rounds_to_nothing(value: float, decimals: int) -> bool:
    """Return whether a number, so written, is nought."""
    return float(f"{value:.{decimals}f}") == 0.0

"""Checksums of what a campaign keeps: a row that has changed since it was written is found out.

SQLite notices a torn page, not a flipped bit in a number. So every stop carries a seal over all
that is exported of it, its names included, and every branch the number of its stops and the sum of
their seals, so that a row that is gone, or there twice, is missed.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from slipbench.ground.telling import quoted, shown
from slipbench.results.canonical import short_hash

SUM = 1 << 128
"""Seals are added modulo this."""

SEALED = (
    "key",
    "scenario.name",
    "scenario.hash",
    "candidate",
    "controller.name",
    "controller.hash",
    "parameters",
    "seed",
    "machine.hash",
    "duration",
    "finished",
    "summary",
)
"""What a stop's seal covers, as columns of the joined tables, in this order."""


def stop_seal(values: Sequence[Any]) -> str:
    """Return the seal of a stop: 32 hexadecimal digits over the values of `SEALED`."""
    return short_hash(json.dumps([_plain(value) for value in values]))


def branch_seal(name: Any, versions: Any, n_stops: Any, total: Any) -> str:
    """Return the seal of a branch."""
    return short_hash(json.dumps([_plain(value) for value in (name, versions, n_stops, total)]))


def _plain(value: Any) -> Any:
    """Return a value SQLite may hold as one JSON takes, floats with every bit."""
    if isinstance(value, float):
        return ["float", value.hex()]
    return value if isinstance(value, str | int | None) else ["bytes", repr(value)]


def added(total: str, seal: str) -> str:
    """Return the sum of seals with one more, 32 hexadecimal digits."""
    return f"{(int(total, 16) + int(seal, 16)) % SUM:032x}"


NOTHING = added("0", "0")
"""The sum of no seals."""


def stop_name(scenario: Any, candidate: Any, seed: Any, number: int) -> str:
    """Return which stop a row is, as far as it can be told."""
    return (
        f"row {number} (scenario {_word(scenario)}, candidate {_word(candidate)}, "
        f"seed {_word(seed)})"
    )


def _word(value: Any) -> str:
    return quoted(value) if isinstance(value, str) else shown(value)


@dataclass(frozen=True)
class Damage:
    """What is wrong with a branch.

    Attributes
    ----------
    stops : tuple of str   which rows are damaged, in words
    rest : str             what else is: missing or doubled rows; empty if nothing
    """

    stops: tuple[str, ...] = ()
    rest: str = ""

    def __bool__(self) -> bool:
        """Say whether anything is wrong."""
        return bool(self.stops or self.rest)

    def text(self) -> str:
        """Return it in one line, the first rows named."""
        parts = []
        if self.stops:
            named = ", ".join(self.stops[:3])
            more = f" and {len(self.stops) - 3} more" if len(self.stops) > 3 else ""
            parts.append(f"{len(self.stops)} stored stops are damaged: {named}{more}")
        return "; ".join(filter(None, [*parts, self.rest]))


def examined(rows: Iterable[Sequence[Any]], n_stops: int, total: str) -> Damage:
    """Compare a branch's rows with their seals, and with the branch's count and sum.

    Parameters
    ----------
    rows : of sequences   row number, seal, then the values of `SEALED`
    n_stops, total        as the branch has them
    """
    damaged: list[str] = []
    n_found, summed = 0, NOTHING
    for number, seal, *values in rows:
        n_found += 1
        made = stop_seal(values)
        if made != seal:
            damaged.append(stop_name(values[1], values[3], values[7], number))
        summed = added(summed, made)
    rest = ""
    if n_found != n_stops:
        rest = f"{n_found} stops are stored where {n_stops} were written"
    elif not damaged and summed != total:
        rest = "its stops are not those that were written"
    return Damage(tuple(damaged), rest)

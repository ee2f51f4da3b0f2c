"""What a file of a log holds, before anybody has said what its channels mean."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from slipbench.contract import Floats
from slipbench.ground.errors import InputError

LONGEST_LOG = 1024 * 1_000_000
"""Of a file with a log. [bytes]"""

ENDINGS = {
    ".csv": "CSV", ".txt": "CSV", ".tsv": "CSV", ".asc": "CSV",
    ".parquet": "Parquet", ".mf4": "MDF 4", ".mdf": "MDF 4", ".tdms": "TDMS",
}  # fmt: skip
"""Endings of files that are read, and what they then hold."""


@dataclass(frozen=True, eq=False)
class RawChannel:
    """A channel as the file has it.

    Attributes
    ----------
    name : str       told apart by an `@group` where a file has two of one name
    unit : str       as written, empty where there is none
    values : (n,)    NaN where there is no number
    time : (n,) or None   its own time base [s]; None where a column of the same table is the time
    group : str      channels of a group share a clock
    """

    name: str
    unit: str
    values: Floats
    time: Floats | None = None
    group: str = ""


@dataclass(frozen=True, eq=False)
class RawLog:
    """A file of a log: its channels, and what was noticed."""

    path: Path
    kind: str
    channels: tuple[RawChannel, ...]
    notes: tuple[str, ...] = ()

    def named(self, name: str) -> RawChannel | None:
        """Return a channel by its name."""
        return next((c for c in self.channels if c.name == name), None)


def missing_library(extra: str, kind: str) -> InputError:
    """Return the one line that says which extra a kind of file needs."""
    return InputError(
        f"{kind} needs an optional library: python -m pip install 'slipbench[{extra}]'"
    )

"""What a file of a log holds, before anybody has said what its channels mean."""

from __future__ import annotations

import gc
import sys
import traceback
from dataclasses import dataclass
from pathlib import Path

from slipbench.contract import Floats
from slipbench.ground.errors import InputError
from slipbench.ground.reading import place
from slipbench.ground.telling import message, told

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


def read_raw(path: str | Path) -> RawLog:
    """Read a file of a log, by its ending.

    Raises
    ------
    InputError   one line: an ending that is not known, what is no such file, a library missing
    """
    file = Path(path)
    kind = ENDINGS.get(file.suffix.lower())
    if kind is None:
        known = ", ".join(sorted(ENDINGS))
        raise InputError(f"{place(file)}: a log is a file that ends in {known}")
    if kind == "CSV":
        from slipbench.measured.csv_in import read_csv

        return read_csv(file)
    from slipbench.measured import binary_in

    readers = {
        "Parquet": binary_in.read_parquet,
        "MDF 4": binary_in.read_mdf,
        "TDMS": binary_in.read_tdms,
    }
    try:
        return readers[kind](file)
    except InputError:
        raise
    except MemoryError:
        raise
    except Exception as problem:  # of the library, over a file that is damaged or no such file
        why = message(told(problem)) or type(problem).__name__
        _let_go(problem)
        raise InputError(f"{place(file)}: cannot be read as {kind} ({why})") from None


def _let_go(problem: BaseException) -> None:
    """Drop what a library left half made, whose ends would complain on stderr by themselves."""
    hook = sys.unraisablehook
    sys.unraisablehook = lambda _: None
    try:
        while problem.__context__ is not None:
            problem, problem.__context__ = problem.__context__, None
            traceback.clear_frames(problem.__traceback__)
        traceback.clear_frames(problem.__traceback__)
        gc.collect()
    finally:
        sys.unraisablehook = hook


def missing_library(extra: str, kind: str) -> InputError:
    """Return the one line that says which extra a kind of file needs."""
    return InputError(
        f"{kind} needs an optional library: python -m pip install 'slipbench[{extra}]'"
    )

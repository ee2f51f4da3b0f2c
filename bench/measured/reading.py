"""Read a log: the file, its mapping or a guess of it."""

from __future__ import annotations

import gc
import sys
import traceback
from pathlib import Path

from slipbench.ground.errors import InputError
from slipbench.ground.reading import place
from slipbench.ground.telling import message, nearest_text, shown, told
from slipbench.measured.guess import guess_map
from slipbench.measured.log import KINDS, Log
from slipbench.measured.mapping import apply_map, read_map
from slipbench.measured.raw import ENDINGS, RawLog


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


def read_log(path: str | Path, mapping: str | Path | None = None, ignored: str = "") -> Log:
    """Read a log.

    Parameters
    ----------
    path : str or path      CSV, Parquet, MDF 4 or TDMS, by its ending
    mapping : path or None  TOML that says which channel is what; None: guessed from names, units
    ignored : str           quantities taken as not measured, with commas between

    Raises
    ------
    InputError   one line
    """
    raw = read_raw(path)
    log = apply_map(raw, guess_map(raw) if mapping is None else read_map(mapping))
    names = tuple(word.strip() for word in ignored.split(",") if word.strip())
    for name in names:
        if name not in KINDS:
            raise InputError(f"--ignore {shown(name)}: no quantity; {nearest_text(name, KINDS)}")
    return log.without(names)

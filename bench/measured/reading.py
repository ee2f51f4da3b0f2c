"""Read a log: the file, its mapping or a guess of it."""

from __future__ import annotations

from pathlib import Path

from slipbench.ground.errors import InputError
from slipbench.ground.telling import nearest_text, shown
from slipbench.measured.guess import guess_map
from slipbench.measured.log import KINDS, Log
from slipbench.measured.mapping import apply_map, read_map
from slipbench.measured.raw import read_raw


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

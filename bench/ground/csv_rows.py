"""The lines of a CSV that hold data: what rail profiles, handle logs and measured curves share."""

from __future__ import annotations

import csv
from pathlib import Path

from slipbench.ground.errors import InputError
from slipbench.ground.reading import place, regular_text


def csv_rows(file: Path, what: str) -> list[tuple[int, list[str]]]:
    """Return (line number, cells) of every line of a CSV that holds data.

    Empty lines and lines beginning with # hold none.

    Parameters
    ----------
    file : Path
    what : str   names the kind of file, as "a rail profile"

    Raises
    ------
    InputError   if the file cannot be read, is no regular file, no UTF-8 text or not CSV
    """
    text = regular_text(file, f"{what} is CSV")
    rows = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        try:
            rows.append((number, next(csv.reader([line], strict=True))))
        except csv.Error as problem:
            raise InputError(f"{place(file)}: line {number}: not CSV ({problem})") from None
    return rows

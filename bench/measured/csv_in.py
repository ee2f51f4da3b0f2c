"""Read a log from CSV as recorders write it: any separator, decimal comma, a row of units."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import numpy as np

from slipbench.contract import Floats
from slipbench.ground.errors import InputError
from slipbench.ground.reading import place, regular_bytes
from slipbench.ground.telling import shown
from slipbench.measured.raw import LONGEST_LOG, RawChannel, RawLog

_SEPARATORS = ";\t,|"
_NUMBER = re.compile(r"\s*[-+]?(\d+([.,]\d*)?|[.,]\d+)([eE][-+]?\d+)?\s*", re.ASCII)
_CLOCK = re.compile(r"\s*(\d{4}-\d\d-\d\d[T ])?\d{1,2}:\d\d:\d\d([.,]\d+)?\s*", re.ASCII)
_EMPTY = {"", "-", "--", "---", "nan", "null", "none", "n/a", "na"}
_STATES = {"on": 1.0, "off": 0.0, "true": 1.0, "false": 0.0, "yes": 1.0, "no": 0.0,
           "release": 0.0, "fill": 0.0, "hold": 1.0, "vent": 2.0}  # fmt: skip
_BRACKETS = re.compile(r"^(.*?)\s*[\[(]\s*([^\[\]()]*?)\s*[\])]\s*$")
_MOST_HEAD = 200
"""Lines in which the first row of numbers must come."""


def read_csv(file: Path) -> RawLog:
    """Read a log from CSV.

    Parameters
    ----------
    file : Path   text in UTF-8, UTF-16 with its mark, or an eight-bit code page; lines beginning
                  with # and lines before the heads are skipped; separated by ; , | or tabs; decimal
                  point or comma; a head `name [unit]`, or a second row of units, or none

    Raises
    ------
    InputError   one line: no text, no table, no row of numbers
    """
    content = regular_bytes(file, "a log is a table of channels over time", most=LONGEST_LOG)
    text, notes = _decoded(content, file)
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    if not lines:
        raise InputError(f"{place(file)}: is empty; a log is a table of channels over time")
    separator = _separator(lines, file)
    try:
        rows = list(csv.reader(lines, delimiter=separator))
    except csv.Error as problem:
        raise InputError(f"{place(file)}: not CSV ({problem})") from None
    first = _first_data_row(rows, file)
    names, units = _heads(rows[:first], len(rows[first]), file)
    width, data = len(names), rows[first:]
    ragged = [i for i, row in enumerate(data) if len(row) != width]
    if ragged:
        notes.append(
            f"{len(ragged)} of {len(data)} rows have another number of cells than the head "
            f"({width}); what is missing there counts as not measured"
        )
        data = [[*row[:width], *[""] * (width - len(row))] for row in data]
    has_comma = separator != "," and any("," in cell for row in data[:200] for cell in row)
    channels = []
    for name, unit, cells in zip(names, units, zip(*data, strict=True), strict=True):
        values, n_strange = _numbers(cells, has_comma)
        if n_strange == len(cells) and len(cells) > 0:
            notes.append(f"column {shown(name)} holds no numbers and is left out")
            continue
        if n_strange:
            notes.append(f"column {shown(name)}: {n_strange} cells are no numbers")
        channels.append(RawChannel(name, unit, values))
    return RawLog(file, "CSV", tuple(channels), tuple(notes))


def _decoded(content: bytes, file: Path) -> tuple[str, list[str]]:
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return content.decode("utf-16"), []
        except UnicodeDecodeError:
            raise InputError(f"{place(file)}: its mark says UTF-16, but it is not") from None
    if b"\0" in content[:4096]:
        raise InputError(f"{place(file)}: is no text (it holds NUL bytes); a log here is CSV")
    try:
        return content.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        return content.decode("cp1252", "replace"), ["not UTF-8; read as Windows code page 1252"]


def _separator(lines: Sequence[str], file: Path) -> str:
    """Return the separator that cuts the last of the first lines into most cells, evenly."""
    sample = lines[-min(len(lines), 40) :]
    best, cells = "", 1
    for separator in _SEPARATORS:
        counts = [line.count(separator) for line in sample]
        usual = int(np.median(counts))
        is_even = sum(count == usual for count in counts) >= 0.8 * len(counts)
        if is_even and usual + 1 > cells:
            best, cells = separator, usual + 1
    # decimal commas cut numbers as evenly as separators do: another separator goes first
    for separator in ";\t|":
        if best == "," and sum(separator in line for line in sample) >= 0.8 * len(sample):
            best = separator
    if not best:
        raise InputError(
            f"{place(file)}: no columns found; a log has at least a time and a channel, separated "
            "by ; , | or tabs"
        )
    return best


def _is_numeric(cell: str) -> bool:
    return bool(_NUMBER.fullmatch(cell) or _CLOCK.fullmatch(cell))


def _first_data_row(rows: Sequence[Sequence[str]], file: Path) -> int:
    width = int(np.median([len(row) for row in rows[-50:]]))
    for i, row in enumerate(rows[:_MOST_HEAD]):
        given = [cell for cell in row if cell.strip().casefold() not in _EMPTY]
        if len(row) == width and given and sum(map(_is_numeric, given)) >= 0.5 * len(given):
            return i
    raise InputError(f"{place(file)}: no row of numbers in its first {_MOST_HEAD} lines")


def _heads(rows: Sequence[Sequence[str]], width: int, file: Path) -> tuple[list[str], list[str]]:
    """Return names and units of the columns from the rows above the numbers."""
    heads = [row for row in rows if len(row) == width][-2:]
    if not heads:
        return [f"column {i + 1}" for i in range(width)], [""] * width
    names = [cell.strip() for cell in heads[0]]
    units = [cell.strip().strip("[]()") for cell in heads[1]] if len(heads) > 1 else [""] * width
    for i, name in enumerate(names):
        found = _BRACKETS.match(name)
        if found and not units[i]:
            names[i], units[i] = found[1].strip(), found[2]
        if not names[i]:
            names[i] = f"column {i + 1}"
    twice = {name for name in names if names.count(name) > 1}
    for name in twice:
        raise InputError(f"{place(file)}: column {shown(name)} is there twice; rename one")
    return names, units


def _numbers(cells: Sequence[str], has_comma: bool) -> tuple[Floats, int]:
    """Return the numbers of a column and how many cells are neither number nor empty."""
    try:
        return np.array(list(map(float, cells))), 0
    except ValueError:
        pass
    joined = "\n".join(cells)
    if has_comma:
        joined = joined.replace(",", ".")
    words = joined.split("\n")
    try:
        return np.array([float(word) if word else np.nan for word in words]), 0
    except ValueError:
        pass
    values, n_strange = np.full(len(words), np.nan), 0
    for i, word in enumerate(words):
        bare = word.strip().casefold()
        if bare in _EMPTY:
            continue
        try:
            values[i] = _STATES[bare] if bare in _STATES else float(bare)
        except ValueError:
            values[i] = _seconds(bare)
            n_strange += int(np.isnan(values[i]))
    return values, n_strange


def _seconds(word: str) -> float:
    """Return a time of day or a date as seconds, NaN for what is neither."""
    if not _CLOCK.fullmatch(word):
        return float("nan")
    try:
        if "-" in word:
            moment = datetime.fromisoformat(word.replace(",", "."))
            return (moment - datetime(2000, 1, 1)).total_seconds()
        hours, minutes, seconds = word.replace(",", ".").split(":")
        return 3600.0 * int(hours) + 60.0 * int(minutes) + float(seconds)
    except ValueError:
        return float("nan")

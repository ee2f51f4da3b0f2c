"""A handle log: what was done with the brake handle, read from CSV."""

from pathlib import Path

from slipbench.ground.csv_rows import csv_rows
from slipbench.ground.errors import InputError
from slipbench.ground.telling import quoted, shown
from slipbench.scenario.brake import RELEASE
from slipbench.scenario.driver import HandleEntry
from slipbench.scenario.fields import FieldProblem
from slipbench.scenario.profile import finite_number

COLUMNS = ("time_s", "position", "level")
_WORDS = ("release", "emergency")


def handle_log(path: str | Path, n_steps: int) -> tuple[HandleEntry, ...]:
    """Read a handle programme from CSV.

    Parameters
    ----------
    path : str or path   CSV with a header: `time_s` [s] from the start of the stop, `position` (0
                         to n_steps + 1, or the words release and emergency), and, for a continuous
                         controller, `level` (0 to 1). Times may not fall. Rows that repeat position
                         and level are left out, so a log sampled at a fixed rate can be given as it
                         is. Lines beginning with # and empty lines are skipped.
    n_steps : int        service steps of the brake

    Returns
    -------
    tuple of HandleEntry

    Raises
    ------
    InputError   one line with file, line, column and what is allowed
    """
    file = Path(path)
    rows = csv_rows(file, "a handle log")
    if len(rows) < 2:
        raise InputError(f"{file}: needs a header and at least one row of time_s, position")
    line, names = rows[0][0], [name.strip() for name in rows[0][1]]
    if len(set(names)) != len(names) or not {"time_s", "position"} <= set(names) <= set(COLUMNS):
        raise InputError(
            f"{file}: line {line}: columns {quoted(', '.join(names))}; needed: time_s, position; "
            "allowed besides: level"
        )
    entries: list[HandleEntry] = []
    last_time = 0.0
    for line, cells in rows[1:]:
        if len(cells) != len(names):
            raise InputError(
                f"{file}: line {line}: {len(cells)} values, the header has {len(names)}"
            )
        entry = _entry(file, line, dict(zip(names, cells, strict=True)), n_steps)
        time = entry.at_time or 0.0
        if time < last_time:
            raise InputError(f"{file}: line {line}: time_s = {time:g}: is before {last_time:g} s")
        last_time = time
        now = (entry.position, entry.level)
        if not entries or now != (entries[-1].position, entries[-1].level):
            entries.append(entry)
    return tuple(entries)


def _entry(file: Path, line: int, cells: dict[str, str], n_steps: int) -> HandleEntry:
    word = cells["position"].strip()
    if word in _WORDS:
        position = RELEASE if word == "release" else n_steps + 1
    elif word.isascii() and word.isdigit() and len(word) < 8 and int(word) <= n_steps + 1:
        position = int(word)
    else:
        raise InputError(
            f"{file}: line {line}: position = {shown(word)}: must be 0 to {n_steps + 1}, "
            "or release or emergency"
        )
    level_text = cells.get("level", "").strip()
    level = finite_number(file, line, "level", level_text) if level_text else None
    time = finite_number(file, line, "time_s", cells["time_s"])
    try:
        return HandleEntry(at_time=time, position=position, level=level)
    except FieldProblem as problem:
        raise InputError(
            f"{file}: line {line}: {problem.key} = {problem.value}: {problem.detail}"
        ) from None

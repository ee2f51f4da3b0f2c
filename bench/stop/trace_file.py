"""The traces of a stop as a table: CSV, or Parquet by the extra `parquet`; heads carry units."""

from __future__ import annotations

import csv
import io
from importlib import import_module
from pathlib import Path
from typing import Any

from slipbench.contract import Floats
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.ground.reading import place
from slipbench.results.files import refuse_foreign, write_file, write_through
from slipbench.results.quantities import AXLE_TRACE, TRACED, trace_head
from slipbench.stop.stop import Stop

CSV, PARQUET = ".csv", ".parquet"


def check_trace_file(path: Path, may_overwrite: bool = False) -> None:
    """Refuse a path traces may not be written to, before anything is run.

    Raises
    ------
    InputError   if it ends in neither .csv nor .parquet, the extra `parquet` is missing, what is
                 there was not written by this program, or nothing can be written there
    """
    if path.suffix not in (CSV, PARQUET):
        raise InputError(f"--traces {place(path)}: must end in {CSV} or {PARQUET}")
    if path.suffix == PARQUET:
        _parquet()
    refuse_foreign(path, may_overwrite)


def trace_columns(stop: Stop) -> dict[str, Floats]:
    """Return the traces of a stop as columns, a column for each axle.

    Returns
    -------
    dict   head with its unit (`time_s`, `wheel_speed_m_per_s.1`) to (n,) float64

    Raises
    ------
    InputError   for a stop run without traces
    """
    if not stop.traces:
        raise InputError("stop: it has no traces; run it with them (simulate's with_traces=True)")
    columns: dict[str, Floats] = {}
    for name, values in stop.traces.items():
        if TRACED[name].of != AXLE_TRACE:
            columns[trace_head(name)] = values
            continue
        for i in range(values.shape[1]):
            columns[trace_head(name, i)] = values[:, i]
    return columns


def write_traces(stop: Stop, path: Path) -> int:
    """Write the traces of a stop by the ending of a path; return the number of rows.

    In CSV numbers keep every bit and what is not finite is an empty cell; lines beginning with `#`
    say which stop it is.

    Raises
    ------
    InputError
    """
    columns = trace_columns(stop)
    n_rows = len(next(iter(columns.values())))
    if path.suffix == PARQUET:
        arrow: Any = import_module("pyarrow")
        table = arrow.table(columns)
        write_through(path, lambda temporary: _write_table(table, temporary))
        return n_rows
    stream = io.StringIO()
    said = f"{stop.scenario.name}, {stop.controller.name}, seed {stop.seed}: {stop.outcome}"
    stream.write(f"# {said}\n# {CAUTION}\n")
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(columns)
    for row in zip(*(values.tolist() for values in columns.values()), strict=True):
        writer.writerow(["" if value - value != 0.0 else repr(value) for value in row])
    write_file(path, stream.getvalue().encode())
    return n_rows


def _write_table(table: Any, path: Path) -> int:
    _parquet().write_table(table, path)
    return int(table.num_rows)


def _parquet() -> Any:
    try:
        return import_module("pyarrow.parquet")
    except ImportError:
        raise InputError(
            "Parquet needs the extra `parquet`: python -m pip install 'slipbench[parquet]'; "
            ".csv needs nothing"
        ) from None

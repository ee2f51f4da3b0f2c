"""A campaign as flat columns: for CSV, or for any table library (Parquet and others)."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from importlib import import_module
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from slipbench.campaign.store import Store, StoredStop
from slipbench.ground.errors import InputError
from slipbench.ground.reading import place
from slipbench.results.cells import cell
from slipbench.results.files import refuse_foreign, write_through
from slipbench.results.quantities import flat as flat_summary
from slipbench.results.quantities import head, units_of
from slipbench.results.tables import shown_values
from slipbench.scenario.units import DIMENSIONS

_FIRST = {
    "scenario": "scenario",
    "scenario_hash": "scenario_hash",
    "candidate": "candidate",
    "strategy": "controller",
    "source_hash": "source_hash",
    "seed": "seed",
    "machine": "machine",
    "duration": "duration",
}
"""Columns ahead of the summary, and what a stored stop calls them."""


_PARQUET = ".parquet"


def check_export(path: Path, may_overwrite: bool = False) -> None:
    """Refuse a path an export may not be written to, before anything is run.

    Raises
    ------
    InputError   if it ends in neither .csv nor .parquet, the extra `parquet` is missing, what is
                 there was not written by this program, or nothing can be written there
    """
    if path.suffix not in (".csv", _PARQUET):
        raise InputError(f"--export {place(path)}: must end in .csv or {_PARQUET}")
    if path.suffix == _PARQUET:
        _parquet()
    refuse_foreign(path, may_overwrite)


def write_export(store: Store, path: Path) -> int:
    """Write a campaign's branch as CSV or Parquet, by the ending; return the number of rows.

    Raises
    ------
    InputError   if it cannot be written, or the extra `parquet` is missing
    """
    write = write_parquet if path.suffix == _PARQUET else write_csv
    return write_through(path, lambda temporary: write(store, temporary))


def write_parquet(store: Store, path: str | Path) -> int:
    """Write the columns of a branch as Parquet; return the number of rows.

    Raises
    ------
    InputError   if the extra `parquet` is missing
    """
    parquet = _parquet()
    arrow: Any = import_module("pyarrow")
    table = arrow.table({head(name): values for name, values in columns(store).items()})
    parquet.write_table(table, path)
    return len(store)


def _parquet() -> Any:
    try:
        return import_module("pyarrow.parquet")
    except ImportError:
        raise InputError(
            "Parquet needs the extra `parquet`: python -m pip install 'slipbench[parquet]'; "
            ".csv needs nothing"
        ) from None


def to_frame(store: Store) -> Any:
    """Return a campaign's branch as a pandas frame, a row a stop, units in `attrs["units"]`.

    Raises
    ------
    InputError   without the extra `tables`
    """
    try:
        pandas: Any = import_module("pandas")
    except ImportError:
        raise InputError(
            "pandas is needed, the extra `tables`: python -m pip install 'slipbench[tables]'"
        ) from None
    found = columns(store)
    frame = pandas.DataFrame(dict(found))
    frame.attrs = {"units": units_of(dict.fromkeys(map(_stem, found)))}
    return frame


MOST_VARIED = 200
"""Values of scenarios that become columns; beyond, the scenarios are too unlike each other."""


def flat(
    stop: StoredStop, varied: Mapping[str, Mapping[str, Any]] = MappingProxyType({})
) -> dict[str, Any]:
    """Return a stop as one flat record.

    Parameters get `parameter.` before their name, values in which the scenarios differ
    `scenario.`; a list of the summary, one value an axle, becomes a column an item, counted from 1:
    `locked_time.1`. Missing numbers are None.

    Parameters
    ----------
    stop : StoredStop
    varied : mapping   hash of a scenario to the values it differs in, see `varied_values`
    """
    record: dict[str, Any] = {name: getattr(stop, kept) for name, kept in _FIRST.items()}
    record |= {f"parameter.{name}": value for name, value in stop.parameters.items()}
    record |= varied.get(stop.scenario_hash, {})
    return record | flat_summary(stop.summary)


def varied_values(store: Store) -> dict[str, dict[str, Any]]:
    """Return the numbers and choices in which a branch's scenarios differ.

    Returns
    -------
    dict   hash of a scenario to name (`scenario.` and its path, SI unit at the end) and value;
           equal items of a list are one, `*`. Empty where there is one scenario, or they differ
           in more than `MOST_VARIED` values
    """
    found: dict[str, dict[str, Any]] = {}
    for hashed in dict.fromkeys(stop.scenario_hash for stop in store.stops()):
        found[hashed] = {
            f"scenario.{value.path}{_suffix(value.unit)}": value.value
            for value in shown_values(store.scenario(hashed))
            if isinstance(value.value, str | bool | int | float)
            and value.path not in ("name", "title")
        }
    names = dict.fromkeys(name for values in found.values() for name in values)
    differing = [
        name for name in names if len({repr(values.get(name)) for values in found.values()}) > 1
    ]
    if len(differing) > MOST_VARIED:
        return {}
    return {h: {name: values.get(name) for name in differing} for h, values in found.items()}


def _suffix(unit: str) -> str:
    """Return an SI unit as a file's key ends in it."""
    known = {units[0].text: units[0].suffix for units in DIMENSIONS.values()}
    suffix = known.get(unit, "")
    return f"_{suffix}" if suffix else ""


def column_names(store: Store) -> list[str]:
    """Return the names of all columns of a campaign, the items of a list together."""
    found: dict[str, None] = {}
    varied = varied_values(store)
    for stop in store.stops():
        found |= dict.fromkeys(flat(stop, varied))
    order = {name: i for i, name in enumerate(dict.fromkeys(map(_stem, found)))}
    return sorted(found, key=lambda name: (order[_stem(name)], _number(name)))


def _stem(name: str) -> str:
    head, _, tail = name.rpartition(".")
    return head if tail.isdigit() else name


def _number(name: str) -> int:
    tail = name.rpartition(".")[2]
    return int(tail) if tail.isdigit() else 0


def write_csv(store: Store, path: str | Path) -> int:
    """Write a campaign's branch as CSV, row by row, and return the number of rows.

    Numbers keep every bit; what is missing is an empty cell.

    Raises
    ------
    InputError   if the file cannot be written
    """
    try:
        return _write_rows(store, path)
    except OSError as problem:
        raise InputError(f"export {path}: cannot be written: {problem.strerror}") from problem


def _write_rows(store: Store, path: str | Path) -> int:
    names, varied = column_names(store), varied_values(store)
    n_rows = 0
    with open(path, "w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, fieldnames=names, restval="", lineterminator="\n")
        writer.writerow({name: cell(head(name)) for name in names})
        for record in (flat(stop, varied) for stop in store.stops()):
            writer.writerow({name: cell(_cell(value)) for name, value in record.items()})
            n_rows += 1
    return n_rows


def _cell(value: Any) -> Any:
    if isinstance(value, bool):
        return str(value).lower()
    return "" if value is None else repr(value) if isinstance(value, float) else value


def columns(store: Store) -> Mapping[str, npt.NDArray[Any]]:
    """Return a campaign's branch as arrays of one type each, all (n_stops,).

    Text (empty where it is missing), int64, bool or float64 with NaN for what is missing: a Parquet
    writer takes them as they are. All stops are held in memory at once.
    """
    names, varied = column_names(store), varied_values(store)
    lists: dict[str, list[Any]] = {name: [] for name in names}
    for record in (flat(stop, varied) for stop in store.stops()):
        for name in names:
            lists[name].append(record.get(name))
    return {name: _array(values) for name, values in lists.items()}


def _array(values: list[Any]) -> npt.NDArray[Any]:
    kinds = {type(value) for value in values}
    if kinds == {bool}:
        return np.array(values, dtype=np.bool_)
    if kinds == {int}:
        return np.array(values, dtype=np.int64)
    if str in kinds:
        return np.array(["" if value is None else str(value) for value in values], dtype=np.str_)
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)

"""Read a log from Parquet, ASAM MDF 4 or TDMS; each by the library that is kept for it."""

from __future__ import annotations

import json
import logging
from pathlib import Path
from typing import Any

import numpy as np

from slipbench.ground.errors import InputError
from slipbench.ground.reading import place, regular_bytes
from slipbench.measured.raw import LONGEST_LOG, RawChannel, RawLog, missing_library

UNITS_KEY = b"units"
"""Key of a Parquet schema's metadata: JSON, unit by name of a column."""


def read_parquet(file: Path) -> RawLog:
    """Read a Parquet table; units from the metadata of its schema or of a field."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise missing_library("parquet", "Parquet") from None
    content = regular_bytes(file, "a Parquet table", most=LONGEST_LOG)
    table = pq.read_table(pa.BufferReader(content))
    metadata = table.schema.metadata or {}
    units = _units_of(metadata.get(UNITS_KEY))
    channels = []
    for field in table.schema:
        unit = units.get(field.name, (field.metadata or {}).get(b"unit", b"").decode("utf-8"))
        values = _as_numbers(table.column(field.name).to_numpy())
        if values is not None:
            channels.append(RawChannel(field.name, str(unit), values))
    return RawLog(file, "Parquet", tuple(channels), ())


def _units_of(text: bytes | None) -> dict[str, str]:
    try:
        found = json.loads(text or b"{}")
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}


def _as_numbers(column: Any) -> Any:
    """Return a column as floats, times as seconds; None for what is neither."""
    if column.dtype.kind == "M":
        nanoseconds = column.astype("datetime64[ns]").astype(np.int64)
        return np.asarray((nanoseconds - nanoseconds[:1]) / 1e9, dtype=np.float64)
    if column.dtype.kind == "m":
        return np.asarray(column.astype("timedelta64[ns]").astype(np.int64) / 1e9)
    try:
        return np.asarray(column, dtype=np.float64)
    except (TypeError, ValueError):
        return None


def read_mdf(file: Path) -> RawLog:
    """Read an ASAM MDF file; each group has its own time base."""
    try:
        from asammdf import MDF
    except ImportError:
        raise missing_library("mdf", "MDF") from None
    content = regular_bytes(file, "an MDF file", most=LONGEST_LOG)
    if content[:8] not in (b"MDF     ", b"UnFinMF ") or content[64:68] != b"##HD":
        raise InputError(f"{place(file)}: cannot be read as MDF 4 (its head is not that of one)")
    channels: list[RawChannel] = []
    with MDF(str(file)) as mdf:
        entries = [
            (name, group, index)
            for name, places in mdf.channels_db.items()
            for group, index in places
        ]
        masters = {(group, index) for group, index in mdf.masters_db.items()}
        several = {name for name, *_ in entries if len(mdf.channels_db[name]) > 1}
        for name, group, index in sorted(entries, key=lambda entry: entry[1:]):
            if (group, index) in masters:
                continue
            signal = mdf.get(name, group=group, index=index)
            values = _as_numbers(np.asarray(signal.samples))
            if values is None or values.ndim != 1:
                continue
            label = f"{name}@{group}" if name in several else name
            time = np.asarray(signal.timestamps, dtype=np.float64)
            channels.append(RawChannel(label, signal.unit or "", values, time, f"group {group}"))
    if not channels:
        raise InputError(f"{place(file)}: holds no channel of numbers")
    return RawLog(file, "MDF 4", tuple(channels), ())


def read_tdms(file: Path) -> RawLog:
    """Read a TDMS file; a channel's time is its waveform's, or a channel of its group."""
    try:
        from nptdms import TdmsFile
    except ImportError:
        raise missing_library("tdms", "TDMS") from None
    if regular_bytes(file, "a TDMS file", most=LONGEST_LOG)[:4] != b"TDSm":
        raise InputError(f"{place(file)}: cannot be read as TDMS (its head is not that of one)")
    logging.getLogger("nptdms").setLevel(logging.CRITICAL)  # what is wrong is told below, once
    channels: list[RawChannel] = []
    content = TdmsFile.read(str(file))
    several = [c.name for group in content.groups() for c in group.channels()]
    for group in content.groups():
        for channel in group.channels():
            values = _as_numbers(channel[:])
            if values is None or len(values) == 0:
                continue
            label = channel.name
            if several.count(label) > 1:
                label = f"{label}@{group.name}"
            unit = str(channel.properties.get("unit_string", ""))
            time: Any = None
            if "wf_increment" in channel.properties:
                step = float(channel.properties["wf_increment"])
                begin = float(channel.properties.get("wf_start_offset", 0.0))
                time = begin + step * np.arange(len(values))
            channels.append(RawChannel(label, unit, values, time, group.name))
    if not channels:
        raise InputError(f"{place(file)}: holds no channel of numbers")
    return RawLog(file, "TDMS", tuple(channels), ())

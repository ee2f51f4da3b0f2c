"""Write a stop of the bench as a log, in any format that is read."""

from __future__ import annotations

import io
import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from slipbench.contract import Floats
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.ground.reading import place
from slipbench.ground.telling import one_line
from slipbench.measured.raw import ENDINGS, missing_library
from slipbench.results.files import refuse_foreign, write_file
from slipbench.stop.stop import Stop

SUFFIXES = {"m/s": "m_per_s", "Pa": "pa", "m": "m", "s": "s", "": "", "-": ""}
"""Units as the heads of a CSV carry them."""

WRITTEN_ENDINGS = (".csv", ".parquet", ".mf4", ".tdms")
"""Endings of files a log can be written to."""


class Written(NamedTuple):
    """A channel to be written, in SI."""

    name: str
    unit: str
    values: Floats


def stop_channels(stop: Stop) -> list[Written]:
    """Return what a recorder on a stop of the bench would hold, its clock first.

    Wheel speeds are the sensors', all else is as it was: pressure, valves, train speed and place.

    Raises
    ------
    InputError   for a stop without traces
    """
    traces = stop.traces
    if not traces:
        raise InputError("a log needs a stop with traces")
    found = [
        Written("time_s", "s", traces["time"]),
        Written("train_speed_m_per_s", "m/s", traces["train_speed"]),
        Written("distance_m", "m", traces["distance"]),
        Written("handle", "", traces["handle"]),
        Written("demand", "-", traces["demand"]),
    ]
    for name, trace, unit in (
        ("wheel_speed", "measured_wheel_speed", "m/s"),
        ("pressure", "pressure", "Pa"),
        ("valve", "valve", ""),
    ):
        suffix = SUFFIXES[unit] and f"_{SUFFIXES[unit]}"
        found += [
            Written(f"axle_{i + 1}_{name}{suffix}", unit, column)
            for i, column in enumerate(traces[trace].T)
        ]
    return found


def about(stop: Stop) -> dict[str, str]:
    """Return what the head of a log says of the stop."""
    return {
        "format": "axle-log 1",
        "vehicle": stop.scenario.train.name,
        "n_axles": str(stop.scenario.train.n_axles),
        "comment": one_line(
            f"slipbench stop: {stop.scenario.name}, {stop.controller.name}, seed {stop.seed}"
        ),
        "caution": CAUTION,
    }


def write_log(stop: Stop, file: Path) -> None:
    """Write a stop as a log, in the format of the file's ending (`check_log_file` comes first).

    Raises
    ------
    InputError   a library that is missing, or the system refuses
    """
    write_file(file, log_bytes(stop_channels(stop), about(stop), file))


def check_log_file(file: Path, may_overwrite: bool) -> None:
    """Refuse, before anything is computed, a file a log cannot be written to.

    Raises
    ------
    InputError
    """
    if file.suffix.lower() not in WRITTEN_ENDINGS:
        raise InputError(f"{place(file)}: a log is written as {', '.join(WRITTEN_ENDINGS)}")
    refuse_foreign(file, may_overwrite)


def log_bytes(channels: Sequence[Written], head: dict[str, str], file: Path) -> bytes:
    """Return the content of a log file."""
    kind = ENDINGS[file.suffix.lower()]
    if kind == "CSV":
        return _as_csv(channels, head)
    if kind == "Parquet":
        return _as_parquet(channels, head)
    return _as_mdf(channels, head) if kind == "MDF 4" else _as_tdms(channels, head)


def _text(value: float) -> str:
    if math.isnan(value):
        return ""
    return repr(int(value)) if value == int(value) and abs(value) < 1e15 else repr(value)


def _as_csv(channels: Sequence[Written], head: dict[str, str]) -> bytes:
    """Return CSV; every number in as many digits as bring it back to the bit."""
    lines = [f"# {key} = {value}" for key, value in head.items()]
    lines.append(",".join(channel.name for channel in channels))
    columns = [[_text(value) for value in channel.values.tolist()] for channel in channels]
    lines += [",".join(row) for row in zip(*columns, strict=True)]
    return ("\n".join(lines) + "\n").encode()


def _as_parquet(channels: Sequence[Written], head: dict[str, str]) -> bytes:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise missing_library("parquet", "Parquet") from None
    table = pa.table({channel.name: channel.values for channel in channels})
    units = json.dumps({channel.name: channel.unit for channel in channels})
    table = table.replace_schema_metadata({**head, "units": units})
    stream = io.BytesIO()
    pq.write_table(table, stream)
    return stream.getvalue()


def _as_mdf(channels: Sequence[Written], head: dict[str, str]) -> bytes:
    try:
        from asammdf import MDF, Signal
    except ImportError:
        raise missing_library("mdf", "MDF") from None
    import tempfile

    time = channels[0].values
    mdf = MDF(version="4.10")
    signals = [
        Signal(np.ascontiguousarray(channel.values), time, unit=channel.unit, name=channel.name)
        for channel in channels[1:]
    ]
    mdf.append(signals, comment=head["comment"])
    mdf.header.comment = "; ".join(f"{key} = {value}" for key, value in head.items())
    with tempfile.TemporaryDirectory() as folder:
        made = mdf.save(Path(folder) / "log.mf4", overwrite=True, compression=2)
        mdf.close()
        return Path(made).read_bytes()


def _as_tdms(channels: Sequence[Written], head: dict[str, str]) -> bytes:
    try:
        from nptdms import ChannelObject, RootObject, TdmsWriter
    except ImportError:
        raise missing_library("tdms", "TDMS") from None
    stream = io.BytesIO()
    objects: list[Any] = [RootObject(properties=dict(head))]
    for channel in channels:
        properties = {"unit_string": channel.unit}
        objects.append(ChannelObject("log", channel.name, channel.values, properties))
    with TdmsWriter(stream) as writer:
        writer.write_segment(objects)
    return stream.getvalue()

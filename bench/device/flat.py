"""Worlds of many stops laid row behind row: a GPU is given forty arrays, and not forty a stop.

Pure numpy; what is the same for several stops is kept once.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from slipbench.kernel.records import World

NO_TRACES = ("train_traces", "axle_traces")
"""Parts without rows in a campaign: no traces are kept."""

PARTS = tuple(name for name in World._fields if name not in NO_TRACES)

FIXED = (
    "run", "train", "brakes", "axles", "cells", "grades", "groups", "handle", "vehicles",
    "demand_table", "wire_table", "controller_table", "curves", "faults", "presses", "driver",
    "drives", "magnets", "law", "sanders",
)  # fmt: skip
"""Parts no stop changes, so that stops which agree share them."""

EMPTY = (
    "lanes", "lock_log", "lock_trail", "rail_work", "rail_sand", "rail_heat", "slide_histogram",
)  # fmt: skip
"""Parts that are zero as a stop of a campaign begins: made on the GPU."""

STATES = (
    "train_state", "axle_states", "sander_states", "signals", "vehicle_states", "fault_states",
    "fault_log", "slide_histogram", "effective", "group_states", "drive_states", "magnet_states",
    "command",
)  # fmt: skip
"""Parts that come back whole."""

USED_ROWS = {"lock_log": "n_locks", "lock_trail": "n_trail"}
"""Parts of which the first rows come back, as many as a value of the train's state says."""

HEAT, WHERE_SANDED = "rail_heat", "rail_sand"
"""Of the heat under locked wheels comes back what lies between the first and the last cell that has
any; of the sand all, of trains with sanders."""

Array = NDArray[Any]


@dataclass(frozen=True)
class Flat:
    """A part of many stops.

    Attributes
    ----------
    rows : array         one row of each run of equal rows; whatever, where `ends` is None
    ends : (n_runs,)     row behind the last of each run; None: rows stand as they are
    starts : (n,)        first row of each stop
    lengths : (n,)       its number of rows
    n_rows : int         in all; more than `rows` holds where they are runs, or zeros made later
    """

    rows: Array
    ends: Array | None
    starts: Array
    lengths: Array
    n_rows: int

    def holding(self, rows: Array) -> Flat:
        """Return the same stops with other rows, all there."""
        return Flat(rows, None, self.starts, self.lengths, self.n_rows)

    def part(self, first: int, last: int) -> Flat:
        """Return some stops, of rows that are all there and lie in the order of the stops."""
        start = int(self.starts[first])
        end = int(self.starts[last - 1] + self.lengths[last - 1])
        return flat_of(self.rows[start:end], self.lengths[first:last])

    def of_stop(self, i: int) -> Array:
        """Return the rows of a stop, of rows that are all there."""
        return self.rows[self.starts[i] : self.starts[i] + self.lengths[i]]


def flat_of(rows: Array, lengths: Array) -> Flat:
    """Return rows of several stops that lie behind each other."""
    starts = np.cumsum(lengths) - lengths
    return Flat(rows, None, starts, lengths, int(lengths.sum()))


def flat_part(name: str, arrays: Sequence[Array]) -> Flat:
    """Lay one part of several stops row behind row."""
    lengths = np.array([len(array) for array in arrays], dtype=np.int64)
    if name in EMPTY:
        return flat_of(arrays[0][:0], lengths)
    if name not in FIXED:
        return flat_of(np.concatenate(arrays), lengths)
    places: dict[bytes, int] = {}
    kept: list[Array] = []
    starts, n_rows = np.zeros(len(arrays), np.int64), 0
    for i, array in enumerate(arrays):
        if kept and kept[-1].tobytes() == array.tobytes() and len(kept[-1]) == len(array):
            starts[i] = n_rows - len(array)  # the usual case, and quicker than a hash
            continue
        content = hashlib.sha256(array.tobytes()).digest()
        content += len(array).to_bytes(8, "little")
        if content not in places:
            places[content] = n_rows
            kept.append(array)
            n_rows += len(array)
        starts[i] = places[content]
    rows, ends = _runs(np.concatenate(kept))
    return Flat(rows, ends, starts, lengths, n_rows)


def _runs(rows: Array) -> tuple[Array, Array | None]:
    """Return a row of each run of equal rows and where it ends; or all rows, if that is less."""
    if len(rows) < 256:
        return rows, None
    words = np.ascontiguousarray(rows).view(np.int64).reshape(len(rows), -1)
    is_last = np.append((words[1:] != words[:-1]).any(axis=1), True)
    ends = np.flatnonzero(is_last) + 1
    if len(ends) > len(rows) // 4:
        return rows, None
    return rows[ends - 1], ends.astype(np.int64)


def joined(flats: Sequence[Flat]) -> Flat:
    """Return parts of several groups of stops as one."""
    shifts = np.concatenate([[0], np.cumsum([flat.n_rows for flat in flats])[:-1]]).astype(np.int64)
    starts = np.concatenate([f.starts + s for f, s in zip(flats, shifts, strict=True)])
    lengths = np.concatenate([flat.lengths for flat in flats])
    n_rows = int(sum(flat.n_rows for flat in flats))
    ends = None
    if any(flat.ends is not None for flat in flats):
        each = [np.arange(1, f.n_rows + 1) if f.ends is None else f.ends for f in flats]
        ends = np.concatenate([e + s for e, s in zip(each, shifts, strict=True)]).astype(np.int64)
    return Flat(np.concatenate([flat.rows for flat in flats]), ends, starts, lengths, n_rows)


def flattened(worlds: Sequence[World]) -> dict[str, Flat]:
    """Return all parts of several stops; their worlds keep no traces."""
    return {name: flat_part(name, [getattr(w, name) for w in worlds]) for name in PARTS}


def put_back(
    world: World, moved: Mapping[str, Flat], i: int, begins: Mapping[str, Array] | None = None
) -> None:
    """Write what came back of stop `i` into its world, as a stop run here would leave it.

    Parameters
    ----------
    begins : dict of str to (n,)   row of the world at which a part begins, where that is not 0
    """
    for name, flat in moved.items():
        rows, first = flat.of_stop(i), int((begins or {}).get(name, {i: 0})[i])
        getattr(world, name)[first : first + len(rows)] = rows

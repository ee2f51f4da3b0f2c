"""The process that holds a GPU: takes packed stops, runs them, hands back what moved."""

from __future__ import annotations

import math
import os
import signal
import time
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from itertools import pairwise
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import numpy as np

from slipbench.compiling.mode import DEVICE_PROCESS
from slipbench.device.flat import (
    EMPTY,
    HEAT,
    NO_TRACES,
    PARTS,
    STATES,
    USED_ROWS,
    WHERE_SANDED,
    Array,
    Flat,
    flat_of,
    joined,
)
from slipbench.ground.telling import LONGEST_PROBLEM, cut, message

TURN = 20_000
"""Pieces of time before the GPU comes back, so that a clock is heard: some seconds."""

THREADS = 64
"""Of a block, a stop each: `tests/speed/gpu.py` prints what others give."""

TIMED_OUT = -3
"""What a stop beyond its limit came to."""

SHARE_OF_MEMORY = 0.85
"""Of the GPU's free memory that stops may fill."""

MEMORY = "memory"
"""Name of the strategies' memory among the parts."""


@dataclass(frozen=True)
class Chunk:
    """Stops of one strategy, packed by one process.

    Attributes
    ----------
    parts : dict of str to Flat      those of `PARTS`, and `memory`
    values : (n, n_parameters)
    """

    parts: dict[str, Flat]
    values: Array

    def bytes_needed(self) -> int:
        """Return what it fills of the GPU's memory. [B]"""
        return sum(flat.n_rows * _row_bytes(flat.rows) for flat in self.parts.values())


@dataclass(frozen=True)
class Work:
    """What a GPU is asked for: stops of one strategy, found by its reference."""

    reference: str
    compile_file: bool
    source_hash: str
    chunks: list[Chunk]
    stop_limit: float
    n_threads: int = THREADS


@dataclass(frozen=True)
class Moved:
    """What came of the stops of a chunk.

    Attributes
    ----------
    came_to : (n,)          -1 at the end, `TIMED_OUT`, or the axle whose command was refused
    parts : dict of str to Flat   of those that moved, some rows of each stop; the rest stays as
                            it was packed
    begins : dict of str to (n,)  at which row of its part they begin, where that is not 0
    seconds : float         of the GPU, a stop: it runs many beside each other
    """

    came_to: Array
    parts: dict[str, Flat]
    begins: dict[str, Array]
    seconds: float


def _row_bytes(rows: Array) -> int:
    return int(rows.dtype.itemsize * math.prod(rows.shape[1:]))


class Device:
    """A GPU and the kernels compiled for it."""

    def __init__(self, index: int) -> None:
        from numba import cuda as untyped

        from slipbench.compiling.device import teach_floor

        teach_floor()
        cuda: Any = untyped
        cuda.select_device(index)
        self._cuda = cuda
        self._kernels: dict[str, Any] = {}
        self.n_devices = len(cuda.gpus)
        name = cuda.get_current_device().name  # bytes in some versions of numba-cuda
        self.name = name.decode() if isinstance(name, bytes) else str(name)

    def run(self, work: Work) -> list[Moved]:
        """Run chunks, as many at once as memory holds."""
        kernel = self._kernel(work)
        free = int(self._cuda.current_context().get_memory_info().free)
        found: list[Moved] = []
        group: list[Chunk] = []
        for chunk in work.chunks:
            size = sum(other.bytes_needed() for other in (*group, chunk))
            if group and size > SHARE_OF_MEMORY * free:
                found += self._run_group(kernel, group, work)
                group = []
            group.append(chunk)
        return found + self._run_group(kernel, group, work)

    def _kernel(self, work: Work) -> Any:
        if work.source_hash not in self._kernels:
            from slipbench.compiling.cache import hash_of_sources, strategy_folder
            from slipbench.compiling.jit import compile_strategy
            from slipbench.device.many import stops_kernel
            from slipbench.running.candidate import found

            known = found(work.reference, work.compile_file, work.source_hash)
            update = compile_strategy(known.controller.update, None, False)
            own = f"{work.source_hash}-{hash_of_sources(Path(__file__).parent)}"
            folder = strategy_folder() / f"cuda-{version('numba-cuda')}-{own}"
            self._kernels[work.source_hash] = stops_kernel(update, folder)
        return self._kernels[work.source_hash]

    def _run_group(self, kernel: Any, chunks: Sequence[Chunk], work: Work) -> list[Moved]:
        from slipbench.kernel.loop import PAUSED

        began = time.perf_counter()
        flats = {name: joined([c.parts[name] for c in chunks]) for name in (*PARTS, MEMORY)}
        values = np.ascontiguousarray(np.concatenate([chunk.values for chunk in chunks]))
        n_stops = len(values)
        on_device = {name: self._placed(name, flat) for name, flat in flats.items()}
        came_to = np.full(n_stops, PAUSED, np.int64)
        arguments = [
            np.stack([flats[name].starts for name in (*PARTS, MEMORY)]),
            np.stack([flats[name].lengths for name in (*PARTS, MEMORY)]),
            values,
        ]
        there = [self._cuda.to_device(array) for array in arguments]
        came_there = self._cuda.to_device(came_to)
        empty = [self._cuda.to_device(array) for array in _no_traces()]
        parts = [on_device[name] for name in PARTS]
        n_blocks = -(-n_stops // work.n_threads)
        while (came_to == PAUSED).any():
            kernel[n_blocks, work.n_threads](
                came_there, TURN, *there, on_device[MEMORY], *parts, *empty
            )
            came_there.copy_to_host(came_to)
            if time.perf_counter() - began > work.stop_limit:
                came_to[came_to == PAUSED] = TIMED_OUT
        seconds = (time.perf_counter() - began) / n_stops
        bounds = np.cumsum([0, *(len(chunk.values) for chunk in chunks)])
        moved, heat_from = self._moved(flats, on_device)
        return [
            Moved(
                came_to[first:last],
                {name: flat.part(first, last) for name, flat in moved.items()},
                {HEAT: heat_from[first:last]},
                seconds,
            )
            for first, last in pairwise(bounds)
        ]

    def _placed(self, name: str, flat: Flat) -> Any:
        """Return a part on the GPU, written out in full."""
        from slipbench.device.filling import clear, spread

        cuda, shape = self._cuda, (flat.n_rows, *flat.rows.shape[1:])
        if name not in EMPTY and name != MEMORY and flat.ends is None:
            return cuda.to_device(np.ascontiguousarray(flat.rows))
        n_words = _row_bytes(flat.rows) // 8
        if flat.n_rows * n_words == 0:
            return cuda.to_device(np.zeros(shape, flat.rows.dtype))
        words = cuda.device_array(flat.n_rows * n_words, np.int64)
        if flat.ends is None:
            clear[1024, 128](words)
        else:
            rows = np.ascontiguousarray(flat.rows).view(np.int64).reshape(-1)
            spread[1024, 128](cuda.to_device(rows), n_words, cuda.to_device(flat.ends), words)
        return words.view(flat.rows.dtype).reshape(*shape)

    def _moved(
        self, flats: dict[str, Flat], on_device: dict[str, Any]
    ) -> tuple[dict[str, Flat], Array]:
        """Return what moved, of all stops, and in which cell the heat of each begins."""
        names = [*STATES, *([WHERE_SANDED] if flats["sanders"].n_rows else [])]
        found = {name: flats[name].holding(on_device[name].copy_to_host()) for name in names}
        train, zero = found["train_state"].rows, np.zeros(len(flats[HEAT].starts), np.int64)
        for name, counter in USED_ROWS.items():
            counts = np.minimum(train[counter], flats[name].lengths)
            found[name] = _some_rows(flats[name], on_device[name], zero, counts)
        first, last = self._span(flats[HEAT], on_device[HEAT]).T
        found[HEAT] = _some_rows(flats[HEAT], on_device[HEAT], first, last - first)
        return found, first

    def _span(self, flat: Flat, on_device: Any) -> Array:
        """Return the first row of each stop that is not zero, and the one behind the last."""
        from slipbench.device.filling import used_span

        span = self._cuda.device_array((len(flat.starts), 2), np.int64)
        there = [self._cuda.to_device(array) for array in (flat.starts, flat.lengths)]
        used_span[-(-len(flat.starts) // THREADS), THREADS](on_device, *there, span)
        return np.asarray(span.copy_to_host())


def _some_rows(flat: Flat, on_device: Any, begins: Array, counts: Array) -> Flat:
    """Return some rows of each stop; few have any, so they come stop by stop."""
    rows = [
        on_device[first : first + count].copy_to_host()
        for first, count in zip((flat.starts + begins).tolist(), counts.tolist(), strict=True)
        if count
    ]
    return flat_of(np.concatenate([flat.rows[:0], *rows]), counts.astype(np.int64))


def _no_traces() -> list[Array]:
    from slipbench.kernel.columns import TRACED_AXLE, TRACED_TRAIN

    shapes = {"train_traces": (0, len(TRACED_TRAIN)), "axle_traces": (0, 1, len(TRACED_AXLE))}
    return [np.zeros(shapes[name]) for name in NO_TRACES]


def serve(pipe: Connection, index: int) -> None:
    """Say which GPU this is, then run what is asked for until the pipe ends.

    Answers are a `list[Moved]`, the GPU's name and number, or a text that says what is wrong.
    """
    os.environ[DEVICE_PROCESS] = "1"
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent hears it and ends this process
    try:
        device = Device(index)
    except BaseException as problem:  # no driver, no GPU: numba-cuda has many ways to say so
        pipe.send(_line(problem))
        return
    pipe.send((device.name, device.n_devices))
    while True:
        try:
            work = pipe.recv()
        except EOFError:
            return
        try:
            pipe.send(device.run(work))
        except BaseException as problem:
            pipe.send(_line(problem))


def _line(problem: BaseException) -> str:
    reason = " ".join(str(problem).split()) or type(problem).__name__
    return cut(message(reason), LONGEST_PROBLEM)

"""A runner of campaigns on the GPUs of this machine."""

from __future__ import annotations

import json
import math
import multiprocessing
import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from importlib.metadata import PackageNotFoundError, version
from importlib.util import find_spec
from itertools import islice
from pathlib import Path
from typing import Any

from slipbench.compiling.mode import DEVICE_PROCESS
from slipbench.device import packing, process
from slipbench.device.process import THREADS, Chunk, Moved, Work
from slipbench.ground.errors import InputError
from slipbench.ground.interrupts import interrupts_ignored
from slipbench.results.canonical import as_json, short_hash
from slipbench.results.identity import hash_of_files, machine_text
from slipbench.running.candidate import FLOOR, Candidate, controller_of
from slipbench.running.pool import n_cores
from slipbench.running.task import Outcome, Result, Task, run_task
from slipbench.strategies.foreign import ForeignUpdate

IN_FLIGHT = 16_384
"""Stops a GPU is given at once at most."""

CHUNK = 256
"""Stops a process packs at once."""

HELP = "--device cuda needs the extra `cuda`: python -m pip install slipbench[cuda]"


def device_machine(name: str) -> str:
    """Return the machine type of stops that a GPU ran, as canonical text.

    It says the processor too, which packs and measures, and what compiled for the GPU.
    """
    files = {path.stem: path for path in Path(__file__).parent.glob("*.py")}
    there = {"device": name, "numba_cuda": version("numba-cuda"), "code": hash_of_files(files)}
    return as_json(json.loads(machine_text()) | there)


class _Beside:
    """A process at the other end of a pipe."""

    def __init__(self, serve: Callable[..., None], *arguments: Any) -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe, other = context.Pipe()
        with interrupts_ignored():
            self._process = context.Process(target=serve, args=(other, *arguments), daemon=True)
            self._process.start()
        other.close()

    def ask(self, what: Any) -> None:
        """Send without waiting for the answer."""
        with suppress(BrokenPipeError):  # the answer will say that it is gone
            self.pipe.send(what)

    def answer(self, what: str) -> Any:
        """Return the answer.

        Raises
        ------
        InputError   if the process is gone, or says what is wrong
        """
        try:
            said = self.pipe.recv()
        except EOFError:
            self._process.join()
            raise InputError(
                f"{what}: its process ended by itself (code {self._process.exitcode}), perhaps "
                "for want of memory"
            ) from None
        if isinstance(said, str):
            raise InputError(f"{what}: {said}")
        return said

    def end(self) -> None:
        """End it at once."""
        self.pipe.close()
        self._process.terminate()
        self._process.join()


class DeviceRunner:
    """Runs stops on all GPUs of this machine, packed and judged by processes beside them.

    Raises
    ------
    InputError   without the extra `cuda` or a GPU that can be used
    """

    def __init__(self, n_workers: int | None = None, stop_limit: float = math.inf) -> None:
        self.stop_limit, self.n_threads, self.in_flight = stop_limit, THREADS, IN_FLIGHT
        self._devices: list[_Beside] = []
        self._packers: list[_Beside] = []
        try:
            with suppress(PackageNotFoundError):
                version("numba-cuda")
                if find_spec("numba.cuda") is None:
                    raise PackageNotFoundError
                self._start(n_cores() if n_workers is None else n_workers)
                return
            raise InputError(HELP)
        except BaseException:
            self.close()
            raise

    def _start(self, n_workers: int) -> None:
        self._devices.append(_new_device(0))
        name, n_devices = self._devices[0].answer("device cuda")
        for index in range(1, n_devices):
            self._devices.append(_new_device(index))
        for device in self._devices[1:]:
            device.answer("device cuda")
        self._machine = device_machine(name)
        for _ in range(n_workers):
            self._packers.append(_Beside(packing.serve, self._machine, self.stop_limit))

    def machines(self) -> dict[str, str]:
        """Return the machine type: this machine's with its GPU."""
        return {short_hash(self._machine): self._machine}

    def run_on(self, machine: str, task: Task) -> Outcome:
        """Run one task here."""
        return next(iter(self.run([task])))[1]

    def run(self, tasks: Iterable[Task]) -> Iterator[Result]:
        """Yield results batch by batch; on any exception the processes are ended at once."""
        running: deque[tuple[_Beside, list[list[Task]]]] = deque()
        idle = deque(self._devices)
        try:
            for batch in _batches(tasks, self.in_flight):
                if batch[0].candidate.reference == FLOOR:
                    yield from ((task, run_task(task, self.stop_limit)) for task in batch)
                    continue
                shares, work = self._packed(batch)
                done = None
                if not idle:
                    device, earlier = running.popleft()
                    done = earlier, device.answer("device cuda")
                    idle.append(device)
                device = idle.popleft()
                device.ask(work)
                running.append((device, shares))
                if done is not None:
                    yield from self._concluded(*done)
            while running:
                device, shares = running.popleft()
                moved = device.answer("device cuda")
                idle.append(device)
                yield from self._concluded(shares, moved)
        except BaseException:
            self.close()
            raise

    def _packed(self, batch: list[Task]) -> tuple[list[list[Task]], Work]:
        """Let the processes pack a batch; return the share of each, and what a GPU is given."""
        candidate = batch[0].candidate
        refuse_what_cannot(candidate)
        size = min(CHUNK, -(-len(batch) // len(self._packers)))
        shares = [batch[i : i + size] for i in range(0, len(batch), size)]
        chunks: list[Chunk] = []
        for round_of in _rounds(shares, len(self._packers)):
            for packer, share in zip(self._packers, round_of, strict=False):
                packer.ask(share)
            chunks += [
                packer.answer("packing") for packer, _ in zip(self._packers, round_of, strict=False)
            ]
        work = Work(
            candidate.reference,
            candidate.compile_file,
            candidate.source_hash,
            chunks,
            self.stop_limit,
            self.n_threads,
        )
        return shares, work

    def _concluded(self, shares: list[list[Task]], moved: list[Moved]) -> Iterator[Result]:
        """Let the processes that packed them judge what came back."""
        pairs = list(zip(shares, moved, strict=True))
        for round_of in _rounds(pairs, len(self._packers)):
            for packer, (_, came) in zip(self._packers, round_of, strict=False):
                packer.ask(came)
            for packer, (share, _) in zip(self._packers, round_of, strict=False):
                yield from zip(share, packer.answer("campaign on a GPU"), strict=True)

    def close(self) -> None:
        """End all processes."""
        for beside in (*self._devices, *self._packers):
            beside.end()
        self._devices, self._packers = [], []


def _new_device(index: int) -> _Beside:
    os.environ[DEVICE_PROCESS] = "1"  # inherited: it compiles for the GPU from its first import
    try:
        return _Beside(process.serve, index)
    finally:
        del os.environ[DEVICE_PROCESS]


def refuse_what_cannot(candidate: Candidate) -> None:
    """Refuse a strategy no GPU can run."""
    known = controller_of(candidate)
    update = known.controller.update
    if isinstance(update, ForeignUpdate):
        raise InputError(
            f"strategy {candidate.label}: {update.kind}; only strategies compiled from Python run "
            "on a GPU; leave out --device"
        )
    if not known.runs_compiled:
        raise InputError(
            f"strategy {candidate.label}: runs as plain Python, which no GPU does; add --compile"
        )


def _batches(tasks: Iterable[Task], most: int) -> Iterator[list[Task]]:
    """Yield runs of tasks of one strategy, at most so many at once.

    Tasks of several strategies come mixed, so they are sorted within what is taken at once.
    """
    waiting = iter(tasks)
    while taken := list(islice(waiting, most)):
        by_source: dict[str, list[Task]] = {}
        for task in taken:
            by_source.setdefault(task.candidate.source_hash, []).append(task)
        yield from by_source.values()


def _rounds(items: list[Any], size: int) -> Iterator[list[Any]]:
    for first in range(0, len(items), size):
        yield items[first : first + size]

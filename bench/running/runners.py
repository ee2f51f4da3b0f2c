"""Where stops are run: in this process, in a pool of processes, or on a cluster.

A runner takes tasks one by one from an iterator and hands results back as they finish, with only a
few in flight, so memory does not grow with their number. Which runner it is changes no bit of a
result on one machine type.
"""

from __future__ import annotations

import math
import multiprocessing
import signal
from collections.abc import Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Protocol

from slipbench.ground.errors import InputError
from slipbench.ground.interrupts import interrupts_end_at_once, interrupts_ignored
from slipbench.results.canonical import short_hash
from slipbench.results.identity import machine_text
from slipbench.running.candidate import FLOOR_CANDIDATE, controller_of
from slipbench.running.limit import LAST_WORDS, LastWords
from slipbench.running.pool import end_with_parent, n_cores
from slipbench.running.runner import prepare
from slipbench.running.task import IN_FLIGHT, Outcome, Result, Task, failed_outcome, run_task

MOST_LOSSES = 3
"""A stop whose worker died this often is given up."""


class Runner(Protocol):
    """Runs tasks; closed when no longer needed."""

    def run(self, tasks: Iterable[Task]) -> Iterator[Result]:
        """Yield results as they finish, in any order; raise the first `InputError` of a task."""
        ...

    def machines(self) -> dict[str, str]:
        """Return the machine types stops will be run on: hash to canonical text."""
        ...

    def run_on(self, machine: str, task: Task) -> Outcome:
        """Run one task on a machine of the given type."""
        ...

    def close(self) -> None:
        """Let all workers go."""
        ...


class _Local:
    """What runners on this machine share."""

    def __init__(self, stop_limit: float = math.inf) -> None:
        self._known: set[str] = {FLOOR_CANDIDATE.source_hash}
        self.stop_limit = stop_limit

    def _prepared(self, task: Task) -> Task:
        """Compile a strategy here first, so that workers find it on disk."""
        candidate = task.candidate
        if candidate.source_hash not in self._known:
            with interrupts_end_at_once("slipbench: interrupted while compiling a strategy"):
                prepare(controller_of(candidate))
            self._known.add(candidate.source_hash)
        return task

    def machines(self) -> dict[str, str]:
        """Return this machine's type."""
        return {short_hash(machine_text()): machine_text()}

    def run_on(self, machine: str, task: Task) -> Outcome:
        """Run one task here."""
        return run_task(task, self.stop_limit)


class HereRunner(_Local):
    """Runs stops one after the other in this process."""

    def run(self, tasks: Iterable[Task]) -> Iterator[Result]:
        """Yield each result in order."""
        for task in map(self._prepared, tasks):
            yield task, run_task(task, self.stop_limit)

    def close(self) -> None:
        """Nothing to let go."""


class PoolRunner(_Local):
    """Runs stops in worker processes of this machine.

    A worker that dies (killed, or out of memory) is replaced and what it had in hand is run again;
    one that ended itself over a stop beyond its limit has left word, and that stop has failed.
    """

    def __init__(self, n_workers: int, stop_limit: float = math.inf) -> None:
        super().__init__(stop_limit)
        self.n_workers = n_workers
        self._folder = TemporaryDirectory(prefix="slipbench-", ignore_cleanup_errors=True)
        self._executor = self._new()

    def _new(self) -> ProcessPoolExecutor:
        context = multiprocessing.get_context("spawn")
        return ProcessPoolExecutor(
            self.n_workers,
            mp_context=context,
            initializer=_start_worker,
            initargs=(self._folder.name,),
        )

    def run(self, tasks: Iterable[Task]) -> Iterator[Result]:
        """Yield results as they finish; on any exception the workers are ended at once."""
        waiting = map(self._prepared, tasks)
        pending: dict[Future[Outcome], Task] = {}
        losses: dict[str, int] = {}
        again: list[Task] = []
        try:
            while True:
                again = self._fill(pending, waiting, again)
                if not pending and not again:
                    return
                done, _ = wait(pending, return_when=FIRST_COMPLETED)
                lost = []
                for future in done:
                    if isinstance(future.exception(), BrokenProcessPool):
                        lost.append(pending.pop(future))
                    else:
                        yield pending.pop(future), future.result()
                if lost or again:
                    lost += self._recover(pending)
                    failed = {
                        task.key: failure for task in lost if (failure := self._word_of(task))
                    }
                    for task in lost:
                        if task.key in failed:
                            yield task, failed[task.key]
                        else:
                            again.append(task if failed else _count_loss(task, losses))
        except BaseException:
            self._stop()
            raise

    def _fill(
        self, pending: dict[Future[Outcome], Task], waiting: Iterator[Task], again: list[Task]
    ) -> list[Task]:
        """Submit until enough is in flight; return what could not be."""
        while len(pending) < IN_FLIGHT * self.n_workers:
            task = again.pop() if again else next(waiting, None)
            if task is None:
                break
            try:
                pending[self._submit(task)] = task
            except BrokenProcessPool:
                return [*again, task]
        return again

    def _submit(self, task: Task) -> Future[Outcome]:
        if len(self._executor._processes or ()) == self.n_workers:
            return self._executor.submit(_run_in_worker, task, self.stop_limit)
        with interrupts_ignored():  # a new worker inherits it: Ctrl-C is for this process alone
            return self._executor.submit(_run_in_worker, task, self.stop_limit)

    def _recover(self, pending: dict[Future[Outcome], Task]) -> list[Task]:
        """Replace a broken pool; return the tasks that went with it, keep what had finished."""
        wait(pending)
        lost = [f for f in pending if isinstance(f.exception(), BrokenProcessPool)]
        tasks = [pending.pop(future) for future in lost]
        self._executor.shutdown(wait=True)
        self._executor = self._new()
        return tasks

    def _word_of(self, task: Task) -> Outcome | None:
        """Return the failure a worker left word of before it ended itself over a task."""
        reason = LastWords.read(Path(self._folder.name), task.key)
        return failed_outcome(task, reason, self.stop_limit) if reason else None

    def _stop(self) -> None:
        workers = list((self._executor._processes or {}).values())  # public only from Python 3.14
        self._executor.shutdown(wait=False, cancel_futures=True)
        for worker in workers:
            worker.terminate()

    def close(self) -> None:
        """End the workers."""
        self._executor.shutdown(wait=True, cancel_futures=True)
        self._folder.cleanup()


def _count_loss(task: Task, losses: dict[str, int]) -> Task:
    losses[task.key] = losses.get(task.key, 0) + 1
    if losses[task.key] > MOST_LOSSES:
        raise InputError(
            f"scenario {task.scenario.name}, strategy {task.candidate.label}, seed {task.seed}: "
            f"its worker process died {losses[task.key]} times, perhaps for want of memory; "
            "try fewer --workers"
        )
    return task


def _run_in_worker(task: Task, stop_limit: float) -> Outcome:
    LAST_WORDS.key = task.key
    return run_task(task, stop_limit)


def _start_worker(folder: str) -> None:
    """Leave Ctrl-C to the parent, and end when the parent is gone, even if it was killed.

    Parameters
    ----------
    folder : str   where it leaves word of a stop it has to end over
    """
    LAST_WORDS.folder = Path(folder)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    end_with_parent()


def make_runner(
    n_workers: int | None = None, scheduler: str | None = None, stop_limit: float = math.inf
) -> Runner:
    """Return a runner: a pool of all cores unless told otherwise, 1 is this process.

    Parameters
    ----------
    n_workers : int or None   processes here; None is one a core
    scheduler : str or None   address of a Dask scheduler, whose workers are used instead
    stop_limit : float        what a stop may take by the clock before it counts as failed. [s]

    Raises
    ------
    InputError   if the scheduler cannot be used
    """
    if scheduler is not None:
        from slipbench.running.cluster import ClusterRunner

        return ClusterRunner(scheduler, stop_limit)
    count = n_cores() if n_workers is None else n_workers
    return HereRunner(stop_limit) if count == 1 else PoolRunner(count, stop_limit)

"""Stops on the workers of a Dask scheduler. Needs the optional extra `cluster`."""

from __future__ import annotations

import json
import logging
import math
import time
from collections.abc import Iterable, Iterator
from concurrent.futures import CancelledError
from contextlib import suppress
from importlib import import_module
from typing import Any

from slipbench.ground.errors import InputError
from slipbench.results.canonical import short_hash
from slipbench.results.identity import differing, machine_text, versions, versions_text
from slipbench.running.task import IN_FLIGHT, Outcome, Result, Task, run_task

PATIENCE = 30.0
"""How long a scheduler and its first worker are waited for. [s]"""

ASKED_EVERY = 2.0
"""How long the number of the workers' threads is taken as known. [s]"""


def worker_identity() -> tuple[str, str]:
    """Return versions and machine type of the process this runs in."""
    return versions_text(), machine_text()


class ClusterRunner:
    """Runs stops on the workers of a Dask scheduler.

    A worker that dies is no loss: the scheduler gives what it had in hand to another, and results
    already here are in the store.

    Raises
    ------
    InputError   if the extra is not installed, the scheduler cannot be reached, has no worker, or a
                 worker has other sources or libraries than this process
    """

    def __init__(self, address: str, stop_limit: float = math.inf) -> None:
        self.stop_limit = stop_limit
        try:
            distributed: Any = import_module("distributed")
        except ImportError:
            raise InputError(
                "--scheduler needs the extra `cluster`: python -m pip install slipbench[cluster]"
            ) from None
        # what it would tell with a traceback, such as a lost scheduler, is said in one line here
        logging.getLogger("distributed.client").setLevel(logging.CRITICAL)
        self.address, self._distributed = address, distributed
        self._threads, self._ask_at = 0, 0.0
        try:
            self._client: Any = distributed.Client(address, timeout=PATIENCE, set_as_default=False)
        except (OSError, ValueError, TypeError) as problem:
            text = " ".join(str(problem).split())
            raise InputError(f"scheduler {address}: cannot be reached: {text}") from problem
        try:
            self._client.wait_for_workers(1, timeout=PATIENCE)
            self._workers = self._checked_workers()
        except TimeoutError:
            self.close()
            raise InputError(f"scheduler {address}: has no workers") from None
        except BaseException:
            self.close()
            raise

    def _checked_workers(self) -> dict[str, str]:
        """Return the machine type of each worker; refuse one with other versions.

        A worker that goes away while it is asked is passed over, as it would be later on; one that
        comes later is checked by each stop it runs.
        """
        found: dict[str, str] = {}
        identities = self._client.run(worker_identity, on_error="return")
        for worker, identity in identities.items():
            if isinstance(identity, OSError | TimeoutError):
                continue
            if isinstance(identity, BaseException):
                raise InputError(
                    f"scheduler {self.address}: a worker cannot load slipbench ({identity}); "
                    "install it there"
                ) from identity
            text, machine = identity
            changes = differing(dict(versions()), json.loads(text))
            if changes:
                raise InputError(f"worker {worker}: has other versions: {changes}")
            found[worker] = machine
        if not found:
            raise TimeoutError
        return found

    def machines(self) -> dict[str, str]:
        """Return the machine types of the workers: hash to canonical text."""
        return {short_hash(machine): machine for machine in self._workers.values()}

    def run_on(self, machine: str, task: Task) -> Outcome:
        """Run one task on a worker of the given machine type."""
        workers = [w for w, text in self._workers.items() if short_hash(text) == machine]
        future = self._client.submit(
            run_task,
            task,
            self.stop_limit,
            workers=workers,
            allow_other_workers=False,
            pure=False,
        )
        outcome: Outcome = future.result()
        return outcome

    def run(self, tasks: Iterable[Task]) -> Iterator[Result]:
        """Yield results as they finish; on any exception what is in flight is cancelled."""
        waiting = iter(tasks)
        pending: dict[Any, Task] = {}
        finished = self._distributed.as_completed(loop=self._client.loop)
        try:
            self._fill(pending, waiting, finished)
            while pending:
                future = next(finished)
                task = pending.pop(future)
                yield task, self._result(future, task)
                future.release()
                self._fill(pending, waiting, finished)
        except BaseException:
            with suppress(OSError, TimeoutError, CancelledError):  # of a scheduler that is gone
                self._client.cancel(list(pending))
            raise

    def _fill(self, pending: dict[Any, Task], waiting: Iterator[Task], finished: Any) -> None:
        while len(pending) < IN_FLIGHT * self._n_threads():
            task = next(waiting, None)
            if task is None:
                return
            future = self._client.submit(run_task, task, self.stop_limit, pure=False)
            pending[future] = task
            finished.add(future)

    def _n_threads(self) -> int:
        """Return the threads of all workers, asked for now and then: workers come and go.

        A scheduler too busy to answer is no reason to end: the number known last will do, and one
        that is gone shows in the results.
        """
        now = time.monotonic()
        if now >= self._ask_at:
            with suppress(OSError, TimeoutError):
                self._threads = sum(self._client.nthreads().values())
            self._ask_at = now + ASKED_EVERY
        return max(1, self._threads)

    def _result(self, future: Any, task: Task) -> Outcome:
        try:
            outcome: Outcome = future.result()
        except self._distributed.KilledWorker as problem:
            raise InputError(
                f"scenario {task.scenario.name}, strategy {task.candidate.label}, seed "
                f"{task.seed}: the workers that ran it died again and again: {problem}"
            ) from problem
        except (CancelledError, OSError):
            if future.status == "error":  # of the stop itself
                raise
            raise InputError(
                f"scheduler {self.address}: has gone away; what was finished is stored, the same "
                "command resumes"
            ) from None
        return outcome

    def close(self) -> None:
        """Leave the scheduler; its workers stay."""
        self._client.close()

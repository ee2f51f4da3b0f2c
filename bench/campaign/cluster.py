"""Stops on the workers of a Dask scheduler. Needs the optional extra `cluster`."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from concurrent.futures import CancelledError
from importlib import import_module
from typing import Any

from bench.campaign.canonical import short_hash
from bench.campaign.identity import differing, machine_text, versions, versions_text
from bench.campaign.running import IN_FLIGHT, Result
from bench.campaign.task import Outcome, Task, run_task
from bench.errors import InputError

PATIENCE = 30.0
"""How long a scheduler and its first worker are waited for. [s]"""


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

    def __init__(self, address: str) -> None:
        try:
            distributed: Any = import_module("distributed")
        except ImportError:
            raise InputError(
                "--scheduler needs the extra `cluster`: python -m pip install slipbench[cluster]"
            ) from None
        self.address, self._distributed = address, distributed
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
        """Return the machine type of each worker; refuse one with other versions."""
        found: dict[str, str] = {}
        try:
            identities = self._client.run(worker_identity)
        except (ImportError, AttributeError) as problem:
            raise InputError(
                f"scheduler {self.address}: a worker cannot load slipbench ({problem}); "
                "install it there"
            ) from problem
        for worker, (text, machine) in identities.items():
            changes = differing(dict(versions()), json.loads(text))
            if changes:
                raise InputError(f"worker {worker}: has other versions: {changes}")
            found[worker] = machine
        return found

    def machines(self) -> dict[str, str]:
        """Return the machine types of the workers: hash to canonical text."""
        return {short_hash(machine): machine for machine in self._workers.values()}

    def run_on(self, machine: str, task: Task) -> Outcome:
        """Run one task on a worker of the given machine type."""
        workers = [w for w, text in self._workers.items() if short_hash(text) == machine]
        future = self._client.submit(
            run_task, task, workers=workers, allow_other_workers=False, pure=False
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
            self._client.cancel(list(pending))
            raise

    def _fill(self, pending: dict[Any, Task], waiting: Iterator[Task], finished: Any) -> None:
        n_threads = sum(self._client.nthreads().values())
        while len(pending) < IN_FLIGHT * max(1, n_threads):
            task = next(waiting, None)
            if task is None:
                return
            future = self._client.submit(run_task, task, pure=False)
            pending[future] = task
            finished.add(future)

    def _result(self, future: Any, task: Task) -> Outcome:
        try:
            outcome: Outcome = future.result()
        except self._distributed.KilledWorker as problem:
            raise InputError(
                f"scenario {task.scenario.name}, controller {task.candidate.label}, seed "
                f"{task.seed}: the workers that ran it died again and again: {problem}"
            ) from problem
        except CancelledError:
            raise InputError(
                f"scheduler {self.address}: has gone away; what was finished is stored, the same "
                "command resumes"
            ) from None
        return outcome

    def close(self) -> None:
        """Leave the scheduler; its workers stay."""
        self._client.close()

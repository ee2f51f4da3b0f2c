"""Work on all cores of this machine, results in the order of the work.

For a list that fits into memory; campaigns, which do not, have their own runners.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from typing import TypeVar

from bench.interrupts import interrupts_ignored

Item = TypeVar("Item")
Result = TypeVar("Result")


def n_cores() -> int:
    """Return the number of cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def map_in_pool(
    function: Callable[[Item], Result],
    items: Sequence[Item],
    n_workers: int,
    tell: Callable[[], None] = lambda: None,
) -> list[Result]:
    """Call a module's function with every item, in processes of their own.

    Parameters
    ----------
    function : function   of a module, so that the processes find it
    items : sequence
    n_workers : int       processes, >= 1
    tell : function       called each time an item is done

    Raises
    ------
    what the function raises, and KeyboardInterrupt; the processes are ended at once then
    """
    others = set(multiprocessing.active_children())
    executor = ProcessPoolExecutor(n_workers, mp_context=multiprocessing.get_context("spawn"))
    try:
        with interrupts_ignored():  # the workers inherit it: Ctrl-C is for this process alone
            futures = [executor.submit(function, item) for item in items]
        for future in as_completed(futures):
            future.result()
            tell()
    except BaseException:
        executor.shutdown(wait=False, cancel_futures=True)
        for worker in set(multiprocessing.active_children()) - others:
            worker.terminate()
        raise
    executor.shutdown()
    return [future.result() for future in futures]

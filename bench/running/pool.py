"""Work on all cores of this machine, results in the order of the work.

For a list that fits into memory; campaigns, which do not, have their own runners.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import forkserver
from multiprocessing.context import BaseContext
from typing import TypeVar

from slipbench.ground.interrupts import interrupts_ignored

Item = TypeVar("Item")
Result = TypeVar("Result")

_HAS_SERVER = "forkserver" in multiprocessing.get_all_start_methods()


def n_cores() -> int:
    """Return the number of cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _context() -> BaseContext:
    return multiprocessing.get_context("forkserver" if _HAS_SERVER else "spawn")


def start_early(module: str) -> None:
    """Let a process import a module of this package, from which the pool's are then forked.

    So it is imported once for all of them, and while this process does other things. Where the
    system cannot do that, or such a process runs already, nothing happens.
    """
    if _HAS_SERVER and module.startswith("slipbench."):
        _context().set_forkserver_preload([module])
        with interrupts_ignored():
            forkserver.ensure_running()


def map_in_pool(
    function: Callable[[Item], Result],
    items: Sequence[Item],
    n_workers: int,
    tell: Callable[[], None] = lambda: None,
    meanwhile: Callable[[], None] = lambda: None,
) -> list[Result]:
    """Call a module's function with every item, in processes of their own.

    Parameters
    ----------
    function : function   of a module, so that the processes find it
    items : sequence
    n_workers : int       processes, >= 1
    tell : function       called each time an item is done
    meanwhile : function  called once, while the processes work

    Raises
    ------
    what the function raises, and KeyboardInterrupt; the processes are ended at once then
    """
    others = set(multiprocessing.active_children())
    start_early(function.__module__)
    executor = ProcessPoolExecutor(n_workers, mp_context=_context())
    try:
        with interrupts_ignored():  # the workers inherit it: Ctrl-C is for this process alone
            futures = [executor.submit(function, item) for item in items]
        meanwhile()
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

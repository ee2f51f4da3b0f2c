"""Work on all cores of this machine, results in the order of the work.

For a list that fits into memory; campaigns, which do not, have their own runners.
"""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import forkserver
from multiprocessing.connection import wait as wait_for
from multiprocessing.context import BaseContext
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TypeVar

from slipbench.ground.interrupts import interrupts_ignored
from slipbench.running.limit import LAST_WORDS, LastWords

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
    given_up: Callable[[Item, str], Result] | None = None,
) -> list[Result]:
    """Call a module's function with every item, in processes of their own.

    Parameters
    ----------
    function : function   of a module, so that the processes find it
    items : sequence
    n_workers : int       processes, >= 1
    tell : function       called each time an item is done
    meanwhile : function  called once, while the processes work
    given_up : function   result of an item whose process ended itself over it, leaving the reason

    Raises
    ------
    what the function raises, and KeyboardInterrupt; the processes are ended at once then
    BrokenProcessPool   when a process dies without a word
    """
    start_early(function.__module__)
    results: dict[int, Result] = {}
    with TemporaryDirectory(prefix="slipbench-", ignore_cleanup_errors=True) as folder:
        while len(results) < len(items):
            left = [i for i in range(len(items)) if i not in results]
            lost = _run_pool(function, items, left, n_workers, folder, results, tell, meanwhile)
            meanwhile = _nothing
            words = {i: LastWords.read(Path(folder), str(i)) for i in lost}
            if lost and (given_up is None or not any(words.values())):
                raise BrokenProcessPool("a worker process died")
            for i, reason in words.items():
                if reason and given_up is not None:
                    results[i] = given_up(items[i], reason)
                    tell()
    return [results[i] for i in range(len(items))]


def _nothing() -> None:
    return


def _run_pool(
    function: Callable[[Item], Result],
    items: Sequence[Item],
    left: Sequence[int],
    n_workers: int,
    folder: str,
    results: dict[int, Result],
    tell: Callable[[], None],
    meanwhile: Callable[[], None],
) -> list[int]:
    """Run what is left of the items in one pool, into `results`; return what it died over."""
    others = set(multiprocessing.active_children())
    executor = ProcessPoolExecutor(
        n_workers, mp_context=_context(), initializer=_start, initargs=(folder,)
    )
    lost = []
    try:
        with interrupts_ignored():  # the workers inherit it: Ctrl-C is for this process alone
            futures = {executor.submit(_call, function, items[i], str(i)): i for i in left}
        meanwhile()
        for future in as_completed(futures):
            if isinstance(future.exception(), BrokenProcessPool):
                lost.append(futures[future])
                continue
            results[futures[future]] = future.result()
            tell()
    except BaseException:
        executor.shutdown(wait=False, cancel_futures=True)
        for worker in set(multiprocessing.active_children()) - others:
            worker.terminate()
        raise
    executor.shutdown()
    return lost


def _start(folder: str) -> None:
    LAST_WORDS.folder = Path(folder)
    end_with_parent()


def end_with_parent() -> None:
    """End this process when its parent is gone, even if that was killed.

    A thread waits for it; compiled physics lets it run.
    """
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def watch() -> None:
        wait_for([parent.sentinel])
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _call(function: Callable[[Item], Result], item: Item, key: str) -> Result:
    LAST_WORDS.key = key
    return function(item)

"""Compile in a second process what the first will need, while that compiles the time loop.

Both look on disk before they compile, so work done here is work saved there, and nothing depends on
how far it comes.
"""

from __future__ import annotations

import multiprocessing
import os
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from multiprocessing.connection import wait
from multiprocessing.process import BaseProcess
from typing import Any

from bench.interrupts import interrupts_ignored
from bench.pool import n_cores


@contextmanager
def compiling_ahead(functions: Sequence[str], strategies: Sequence[str]) -> Iterator[None]:
    """Compile beside the `with` body, where there is a second core.

    Parameters
    ----------
    functions : sequence of str    of the kernel, as `module.function`
    strategies : sequence of str   names of shipped ones; the body should begin with the first
    """
    if n_cores() == 1:
        yield
        return
    context = multiprocessing.get_context("spawn")
    helper = context.Process(target=_compile, args=(functions, strategies), daemon=True)
    with interrupts_ignored():
        helper.start()
    try:
        with _left_to(helper):
            yield
    finally:
        helper.terminate()  # what it has not finished nobody waits for
        helper.join()


@contextmanager
def _left_to(helper: BaseProcess) -> Iterator[None]:
    """Let the compiler wait for what the helper compiles, instead of compiling it too."""
    left = kept_functions()
    for name, dispatcher in left.items():
        dispatcher.compile = _waiting(name, dispatcher.compile, helper)
    try:
        yield
    finally:
        for dispatcher in left.values():
            del dispatcher.compile


def _waiting(name: str, compile_here: Callable[[Any], Any], helper: BaseProcess) -> Any:
    from bench.kernel.cache import is_cold

    def wait_or_compile(signature: Any) -> Any:
        while is_cold(name) and helper.is_alive():
            time.sleep(0.02)
        return compile_here(signature)

    return wait_or_compile


def kept_functions() -> dict[str, Any]:
    """Return what the helper compiles of the loop, a third of it, in the order the loop asks."""
    from bench.kernel.axle import move_axle
    from bench.kernel.rail import peak_met

    return {"rail.peak_met": peak_met.dispatcher, "axle.move_axle": move_axle}


def compile_kept_functions() -> None:
    """Compile them for the types the loop calls them with."""
    import numba

    from bench.kernel.rail import peak_met
    from bench.kernel.records import WORLD_TYPE, World
    from bench.kernel.step import move_group

    records = dict(zip(World._fields, WORLD_TYPE.types, strict=True))
    wheel = [records[name].dtype for name in ("axles", "axle_states", "law")]
    peak_met.dispatcher.compile((numba.float64, *wheel))
    move_group.compile((WORLD_TYPE,))  # calls `move_axle`


def _compile(functions: Sequence[str], strategies: Sequence[str]) -> None:
    threading.Thread(target=_end_with_parent, daemon=True).start()
    try:
        _compile_kernel(functions)
        _compile_strategies(strategies)
    except Exception:
        return  # whoever needs it meets the same trouble, and says so


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


def _compile_kernel(functions: Sequence[str]) -> None:
    from bench.kernel.cache import is_cold

    if is_cold():
        compile_kept_functions()
    if any(name.startswith("floor.") for name in functions):
        import bench.kernel.floor  # noqa: F401


def _compile_strategies(strategies: Sequence[str]) -> None:
    from bench.kernel.cache import is_cold

    while is_cold():  # the loop, which the parent compiles
        time.sleep(0.1)
    from bench.registry import known_controllers
    from bench.runner import prepare

    known = known_controllers()
    for name in reversed(strategies):
        prepare(known[name])

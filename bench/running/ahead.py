"""Compile in a second process what the first will need, while that compiles the time loop.

Both look on disk before they compile, so work done here is work saved there, and nothing depends on
how far it comes.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from slipbench.ground.interrupts import interrupts_ignored
from slipbench.running.pool import end_with_parent, n_cores


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
        yield
    finally:
        helper.terminate()  # what it has not finished nobody waits for
        helper.join()


def _compile(functions: Sequence[str], strategies: Sequence[str]) -> None:
    end_with_parent()
    try:
        _compile_kernel(functions)
        _compile_strategies(strategies)
    except Exception:
        return  # whoever needs it meets the same trouble, and says so


def _compile_kernel(functions: Sequence[str]) -> None:
    if any(name.startswith("floor.") for name in functions):
        import slipbench.kernel.floor
    if any(name.startswith("priced.") for name in functions):
        import slipbench.kernel.priced  # noqa: F401


def _compile_strategies(strategies: Sequence[str]) -> None:
    from slipbench.strategies.registry import known_controllers
    from slipbench.strategies.update import compile_update

    known = known_controllers()
    for name in reversed(strategies):
        if known[name].runs_compiled:
            compile_update(known[name].controller.update)

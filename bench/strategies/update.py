"""A strategy's function as compiled code: it waits for no compiled kernel."""

from __future__ import annotations

from contextlib import nullcontext
from functools import lru_cache
from typing import Any

import numba

from slipbench.compiling.bounds import bounds_checked
from slipbench.compiling.cache import strategies_compiled_here
from slipbench.compiling.jit import compile_strategy
from slipbench.contract import Update
from slipbench.ground.errors import InputError
from slipbench.ground.telling import LONGEST_PROBLEM, cut, message
from slipbench.kernel.records import UPDATE_SIGNATURE
from slipbench.strategies.foreign import ForeignUpdate


@lru_cache(maxsize=64)
def compile_update(update: Update) -> Any:
    """Return a strategy's function compiled for the kernel; a shipped one is kept on disk.

    All others are compiled with bounds checks, as is what they call: an index out of range would
    otherwise read or write memory of the bench's, and give a wrong distance or a crash.

    Raises
    ------
    InputError   when numba cannot compile it, in one line
    """
    if isinstance(update, ForeignUpdate):
        return update.compiled
    is_shipped = update.__module__.startswith("slipbench.controllers.")
    if hasattr(update, "py_func"):  # already compiled by its author, perhaps without checks
        if is_shipped:
            return update
        update = update.py_func
    try:
        with strategies_compiled_here(), nullcontext() if is_shipped else bounds_checked():
            return compile_strategy(update, UPDATE_SIGNATURE, is_shipped)
    except numba.core.errors.NumbaError as error:
        reason = next((line for line in str(error).splitlines() if line.strip()), "")
        where = f"{update.__module__}.{update.__qualname__}"
        raise InputError(
            f"strategy function {where} does not compile: {cut(message(reason), LONGEST_PROBLEM)}; "
            "run it as plain Python, or keep to the subset numba compiles"
        ) from error

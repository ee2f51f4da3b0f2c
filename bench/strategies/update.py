"""A strategy's function as compiled code: it waits for no compiled kernel."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numba

from slipbench.compiling.cache import strategies_compiled_here
from slipbench.compiling.jit import compile_strategy
from slipbench.contract import Update
from slipbench.ground.errors import InputError
from slipbench.kernel.records import UPDATE_SIGNATURE
from slipbench.strategies.native import NativeUpdate


@lru_cache(maxsize=64)
def compile_update(update: Update) -> Any:
    """Return a strategy's function compiled for the kernel; a shipped one is kept on disk.

    Raises
    ------
    InputError   when numba cannot compile it, in one line
    """
    if hasattr(update, "py_func"):  # already compiled by its author
        return update
    if isinstance(update, NativeUpdate):
        return update.compiled
    is_shipped = update.__module__.startswith("slipbench.controllers.")
    try:
        with strategies_compiled_here():
            return compile_strategy(update, UPDATE_SIGNATURE, is_shipped)
    except numba.core.errors.NumbaError as error:
        reason = next((line for line in str(error).splitlines() if line.strip()), "")
        where = f"{update.__module__}.{update.__qualname__}"
        raise InputError(
            f"strategy function {where} does not compile: {reason.strip()}; "
            "run it as plain Python, or keep to the subset numba compiles"
        ) from error

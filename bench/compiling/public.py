"""The plain way of compiling: public `numba.njit`, and nothing else of numba.

The same sources, the same bits, but slower: every function is optimised by itself and again in each
that calls it, has wrappers nobody calls, and counts references to arrays it was lent. What each
name here means is said in `slipbench.compiling.private`, which is used where numba allows.
"""

from collections.abc import Callable
from typing import Any

import numba

_compile: Any = numba.njit  # its type stub does not know all options
_DIVISION: dict[str, Any] = {"error_model": "numpy"}

inner = part = folded = apart = _compile(**_DIVISION)
"""Compile a function; numba decides whether it is folded into its callers."""

inlined = _compile(inline="always", **_DIVISION)
"""Compile a function of the whole `World` into its callers."""


def entry(signature: Any, allocates: bool = False, is_kept: bool = True) -> Any:
    """Compile, at import and for the cache on disk, a function that Python calls with a `World`.

    Other threads of Python run meanwhile, such as one that watches the clock.
    """
    return _compile(signature, cache=is_kept, nogil=True, **_DIVISION)


def compile_strategy(update: Callable[..., Any], signature: Any, is_kept: bool) -> Any:
    """Compile a strategy, kept on disk or not."""
    return _compile(signature, cache=is_kept, **_DIVISION)(update)

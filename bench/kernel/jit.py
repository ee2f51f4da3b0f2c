"""How the kernel's functions are compiled.

None of them allocates, so numba's reference counting is left out: with it every call that hands on
the whole `World` counts its thirty-odd arrays up and down (measured: a quarter of a stop's time,
and a third of the time to compile). Functions that only compiled code calls get no wrapper for
Python (measured: another fifth of the time to compile).
"""

from typing import Any

import numba

_compile: Any = numba.njit  # its type stub does not know all options
_PLAIN: dict[str, Any] = {"error_model": "numpy", "_nrt": False}

part = _compile(**_PLAIN)
"""Compile a function that Python may call as well, in tests for one."""

folded = _compile(forceinline=True, **_PLAIN)
"""Compile a function that Python may call as well, and fold its machine code into its callers."""

inner = _compile(no_cpython_wrapper=True, no_cfunc_wrapper=True, **_PLAIN)
"""Compile a function that only compiled code calls."""

inlined = _compile(inline="always", no_cpython_wrapper=True, no_cfunc_wrapper=True, **_PLAIN)
"""Compile a function of the whole `World` into its callers."""


def entry(signature: Any, allocates: bool = False) -> Any:
    """Compile, at import and for the cache on disk, a function that Python calls with a `World`."""
    return _compile(signature, cache=True, **{**_PLAIN, "_nrt": allocates})

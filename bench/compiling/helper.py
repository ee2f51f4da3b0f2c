"""What functions that strategies call are compiled with."""

from collections.abc import Callable
from typing import Any, TypeVar

import numba

_compile: Any = numba.njit  # its type stub does not know all options
_Function = TypeVar("_Function", bound=Callable[..., Any])


def helper(function: _Function) -> _Function:
    """Compile a function that strategies call.

    numba's njit without counting references to arrays, which a strategy is only lent (measured: 8 %
    of a stop). A function that makes arrays needs numba.njit itself.
    """
    compiled: _Function = _compile(error_model="numpy", _nrt=False)(function)
    return compiled

"""What functions that strategies call are compiled with."""

from collections.abc import Callable
from typing import Any, TypeVar

import numba

from slipbench.compiling.mode import DEVICE, QUICK, wanted_way

_compile: Any = numba.njit  # its type stub does not know all options
_Function = TypeVar("_Function", bound=Callable[..., Any])


def helper(function: _Function) -> _Function:
    """Compile a function that strategies call.

    numba's njit without counting references to arrays, which a strategy is only lent (measured: 8 %
    of a stop), where numba knows how. A function that makes arrays needs numba.njit itself.
    """
    compiled: _Function
    if wanted_way() == DEVICE:
        from slipbench.compiling import device

        compiled = device.helper(function)
        return compiled
    if wanted_way() == QUICK:
        try:
            compiled = _compile(error_model="numpy", _nrt=False)(function)
            return compiled
        except TypeError:  # a numba without this option
            pass
    compiled = _compile(error_model="numpy")(function)
    return compiled

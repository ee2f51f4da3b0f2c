"""The way for a GPU: the same sources as functions of `numba.cuda`, of the extra `cuda`.

Only the process that holds the GPU compiles so (`slipbench.device`); what Python calls with a
`World` stays Python there. numba-cuda takes the kernel's sources as they are, but for one function
of numpy it does not know, which it is taught here.
"""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numba import cuda

_cuda: Any = cuda  # untyped
_of_device = _cuda.jit(device=True)

inner = part = folded = apart = inlined = helper = _of_device
"""Compile a function that only the GPU calls; what is folded in is left to its compiler."""


def entry(signature: Any, allocates: bool = False, is_kept: bool = True) -> Any:
    """Leave a function that Python calls as it is: nothing calls it there."""
    return lambda function: function


def compile_strategy(update: Callable[..., Any], signature: Any, is_kept: bool) -> Any:
    """Compile a strategy for the GPU."""
    return _of_device(getattr(update, "py_func", update))


def teach_floor() -> None:
    """Let numba-cuda compile `np.floor`, as it does `math.floor`; where it knows it, do nothing.

    It keeps what it knows of numpy's functions in a table that is not public.
    """
    if not hasattr(np, "row_stack"):  # numpy 2.5 dropped a name that numba-cuda 0.30 looks up
        np.row_stack = np.vstack  # noqa: NPY201
    from numba.cuda import mathimpl as known
    from numba.cuda import ufuncs

    mathimpl: Any = known

    def floor(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        found = mathimpl.get_unary_impl_for_fn_and_ty(math.floor, signature.args[0])
        return found(context, builder, signature, arguments)

    ufuncs.ufunc_db().setdefault(np.floor, {"d->d": floor})

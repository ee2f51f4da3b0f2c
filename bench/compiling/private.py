"""The quicker way of compiling, by parts of numba that are not public.

Each private name, and what it buys (ratios of one machine):

- `_nrt` of `njit`, no counting of references: a quarter of a stop's time, a third of the compile;
- `no_cpython_wrapper`, `no_cfunc_wrapper`, parts without a wrapper: a quarter of the compile;
- `forceinline` of `njit`, small functions folded in: 8 % of a stop;
- `numba.types.Dispatcher`, `_numba_type_`: a `part` is one thing to Python and to compiled code, so
  that tests call what the kernel calls;
- `pipeline_class` and what `linking.py` takes from `numba.core`: half of the compile;
- `core.registry.cpu_target`, no scipy.linalg at start: a tenth of the start of a stop.

`public.py` does the same by public `njit` alone; `mode.py` says which of the two is used, and why.

None of the kernel's functions allocates, so reference counting is left out: with it every call that
hands on the whole `World` counts its thirty-odd arrays up and down.
"""

import sys
from collections.abc import Callable
from functools import cached_property, update_wrapper
from types import ModuleType
from typing import Any

import numba
from numba.core.registry import cpu_target

from slipbench.compiling.linking import ApartCompiler, EntryCompiler, PartCompiler

_compile: Any = numba.njit  # its type stub does not know all options
_PLAIN: dict[str, Any] = {"error_model": "numpy", "_nrt": False}
_UNWRAPPED: dict[str, Any] = {
    "no_cpython_wrapper": True,
    "no_cfunc_wrapper": True,
    "pipeline_class": PartCompiler,
    **_PLAIN,
}


def _load_numba() -> None:
    """Let numba load all it can compile, without the whole of scipy.linalg.

    numba only asks whether scipy's BLAS is there, which scipy, required by this package, promises
    (measured: a tenth of the start of a stop). A strategy that uses it imports the true one later.
    """
    asked = "scipy.linalg.cython_blas"
    stands_in = sys.modules.setdefault(asked, ModuleType(asked))
    try:
        cpu_target.target_context.refresh()
    finally:
        if not hasattr(stands_in, "__pyx_capi__"):
            del sys.modules[asked]


_load_numba()

inner = _compile(**_UNWRAPPED)
"""Compile a function that only compiled code calls."""

_apart = _compile(forceinline=False, **{**_UNWRAPPED, "pipeline_class": ApartCompiler})

_folded = _compile(forceinline=True, **_UNWRAPPED)

inlined = _compile(inline="always", **_UNWRAPPED)
"""Compile a function of the whole `World` into its callers."""


class part:
    """Compile a function that Python may call as well, in tests for one.

    To compiled code it is an `inner` function; called from Python it is compiled once more, with
    the wrapper that needs, so that nobody waits for wrappers nobody calls.
    """

    def __init__(self, function: Callable[..., Any], compile_inner: Any = inner) -> None:
        update_wrapper(self, function)
        self.py_func = function
        self.dispatcher = compile_inner(function)  # numba's type holds it only weakly
        self._numba_type_ = numba.types.Dispatcher(self.dispatcher)  # what compiled code sees

    @cached_property
    def _for_python(self) -> Any:
        return _compile(**_PLAIN)(self.py_func)

    def __call__(self, *arguments: Any) -> Any:
        """Call the function from Python."""
        return self._for_python(*arguments)


def folded(function: Callable[..., Any]) -> part:
    """Compile like `part`, and fold the machine code into the callers (measured: 8 % of a stop)."""
    return part(function, _folded)


def apart(function: Callable[..., Any]) -> part:
    """Compile like `part`, and keep it out of line though `folded` functions call it: it is rare.

    numba hands `folded` down to whatever such a function is the first to call.
    """
    return part(function, _apart)


def entry(signature: Any, allocates: bool = False, is_kept: bool = True) -> Any:
    """Compile, at import and for the cache on disk, a function that Python calls with a `World`.

    Other threads of Python run meanwhile, such as one that watches the clock.
    """
    options = {**_PLAIN, "_nrt": allocates, "no_cfunc_wrapper": True, "nogil": True}
    return _compile(signature, cache=is_kept, pipeline_class=EntryCompiler, **options)


def compile_strategy(update: Callable[..., Any], signature: Any, is_kept: bool) -> Any:
    """Compile a strategy, kept on disk or not.

    It is only lent its arrays, so references need not be counted (measured: 8 % of a stop); one
    that makes arrays of its own does not compile without, and is compiled with.
    """
    try:
        return _compile(signature, cache=is_kept, **_PLAIN)(update)
    except numba.core.errors.NumbaError:
        return _compile(signature, cache=is_kept, error_model="numpy")(update)

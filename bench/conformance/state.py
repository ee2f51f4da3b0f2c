"""What a plain Python function keeps besides its memory: globals, closures, attributes."""

from __future__ import annotations

import inspect
import pickle
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import Any

_LIBRARIES = ("numpy", "numba", "scipy", "llvmlite", "slipbench", "math", "builtins")


def kept_state(function: Any) -> dict[str, bytes]:
    """Return a picture of everything a function can keep from call to call, by name.

    Followed: the function's attributes, defaults, closure and the globals its code names, the same
    of the functions of its own that it calls, and attributes of the modules of its own that it
    names. Two pictures differ where a call left something behind.

    Parameters
    ----------
    function : callable   plain Python; a shared library shows nothing
    """
    found: dict[str, bytes] = {}
    _follow(function, getattr(function, "__name__", "update"), found, set())
    return found


def _follow(value: Any, name: str, found: dict[str, bytes], seen: set[int]) -> None:
    value = getattr(value, "py_func", value)
    if id(value) in seen:
        return
    seen.add(id(value))
    if isinstance(value, ModuleType):
        return  # only what a function names of it, see `_named`
    if isinstance(value, FunctionType):
        if not _is_library(value.__module__):
            for own_name, own in _reached(value):
                _follow(own, own_name, found, seen)
        return
    if isinstance(value, type):
        if not _is_library(value.__module__):
            for own_name, own in _plain_items(vars(value)):
                _follow(own, f"{name}.{own_name}", found, seen)
        return
    if callable(value) and not _is_library(type(value).__module__):
        _follow(type(value).__call__, f"{name}()", found, seen)
    found[name] = _picture(value)


def _is_library(module: str | None) -> bool:
    """Return whether a module is no author's own: shipped helpers, libraries, the standard one.

    Shipped strategies are looked at as anybody's.
    """
    top = (module or "builtins").partition(".")[0]
    if (module or "").startswith("slipbench.controllers"):
        return False
    return top in _LIBRARIES or top in sys.stdlib_module_names


def _reached(function: FunctionType) -> Iterator[tuple[str, Any]]:
    """Yield what a function can reach, with a name for each."""
    own = function.__name__
    yield from ((f"{own}.{key}", value) for key, value in vars(function).items())
    for i, value in enumerate(function.__defaults__ or ()):
        yield f"default {i + 1} of {own}", value
    yield from ((f"default {key}", value) for key, value in (function.__kwdefaults__ or {}).items())
    for key, cell in zip(function.__code__.co_freevars, function.__closure__ or (), strict=True):
        try:
            yield key, cell.cell_contents
        except ValueError:  # not set yet
            continue
    yield from _named(function)


def _named(function: FunctionType) -> Iterator[tuple[str, Any]]:
    """Yield the globals a function's code names, and what it names of modules of its own."""
    names = set(_names(function.__code__))
    for name in sorted(names & set(function.__globals__)):
        value = function.__globals__[name]
        if not isinstance(value, ModuleType):
            yield name, value
        elif not _is_library(value.__name__) and not _is_installed(value):
            for inner in sorted(names & set(vars(value))):
                yield f"{name}.{inner}", vars(value)[inner]


def _names(code: CodeType) -> Iterator[str]:
    yield from code.co_names
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield from _names(constant)


def _is_installed(module: ModuleType) -> bool:
    file = getattr(module, "__file__", None)
    return file is None or "site-packages" in Path(file).parts


def _plain_items(items: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    return ((key, value) for key, value in items.items() if not key.startswith("__"))


def _picture(value: Any) -> bytes:
    """Return bytes that differ where a value differs, as far as can be told."""
    try:
        return pickle.dumps(value, protocol=4)
    except Exception:
        inner = getattr(value, "__dict__", None)
        if inner is None or inspect.isroutine(value):
            return repr(type(value)).encode()
        return repr(sorted((key, repr(own)) for key, own in inner.items())).encode()

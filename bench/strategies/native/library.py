"""Load a strategy from a shared library: what it says of itself, and its update function."""

from __future__ import annotations

import ctypes
import hashlib
import math
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

from slipbench.contract import Controller, Parameter, Update
from slipbench.ground.errors import InputError
from slipbench.ground.reading import LONGEST_CODE, is_regular, is_there, regular_bytes
from slipbench.ground.telling import shown
from slipbench.strategies.foreign import ForeignUpdate
from slipbench.strategies.native.guard import GUARDED, STRAY, guarded
from slipbench.strategies.trials import try_out

ABI = 1
"""Version of `slipbench.h` this package serves."""

SUFFIXES = (".so", ".dylib", ".dll")
"""A path that ends so is taken for a library."""

MOST_PARAMETERS, MOST_MEMORY = 1000, 100_000
"""More than this in a description is taken for a mistake."""

TRIAL_TIME = 30.0
"""Longest the trial in a process of its own may take. [s]"""


class _Parameter(ctypes.Structure):
    _fields_ = (
        ("name", ctypes.c_char_p),
        ("default_value", ctypes.c_double),
        ("unit", ctypes.c_char_p),
        ("low", ctypes.c_double),
        ("high", ctypes.c_double),
        ("source", ctypes.c_char_p),
    )


class _Description(ctypes.Structure):
    _fields_ = (
        ("name", ctypes.c_char_p),
        ("title", ctypes.c_char_p),
        ("observes", ctypes.c_char_p),
        ("n_memory", ctypes.c_int64),
        ("n_parameters", ctypes.c_int64),
        ("parameters", ctypes.POINTER(_Parameter)),
        ("is_train_wide", ctypes.c_int64),
    )


class NativeUpdate(ForeignUpdate):
    """The update function of a library; called as Python, compiled for the kernel, or pickled.

    Another process finds it by path and refuses a file with another hash.
    """

    def __init__(self, path: Path, digest: str) -> None:
        self.path, self.digest = path, digest
        self.__module__, self.__qualname__ = f"library {path}", "slipbench_update"

    @cached_property
    def plain(self) -> Update:
        """The guarded call as plain Python: slow, and needs no compiler."""
        function = _open(self.path, self.digest).slipbench_update
        address, size = ctypes.c_void_p, ctypes.c_int64
        function.argtypes = [address, size, size, address, size, address, size]
        function.argtypes += [address, address, size]
        function.restype = None
        return guarded(function)

    @property
    def compiled(self) -> Update:
        """The guarded call compiled for the kernel; it holds an address, so it is not kept."""
        return _compiled(self)

    def complaint(self, factor: float) -> str:
        """Return in words what `guarded` noted in a demand factor."""
        return stray_text(factor)


def is_library(text: str) -> bool:
    """Return whether a strategy's reference is the path of a shared library."""
    return text.lower().endswith(SUFFIXES)


def native_folder() -> Path:
    """Return the folder of `slipbench.h` and of `examples/`."""
    return Path(__file__).parent


def load_library(path: str | Path) -> Controller:
    """Return the strategy of a shared library, after a trial in a process of its own.

    Raises
    ------
    InputError   when the file is missing or no library, a symbol is missing, the ABI version is
                 another, the description makes no sense, or the trial crashes or does not end
    """
    place = Path(path).absolute()
    if not is_regular(place):
        problem = "is no regular file" if is_there(place) else "no such file"
        told = shown(str(path))
        raise InputError(f"strategy {told}: {problem}; write the path of a shared library")
    digest = hashlib.sha256(_content(place)).hexdigest()
    _try_out(place, digest)
    return describe(place, digest)


def _content(path: Path) -> bytes:
    return regular_bytes(path, "a library is a file of machine code", most=LONGEST_CODE)


def stray_text(factor: float) -> str:
    """Return in words what `guarded` noted in a demand factor; empty if nothing."""
    number = factor / STRAY if math.isfinite(factor) else 0.0
    if number not in range(1, len(GUARDED) + 1):
        return ""
    name = GUARDED[int(number) - 1]
    if name in ("observation", "parameters"):
        return f"library wrote into its {name}, or beside them"
    return f"library wrote outside its rows of {name}"


def describe(path: Path, digest: str) -> Controller:
    """Return the strategy a library describes, in this process and untried.

    Raises
    ------
    InputError   as `load_library`
    """
    library = _open(path, digest)
    library.slipbench_describe.restype = ctypes.POINTER(_Description)
    library.slipbench_describe.argtypes = []
    found = library.slipbench_describe()
    if not found:
        raise InputError(f"library {path}: slipbench_describe returned NULL")
    said = found.contents
    name = _text(path, "name", said.name)
    if not name.isidentifier():
        raise InputError(f"library {path}: name {shown(name)}; allowed: letters, digits and _")
    for what, number, low, high in (
        ("n_memory", said.n_memory, 1, MOST_MEMORY),
        ("n_parameters", said.n_parameters, 0, MOST_PARAMETERS),
        ("is_train_wide", said.is_train_wide, 0, 1),
    ):
        if not low <= number <= high:
            raise InputError(f"library {path}: {what} = {number}; allowed: {low} to {high}")
    if said.n_parameters and not said.parameters:
        raise InputError(f"library {path}: parameters is NULL, n_parameters = {said.n_parameters}")
    observes = _text(path, "observes", said.observes)
    return Controller(
        name=name,
        title=_text(path, "title", said.title),
        update=NativeUpdate(path, digest),
        parameters=tuple(_parameter(path, said.parameters[i]) for i in range(said.n_parameters)),
        observes=tuple(word.strip() for word in observes.split(",") if word.strip()),
        n_memory=int(said.n_memory),
        scope="train" if said.is_train_wide else "vehicle",
        commands_dynamic=_commands_dynamic(library, path),
    )


def _commands_dynamic(library: ctypes.CDLL, path: Path) -> bool:
    """Return whether a library says that it commands the dynamic brake; most say nothing of it."""
    try:
        value = ctypes.c_int64.in_dll(library, "slipbench_commands_dynamic").value
    except ValueError:
        return False
    if value not in (0, 1):
        raise InputError(f"library {path}: slipbench_commands_dynamic = {value}; allowed: 0 or 1")
    return bool(value)


def _parameter(path: Path, said: Any) -> Parameter:
    return Parameter(
        name=_text(path, "parameters.name", said.name),
        default=float(said.default_value),
        unit=_text(path, "parameters.unit", said.unit),
        low=float(said.low),
        high=float(said.high),
        source=_text(path, "parameters.source", said.source),
    )


def _text(path: Path, what: str, value: bytes | None) -> str:
    if value is None:
        raise InputError(f"library {path}: {what} is NULL; allowed: a text")
    return " ".join(value.decode("utf-8", "replace").split())


@lru_cache(maxsize=64)
def _compiled(update: NativeUpdate) -> Update:
    from slipbench.compiling.jit import compile_strategy
    from slipbench.kernel.records import UPDATE_SIGNATURE

    made: Update = compile_strategy(update.plain, UPDATE_SIGNATURE, is_kept=False)
    return made


@lru_cache(maxsize=64)
def _open(path: Path, digest: str) -> ctypes.CDLL:
    try:
        if hashlib.sha256(_content(path)).hexdigest() != digest:
            raise InputError(f"library {path}: changed since it was named; start again")
        library = ctypes.CDLL(str(path))
    except OSError as problem:
        reason = " ".join(str(problem).split()).removeprefix(f"{path}: ")
        raise InputError(f"library {path}: cannot be loaded: {reason}") from problem
    try:
        version = ctypes.c_int64.in_dll(library, "slipbench_abi").value
    except ValueError:
        raise InputError(
            f"library {path}: has no symbol slipbench_abi; see slipbench.h (slipbench native)"
        ) from None
    if version != ABI:
        raise InputError(
            f"library {path}: made for ABI version {version}; this slipbench has {ABI}: "
            "compile it with its header (slipbench native)"
        )
    for symbol in ("slipbench_describe", "slipbench_update"):
        if not hasattr(library, symbol):
            raise InputError(
                f"library {path}: has no symbol {symbol}; see slipbench.h (slipbench native)"
            )
    return library


@lru_cache(maxsize=64)
def _try_out(path: Path, digest: str) -> None:
    """Load and call the library in a process of its own, which may crash."""
    try_out("slipbench.strategies.native.trial", path, digest, f"library {path}", TRIAL_TIME)

"""The library inside a unit: which of them is for this machine, and its C functions by ctypes."""

from __future__ import annotations

import ctypes
import os
import platform
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from slipbench.exchange.archive import files_in
from slipbench.exchange.description import Description
from slipbench.ground.errors import InputError
from slipbench.ground.reading import place
from slipbench.ground.telling import message

_SYSTEMS = {"linux": "linux", "win32": "windows", "darwin": "darwin"}
_MACHINES = {"x86_64": "x86_64", "amd64": "x86_64", "aarch64": "aarch64", "arm64": "aarch64"}
_OLD = {"x86_64-linux": "linux64", "x86_64-windows": "win64", "x86_64-darwin": "darwin64"}
_SUFFIXES = {"linux": ".so", "windows": ".dll", "darwin": ".dylib"}

STATUS = ("OK", "warning", "discard", "error", "fatal error", "pending")
"""What a function of the interface returns, by number."""

FATAL = 4

_VOID, _TEXT, _SIZE, _DOUBLE, _INT = (
    ctypes.c_void_p, ctypes.c_char_p, ctypes.c_size_t, ctypes.c_double, ctypes.c_int,
)  # fmt: skip
_LOGGER_2 = ctypes.CFUNCTYPE(None, _VOID, _TEXT, _INT, _TEXT, _TEXT)
_LOGGER_3 = ctypes.CFUNCTYPE(None, _VOID, _INT, _TEXT, _TEXT)
_ALLOCATE = ctypes.CFUNCTYPE(_VOID, _SIZE, _SIZE)
_FREE = ctypes.CFUNCTYPE(None, _VOID)


class _Callbacks(ctypes.Structure):
    _fields_ = (
        ("logger", _LOGGER_2),
        ("allocate", _VOID),
        ("free", _VOID),
        ("finished", _VOID),
        ("environment", _VOID),
    )


def platform_names() -> tuple[str, str]:
    """Return this machine's platform as FMI 3.0 and as 2.0 write it (Linux is tested)."""
    system = _SYSTEMS.get(sys.platform, sys.platform)
    machine = _MACHINES.get(platform.machine().lower(), platform.machine().lower())
    new = f"{machine}-{system}"
    return new, _OLD.get(new, new)


def library_suffix() -> str:
    """Return how libraries end here."""
    return _SUFFIXES.get(_SYSTEMS.get(sys.platform, ""), ".so")


def library_name(path: Path, description: Description) -> str:
    """Return the name in a unit's zip of its library for this machine.

    Raises
    ------
    InputError   if it holds none, naming those it has
    """
    files = files_in(path)
    new, old = platform_names()
    for folder in (old, new) if description.version == "2.0" else (new, old):
        name = f"binaries/{folder}/{description.identifier}{library_suffix()}"
        if name in files:
            return name
    made_for = sorted(
        {f.split("/")[1] for f in files if f.startswith("binaries/") and "/" in f[9:]}
    )
    there = ", ".join(made_for) or "sources alone" if "sources/" in "".join(files) else "none"
    raise InputError(
        f"unit {place(path)}: has no library for this platform ({new}); it has: "
        f"{', '.join(made_for) or there}"
    )


def number_kind(version: str, kind: str) -> tuple[str, str]:
    """Return the suffix of the functions that set and get a kind of variable, and its C numbers."""
    if version == "2.0":
        name = "Integer" if kind == "Enumeration" else kind
        return name, {"Real": "float64"}.get(name, "int32")
    if kind == "Enumeration":
        return "Int64", "int64"
    return kind, "uint8" if kind == "Boolean" else kind.lower()


class Binary:
    """The functions of a loaded library, by their short names, with ctypes' argument types."""

    def __init__(self, path: Path, description: Description, where: str) -> None:
        """Load it; `where` names the unit in messages."""
        self.description, self.where, self.said = description, where, ""
        self._functions: dict[str, Any] = {}
        self._prepared: dict[tuple[Any, ...], tuple[Any, tuple[Any, ...]]] = {}
        self._places: dict[Path, bytes] = {}
        self.prefix = f"fmi{description.version[0]}"
        try:
            self.library = ctypes.CDLL(str(path))
        except OSError as problem:
            reason = " ".join(str(problem).split()).removeprefix(f"{path}: ")
            raise InputError(f"{where}: its library cannot be loaded: {message(reason)}") from None
        is_2 = description.version == "2.0"
        logger = _LOGGER_2(self._log_2) if is_2 else _LOGGER_3(self._log_3)
        self._logger: Any = logger
        if is_2:
            own: Any = ctypes.CDLL(None) if os.name == "posix" else ctypes.cdll.msvcrt
            self._callbacks = _Callbacks(
                logger,
                ctypes.cast(own.calloc, _VOID),
                ctypes.cast(own.free, _VOID),
                None,
                None,
            )

    def _log_2(self, _env: Any, _name: Any, status: int, _kind: Any, text: bytes | None) -> None:
        self._note(status, text)

    def _log_3(self, _env: Any, status: int, _kind: Any, text: bytes | None) -> None:
        self._note(status, text)

    def _note(self, status: int, text: bytes | None) -> None:
        if text and status > 0:
            self.said = text[:300].decode("utf-8", "replace")

    def function(self, name: str, result: Any, *arguments: Any) -> Any:
        """Return a function of the interface.

        Raises
        ------
        InputError   if the library has none of that name
        """
        if name in self._functions:
            return self._functions[name]
        full = f"{self.prefix}{name}"
        try:
            function = getattr(self.library, full)
        except AttributeError:
            raise InputError(f"{self.where}: its library has no function {full}") from None
        function.restype, function.argtypes = result, list(arguments)
        self._functions[name] = function
        return function

    def address(self, name: str) -> int:
        """Return the address of a function, for compiled code."""
        try:
            function = getattr(self.library, f"{self.prefix}{name}")
        except AttributeError:
            return ctypes.cast(self.function(name, _INT), _VOID).value or 0  # which refuses it
        return ctypes.cast(function, _VOID).value or 0

    def instantiate(self, name: str, folder: Path) -> int:
        """Return a new instance, 0 if the unit gives none."""
        title = name.encode()
        token = self.description.token.encode()
        at = self._places.get(folder) or self._place(folder)
        if self.description.version == "2.0":
            make = self.function("Instantiate", _VOID, _TEXT, _INT, _TEXT, _TEXT, _VOID, _INT, _INT)
            return make(title, 1, token, at, ctypes.byref(self._callbacks), 0, 0) or 0
        make = self.function(
            "InstantiateCoSimulation", _VOID, _TEXT, _TEXT, _TEXT, *(4 * [ctypes.c_bool]), _VOID,
            _SIZE, _VOID, _LOGGER_3, _VOID,
        )  # fmt: skip
        return (
            make(title, token, at, False, False, False, False, None, 0, None, self._logger, None)
            or 0
        )

    def _place(self, folder: Path) -> bytes:
        """Return how a unit is told where its resources lie, kept for the next instance."""
        resources = folder / "resources"
        is_2 = self.description.version == "2.0"
        at = resources.as_uri() if is_2 else f"{resources}{os.sep}"
        self._places[folder] = at.encode()
        return self._places[folder]

    def kept_state(self, instance: int) -> int | None:
        """Return a handle of an instance's whole state; None where the unit gives none."""
        handle = ctypes.c_void_p(None)
        get = self.function(f"Get{self._state}", _INT, _VOID, _VOID)
        status = get(instance, ctypes.byref(handle))
        return handle.value if status <= 1 else None

    def take_up(self, instance: int, state: int) -> bool:
        """Put an instance into a state it was once in; False where the unit does not."""
        return bool(self.function(f"Set{self._state}", _INT, _VOID, _VOID)(instance, state) <= 1)

    def free_state(self, instance: int, state: int) -> None:
        """Let a state go."""
        handle = ctypes.c_void_p(state)
        self.function(f"Free{self._state}", _INT, _VOID, _VOID)(instance, ctypes.byref(handle))

    @property
    def _state(self) -> str:
        return "FMUstate" if self.description.version == "2.0" else "FMUState"

    def enter_initialization(self, instance: int) -> int:
        """Set the experiment up from time zero and enter initialisation; return the status."""
        if self.description.version == "2.0":
            set_up = self.function(
                "SetupExperiment", _INT, _VOID, _INT, _DOUBLE, _DOUBLE, _INT, _DOUBLE
            )
            status = set_up(instance, 0, 0.0, 0.0, 0, 0.0)
            if status > 1:
                return int(status)
            return self.simple("EnterInitializationMode", instance)
        enter = self.function(
            "EnterInitializationMode", _INT, _VOID, ctypes.c_bool, _DOUBLE, _DOUBLE,
            ctypes.c_bool, _DOUBLE,
        )  # fmt: skip
        return int(enter(instance, False, 0.0, 0.0, False, 0.0))

    def simple(self, name: str, instance: int) -> int:
        """Call a function that takes the instance alone; return the status."""
        return int(self.function(name, _INT, _VOID)(instance))

    def free(self, instance: int) -> None:
        """Let an instance go."""
        self.function("FreeInstance", None, _VOID)(instance)

    def set_numbers(
        self, instance: int, kind: str, references: Sequence[int], values: Sequence[float]
    ) -> int:
        """Set variables of one kind by hand; return the status."""
        key = (kind, tuple(references), tuple(values))
        if key not in self._prepared:
            if len(self._prepared) >= _MOST_PREPARED:
                self._prepared.clear()
            self._prepared[key] = self._prepare(kind, references, values)
        setter, arguments = self._prepared[key]
        return int(setter(instance, *arguments))

    def _prepare(
        self, kind: str, references: Sequence[int], values: Sequence[float]
    ) -> tuple[Any, tuple[Any, ...]]:
        """Return a function that sets variables, and its arguments after the instance."""
        name, number = number_kind(self.description.version, kind)
        c_kind: Any = getattr(ctypes, _C_KINDS[number])
        whole = number not in ("float64", "float32")
        cells = (c_kind * len(values))(*[round(v) if whole else v for v in values])
        own = (ctypes.c_uint32 * len(references))(*references)
        if self.description.version == "2.0":
            setter = self.function(f"Set{name}", _INT, _VOID, _VOID, _SIZE, _VOID)
            return setter, (own, len(references), cells)
        setter = self.function(f"Set{name}", _INT, _VOID, _VOID, _SIZE, _VOID, _SIZE)
        return setter, (own, len(references), cells, len(values))


_MOST_PREPARED = 64
"""Sets of values kept ready for the next instance: a stop sets the same for every vehicle."""

_C_KINDS = {
    "float64": "c_double", "float32": "c_float", "int8": "c_int8", "uint8": "c_uint8",
    "int16": "c_int16", "uint16": "c_uint16", "int32": "c_int32", "uint32": "c_uint32",
    "int64": "c_int64", "uint64": "c_uint64",
}  # fmt: skip


def copied_library(library: Path, number: int) -> Path:
    """Return a copy of a library under another name: it then has its own static variables."""
    copy = library.with_name(f"{library.stem}-{os.getpid()}-{number}{library.suffix}")
    if not copy.exists():
        shutil.copyfile(library, copy)
    return copy

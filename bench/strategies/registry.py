"""Find strategies: installed ones by their entry point, a user's own by the path of its file.

The bench knows no strategy by name. Any installed package, this project's own among them, offers
strategies through the entry point group `slipbench.controllers`; an entry point gives a
`Controller` or a tuple of them.
"""

from __future__ import annotations

import hashlib
import sys
import traceback
from collections.abc import Iterable
from dataclasses import dataclass, replace
from importlib import import_module
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path
from types import ModuleType

from slipbench.contract import Controller
from slipbench.ground.errors import InputError
from slipbench.ground.reading import is_regular, is_there, regular_bytes
from slipbench.ground.telling import both_ends, message, nearest_text, shown, told, whole
from slipbench.strategies.foreign import is_unit
from slipbench.strategies.native import is_library, load_library
from slipbench.strategies.spelling import label_of, labelled, split_written

GROUP = "slipbench.controllers"
"""Entry point group in which packages offer strategies."""

SHIPPED = "slipbench"
"""Distribution whose strategies count as shipped."""

DRY_STRATEGY = "none"
"""Strategy of stops that slip control's are held against on dry rail: without any."""

TUNED_READER = "slipbench.campaign.tuning.tuned_reader"


@dataclass(frozen=True)
class Known:
    """A strategy and where it was found.

    Attributes
    ----------
    controller : Controller
    reference : str          the text that finds it again, in another process too
    origin : str             distribution and version, or the path of the file
    is_shipped : bool
    runs_compiled : bool     False: its update function is called as plain Python
    """

    controller: Controller
    reference: str
    origin: str
    is_shipped: bool = False
    runs_compiled: bool = True


def known_controllers() -> dict[str, Known]:
    """Return the installed strategies by name: shipped ones first, in the order they are given.

    Raises
    ------
    InputError   if an entry point cannot be loaded or gives something else, or two strategies have
                 the same name
    """
    found = sorted(
        entry_points(group=GROUP),
        key=lambda point: (not _is_shipped(point), _origin(point), point.name),
    )
    known: dict[str, Known] = {}
    for entry_point in found:
        source = f"{_origin(entry_point)}, entry point {entry_point.name!r}"
        for controller in _load(entry_point, source):
            if controller.name in known:
                raise InputError(
                    f"two strategies are called {controller.name!r}: one from "
                    f"{known[controller.name].origin}, one from {source}; rename or uninstall one"
                )
            known[controller.name] = Known(
                controller=controller,
                reference=controller.name,
                origin=_origin(entry_point),
                is_shipped=_is_shipped(entry_point),
            )
    return known


def find_controller(text: str, *, compile_file: bool = False) -> Known:
    """Return the strategy written as `text`: `NAME[:KEY=VALUE...]` or `FILE[:NAME][:KEY=VALUE...]`.

    Parameters
    ----------
    text : str            a name of `known_controllers()`, or the path of a Python file (and a name
                          in it, if it holds several), of a shared library made with `slipbench.h`,
                          of an FMI unit (.fmu) or of tuned settings (.toml); then parameters, see
                          `spelling`
    compile_file : bool   compile the function of a file's strategy; else it runs as plain Python

    Raises
    ------
    InputError   for an unknown name, a file that is missing, fails or gives no Controller, and a
                 parameter that is unknown or out of range
    """
    base, words = split_written(text)
    known = _find(base, compile_file)
    if not words:
        return known
    reference = label_of(known.reference, words)
    return replace(known, controller=labelled(known.controller, words), reference=reference)


def _find(text: str, compile_file: bool) -> Known:
    if text.endswith(".toml"):
        # by name, so that what tunes is not counted among the sources that make a stop
        known_tuned: Known = import_module(TUNED_READER).named_after_file(text)
        return known_tuned
    if is_library(text):
        return Known(load_library(text), reference=text, origin=text)
    if is_unit(text):
        from slipbench.strategies.units import load_unit  # which loads what calls it

        return Known(load_unit(text), reference=text, origin=text)
    if ".py:" in text or text.endswith(".py") or "/" in text or "\\" in text:
        return _from_file(text, compile_file)
    known = known_controllers()
    if text in known:
        return known[text]
    if not known:
        raise InputError(
            f"strategy {shown(text)}: no strategies are installed; install the package "
            "(python -m pip install -e .), or give path/to/file.py"
        )
    raise InputError(
        f"strategy {shown(text)}: unknown; {nearest_text(text, known)} "
        "(one of your own is path/to/file.py, or the path of a shared library or FMI unit)"
    )


def _refuse_missing(path: Path) -> None:
    if not is_regular(path):
        problem = "is no regular file" if is_there(path) else "no such file"
        raise InputError(f"strategy '{whole(str(path))}': {problem}; write path/to/file.py[:NAME]")


def refuse_twice(noun: str, named: Iterable[tuple[str, str]]) -> None:
    """Refuse names given twice.

    Parameters
    ----------
    noun : str                      what the names are of
    named : iterable of str pairs   name, and where it comes from

    Raises
    ------
    InputError
    """
    seen: dict[str, str] = {}
    for name, origin in named:
        if name in seen:
            raise InputError(
                f"two {noun} are called {shown(name)} "
                f"({both_ends(seen[name])}; {both_ends(origin)}); "
                "give each once, under a name of its own"
            )
        seen[name] = origin


def _is_shipped(entry_point: EntryPoint) -> bool:
    return entry_point.dist is not None and entry_point.dist.name.lower() == SHIPPED


def _origin(entry_point: EntryPoint) -> str:
    if entry_point.dist is None:
        return entry_point.value
    return f"{entry_point.dist.name} {entry_point.dist.version}"


def _load(entry_point: EntryPoint, source: str) -> tuple[Controller, ...]:
    try:
        given = entry_point.load()
    except KeyboardInterrupt:
        raise
    except BaseException as problem:
        raise InputError(
            f"{source} ({entry_point.value}) cannot be loaded: {one_line(problem)}; "
            "repair or uninstall it"
        ) from problem
    items = tuple(given) if isinstance(given, tuple | list) else (given,)
    for item in items:
        if not isinstance(item, Controller):
            raise InputError(
                f"{source} ({entry_point.value}) gives a {type(item).__name__}; "
                "allowed: a Controller or a tuple of them"
            )
    return items


def _from_file(text: str, compile_file: bool) -> Known:
    file, colon, name = text.rpartition(":")
    if not colon and text.endswith(".py"):
        file = text
    elif not file.endswith(".py") or not name.isidentifier():
        raise InputError(
            f"strategy {shown(text)}: write path/to/file.py, or path/to/file.py:NAME, NAME being a "
            "Controller"
        )
    path = Path(file)
    _refuse_missing(path)
    module = _run_file(path)
    here = [key for key, value in vars(module).items() if isinstance(value, Controller)]
    inside = f"strategies in it: {', '.join(here) or 'none'}"
    if not colon:
        if len({id(getattr(module, key)) for key in here}) != 1:
            raise InputError(f"strategy {shown(text)}: {inside}; write {file}:NAME")
        name = here[0]
    if not hasattr(module, name):
        raise InputError(f"strategy {shown(text)}: {file} has no {name!r}; {inside}")
    controller = getattr(module, name)
    if not isinstance(controller, Controller):
        raise InputError(
            f"strategy {shown(text)}: {name} in {file} is a {type(controller).__name__}; "
            "it must be a Controller (slipbench.Controller)"
        )
    return Known(controller, reference=f"{file}:{name}", origin=file, runs_compiled=compile_file)


def _run_file(path: Path) -> ModuleType:
    """Run a user's file as a module of its own, listed so that dataclasses in it work."""
    digest = hashlib.sha256(str(path.resolve()).encode()).hexdigest()[:8]
    module = ModuleType(f"slipbench_file_{path.stem}_{digest}")
    module.__file__ = str(path)
    sys.modules[module.__name__] = module
    try:
        code = regular_bytes(path, "a strategy is a Python file")
        exec(compile(code, str(path), "exec"), vars(module))
    except KeyboardInterrupt:
        raise
    except BaseException as problem:  # a file may raise, or end, by whatever it likes
        sys.modules.pop(module.__name__, None)
        if isinstance(problem, InputError) and not where_in(problem, path):
            raise
        raise InputError(f"{path}: {where_in(problem, path)}{one_line(problem)}") from problem
    return module


def one_line(problem: BaseException) -> str:
    """Return an exception as one line, its type first unless it is the project's own."""
    if isinstance(problem, InputError):
        return message(str(problem))
    text = told(problem)
    kind = type(problem).__name__
    return f"{kind}: {text}" if text else kind


def where_in(problem: BaseException, path: Path) -> str:
    """Return `line n: ` for the last line of the file that an exception came through, else ``."""
    if isinstance(problem, SyntaxError):
        return ""  # its text says the line
    here = [
        line
        for frame, line in traceback.walk_tb(problem.__traceback__)
        if frame.f_code.co_filename == str(path)
    ]
    return f"line {here[-1]}: " if here else ""

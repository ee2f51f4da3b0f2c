"""What commands share: reading the line, the folder, getting ready, handing over."""

from __future__ import annotations

import argparse
import atexit
import gc
import os
import re
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.ground.interrupts import interrupts_end_at_once, interrupts_ignored

if TYPE_CHECKING:
    from slipbench.scenario import Scenario
    from slipbench.strategies.registry import Known

FOLDER = Path("slipbench-results")
"""Where results go unless another folder is named: each command has its own inside."""

MOST_WORKERS = 1024
"""Processes a command may be told to start."""

COMPILING = "compiling the physics once, half a minute or more ..."


def collect_garbage_rarely() -> None:
    """Spare a process most walks over what it imported, which is never garbage.

    Measured on a warm stop: a tenth of its time while it imports, a seventh when it ends.
    """
    gc.set_threshold(50_000, 20, 20)
    atexit.register(gc.freeze)


def add_stop_arguments(
    parser: argparse.ArgumentParser, command: str, controller: str = "slip_band"
) -> None:
    """Add the arguments of a command that runs one stop: scenario, strategy, seed, speed, folder.

    Parameters
    ----------
    parser : ArgumentParser
    command : str      its folder inside `FOLDER`
    controller : str   the strategy where none is named
    """
    parser.add_argument("scenario", metavar="SCENARIO", help="a shipped name or a TOML file")
    parser.add_argument(
        "--controller",
        default=controller,
        metavar="NAME",
        help=f"a name, or path/to/file.py:NAME ({controller})",
    )
    parser.add_argument("--seed", type=whole_number, default=0, help="of sampling and teeth (0)")
    parser.add_argument("--speed", help="start from this speed, with its unit, such as 75mph")
    parser.add_argument("--out", metavar="DIR", help=f"folder for the results ({FOLDER / command})")
    parser.add_argument(
        "--compile", action="store_true", help="compile strategies read from a file"
    )


def add_stop_limit(parser: argparse.ArgumentParser) -> None:
    """Add the limit by the clock for one stop."""
    parser.add_argument(
        "--stop-limit",
        metavar="TIME",
        help="what one stop may take by the clock before it counts as failed, such as 60s; "
        "or none (30min)",
    )


def stop_limit(arguments: argparse.Namespace) -> float:
    """Return the limit by the clock for one stop. [s]"""
    from slipbench.running.limit import DEFAULT_LIMIT, parse_limit

    return DEFAULT_LIMIT if arguments.stop_limit is None else parse_limit(arguments.stop_limit)


def whole_number(text: str) -> int:
    """Read a whole number from 0; argparse prints the message."""
    if not (text.isascii() and text.isdigit() and len(text) < 20):
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number from 0")
    return int(text)


def read_scenario(name: str, speed: str | None) -> Scenario:
    """Return a scenario, from another speed, told in its title, if one is given."""
    from slipbench.scenario import load_scenario, parse_speed

    scenario = load_scenario(name.strip())
    if speed is None:
        return scenario
    start = parse_speed(speed)
    title = f"{scenario.title} (started from {start:.2f} m/s instead)"
    return scenario.replace(initial_speed=start, title=title)


def file_word(name: str) -> str:
    """Return a scenario's name as part of a file name."""
    return re.sub(r"[^A-Za-z0-9.-]+", "_", name)[:60]


def picture_names(name: str) -> list[str]:
    """Return the file names of a picture."""
    return [f"{name}.png", f"{name}.svg"]


def results_folder(out: str | None, command: str, names: list[str]) -> Path:
    """Return the folder for the results, refused before anything is computed if it cannot serve.

    Raises
    ------
    InputError
    """
    from slipbench.results.output import check_folder

    if out is not None and (not out.strip() or "\0" in out):
        raise InputError(f"--out {out!r}: must be the path of a folder")
    folder = FOLDER / command if out is None else Path(out)
    check_folder(folder, names, f"{command}.json", f"slipbench {command}")
    return folder


def deliver(text: str, folder: Path, files: dict[str, bytes], command: str) -> None:
    """Print the table and write the files, or only print where they cannot be written."""
    from slipbench.results.output import write_folder

    record = f"{command}.json"
    try:
        with interrupts_ignored():
            write_folder(folder, files, record, f"slipbench {command}", {})
    except InputError:
        print(text, flush=True)  # what was computed is not lost
        raise
    print(f"{text}\n\nwritten to {folder}: {', '.join((record, *files))}\n\n{CAUTION}")


@contextmanager
def result_stream(is_alone: bool) -> Iterator[TextIO]:
    """Yield the stream for a result; where it is to be alone there, all else goes to stderr.

    A strategy of the user's may print: in Python, in C, or in a worker. So the descriptor is turned
    over as well, for as long as this lasts, and workers started meanwhile inherit it.
    """
    if not is_alone:
        yield sys.stdout
        return
    shown = sys.stdout
    try:
        kept = os.dup(1)
    except OSError:  # stdout is closed, so nothing can get in the way
        yield shown
        return
    try:
        owns_descriptor = shown.fileno() == 1
    except (AttributeError, OSError, ValueError):  # replaced, as in a notebook
        owns_descriptor = False
    shown.flush()
    result = shown
    if owns_descriptor:
        result = open(kept, "w", encoding=shown.encoding, closefd=False)  # noqa: SIM115
    try:
        os.dup2(2, 1)
    except OSError:  # stderr is closed
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    sys.stdout = sys.stderr
    try:
        yield result
        result.flush()
    finally:
        sys.stdout = shown
        if "ctypes" in sys.modules:  # what C code printed may still be in a buffer
            with suppress(OSError, TypeError, AttributeError):
                sys.modules["ctypes"].CDLL(None).fflush(None)
        os.dup2(kept, 1)
        os.close(kept)


def get_ready(
    modules: Sequence[str],
    functions: Sequence[str] = (),
    strategies: Iterable[Known] = (),
    *,
    said: str = "slipbench: ",
    undone: str = "nothing was written",
) -> None:
    """Import and compile what is needed, saying so where it takes long.

    Parameters
    ----------
    modules : sequence of str     imported
    functions : sequence of str   compiled functions of the kernel it takes, as `module.function`
    strategies : of Known         that will run
    said : str                    what begins a line on stderr
    undone : str                  what an interrupt is told to have left
    """
    with interrupts_end_at_once(f"{said}interrupted; {undone}"):
        from slipbench.compiling.cache import is_cold

        strategies = list(strategies)
        with ExitStack() as stack:
            if functions and is_cold(*functions):
                print(f"{said}{COMPILING}", file=sys.stderr, flush=True)
                from slipbench.running.ahead import compiling_ahead

                shipped = [known.reference for known in strategies if known.is_shipped]
                stack.enter_context(compiling_ahead(functions, shipped))
            from slipbench.running.runner import prepare

            for known in strategies:
                prepare(known)
            for module in modules:
                import_module(module)

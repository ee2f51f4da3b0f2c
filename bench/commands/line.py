"""What commands share: reading the line, the folder, getting ready, handing over."""

from __future__ import annotations

import atexit
import gc
import os
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, TextIO, TypeVar

from slipbench.commands.options import FOLDER
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.ground.interrupts import interrupts_end_at_once, interrupts_ignored
from slipbench.ground.telling import told

if TYPE_CHECKING:
    from slipbench.strategies.registry import Known

T = TypeVar("T")

COMPILING = "compiling the physics once, half a minute or more ..."


def collect_garbage_rarely() -> None:
    """Spare a process most walks over what it imported, which is never garbage.

    Measured on a warm stop: a tenth of its time while it imports, a seventh when it ends.
    """
    gc.set_threshold(50_000, 20, 20)
    atexit.register(gc.freeze)


def file_word(name: str) -> str:
    """Return a scenario's name as part of a file name."""
    return re.sub(r"[^A-Za-z0-9.-]+", "_", name)[:60]


def picture_names(name: str) -> list[str]:
    """Return the file names of a picture."""
    return [f"{name}.png", f"{name}.svg"]


def out_folder(out: str | None, command: str) -> Path:
    """Return the folder `--out` names, or a command's own."""
    if out is not None and (not out.strip() or "\0" in out):
        raise InputError(f"--out {out!r}: must be the path of a folder")
    return FOLDER / command if out is None else Path(out)


def results_folder(
    out: str | None, command: str, names: list[str], may_overwrite: bool = False
) -> Path:
    """Return the folder for the results, refused before anything is computed if it cannot serve.

    Raises
    ------
    InputError
    """
    from slipbench.results.output import check_folder

    folder = out_folder(out, command)
    check_folder(folder, names, f"{command}.json", f"slipbench {command}", may_overwrite)
    return folder


def deliver(
    text: str,
    folder: Path,
    files: dict[str, bytes],
    command: str,
    may_overwrite: bool = False,
    draw: Callable[[], dict[str, bytes]] | None = None,
) -> None:
    """Print the table and write the files, or only print where they cannot be written.

    What is drawn comes last: a picture that fails loses no number.
    """
    from slipbench.results.output import write_folder

    record = f"{command}.json"
    try:
        if files:
            with interrupts_ignored():
                write_folder(folder, files, record, f"slipbench {command}", {}, may_overwrite)
        if draw is not None:
            files = files | drawn_or_refused(draw)
            with interrupts_ignored():
                write_folder(folder, files, record, f"slipbench {command}", {}, may_overwrite)
    except InputError:
        print(text, flush=True)  # what was computed is not lost
        raise
    print(f"{text}\n\nwritten to {folder}: {', '.join((record, *files))}\n\n{CAUTION}")


def drawn_or_refused(draw: Callable[[], T]) -> T:
    """Draw; a picture that fails is one line, after all numbers have been written.

    Raises
    ------
    InputError
    """
    try:
        return draw()
    except Exception as problem:  # of the drawing library, over names and numbers it cannot show
        raise InputError(
            f"the picture cannot be drawn ({type(problem).__name__}: {told(problem)}); "
            "the numbers are written"
        ) from problem


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
        result = open(kept, "w", encoding=shown.encoding, errors="backslashreplace", closefd=False)  # noqa: SIM115
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

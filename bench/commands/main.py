"""The command line: `slipbench`, or `python -m slipbench`.

Exit codes: 0 done, 1 a check refuted a claim, 2 the input cannot be used (one line on stderr), 3 a
fault of this program, 130 stopped by Ctrl-C, 143 by SIGTERM. One file a family of commands; what is
slow to import is imported inside them.
"""

from __future__ import annotations

import argparse
import io
import os
import signal
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from types import FrameType
from typing import NoReturn

from slipbench.commands import (
    assess,
    campaign,
    catalogue,
    compare,
    completion,
    exchange,
    experiment,
    guidance,
    guide,
    hold,
    keeping,
    measured,
    measured_rail,
    overrun,
    own_files,
    pictures,
    possible,
    practice,
    report,
    stop,
    stop_pictures,
    strategies,
    studies,
    sweep,
    tuning,
    verdict,
)
from slipbench.commands.line import collect_garbage_rarely
from slipbench.commands.parser import Commands, MainParser
from slipbench.ground.errors import InputError
from slipbench.ground.interrupts import Terminated
from slipbench.ground.reading import place
from slipbench.ground.telling import message, told
from slipbench.ground.version import VERSION

BAD_INPUT, OWN_FAULT, INTERRUPTED, TERMINATED = 2, 3, 130, 143
TRACEBACK = "SLIPBENCH_TRACEBACK"
"""Environment variable that has a fault of this program told with its traceback."""


FAMILIES = (
    stop,
    stop_pictures,
    practice,
    pictures,
    possible,
    compare,
    sweep,
    report,
    campaign,
    keeping,
    tuning,
    studies,
    verdict,
    overrun,
    assess,
    measured,
    measured_rail,
    guidance,
    hold,
    strategies,
    own_files,
    exchange,
    catalogue,
    experiment,
    guide,
    completion,
)
"""Modules of commands, in the order their commands are listed; each has `add_parsers`."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv : sequence of str or None   arguments after the program name; None: those of the process

    Returns
    -------
    int   the exit code
    """
    collect_garbage_rarely()
    _take_any_text()
    try:
        with _termination():
            return _acted(argv)
    except InputError as problem:
        return complain(str(problem))
    except Terminated as end:
        return complain(f"terminated{_after(end)}", TERMINATED)
    except KeyboardInterrupt as end:
        return complain(f"interrupted{_after(end)}", INTERRUPTED)
    except BrokenPipeError:  # whoever read our output has left
        _leave_stdout()
        return 1
    except OSError as problem:  # standard output, or a file no one foresaw, cannot be written
        _leave_stdout()
        where = f"{place(os.fspath(problem.filename))}: " if problem.filename else "output: "
        return complain(f"{where}{problem.strerror or told(problem)}")
    except MemoryError:
        return complain("not enough memory for this")
    except Exception as problem:
        return _own_fault(problem)


def _acted(argv: Sequence[str] | None) -> int:
    try:
        arguments = make_parser().parse_args(argv)
        code: int = arguments.act(arguments)
    except SystemExit as end:  # argparse after --help and --version
        code = end.code if isinstance(end.code, int) else BAD_INPUT
    if sys.stdout is not None:  # None where it was closed before we began
        sys.stdout.flush()
    return code


def _after(end: KeyboardInterrupt) -> str:
    """Return what was reached, as it follows the first word of the message."""
    said = str(end).strip()
    if not said:
        return "; nothing was written"
    return said if said.startswith(";") else f" {said}"


def _take_any_text() -> None:
    """Let output show as an escape what its encoding has not, instead of ending over it."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _leave_stdout() -> None:
    """Point standard output nowhere, so that Python's own last flush does not complain as well."""
    with suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _own_fault(problem: Exception) -> int:
    """Tell a fault of this program in one line; all of it where that is asked for."""
    if os.environ.get(TRACEBACK):
        raise problem
    kind = type(problem).__name__
    return complain(
        f"a fault of slipbench itself ({kind}: {told(problem)}); please report it, with what "
        f"{TRACEBACK}=1 in the environment makes it print",
        OWN_FAULT,
    )


@contextmanager
def _termination() -> Iterator[None]:
    """Let SIGTERM end the program as Ctrl-C does: workers ended, files closed, one line."""

    def end(number: int, frame: FrameType | None) -> NoReturn:
        raise Terminated

    try:
        before = signal.signal(signal.SIGTERM, end)
    except ValueError:  # not the main thread
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def complain(text: str, code: int = BAD_INPUT) -> int:
    """Print one line to stderr and return the exit code."""
    with suppress(OSError, ValueError):  # stderr is closed, or full
        print(f"slipbench: {message(text)}", file=sys.stderr, flush=True)
    return code


def make_parser() -> MainParser:
    """Return the parser of all commands."""
    parser = MainParser(
        prog="slipbench",
        description="A bench for wheel slide protection: low-adhesion stops of disc-braked trains.",
    )
    parser.add_argument("--version", action="version", version=f"slipbench {VERSION}")
    parser.set_defaults(act=no_command)
    parser.commands = Commands(parser)
    for family in FAMILIES:
        family.add_parsers(parser.commands)
    return parser


def no_command(arguments: argparse.Namespace) -> NoReturn:
    """Refuse a command line without a command."""
    raise InputError("a command is needed, such as stop or compare; see slipbench --help")

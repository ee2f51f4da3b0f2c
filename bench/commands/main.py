"""The command line: `slipbench`, or `python -m slipbench`.

Exit codes: 0 done, 1 a check refuted a claim, 2 the input cannot be used (one line on stderr), 130
stopped by Ctrl-C. One file a family of commands; what is slow to import is imported inside them.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

from slipbench.commands import (
    assess,
    campaign,
    catalogue,
    compare,
    completion,
    experiment,
    guide,
    pictures,
    report,
    stop,
    stop_pictures,
    strategies,
    studies,
    tuning,
)
from slipbench.commands.line import collect_garbage_rarely
from slipbench.commands.parser import Commands, MainParser
from slipbench.ground.errors import InputError
from slipbench.ground.version import VERSION

BAD_INPUT, INTERRUPTED = 2, 130
FAMILIES = (
    stop,
    stop_pictures,
    pictures,
    compare,
    report,
    campaign,
    tuning,
    studies,
    assess,
    strategies,
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
    try:
        arguments = make_parser().parse_args(argv)
        code: int = arguments.act(arguments)
        if sys.stdout is not None:  # None where it was closed before we began
            sys.stdout.flush()
        return code
    except SystemExit as end:  # argparse after --help and --version
        return end.code if isinstance(end.code, int) else BAD_INPUT
    except InputError as problem:
        return complain(str(problem))
    except KeyboardInterrupt as end:
        return complain(f"interrupted{str(end) or '; nothing was written'}", INTERRUPTED)
    except BrokenPipeError:  # whoever read our output has left
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1


def complain(message: str, code: int = BAD_INPUT) -> int:
    """Print one line to stderr and return the exit code."""
    print(f"slipbench: {' '.join(message.split())}", file=sys.stderr)
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

"""The parser of the command line: complaints of one line, commands grouped by what one wants."""

from __future__ import annotations

import argparse
import textwrap
from typing import Any, NamedTuple, NoReturn

from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError

ONE_STOP = "one stop"
COMPARE = "compare"
JUDGE = "tune and judge"
MEASURED = "measured stops"
TEACH = "teach"
OWN_TRAIN = "own train, rail, driver"
EXCHANGE = "exchange with other tools"
LEARN = "learn"

GROUPS = (ONE_STOP, COMPARE, JUDGE, MEASURED, TEACH, OWN_TRAIN, EXCHANGE, LEARN)
"""What a person wants, in the order `slipbench --help` shows it."""

_WIDTH = 100


class Command(NamedTuple):
    """A command as `--help` lists it."""

    group: str
    name: str
    help: str
    parser: argparse.ArgumentParser


class Parser(argparse.ArgumentParser):
    """An argument parser whose complaints are one line."""

    def __init__(self, **settings: Any) -> None:
        settings.setdefault("allow_abbrev", False)
        super().__init__(epilog=CAUTION, **settings)

    def error(self, message: str) -> NoReturn:
        """Raise the complaint as an `InputError`."""
        raise InputError(f"{message}; see {self.prog} --help")


class Commands:
    """The commands of a parser; each family adds its own by `add_parser`."""

    def __init__(
        self,
        parser: argparse.ArgumentParser,
        parser_class: type[argparse.ArgumentParser] | None = None,
    ) -> None:
        self._subparsers = parser.add_subparsers(
            metavar="COMMAND", parser_class=parser_class or Parser
        )
        self.all: list[Command] = []

    def add_parser(self, name: str, *, group: str, help: str) -> argparse.ArgumentParser:
        """Add a command to a group of `GROUPS`; return its parser, which sets `act`."""
        if group not in GROUPS:
            raise ValueError(f"command {name}: group {group!r}; one of: {', '.join(GROUPS)}")
        parser = self._subparsers.add_parser(
            name, help=help, description=f"{help[:1].upper()}{help[1:]}."
        )
        self.all.append(Command(group, name, help, parser))
        return parser


class MainParser(Parser):
    """The parser of the whole line: its help lists the commands by group, a line each."""

    commands: Commands

    def format_help(self) -> str:
        """Return the page of all commands."""
        width = max(len(command.name) for command in self.commands.all)
        lines = ["usage: slipbench COMMAND ...", "", self.description or ""]
        for group in GROUPS:
            own = [command for command in self.commands.all if command.group == group]
            lines += ["", f"{group}:"] if own else []
            lines += [f"  {command.name:<{width}}  {command.help}" for command in own]
        lines += [
            "",
            "slipbench COMMAND --help tells the options of a command; --version the version.",
            "Exit codes: 0 done, 1 a claim refuted, 2 input cannot be used, 130 interrupted.",
            "",
            *textwrap.wrap(self.epilog or "", _WIDTH),
        ]
        return "\n".join(lines) + "\n"

"""The command `guide`: the handbook, a page at a time or as one book."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping

from slipbench.commands.line import deliver, results_folder
from slipbench.commands.parser import LEARN, Commands
from slipbench.ground.caution import CAUTION

BOOK = "handbook.html"


def add_parsers(commands: Commands) -> None:
    """Add `guide`."""
    parser = commands.add_parser("guide", group=LEARN, help="the handbook: a page, or the book")
    parser.add_argument("topic", nargs="?", metavar="TOPIC", help="a page (names all pages)")
    parser.add_argument("--html", metavar="DIR", help="write the whole book as one searchable page")
    parser.set_defaults(act=lambda arguments: guide_command(arguments, commands))


def guide_command(arguments: argparse.Namespace, commands: Commands) -> int:
    """Print a page, the list of pages, or write the book."""
    from slipbench.guide.pages import PARTS, read_page, topics

    generated = generators(commands)
    if arguments.html is not None:
        from slipbench.guide.book import book

        folder = results_folder(arguments.html, "guide", [BOOK])
        pages = [read_page(topic, generated) for topic in topics()]
        text = f"{len(pages)} pages"
        deliver(text, folder, {BOOK: book(pages).encode()}, "guide")
        return 0
    if arguments.topic is not None:
        print(read_page(arguments.topic, generated).text, end="")
        return 0
    width = max(map(len, topics()))
    for part, names in PARTS.items():
        print(part)
        for topic in names:
            print(f"  {topic:<{width}}  {read_page(topic, generated).title}")
    print(f"\nslipbench guide TOPIC prints one; --html DIR writes the book.\n\n{CAUTION}")
    return 0


def generators(commands: Commands) -> Mapping[str, Callable[[], str]]:
    """Return what makes each generated part of the handbook."""

    def strategies() -> str:
        from slipbench.guide.generated import strategy_pages
        from slipbench.strategies.registry import known_controllers

        return strategy_pages(one.controller for one in known_controllers().values())

    def keys() -> str:
        from slipbench.guide.generated import key_tables

        return key_tables()

    def results() -> str:
        from slipbench.guide.generated import result_tables

        return result_tables()

    def command_list() -> str:
        from slipbench.guide.generated import table

        groups = dict.fromkeys(command.group for command in commands.all)
        return "\n\n".join(
            f"## {group.capitalize()}\n\n"
            + table(
                ("command", "what it does"),
                [(f"`{c.name}`", c.help) for c in commands.all if c.group == group],
            )
            for group in groups
        )

    return {
        "strategies": strategies, "keys": keys, "results": results, "commands": command_list,
    }  # fmt: skip

"""The command `experiment`: the questions, and the answer to one.

The package finds experiments as it finds strategies, by an entry point group: an entry point gives
a tuple of them, each with `name`, `question`, `main(arguments)`, which returns the exit code, and
`together(all, arguments)`, which does the same for all of them on one page.
"""

from __future__ import annotations

import argparse
from importlib.metadata import entry_points
from typing import Any

from slipbench.commands.parser import LEARN, Commands
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError

GROUP = "slipbench.experiments"


def add_parsers(commands: Commands) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "experiment", group=LEARN, help="list the questions, or answer one by its experiment"
    )
    parser.add_argument("name", nargs="?", metavar="NAME", help="of the experiment (list them)")
    parser.add_argument(
        "--all",
        nargs=argparse.REMAINDER,
        metavar="...",
        help="answer every question on one page: --html FOLDER, --quick, --only A[,B], --train T",
    )
    parser.add_argument(
        "options",
        nargs=argparse.REMAINDER,
        metavar="...",
        help="options of the experiment, such as --quick, --seeds N, --train T, --rail R",
    )
    parser.set_defaults(act=experiment_command)


_HOW = (
    "slipbench experiment NAME [--quick] runs one, of your own case with --train, --rail,\n"
    "--driver, --strategy; slipbench experiment --all --html FOLDER writes them all on one page."
)


def known_experiments() -> dict[str, Any]:
    """Return the installed experiments by name.

    Raises
    ------
    InputError   if there are none, or an entry point cannot be loaded
    """
    found: dict[str, Any] = {}
    for point in entry_points(group=GROUP):
        try:
            found |= {item.name: item for item in point.load()}
        except Exception as problem:
            raise InputError(
                f"entry point {point.name!r} of {GROUP} ({point.value}): cannot be loaded: "
                f"{type(problem).__name__}: {problem}; repair or uninstall it"
            ) from problem
    if not found:
        raise InputError(
            "no experiments are installed; install the package (python -m pip install -e .)"
        )
    return found


def experiment_command(arguments: argparse.Namespace) -> int:
    """List the experiments, or run one with what follows its name."""
    found = known_experiments()
    if arguments.all is not None:
        if arguments.name is not None:
            raise InputError(f"experiment {arguments.name}: --all is every one; leave the name out")
        together = next(iter(found.values())).together
        code_of_all: int = together(list(found.values()), arguments.all)
        return code_of_all
    if arguments.name is None:
        width = max(map(len, found))
        for name, experiment in found.items():
            print(f"{name:<{width}}  {experiment.question}")
        print(f"\n{_HOW}\n\n{CAUTION}")
        return 0
    from slipbench.ground.telling import nearest_text

    if arguments.name not in found:
        hint = nearest_text(arguments.name, found)
        raise InputError(f"experiment {arguments.name!r}: unknown; {hint}")
    code: int = found[arguments.name].main(arguments.options)
    return code

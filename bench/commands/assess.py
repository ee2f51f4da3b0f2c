"""The command `assess`: thin. It raises `InputError` for what cannot be used."""

from __future__ import annotations

import argparse
import shlex
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from slipbench.commands.line import deliver, get_ready, out_folder
from slipbench.commands.options import (
    add_out,
    add_scenario,
    add_seeds,
    add_stop_limit,
    add_strategy,
    check_seeds,
    read_scenario,
    read_strategy,
    scenario_words,
    stop_limit,
)
from slipbench.commands.parser import JUDGE, Commands

if TYPE_CHECKING:
    from slipbench.assess.limits import Limit
    from slipbench.assess.sheet import Sheet
    from slipbench.scenario import Scenario
    from slipbench.strategies.registry import Known

FILES = ("assess.csv", "stops.csv", "assess.html")
RECORD, WRITER = "assess.json", "slipbench assess"
MOST_SEEDS = 1000


def add_parsers(commands: Commands) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "assess",
        group=JUDGE,
        help="judge a strategy by a sheet of limits (indicative, not an approval)",
    )
    add_scenario(parser, "+")
    add_strategy(parser)
    parser.add_argument("--limits", metavar="FILE", help="TOML of limits (the shipped ones)")
    parser.add_argument(
        "--flat-limit", metavar="NAME", help="judge flats by this rule: one named in the sheet"
    )
    add_seeds(parser, None, "3")
    parser.add_argument("--quick", action="store_true", help="one speed and, by default, one seed")
    add_out(parser, "assess")
    add_stop_limit(parser)
    parser.set_defaults(act=assess_command)


def assess_command(arguments: argparse.Namespace) -> int:
    """Run the programme, print the sheet, write it as CSV and a page."""
    from slipbench.assess.flat_rules import with_rule
    from slipbench.assess.limits import read_limits
    from slipbench.results.output import check_folder
    from slipbench.strategies.registry import refuse_twice

    n_seeds = (1 if arguments.quick else 3) if arguments.seeds is None else arguments.seeds
    check_seeds(n_seeds, MOST_SEEDS)
    folder = out_folder(arguments.out, "assess")
    stop_limit(arguments)  # refused before anything is run
    limits = with_rule(read_limits(arguments.limits), arguments.flat_limit)
    scenarios = [read_scenario(name, arguments) for name in arguments.scenarios]
    refuse_twice("scenarios", [(s.name, s.title) for s in scenarios])
    known = read_strategy(arguments.strategy, arguments.compile)
    check_folder(folder, FILES, RECORD, WRITER, arguments.overwrite)
    get_ready(["slipbench.assess.sheet"], ["loop.run_compiled"], [known])
    from slipbench.assess.page import sheet_csv, sheet_page, sheet_text, stops_csv

    sheet = _assessed(arguments, scenarios, known, limits, n_seeds)
    text = sheet_text(sheet)
    contents = (sheet_csv(sheet), stops_csv(sheet), sheet_page(sheet, _command(arguments)))
    files = {name: content.encode() for name, content in zip(FILES, contents, strict=True)}
    deliver(text, folder, files, "assess", arguments.overwrite)
    return 0


def _assessed(
    arguments: argparse.Namespace,
    scenarios: Sequence[Scenario],
    known: Known,
    limits: tuple[Limit, ...],
    n_seeds: int,
) -> Sheet:
    """Run the programme under a bar."""
    from tqdm import tqdm

    from slipbench.assess.sheet import assess, programme

    n_stops = n_seeds * len(programme(scenarios, arguments.quick))
    with tqdm(
        total=n_stops, unit="stop", disable=not sys.stderr.isatty(), leave=False, file=sys.stderr
    ) as bar:
        return assess(
            scenarios,
            known,
            limits,
            n_seeds,
            is_quick=arguments.quick,
            tell=bar.update,
            stop_limit=stop_limit(arguments),
        )


def _command(arguments: argparse.Namespace) -> str:
    words = ["slipbench", "assess", *arguments.scenarios, "--strategy", arguments.strategy]
    words += [] if arguments.flat_limit is None else ["--flat-limit", arguments.flat_limit]
    words += ["--limits", arguments.limits] if arguments.limits else []
    words += ["--seeds", str(arguments.seeds)] if arguments.seeds is not None else []
    words += scenario_words(arguments)
    words += ["--quick"] * arguments.quick + ["--compile"] * arguments.compile
    return shlex.join(words)

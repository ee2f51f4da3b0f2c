"""The command `hold-or-ease`: advice for the trainer, with its proof.

Light to import; whatever is heavy is imported inside the functions.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING

from slipbench.commands.guidance import (
    FEWEST_DRAWS,
    MOST_DRAWS,
    add_draws,
    deliver_guidance,
    opened_runs,
)
from slipbench.commands.line import get_ready, picture_names, results_folder
from slipbench.commands.options import (
    add_compile,
    add_out,
    add_scenario,
    check_range,
    check_workers,
    read_scenario,
    read_strategies,
    split_names,
    stop_limit,
)
from slipbench.commands.parser import TEACH, Commands
from slipbench.commands.session import typed_command
from slipbench.ground.errors import InputError

if TYPE_CHECKING:
    from slipbench.scenario import Scenario

NAME = "hold-or-ease"
FILES = (f"{NAME}.csv", "advice.html", *picture_names("hold_or_ease"))
QUICK_RAILS, QUICK_DRAWS, DRAWS = ("wet_leaf", "tough_film"), 6, 16


def add_parsers(commands: Commands) -> None:
    """Add the command."""
    parser = commands.add_parser(
        NAME,
        group=TEACH,
        help="whether to hold the brake or ease it when slip control works, with the proof",
    )
    add_scenario(parser, "*", default="the slippery shipped rails")
    parser.add_argument(
        "--strategy", metavar="A[,B]", help="instead of the five leading ones of the shipped"
    )
    add_compile(parser)
    add_draws(parser, DRAWS)
    parser.add_argument(
        "--also", metavar="TRAIN[,TRAIN]", help="further trains on the same rails, names or files"
    )
    parser.add_argument("--quick", action="store_true", help="two rails, few draws")
    add_out(parser, NAME)
    parser.set_defaults(act=hold_command)


def hold_command(arguments: argparse.Namespace) -> int:
    """Run every way of braking against holding; print the table and the advice."""
    folder = results_folder(arguments.out, NAME, list(FILES), arguments.overwrite)
    check_workers(arguments.workers)
    limit = stop_limit(arguments)
    from slipbench.guidance import holding
    from slipbench.guidance.spread import read_spread
    from slipbench.running.candidate import candidate_of

    names = arguments.scenarios or (QUICK_RAILS if arguments.quick else holding.RAILS)
    rails = _rails(arguments, names)
    if len({rail.brake.n_steps for rail in rails}) > 1 or rails[0].brake.n_steps < 2:
        raise InputError("hold-or-ease needs trains with as many brake steps each, at least 2")
    n_draws = arguments.draws or (QUICK_DRAWS if arguments.quick else DRAWS)
    check_range("--draws", n_draws, FEWEST_DRAWS, MOST_DRAWS)
    spread = read_spread(arguments.spread)
    known = read_strategies(arguments.strategy, arguments.compile)
    get_ready(["slipbench.stop.simulation"], ["loop.run_compiled"], undone="nothing was run")
    candidates = [candidate_of(one) for one in known]
    ways = holding.ways_of(rails[0].brake.n_steps)
    n_asked = holding.N_LEADING if arguments.strategy is None else len(candidates)
    n_stops = holding.most_stops(len(rails), n_asked, len(ways), n_draws, len(candidates))
    with opened_runs(folder, arguments, n_stops, limit) as runs:
        led = holding.leading(rails, candidates, runs, all_of=arguments.strategy is not None)
        proof = holding.prove(rails, led, spread, n_draws, arguments.seed, runs)
    from slipbench.figures.holding import draw_proof, proof_csv, proof_sheet, proof_text
    from slipbench.figures.style import save

    def draw() -> dict[str, bytes]:
        picture = save(draw_proof(proof))
        made = {f"hold_or_ease.{kind}": data for kind, data in picture.items()}
        made["advice.html"] = proof_sheet(proof, picture["svg"], typed_command()).encode()
        return made

    files = {f"{NAME}.csv": proof_csv(proof).encode()}
    deliver_guidance(proof_text(proof), folder, files, arguments, draw, NAME)
    return 0


def _rails(arguments: argparse.Namespace, names: Sequence[str]) -> list[Scenario]:
    """Return the scenarios, every rail under every train."""
    trains = [arguments.train, *(split_names(arguments.also) if arguments.also else [])]
    rails = []
    for name in names:
        for train in trains:
            arguments.train = train
            rails.append(read_scenario(name, arguments))
    arguments.train = trains[0]
    return rails

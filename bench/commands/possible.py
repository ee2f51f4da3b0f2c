"""The command `best-found`: the floor, the shortest stop found above it, and the gap between."""

from __future__ import annotations

import argparse
import math
import shlex
import statistics
import sys
from typing import TYPE_CHECKING

from slipbench.commands.line import get_ready
from slipbench.commands.options import (
    add_overwrite,
    add_scenario,
    add_seeds,
    add_workers,
    check_seeds,
    check_workers,
    count,
    read_scenario,
    scenario_words,
)
from slipbench.commands.parser import COMPARE, Commands
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.results.files import named_path, refuse_foreign, write_file
from slipbench.results.tables import number, plain_table

if TYPE_CHECKING:
    from slipbench.comparison.possible.search import Found
    from slipbench.scenario import Scenario

BUDGET = 150


def add_parsers(commands: Commands) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "best-found",
        group=COMPARE,
        help="what a stop cannot be shorter than, and the shortest found with all known",
    )
    add_scenario(parser, "*")
    add_seeds(parser)
    parser.add_argument("--search", action="store_true", help="search, also where a plan is kept")
    parser.add_argument(
        "--budget", type=count, default=BUDGET, metavar="N", help=f"stops a search ({BUDGET})"
    )
    parser.add_argument("--to", metavar="FILE.json", help="write the plans found")
    add_overwrite(parser)
    add_workers(parser)
    parser.set_defaults(act=best_found_command)


def best_found_command(arguments: argparse.Namespace) -> int:
    """Print floor, best found and gap by scenario; search for plans where asked to."""
    from slipbench.scenario import scenario_names

    check_seeds(arguments.seeds)
    check_workers(arguments.workers)
    target = None if arguments.to is None else named_path(arguments.to, "--to")
    if target is not None:
        refuse_foreign(target, arguments.overwrite)
    names = arguments.scenarios or scenario_names()
    scenarios = [read_scenario(name, arguments) for name in names]
    compiled = ["loop.run_compiled", "floor.run_floor", "priced.run_priced_floor"]
    get_ready(["slipbench.comparison.possible.store"], compiled)
    from slipbench.comparison.possible.store import found_for, key_of, plans_text, shipped_plans

    plans: dict[str, Found] = {}
    rows = []
    for scenario in scenarios:
        found = None if arguments.search else found_for(scenario, shipped_plans())
        if found is None:
            found = _search(scenario, arguments)
        plans[key_of(scenario)] = found
        rows.append(_row(scenario, found, arguments.seeds))
    heads = [
        "\nscenario",
        "cannot be shorter\nthan [m]",
        "best found\n[m]",
        "gap\n[%]",
        "axles deep,\nmost of the way",
    ]
    note = (
        f"Means over {arguments.seeds} seed(s) of the equipment. Cannot be shorter: proven, for\n"
        "any strategy. Best found: made with all known and ideal torque, each axle's slip planned\n"
        "place by place; the shortest there is lies between. The gap is over the best found."
    )
    print(f"{plain_table(heads, rows)}\n\n{note}")
    if target is not None:
        write_file(target, plans_text(plans, _as_typed(arguments)).encode())
        print(f"\nwritten: {target}")
    print(f"\n{CAUTION}")
    return 0


def _search(scenario: Scenario, arguments: argparse.Namespace) -> Found:
    from tqdm import tqdm

    from slipbench.comparison.possible.search import search
    from slipbench.running.pool import n_cores

    with tqdm(disable=not sys.stderr.isatty(), leave=False, file=sys.stderr) as bar:
        found = search(
            scenario,
            budget=arguments.budget,
            n_workers=arguments.workers or n_cores(),
            tell=bar.set_description_str,
        )
    if not math.isfinite(found.distance):
        raise InputError(f"scenario {scenario.name}: no planned stop ended within its limits")
    return found


def _row(scenario: Scenario, found: Found, n_seeds: int) -> list[str]:
    from slipbench.comparison.possible.search import distance_of
    from slipbench.stop.shortest import shortest_possible

    floors = [shortest_possible(scenario, seed=seed) for seed in range(n_seeds)]
    made = [distance_of(scenario, found.plan, seed) for seed in range(n_seeds)]
    floor, best = statistics.fmean(floors), statistics.fmean(made)
    middle = len(found.plan.places) // 3
    deep = sum(own[middle] > 0.5 for own in found.plan.depths)
    gap = 100.0 * (best - floor) / best
    axles = f"{deep} of {len(found.plan.depths)}"
    return [scenario.name, number(floor, 1), number(best, 1), number(gap, 1), axles]


def _as_typed(arguments: argparse.Namespace) -> str:
    words = ["slipbench", "best-found", *arguments.scenarios]
    words += ["--search"] * arguments.search
    words += ["--budget", str(arguments.budget)] if arguments.budget != BUDGET else []
    return shlex.join([*words, *scenario_words(arguments)])

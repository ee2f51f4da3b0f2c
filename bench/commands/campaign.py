"""The command `campaign`: many stops into a file, and what they say."""

from __future__ import annotations

import argparse
import math
from typing import TYPE_CHECKING, Any

from slipbench.commands.options import (
    add_scenario,
    add_strategy,
    count,
    positive,
    read_scenario,
    read_settings,
)
from slipbench.commands.parser import COMPARE, Commands
from slipbench.commands.session import (
    add_campaign_options,
    opened,
    picture_place,
    ready,
    say_varied,
    varied,
    write_picture,
)
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError

if TYPE_CHECKING:
    from slipbench.campaign.analysis import Collected


def add_parsers(commands: Commands) -> None:
    """Add the command."""
    campaign = commands.add_parser(
        "campaign", group=COMPARE, help="run many stops into a file, and judge them"
    )
    add_scenario(campaign, "+")
    add_strategy(campaign, several=True, every=True)
    campaign.add_argument(
        "--random-rails", type=count, default=0, metavar="N", help="random rails of each scenario"
    )
    campaign.add_argument(
        "--vary", action="append", default=[], metavar="KEY=LOW:HIGH",
        help="vary a parameter, film.* or a key of the scenario, with units; KEY=A,B,C for a grid",
    )  # fmt: skip
    campaign.add_argument("--design", choices=("grid", "sobol", "latin"), default="sobol")
    campaign.add_argument("--points", type=count, default=8, help="of the design; a grid's levels")
    campaign.add_argument("--objectives", default="distance,flats,lock,air", metavar="A,B")
    campaign.add_argument("--baseline", metavar="LABEL", help="compared against (the first)")
    campaign.add_argument(
        "--overrun-beyond", type=positive, default=math.inf, metavar="M", help="metres"
    )
    add_campaign_options(campaign)
    campaign.set_defaults(act=campaign_command)


def campaign_command(arguments: argparse.Namespace) -> int:
    """Run a campaign's missing stops and print what they say."""
    ready()
    from slipbench.campaign.analysis import collect, verdict_on
    from slipbench.campaign.campaign import run_campaign
    from slipbench.campaign.objectives import find_objectives
    from slipbench.campaign.planning import Design, campaign_plan
    from slipbench.campaign.report import campaign_text, counts_line

    objectives = find_objectives(arguments.objectives)
    strategies, labels = read_settings(arguments.strategy, arguments.compile)
    scenarios = [read_scenario(name, arguments) for name in arguments.scenarios]
    space = varied(arguments.vary, strategies, scenarios)
    plan = campaign_plan(
        scenarios,
        strategies,
        Design(space, arguments.design, arguments.points),
        labels=labels,
        n_random=arguments.random_rails,
        n_seeds=arguments.seeds,
        seed=arguments.design_seed,
    )
    names = [candidate.label for candidate in plan.candidates]
    baseline = arguments.baseline or names[0]
    if baseline not in names:
        raise InputError(f"--baseline {baseline!r}; candidates: {', '.join(names[:20])}")
    beside = picture_place(arguments, "campaign")
    with opened(arguments, "campaign") as rig:
        say_varied(space, strategies)
        print(counts_line(run_campaign(plan, rig.store, rig.runner, is_quiet=arguments.quiet)))
        rails = (scenario.name for scenario in plan.scenarios)
        limit = arguments.overrun_beyond
        collected = collect(rig.store, objectives, limit, names, rails, plan.seeds)
        verdicts = [verdict_on(collected, objective, baseline) for objective in objectives]
        text = campaign_text(collected, verdicts, baseline)
        print(f"\n{text}\n\nstored in {rig.store.path}")
    if "distance" in collected.table:
        print(f"written: {write_picture(beside, lambda: _drawn(collected))}")
    print(f"\n{CAUTION}")
    return 0


def _drawn(collected: Collected) -> Any:
    from slipbench.figures import style
    from slipbench.figures.campaigns import draw_campaign
    from slipbench.strategies.registry import known_controllers

    return draw_campaign(collected, style.looks([*known_controllers(), *collected.candidates]))

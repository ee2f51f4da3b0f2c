"""The command `overrun`: how probable it is to pass a marker.

Light to import; whatever is heavy is imported inside the command.
"""

from __future__ import annotations

import argparse
import math

from slipbench.commands.options import (
    add_scenario,
    add_strategy,
    count,
    read_scenario,
    read_settings,
    whole_number,
)
from slipbench.commands.parser import JUDGE, Commands
from slipbench.commands.session import (
    add_campaign_options,
    opened,
    ready,
    say_varied,
    varied,
)
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError

MOST_STOPS = 10**7


def add_parsers(commands: Commands) -> None:
    """Add the command."""
    overrun = commands.add_parser(
        "overrun", group=JUDGE, help="how probable it is to pass a marker, down to one in a million"
    )
    add_scenario(overrun, "+")
    add_strategy(overrun, several=True)
    overrun.add_argument(
        "--marker", required=True, metavar="LENGTH", help="from where the driver should act: 1500m"
    )
    overrun.add_argument(
        "--reaction", default="0s:1.5s", metavar="LOW:HIGH",
        help="how late the driver acts, evenly between these (0s:1.5s, assumed)",
    )  # fmt: skip
    overrun.add_argument(
        "--count", type=whole_number, default=1000, metavar="N",
        help="independent stops counted (1000); 0 for none",
    )  # fmt: skip
    overrun.add_argument(
        "--each", type=whole_number, default=0, metavar="N",
        help="points a level of subset simulation, such as 500; 0 for none (0)",
    )  # fmt: skip
    overrun.add_argument(
        "--repeats", type=count, default=5, metavar="N", help="of subset simulation (5)"
    )
    overrun.add_argument(
        "--vary", action="append", default=[], metavar="KEY=LOW:HIGH",
        help="what is not known, instead of the assumptions about film, rail and equipment",
    )  # fmt: skip
    add_campaign_options(overrun)
    overrun.set_defaults(act=overrun_command)


def overrun_command(arguments: argparse.Namespace) -> int:
    """Draw situations, count or follow those that come near the marker; print probabilities."""
    marker, reaction = _check(arguments)
    ready()
    from slipbench.campaign import overrun as asking
    from slipbench.campaign.verdict import ASSUMPTIONS, Situations, strategy_side
    from slipbench.results.canonical import scenario_hash

    strategies, _ = read_settings(arguments.strategy, arguments.compile)
    rails = [read_scenario(name, arguments) for name in arguments.scenarios]
    situations = Situations(rails, varied(arguments.vary, strategies, rails, ASSUMPTIONS))
    question = asking.Question(situations, marker, reaction)
    most = len(strategies) * (arguments.count + 7 * arguments.each * arguments.repeats)
    label = "overrun-" + "-".join(known.controller.name for known in strategies)
    with opened(arguments, label, most) as rig:
        say_varied(situations.space, strategies)
        for rail in rails:
            rig.store.claim("base", rail.name, scenario_hash(rail))
        found = [
            asking.find_overrun(
                question,
                strategy_side(known),
                rig,
                n_plain=arguments.count,
                n_each=arguments.each,
                n_repeats=arguments.repeats,
                seed=arguments.design_seed,
            )
            for known in strategies
        ]
    print(f"{asking.overrun_text(question, found)}\n\n{CAUTION}")
    return 0


def _check(arguments: argparse.Namespace) -> tuple[float, tuple[float, float]]:
    if arguments.seeds != 1:
        raise InputError("--seeds: every situation has a seed of its own; give --count instead")
    if arguments.each % 10 or 0 < arguments.each < 50 or arguments.each > MOST_STOPS:
        raise InputError(f"--each {arguments.each}; allowed: 0, or a multiple of 10 from 50")
    if arguments.each and arguments.repeats < 2:
        raise InputError(f"--repeats {arguments.repeats}; allowed: 2 or more")
    if not arguments.each and not arguments.count:
        raise InputError("--count 0 and --each 0: nothing is asked; give one of them")
    if arguments.count > MOST_STOPS:
        raise InputError(f"--count {arguments.count}; allowed: 0 to {MOST_STOPS}")
    marker = _quantity("--marker", arguments.marker, "m")
    words = arguments.reaction.split(":")
    if len(words) != 2:
        raise InputError(f"--reaction {arguments.reaction!r}; write LOW:HIGH, such as 0.5s:2s")
    early, late = (_quantity("--reaction", word, "s") for word in words)
    if not 0.0 <= early <= late <= 60.0:
        raise InputError(f"--reaction {arguments.reaction!r}; allowed: 0s to 60s, lower one first")
    if not 0.0 < marker <= 1e6:
        raise InputError(f"--marker {arguments.marker!r}; allowed: above 0 m, up to 1e6 m")
    return marker, (early, late)


def _quantity(option: str, text: str, unit: str) -> float:
    from slipbench.scenario.units import parse_value

    try:
        value = parse_value(text, unit)
    except InputError as problem:
        raise InputError(f"{option}: {problem}") from None
    if not math.isfinite(value):
        raise InputError(f"{option} {text[:80]!r}; allowed: a finite number")
    return value

"""The command `verdict`: how often one of two stops shorter where rail and equipment are not known.

Light to import; whatever is heavy is imported inside the command.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

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
    campaign_path,
    opened,
    ready,
    say_varied,
    typed_command,
    varied,
)
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.results.files import refuse_foreign_result, write_file

if TYPE_CHECKING:
    from slipbench.campaign.verdict import Side, Situations, Verdict
    from slipbench.strategies.registry import Known


def add_parsers(commands: Commands) -> None:
    """Add the command."""
    verdict = commands.add_parser(
        "verdict",
        group=JUDGE,
        help="how often one strategy beats another, and on which assumption it hangs",
    )
    add_scenario(verdict, "*")
    add_strategy(verdict, several=True)
    verdict.add_argument(
        "--eased-to",
        type=whole_number,
        metavar="STEP",
        help="compare holding with easing to this step (0 releases) when slip control works",
    )
    verdict.add_argument(
        "--size", type=count, default=64, metavar="N", help="base situations, a power of two (64)"
    )
    verdict.add_argument(
        "--nodes", type=count, default=5, metavar="N", help="of the plane, along each axis (5)"
    )
    verdict.add_argument(
        "--each", type=count, default=8, metavar="N", help="situations at a node of the plane (8)"
    )
    verdict.add_argument(
        "--vary", action="append", default=[], metavar="KEY=LOW:HIGH",
        help="what is not known, instead of the assumptions about film, rail and equipment",
    )  # fmt: skip
    add_campaign_options(verdict)
    verdict.set_defaults(act=verdict_command)


def verdict_command(arguments: argparse.Namespace) -> int:
    """Run both sides over what is not known; print where the verdict turns, and draw it."""
    _check(arguments)
    ready()
    from dataclasses import replace

    from slipbench.campaign import verdict as judging
    from slipbench.campaign.verdict_report import verdict_text
    from slipbench.results.canonical import scenario_hash

    strategies, _ = read_settings(arguments.strategy, arguments.compile)
    sides = _sides(strategies, arguments.eased_to)
    situations = _situations(arguments, strategies)
    label = "verdict-" + "-".join(side.label.replace(" ", "-") for side in sides)
    text_file = campaign_path(arguments, label).with_suffix(".txt")
    refuse_foreign_result(text_file, arguments.overwrite, makes_folder=arguments.out is None)
    most = judging.n_stops(situations, arguments.size, arguments.nodes, arguments.each)
    with opened(arguments, label, most) as rig:
        say_varied(situations.space, strategies)
        for rail in situations.rails:
            rig.store.claim("base", rail.name, scenario_hash(rail))
        design = judging.make_design(situations, arguments.size, arguments.design_seed)
        found = judging.distances(situations, sides, design.points, rig)
        verdict = judging.judge_pair(situations, sides, design, found, arguments.design_seed)
        plane = judging.map_plane(
            situations,
            sides,
            judging.plane_names(verdict, situations.space),
            arguments.nodes,
            arguments.each,
            rig,
            arguments.design_seed,
        )
        verdict = replace(verdict, plane=plane)
    text = verdict_text(verdict)
    written = _written(verdict, text, text_file)
    print(f"{text}\n\nwritten: {', '.join(map(str, written))}\n\n{CAUTION}")
    return 0


def _situations(arguments: argparse.Namespace, strategies: Sequence[Known]) -> Situations:
    """Return the rails and what is not known about them; refuse a step a brake does not have."""
    from slipbench.campaign.verdict import ASSUMPTIONS, SLIPPERY, Situations

    rails = [read_scenario(name, arguments) for name in arguments.scenarios or SLIPPERY]
    for rail in rails:
        if arguments.eased_to is not None and arguments.eased_to > rail.brake.n_steps:
            raise InputError(
                f"--eased-to {arguments.eased_to}; allowed: 0 to {rail.brake.n_steps}, the steps "
                f"of the brake in {rail.name}"
            )
    return Situations(rails, varied(arguments.vary, strategies, rails, ASSUMPTIONS))


def _written(verdict: Verdict, text: str, text_file: Path) -> list[Path]:
    """Write the text, and the picture beside it; return the files."""
    from slipbench.figures.style import save
    from slipbench.figures.verdict import draw_verdict

    written = [text_file]
    write_file(text_file, f"{typed_command()}\n\n{text}\n".encode())
    for kind, data in save(draw_verdict(verdict)).items():
        written.append(text_file.with_suffix(f".{kind}"))
        write_file(written[-1], data)
    return written


def _check(arguments: argparse.Namespace) -> None:
    if arguments.seeds != 1:
        raise InputError("--seeds: every situation has a seed of its own; give --size instead")
    for name, value, low, high in (
        ("--size", arguments.size, 4, 65536),
        ("--nodes", arguments.nodes, 2, 50),
        ("--each", arguments.each, 2, 4096),
    ):
        if not low <= value <= high:
            raise InputError(f"{name} {value}; allowed: {low} to {high}")
    if len(arguments.vary) == 1:
        raise InputError("--vary: give two or more; a verdict is mapped over a plane of two")
    if arguments.size & (arguments.size - 1):
        raise InputError(f"--size {arguments.size}; allowed: a power of two, 4 to 65536")


def _sides(strategies: list[Known], eased_to: int | None) -> tuple[Side, Side]:
    from slipbench.campaign.verdict import driver_sides, strategy_side

    if eased_to is not None:
        if len(strategies) != 1:
            raise InputError("--eased-to compares two ways of driving; name one strategy")
        return driver_sides(strategies[0], eased_to)
    if len(strategies) != 2:
        raise InputError("verdict compares two strategies: --strategy A,B; or one and --eased-to")
    first, second = map(strategy_side, strategies)
    if first.label == second.label:
        raise InputError(f"--strategy {first.label},{second.label}: name two different ones")
    return first, second

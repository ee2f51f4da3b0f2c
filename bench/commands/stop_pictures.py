"""The commands `picture` and `playback`. Thin, one function each.

They raise `InputError` for what cannot be used. Slow imports stand inside the functions.
"""

from __future__ import annotations

import argparse
import shlex
from typing import TYPE_CHECKING

from slipbench.commands.line import deliver, get_ready, picture_names, results_folder
from slipbench.commands.options import (
    add_stop_arguments,
    one_name,
    read_scenario,
    read_strategies,
    scenario_words,
    split_names,
)
from slipbench.commands.parser import ONE_STOP, TEACH, Commands
from slipbench.ground.errors import InputError

if TYPE_CHECKING:
    from slipbench.scenario import Scenario
    from slipbench.stop.stop import Stop
    from slipbench.strategies.registry import Known

PICTURES = ("stop_sheet", "rail_map", "creep_trace")
PAGE = "playback.html"
MOST_PLAYED = 2


def add_parsers(commands: Commands) -> None:
    """Add the commands."""
    picture = commands.add_parser(
        "picture",
        group=ONE_STOP,
        help="draw one stop: on one sheet, its rail, its way over the creep curves",
    )
    add_stop_arguments(picture, "picture")
    picture.set_defaults(act=picture_command)
    playback = commands.add_parser(
        "playback", group=TEACH, help="write a page that plays one stop, or two side by side"
    )
    add_stop_arguments(playback, "playback", several=True)
    playback.add_argument(
        "--beside", metavar="SCENARIO", help="play this scenario's stop beside, under the same"
    )
    playback.add_argument(
        "--drivers",
        metavar="A[,B]",
        help="ways of driving: held, eased, eased-to-N, pumped, or own",
    )
    playback.set_defaults(act=playback_command)


def picture_command(arguments: argparse.Namespace) -> int:
    """Run one stop and draw it."""
    names = [name for picture in PICTURES for name in picture_names(picture)]
    folder = results_folder(arguments.out, "picture", names, arguments.overwrite)
    (stop,) = _run(arguments, one_name(arguments.strategy), "slipbench.figures.creep_trace")
    from slipbench.figures import style
    from slipbench.figures.creep_trace import draw_creep_trace
    from slipbench.figures.rail_map import draw_rail_map
    from slipbench.figures.stop_sheet import draw_stop_sheet

    draws = (draw_stop_sheet, draw_rail_map, draw_creep_trace)

    def draw() -> dict[str, bytes]:
        return {
            f"{name}.{kind}": data
            for name, draw_one in zip(PICTURES, draws, strict=True)
            for kind, data in style.save(draw_one(stop)).items()
        }

    deliver(style.account(stop), folder, {}, "picture", arguments.overwrite, draw)
    return 0


def playback_command(arguments: argparse.Namespace) -> int:
    """Run one stop, or two, and write the page that plays them."""
    folder = results_folder(arguments.out, "playback", [PAGE], arguments.overwrite)
    pairs = _played(arguments)
    stops = _run_pairs(pairs, arguments.seed, "slipbench.figures.playback")
    from slipbench.figures import style
    from slipbench.figures.playback import playback_page
    from slipbench.figures.playback_names import lane_names

    page = playback_page(stops, _as_typed(arguments)).encode()
    told = "\n".join(
        style.account(stop) + (f" ({name})" if len(stops) > 1 else "")
        for stop, name in zip(stops, lane_names(stops), strict=True)
    )
    text = f"{told}\n\nopen {folder / PAGE} in a browser"
    deliver(text, folder, {PAGE: page}, "playback", arguments.overwrite)
    return 0


def _played(arguments: argparse.Namespace) -> list[tuple[Scenario, Known]]:
    """Return what is played: every scenario, driver and strategy named, two stops at most.

    Raises
    ------
    InputError   for more than two, or more than one of them at once
    """
    from slipbench.scenario.ways import driven

    ways = arguments.drivers.split(",") if arguments.drivers is not None else ["own"]
    names = [arguments.scenario] + ([arguments.beside] if arguments.beside is not None else [])
    for option, words in (
        ("--strategy", split_names(arguments.strategy)),
        ("--drivers", ways),
    ):
        if len(words) > MOST_PLAYED:
            raise InputError(
                f"{option} {','.join(words)!r}; allowed: {MOST_PLAYED}, two stops are played"
            )
    strategies = read_strategies(arguments.strategy, arguments.compile)
    if len(names) * len(ways) * len(strategies) > MOST_PLAYED:
        raise InputError(
            "two stops are played at most: give two strategies, or --beside, or two --drivers"
        )
    scenarios = [read_scenario(name, arguments) for name in names]
    driving = [driven(scenario, way.strip()) for scenario in scenarios for way in ways]
    return [(scenario, known) for scenario in driving for known in strategies]


def _run(arguments: argparse.Namespace, strategy: str, module: str) -> list[Stop]:
    """Run a scenario under each strategy, with traces."""
    scenario = read_scenario(arguments.scenario, arguments)
    strategies = read_strategies(strategy, arguments.compile)
    return _run_pairs([(scenario, known) for known in strategies], arguments.seed, module)


def _run_pairs(pairs: list[tuple[Scenario, Known]], seed: int, module: str) -> list[Stop]:
    for _, known in pairs:
        get_ready(["slipbench.running.runner", module], ["loop.run_compiled"], [known])
    from slipbench.running.runner import run_stop

    return [run_stop(scenario, known, seed, with_traces=True) for scenario, known in pairs]


def _as_typed(arguments: argparse.Namespace) -> str:
    words = ["slipbench", "playback", arguments.scenario, "--strategy", arguments.strategy]
    for option in ("beside", "drivers"):
        value = getattr(arguments, option)
        words += [f"--{option}", value] if value is not None else []
    words += ["--seed", str(arguments.seed)] if arguments.seed else []
    return shlex.join(words + scenario_words(arguments) + ["--compile"] * arguments.compile)

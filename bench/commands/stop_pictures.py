"""The commands `picture`, `playback` and `report`. Thin, one function each.

`add_parsers` adds them to the command line; each sets `act` to its function, which returns the exit
code. They raise `InputError` for what cannot be used. Slow imports stand inside the functions.
"""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Any

from slipbench.commands.line import (
    add_stop_arguments,
    deliver,
    get_ready,
    picture_names,
    read_scenario,
    results_folder,
)
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.ground.interrupts import interrupts_ignored

if TYPE_CHECKING:
    from slipbench.stop.stop import Stop

PICTURES = ("stop_sheet", "rail_map", "creep_trace")
PAGE = "playback.html"


def add_parsers(subparsers: Any) -> None:
    """Add the commands to a command line's subparsers."""
    picture = subparsers.add_parser(
        "picture", help="draw one stop: on one sheet, its rail, its way over the creep curves"
    )
    add_stop_arguments(picture, "picture")
    picture.set_defaults(act=picture_command)
    playback = subparsers.add_parser(
        "playback", help="write a page that plays one stop, or two side by side"
    )
    add_stop_arguments(playback, "playback")
    playback.add_argument("--beside", metavar="NAME", help="another strategy, played beside it")
    playback.set_defaults(act=playback_command)
    report = subparsers.add_parser(
        "report", help="write the page of a comparison: table, pictures, sources, how sure"
    )
    report.add_argument("folder", metavar="DIR", help="what slipbench compare wrote into")
    report.add_argument("--question", metavar="TEXT", help="the question it answers, its title")
    report.set_defaults(act=report_command)


def picture_command(arguments: argparse.Namespace) -> int:
    """Run one stop and draw it."""
    names = [name for picture in PICTURES for name in picture_names(picture)]
    folder = results_folder(arguments.out, "picture", names)
    (stop,) = _run(arguments, [arguments.controller], "slipbench.figures.creep_trace")
    from slipbench.figures import style
    from slipbench.figures.creep_trace import draw_creep_trace
    from slipbench.figures.rail_map import draw_rail_map
    from slipbench.figures.stop_sheet import draw_stop_sheet

    files: dict[str, bytes] = {}
    draws = (draw_stop_sheet, draw_rail_map, draw_creep_trace)
    for name, draw in zip(PICTURES, draws, strict=True):
        pictures = style.save(draw(stop))
        files |= {f"{name}.{kind}": data for kind, data in pictures.items()}
    deliver(style.account(stop), folder, files, "picture")
    return 0


def playback_command(arguments: argparse.Namespace) -> int:
    """Run one stop, or two, and write the page that plays them."""
    folder = results_folder(arguments.out, "playback", [PAGE])
    names = [arguments.controller, *([arguments.beside] if arguments.beside is not None else [])]
    stops = _run(arguments, names, "slipbench.figures.playback")
    from slipbench.figures import style
    from slipbench.figures.playback import playback_page

    page = playback_page(stops, _as_typed(arguments, names)).encode()
    told = "\n".join(style.account(stop) for stop in stops)
    deliver(f"{told}\n\nopen {folder / PAGE} in a browser", folder, {PAGE: page}, "playback")
    return 0


def report_command(arguments: argparse.Namespace) -> int:
    """Write the report page of a comparison beside what it wrote."""
    if arguments.question is not None and not arguments.question.strip():
        raise InputError("--question: must not be empty")
    print(f"{write_report(Path(arguments.folder), arguments.question)}\n\n{CAUTION}")
    return 0


def write_report(folder: Path, question: str | None) -> str:
    """Write the report page and its pictures into the folder of a comparison.

    Returns
    -------
    str   what was written, in one line

    Raises
    ------
    InputError   if the folder holds no comparison, or cannot be written
    """
    from slipbench.comparison.record import read_record
    from slipbench.results.output import write_folder

    kept = read_record(folder)
    from slipbench.figures.report import QUESTION, draw_report_pictures, picture_of, report_page

    files = draw_report_pictures(kept)
    shown = {"compare": picture_of(folder, "compare")}
    shown |= {name[:-4]: data for name, data in files.items() if name.endswith(".svg")}
    there = {name: data for name, data in shown.items() if data is not None}
    files["report.html"] = report_page(kept, there, question or QUESTION).encode()
    with interrupts_ignored():
        write_folder(folder, files, "report.json", "slipbench report", {})
    return f"written to {folder}: report.json, {', '.join(files)}"


def _run(arguments: argparse.Namespace, names: list[str], module: str) -> list[Stop]:
    """Run a scenario under each strategy, with traces."""
    from slipbench.strategies.registry import find_controller

    scenario = read_scenario(arguments.scenario, arguments.speed)
    strategies = [find_controller(name, compile_file=arguments.compile) for name in names]
    for known in strategies:
        get_ready(["slipbench.running.runner", module], ["loop.run_compiled"], [known])
    from slipbench.running.runner import run_stop

    return [run_stop(scenario, known, arguments.seed, with_traces=True) for known in strategies]


def _as_typed(arguments: argparse.Namespace, names: list[str]) -> str:
    words = ["slipbench", "playback", arguments.scenario, "--controller", names[0]]
    words += ["--beside", names[1]] if len(names) > 1 else []
    words += ["--seed", str(arguments.seed)] if arguments.seed else []
    words += ["--speed", arguments.speed] if arguments.speed else []
    return shlex.join(words)

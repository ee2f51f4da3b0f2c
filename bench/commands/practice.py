"""The commands `practice` and `lesson`: drive a stop by hand, and what to teach by it."""

from __future__ import annotations

import argparse
import asyncio
import shutil
import socket
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

from slipbench.commands.line import get_ready, out_folder
from slipbench.commands.options import (
    add_out,
    add_scenario,
    add_seed,
    one_name,
    read_scenario,
    read_strategy,
)
from slipbench.commands.parser import TEACH, Commands
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError

if TYPE_CHECKING:
    from slipbench.practice.server import DeskServer
    from slipbench.practice.session import Desk

HERE = "127.0.0.1"
FIRST_PORT, LAST_PORT = 1024, 65535
DEFAULT_STRATEGY, FIRST_LESSON = "slip_band", "holding"


def add_parsers(commands: Commands) -> None:
    """Add the commands."""
    practice = commands.add_parser(
        "practice", group=TEACH, help="drive a stop by hand, in a browser, in real time"
    )
    add_scenario(practice, "?", default=FIRST_LESSON)
    practice.add_argument("--strategy", metavar="A", help="the unit's slip control (the lesson's)")
    practice.add_argument("--compile", action="store_true", help=argparse.SUPPRESS)
    add_seed(practice)
    add_out(practice, "practice")
    practice.add_argument("--port", type=int, default=0, metavar="N", help="its port (any)")
    practice.add_argument(
        "--lan", action="store_true", help="let other machines of this network in as well"
    )
    practice.add_argument("--no-browser", action="store_true", help="print the addresses only")
    practice.add_argument(
        "--table", action="store_true", help="print the table of the runs in the folder, and end"
    )
    practice.set_defaults(act=practice_command)

    lesson = commands.add_parser(
        "lesson", group=TEACH, help="list the lessons, tell one, or print its handout"
    )
    lesson.add_argument("lesson", nargs="?", metavar="LESSON", help="a shipped name or a TOML file")
    lesson.add_argument("--handout", metavar="FILE.html", help="write it as a page for paper")
    lesson.add_argument("--overwrite", action="store_true", help="replace a file not written here")
    lesson.set_defaults(act=lesson_command)


def practice_command(arguments: argparse.Namespace) -> int:
    """Serve the desk until it is interrupted, or print the table of a class's runs."""
    if arguments.port != 0 and not FIRST_PORT <= arguments.port <= LAST_PORT:
        raise InputError(f"--port {arguments.port}; allowed: {FIRST_PORT} to {LAST_PORT}, 0 is any")
    folder = out_folder(arguments.out, "practice")
    if arguments.table:
        print(f"{_class_table(folder)}\n\n{CAUTION}")
        return 0
    desk = _desk(arguments)
    from slipbench.practice.saving import check_practice_folder
    from slipbench.practice.server import DeskServer

    check_practice_folder(folder, arguments.overwrite)
    server = DeskServer(desk, folder)
    names = [HERE, _own_address()] if arguments.lan else [HERE]
    bound = "0.0.0.0" if arguments.lan else HERE

    def opened() -> None:
        _tell(server, arguments)

    try:
        asyncio.run(server.serve(names, bound, arguments.port, opened))
    except KeyboardInterrupt as end:
        kept = f"{len(server.saved)} runs saved in {folder}" if server.saved else "no run was saved"
        raise type(end)(f"; {kept}") from None
    return 0


def _desk(arguments: argparse.Namespace) -> Desk:
    """Return what is practised: a lesson, or any scenario."""
    from slipbench.practice.lessons import is_lesson, load_lesson

    name = arguments.scenario.strip()
    parts = {part: getattr(arguments, part) for part in ("train", "rail", "driver")}
    lesson = load_lesson(name, **parts) if is_lesson(name) else None
    text = arguments.strategy or (lesson.strategy if lesson else DEFAULT_STRATEGY)
    known = read_strategy(one_name(text), True)
    get_ready(["slipbench.practice.server"], ["loop.run_compiled"], [known])
    from slipbench.practice.session import Desk
    from slipbench.scenario import parse_speed, scenario_names
    from slipbench.scenario.assemble import with_values

    if lesson is None:
        scenarios = [read_scenario(name, arguments)]
    else:
        scenarios = [with_values(scenario, arguments.set) for scenario in lesson.scenarios]
        if arguments.speed is not None:
            start = parse_speed(arguments.speed)
            scenarios = [scenario.replace(initial_speed=start) for scenario in scenarios]
    return Desk(scenarios, known, arguments.seed, lesson, scenario_names())


def _own_address() -> str:
    """Return this machine's address in its network; nothing is sent for it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
        except OSError:
            raise InputError("--lan: this machine is in no network") from None
        return str(probe.getsockname()[0])


def _tell(server: DeskServer, arguments: argparse.Namespace) -> None:
    """Print the addresses, and what is open to whom; open the browser."""
    from slipbench.practice.gate import DRIVE, LEAD, WATCH

    gate = server.gate
    lines = [f"desk: {server.desk.sentence}", ""]
    for role, words in (
        (DRIVE, "the handle (one trainee)"),
        (LEAD, "the train, for the instructor or a projector"),
        (WATCH, "the train, to look on and guess"),
    ):
        lines.append(f"  {words}:\n    {gate.address(role)}")
    if arguments.lan:
        lines += [
            "",
            f"--lan: port {gate.hosts[-1].rpartition(':')[2]} of this machine is open to its whole "
            "network, unencrypted. Whoever is given one of these addresses can do what it is for; "
            "give the instructor's to nobody.",
        ]
    lines += ["", f"runs are saved in {server.folder}; Ctrl-C ends the desk", "", CAUTION]
    print("\n".join(lines), flush=True)
    if not arguments.no_browser:
        import webbrowser

        for role in (DRIVE, LEAD):
            webbrowser.open(gate.address(role, host=0))


def lesson_command(arguments: argparse.Namespace) -> int:
    """List the lessons, print one, or write its handout."""
    from slipbench.practice.handout import handout_page, lesson_text
    from slipbench.practice.lessons import lesson_names, load_lesson

    if arguments.lesson is None:
        if arguments.handout is not None:
            raise InputError("--handout: of which lesson? slipbench lesson lists them")
        names = lesson_names()
        width, room = max(map(len, names)), shutil.get_terminal_size().columns
        for name in names:
            told = textwrap.wrap(load_lesson(name).sentence, max(40, room - width - 2))
            print(f"{name:<{width}}  {told[0]}")
            for line in told[1:]:
                print(f"{'':<{width}}  {line}")
        print(f"\nslipbench practice LESSON begins one.\n\n{CAUTION}")
        return 0
    lesson = load_lesson(arguments.lesson)
    if arguments.handout is None:
        print(f"{lesson_text(lesson)}\n\nslipbench practice {arguments.lesson}\n\n{CAUTION}")
        return 0
    from slipbench.results.files import named_path, refuse_foreign, refuse_input, write_file

    path = named_path(arguments.handout, "--handout")
    refuse_input(path, "--handout", [arguments.lesson])
    refuse_foreign(path, arguments.overwrite)
    write_file(path, handout_page(lesson).encode())
    print(f"written: {path}\n\n{CAUTION}")
    return 0


def _class_table(folder: Path) -> str:
    """Return the runs of a class as a table."""
    from slipbench.practice.saving import rows_of
    from slipbench.results.tables import plain_table

    rows = rows_of(folder)
    if not rows:
        raise InputError(f"{folder}: holds no runs of slipbench practice")

    def number(row: dict[str, object], key: str, decimals: int = 0) -> str:
        value = row.get(key)
        return f"{value:.{decimals}f}" if isinstance(value, int | float) else "-"

    cells = [
        [
            str(row.get("run", "")),
            str(row.get("name") or "-"),
            str(row.get("lesson") or row.get("scenario", "")),
            number(row, "distance_m", 1),
            number(row, "past_marker_m"),
            number(row, "held_distance_m", 1),
            number(row, "longest_lock_s", 1),
            number(row, "longest_flat_mm"),
            number(row, "movements"),
            number(row, "dead_presses"),
        ]
        for row in rows
    ]
    heads = [
        "run", "name", "lesson", "distance\n[m]", "past\nmarker [m]", "held\n[m]",
        "longest\nlock [s]", "longest\nflat [mm]", "handle\nmoves", "dead\npresses",
    ]  # fmt: skip
    return plain_table(heads, cells)

"""The command `log`: read a measured stop, say what it shows."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from slipbench.commands.line import deliver, get_ready, picture_names, results_folder
from slipbench.commands.options import add_out
from slipbench.commands.parser import MEASURED, Commands
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError

if TYPE_CHECKING:
    from slipbench.measured.log import Log
    from slipbench.measured.unit import Unit
    from slipbench.scenario import Scenario

PICTURES = ("sheet", "slip", "track")


TEMPLATE = "wet_leaf"
"""The scenario whose film stands where no rail is named."""


def add_log(parser: argparse.ArgumentParser) -> None:
    """Add what every command that reads a log takes."""
    parser.add_argument("log", metavar="LOG", help="a log: .csv, .parquet, .mf4 or .tdms")
    parser.add_argument("--map", metavar="MAP.toml", help="which channel is what (guessed)")
    parser.add_argument(
        "--ignore", default="", metavar="A[,B]", help="quantities taken as not measured"
    )


def add_unit(parser: argparse.ArgumentParser, is_needed: bool) -> None:
    """Add the unit, and the line it ran on."""
    parser.add_argument(
        "--train", metavar="UNIT", required=is_needed,
        help="the unit: what --train of other commands takes; train and brake of it count",
    )  # fmt: skip
    parser.add_argument(
        "--gradient", metavar="FILE.csv", help="gradients: distance_m, rise_permille"
    )
    parser.add_argument(
        "--set", action="append", default=[], metavar="KEY=VALUE",
        help="set one value of the unit, such as train.load=0.4; may be repeated",
    )  # fmt: skip


def read_unit_scenario(arguments: argparse.Namespace, rail: str | None = None) -> Scenario:
    """Return the scenario of the unit, its rail exchanged where one is named."""
    from slipbench.measured.unit import read_gradients, with_gradients
    from slipbench.scenario import load_scenario
    from slipbench.scenario.assemble import with_values

    base = load_scenario(TEMPLATE, train=arguments.train.strip(), rail=rail)
    scenario = with_values(base, arguments.set)
    if arguments.gradient is not None:
        scenario = with_gradients(scenario, read_gradients(arguments.gradient))
    return scenario


def read_unit(arguments: argparse.Namespace, rail: str | None = None) -> Unit:
    """Return the unit that was measured."""
    from slipbench.measured.unit import make_unit

    return make_unit(read_unit_scenario(arguments, rail))


def read_arguments_log(arguments: argparse.Namespace) -> Log:
    """Return the log of a command's arguments."""
    from slipbench.measured.reading import read_log

    return read_log(arguments.log, arguments.map, arguments.ignore)


def add_parsers(commands: Commands) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "log", group=MEASURED, help="read a measured stop: what is in it, adhesion with bands"
    )
    add_log(parser)
    add_unit(parser, is_needed=False)
    parser.add_argument(
        "--guess", metavar="MAP.toml", help="write a mapping to be corrected, and end"
    )
    add_out(parser, "log")
    parser.set_defaults(act=log_command)


def log_command(arguments: argparse.Namespace) -> int:
    """Tell what a log holds; with a unit, what adhesion there was."""
    if arguments.guess is not None:
        return _guess(arguments)
    log = read_arguments_log(arguments)
    from slipbench.measured.account import channel_table
    from slipbench.measured.plausible import look_over
    from slipbench.measured.series import is_recorder_grade

    head = "\n".join([channel_table(log), ""])
    if arguments.train is None and not is_recorder_grade(log):
        notes = [f"- {note}" for note in (*log.notes, *look_over(log))]
        print("\n".join([head, *(notes or ["- nothing missing, nothing implausible"])]))
        print(f"\ngive the unit, --train UNIT, for train speed and adhesion\n\n{CAUTION}")
        return 0
    print(head)
    if is_recorder_grade(log):
        from slipbench.measured.recorder import bracket, bracket_text

        unit = None if arguments.train is None else read_unit(arguments)
        print(bracket_text(bracket(log, unit)))
        print(
            "\n".join(["", *(f"- {note}" for note in (*log.notes, *look_over(log))), "", CAUTION])
        )
        return 0
    return _account(arguments, log)


def _account(arguments: argparse.Namespace, log: Log) -> int:
    names = ["estimate.csv", *(name for p in PICTURES for name in picture_names(p))]
    folder = results_folder(arguments.out, "log", names, arguments.overwrite)
    get_ready(["slipbench.measured.account"])
    from slipbench.measured.account import account_text, estimate_csv, make_account

    account = make_account(log, read_unit(arguments))

    def draw() -> dict[str, bytes]:
        from slipbench.figures.measured_sheet import (
            draw_along_track,
            draw_measured_sheet,
            draw_slip_curves,
        )
        from slipbench.figures.style import save

        drawn = zip(
            PICTURES, (draw_measured_sheet, draw_slip_curves, draw_along_track), strict=True
        )
        return {
            f"{name}.{kind}": data
            for name, make in drawn
            for kind, data in save(make(account)).items()
        }

    files = {"estimate.csv": estimate_csv(account).encode()}
    deliver(account_text(account), folder, files, "log", arguments.overwrite, draw)
    return 0


def _guess(arguments: argparse.Namespace) -> int:
    from slipbench.measured.guess import guess_map, map_text
    from slipbench.measured.reading import read_raw
    from slipbench.results.files import named_path, refuse_foreign, refuse_input, write_file

    target = named_path(arguments.guess, "--guess")
    if target.suffix != ".toml":
        raise InputError(f"--guess {arguments.guess}: a mapping is a file that ends in .toml")
    refuse_input(target, "--guess", [arguments.log])
    refuse_foreign(Path(target), arguments.overwrite)
    raw = read_raw(arguments.log)
    mapping = guess_map(raw)
    write_file(target, map_text(mapping, raw).encode())
    left = len(raw.channels) - len(mapping.entries) - bool(mapping.time_name)
    print(
        f"{len(mapping.entries)} of {len(raw.channels)} channels guessed, {left} not understood; "
        f"look at every line of {target}, then: slipbench log {arguments.log} --map {target}"
    )
    return 0

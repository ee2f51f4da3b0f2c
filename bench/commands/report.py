"""The command `report`: the page of a comparison, from what it wrote."""

from __future__ import annotations

import argparse
from pathlib import Path

from slipbench.commands.options import add_overwrite
from slipbench.commands.parser import COMPARE, Commands
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.ground.interrupts import interrupts_ignored

REPORT = ("report.json", "slipbench report")
"""Record and writer of a report."""


def add_parsers(commands: Commands) -> None:
    """Add the command."""
    report = commands.add_parser(
        "report",
        group=COMPARE,
        help="write the page of a comparison: table, pictures, sources, how sure",
    )
    report.add_argument("folder", metavar="DIR", help="what slipbench compare wrote into")
    report.add_argument("--question", metavar="TEXT", help="the question it answers, its title")
    report.add_argument(
        "--units", choices=("metric", "miles"), default="metric", help="of speeds: km/h, or mph"
    )
    add_overwrite(report)
    report.set_defaults(act=report_command)


def report_command(arguments: argparse.Namespace) -> int:
    """Write the report page of a comparison beside what it wrote."""
    if arguments.question is not None and not arguments.question.strip():
        raise InputError("--question: must not be empty")
    said = write_report(
        Path(arguments.folder), arguments.question, arguments.overwrite, arguments.units
    )
    print(f"{said}\n\n{CAUTION}")
    return 0


def write_report(
    folder: Path, question: str | None, may_overwrite: bool = False, units: str = "metric"
) -> str:
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
    from slipbench.results.shown import shown_named

    kept = read_record(folder)
    from slipbench.figures.report import QUESTION, draw_report_pictures, picture_of, report_page

    files = draw_report_pictures(kept)
    pages = ["compare", *(f"compare_{i}" for i in range(2, 13)), "speeds", "speed_curves"]
    shown = {name: picture_of(folder, name) for name in pages}
    shown |= {name[:-4]: data for name, data in files.items() if name.endswith(".svg")}
    there = {name: data for name, data in shown.items() if data is not None}
    files["report.html"] = report_page(
        kept, there, question or QUESTION, shown_named(units)
    ).encode()
    with interrupts_ignored():
        write_folder(folder, files, *REPORT, {}, may_overwrite)
    return f"written to {folder}: report.json, {', '.join(files)}"

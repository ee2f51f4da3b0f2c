"""The command `assess`: thin. It raises `InputError` for what cannot be used."""

from __future__ import annotations

import argparse
import shlex
import sys
from pathlib import Path
from typing import Any

from slipbench.commands.line import (
    FOLDER,
    add_stop_limit,
    get_ready,
    stop_limit,
    whole_number,
)
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.ground.interrupts import interrupts_ignored

ASSESS_FOLDER = FOLDER / "assess"
FILES = ("assess.csv", "stops.csv", "assess.html")
RECORD, WRITER = "assess.json", "slipbench assess"
MOST_SEEDS = 1000


def add_parser(subparsers: Any) -> None:
    """Add the command to a command line's subparsers."""
    parser = subparsers.add_parser(
        "assess", help="judge a strategy by a sheet of limits (indicative, not an approval)"
    )
    parser.add_argument(
        "scenarios", nargs="+", metavar="SCENARIO", help="shipped names or TOML files"
    )
    parser.add_argument(
        "--controller", required=True, metavar="NAME", help="a name, or path/to/file.py:NAME"
    )
    parser.add_argument("--limits", metavar="FILE", help="TOML of limits (the shipped ones)")
    parser.add_argument("--seeds", type=whole_number, help="stops of each case (3)")
    parser.add_argument("--quick", action="store_true", help="one speed and, by default, one seed")
    parser.add_argument("--out", metavar="DIR", help=f"folder for the results ({ASSESS_FOLDER})")
    parser.add_argument(
        "--compile", action="store_true", help="compile a strategy read from a file"
    )
    add_stop_limit(parser)
    parser.set_defaults(act=assess_command)


def assess_command(arguments: argparse.Namespace) -> int:
    """Run the programme, print the sheet, write it as CSV and a page."""
    from slipbench.assess.limits import read_limits
    from slipbench.results.output import check_folder, write_folder
    from slipbench.scenario import load_scenario
    from slipbench.strategies.registry import find_controller, refuse_twice

    n_seeds = (1 if arguments.quick else 3) if arguments.seeds is None else arguments.seeds
    if not 1 <= n_seeds <= MOST_SEEDS:
        raise InputError(f"--seeds = {n_seeds}; allowed: 1 to {MOST_SEEDS}")
    if arguments.out is not None and (not arguments.out.strip() or "\0" in arguments.out):
        raise InputError(f"--out {arguments.out!r}: must be the path of a folder")
    limit = stop_limit(arguments)
    limits = read_limits(arguments.limits)
    scenarios = [load_scenario(name) for name in arguments.scenarios]
    refuse_twice("scenarios", [(s.name, s.title) for s in scenarios])
    known = find_controller(arguments.controller, compile_file=arguments.compile)
    folder = FOLDER if arguments.out is None else Path(arguments.out)
    check_folder(folder, FILES, RECORD, WRITER)
    get_ready(["slipbench.assess.sheet"], ["loop.run_compiled"], [known])
    from tqdm import tqdm

    from slipbench.assess.page import sheet_csv, sheet_page, sheet_text, stops_csv
    from slipbench.assess.sheet import assess, programme

    n_stops = n_seeds * len(programme(scenarios, arguments.quick))
    with tqdm(
        total=n_stops, unit="stop", disable=not sys.stderr.isatty(), leave=False, file=sys.stderr
    ) as bar:
        sheet = assess(
            scenarios,
            known,
            limits,
            n_seeds,
            is_quick=arguments.quick,
            tell=bar.update,
            stop_limit=limit,
        )
    text = sheet_text(sheet)
    contents = (sheet_csv(sheet), stops_csv(sheet), sheet_page(sheet, _command(arguments)))
    files = {name: content.encode() for name, content in zip(FILES, contents, strict=True)}
    try:
        with interrupts_ignored():
            write_folder(folder, files, RECORD, WRITER, {})
    except InputError:
        print(text, flush=True)  # what was computed is not lost
        raise
    print(f"{text}\n\nwritten to {folder}: {', '.join((RECORD, *FILES))}\n\n{CAUTION}")
    return 0


def _command(arguments: argparse.Namespace) -> str:
    words = ["slipbench", "assess", *arguments.scenarios, "--controller", arguments.controller]
    words += ["--limits", arguments.limits] if arguments.limits else []
    words += ["--seeds", str(arguments.seeds)] if arguments.seeds is not None else []
    words += ["--quick"] * arguments.quick + ["--compile"] * arguments.compile
    return shlex.join(words)

"""The command line: `slipbench`, or `python -m slipbench`. One thin function a command.

Exit codes: 0 done, 2 the input cannot be used (one line on stderr), 130 stopped by Ctrl-C.
Whatever is slow to import is imported inside the commands.
"""

from __future__ import annotations

import argparse
import json
import os
import shlex
import shutil
import sys
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, TextIO

from slipbench.commands.assess import add_parser as add_assess_parser
from slipbench.commands.campaign import add_parsers as add_campaign_parsers
from slipbench.commands.line import (
    FOLDER,
    MOST_WORKERS,
    add_stop_limit,
    collect_garbage_rarely,
    get_ready,
    read_scenario,
    result_stream,
    stop_limit,
    whole_number,
)
from slipbench.commands.pictures import add_parsers as add_picture_parsers
from slipbench.commands.stop_pictures import add_parsers as add_stop_picture_parsers
from slipbench.commands.strategies import add_parsers as add_strategy_parsers
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.ground.interrupts import interrupts_ignored
from slipbench.ground.version import VERSION

if TYPE_CHECKING:
    from slipbench.comparison.compare import Comparison
    from slipbench.scenario import Scenario
    from slipbench.strategies.registry import Known

BAD_INPUT, INTERRUPTED = 2, 130
WRITER = "slipbench compare"
RECORD = "compare.json"
RESULT_FILES = ("compare.csv", "compare.png", "compare.svg", "table.txt")
DEFAULT_FOLDER = FOLDER / "compare"
MOST_SEEDS = 10_000


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv : sequence of str or None   arguments after the program name; None: those of the process

    Returns
    -------
    int   the exit code
    """
    collect_garbage_rarely()
    try:
        arguments = make_parser().parse_args(argv)
        code: int = arguments.act(arguments)
        if sys.stdout is not None:  # None where it was closed before we began
            sys.stdout.flush()
        return code
    except SystemExit as end:  # argparse after --help and --version
        return end.code if isinstance(end.code, int) else BAD_INPUT
    except InputError as problem:
        return complain(str(problem))
    except KeyboardInterrupt as end:
        return complain(f"interrupted{str(end) or '; nothing was written'}", INTERRUPTED)
    except BrokenPipeError:  # whoever read our output has left
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1


def complain(message: str, code: int = BAD_INPUT) -> int:
    """Print one line to stderr and return the exit code."""
    print(f"slipbench: {' '.join(message.split())}", file=sys.stderr)
    return code


class Parser(argparse.ArgumentParser):
    """An argument parser whose complaints are one line."""

    def __init__(self, **settings: Any) -> None:
        settings.setdefault("allow_abbrev", False)
        super().__init__(epilog=CAUTION, **settings)

    def error(self, message: str) -> NoReturn:
        """Raise the complaint as an `InputError`."""
        raise InputError(f"{message}; see {self.prog} --help")


def make_parser() -> Parser:
    """Return the parser of all commands."""
    parser = Parser(
        prog="slipbench",
        description="A bench for wheel slide protection: low-adhesion stops of disc-braked trains.",
    )
    parser.add_argument("--version", action="version", version=f"slipbench {VERSION}")
    parser.set_defaults(act=no_command)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")
    listing = commands.add_parser("list", help="name all scenarios and controllers")
    listing.set_defaults(act=list_command)
    show = commands.add_parser("show", help="print every value of a scenario, and its source")
    show.add_argument("scenario", metavar="SCENARIO", help="a shipped name or a TOML file")
    show.set_defaults(act=show_command)
    _add_stop(commands.add_parser("stop", help="run one stop"))
    _add_compare(commands.add_parser("compare", help="run strategies on rails, side by side"))
    add_strategy_parsers(commands)
    add_assess_parser(commands)
    add_stop_picture_parsers(commands)
    add_picture_parsers(commands)
    add_campaign_parsers(commands)
    return parser


def _add_stop(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("scenario", metavar="SCENARIO", help="a shipped name or a TOML file")
    parser.add_argument(
        "--controller",
        required=True,
        metavar="NAME",
        help="a name, path/to/file.py:NAME, or a shared library",
    )
    parser.add_argument(
        "--seed", type=whole_number, default=0, help="of sampling and tooth angles (0)"
    )
    parser.add_argument("--json", action="store_true", help="print the summary as JSON only")
    _add_common(parser)
    parser.set_defaults(act=stop_command)


def _add_compare(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "scenarios", nargs="*", metavar="SCENARIO", help="shipped names or TOML files (all shipped)"
    )
    parser.add_argument(
        "--controllers",
        metavar="A,B",
        help="names, path/to/file.py:NAME or shared libraries (all shipped)",
    )
    parser.add_argument("--seeds", type=whole_number, default=1, help="runs of each pair (1)")
    parser.add_argument("--out", metavar="DIR", help=f"folder for the results ({DEFAULT_FOLDER})")
    parser.add_argument(
        "--json", action="store_true", help="print the rows as JSON only; files only with --out"
    )
    parser.add_argument("--workers", type=whole_number, help="processes (one a core)")
    parser.add_argument("--report", action="store_true", help="write the report page as well")
    _add_common(parser, "; several, as 50mph,75mph, give one wide table")
    parser.set_defaults(act=compare_command)


def _add_common(parser: argparse.ArgumentParser, more: str = "") -> None:
    parser.add_argument(
        "--speed", help=f"start from this speed, with its unit, such as 75mph{more}"
    )
    parser.add_argument(
        "--compile", action="store_true", help="compile strategies read from a file"
    )
    add_stop_limit(parser)


def no_command(arguments: argparse.Namespace) -> NoReturn:
    """Refuse a command line without a command."""
    raise InputError("a command is needed: list, show, stop or compare; see slipbench --help")


def list_command(arguments: argparse.Namespace) -> int:
    """Print scenarios and controllers, one line each."""
    from slipbench.scenario import load_scenario, scenario_names
    from slipbench.strategies.registry import known_controllers

    names, known = scenario_names(), known_controllers()
    width = max(map(len, [*names, *known]))
    print("scenarios")
    for name in names:
        print(f"  {name:<{width}}  {load_scenario(name).title}")
    print("controllers")
    for name, found in known.items():
        truth = " (sees truth, ranked apart)" if found.controller.uses_truth else ""
        print(f"  {name:<{width}}  {found.controller.title}{truth} [{found.origin}]")
    print(f"\n{CAUTION}")
    return 0


def show_command(arguments: argparse.Namespace) -> int:
    """Print every value of a scenario with unit, mark and source."""
    from slipbench.results.tables import scenario_table
    from slipbench.scenario import load_scenario

    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
    print(scenario_table(load_scenario(arguments.scenario), width))
    print(f"\n{CAUTION}")
    return 0


def stop_command(arguments: argparse.Namespace) -> int:
    """Run one stop and print it."""
    with result_stream(arguments.json) as result:
        return _stop(arguments, result)


def _stop(arguments: argparse.Namespace, result: TextIO) -> int:
    from slipbench.strategies.registry import find_controller

    scenario = read_scenario(arguments.scenario, arguments.speed)
    known = find_controller(arguments.controller, compile_file=arguments.compile)
    limit = stop_limit(arguments)
    get_ready(["slipbench.running.runner"], ["loop.run_compiled"], [known])
    from slipbench.running.runner import run_stop, stop_record

    stop = run_stop(scenario, known, arguments.seed, stop_limit=limit)
    print(_as_json(stop_record(stop)) if arguments.json else stop, file=result)
    return 0


def compare_command(arguments: argparse.Namespace) -> int:
    """Run strategies on rails, print the table, write the files."""
    with result_stream(arguments.json) as result:
        return _compare(arguments, result)


def _compare(arguments: argparse.Namespace, result: TextIO) -> int:
    from slipbench.comparison.tables import comparison_table
    from slipbench.compiling.cache import is_cold
    from slipbench.results.output import check_folder, write_folder
    from slipbench.running.pool import start_early
    from slipbench.scenario import scenario_names
    from slipbench.strategies.registry import refuse_twice

    if arguments.report and arguments.json and arguments.out is None:
        raise InputError("--report: with --json it needs --out, a folder for the page")
    _check_range("--seeds", arguments.seeds, 1, MOST_SEEDS)
    if arguments.workers is not None:
        _check_range("--workers", arguments.workers, 1, MOST_WORKERS)
    names = arguments.scenarios or scenario_names()
    scenarios = _scenarios(names, arguments.speed)
    is_wide = len(scenarios) > len(names)
    refuse_twice("scenarios", [(s.name, s.title) for s in scenarios])
    strategies = _strategies(arguments.controllers, arguments.compile)
    refuse_twice("strategies", [(k.controller.name, k.origin) for k in strategies])
    stop_limit(arguments)
    folder = None if arguments.json and arguments.out is None else _folder(arguments.out)
    if folder is not None:
        check_folder(folder, RESULT_FILES, RECORD, WRITER)
    compiled = ["loop.run_compiled", "floor.run_floor"]
    if arguments.workers != 1 and not is_cold(*compiled):
        start_early("slipbench.comparison.compare")
    get_ready(["slipbench.comparison.compare"], compiled, strategies)
    comparison = _run_with_progress(
        arguments, scenarios, strategies, draws=folder is not None and not is_wide
    )
    from slipbench.comparison.record import as_record
    from slipbench.comparison.standing import frontier_text, standing_table

    record = as_record(comparison, _as_typed(arguments))
    rows = record["rows"]
    table = (standing_table if is_wide else comparison_table)(comparison)
    table = "\n\n".join(filter(None, [table, frontier_text(comparison)]))
    text = _as_json(rows) if arguments.json else table
    if folder is None:
        print(text, file=result)
        return 0
    try:
        files = _files(comparison, with_picture=not is_wide)
        files["table.txt"] = f"{table}\n\n{CAUTION}\n".encode()
        ending = f"\n\nwritten to {folder}: {', '.join((RECORD, *files))}"
        ending += f"{_next_step(comparison, folder, arguments)}\n\n{CAUTION}"
        with interrupts_ignored():  # from here all is written, and said to be
            write_folder(folder, files, RECORD, WRITER, record)
            print(text + ("" if arguments.json else ending), file=result, flush=True)
    except InputError:
        print(text, file=result, flush=True)  # what was computed is not lost
        raise
    if arguments.report:
        from slipbench.commands.stop_pictures import write_report

        print(write_report(folder, None))
    return 0


def _next_step(comparison: Comparison, folder: Path, arguments: argparse.Namespace) -> str:
    """Return what to go on with: the page, and the best stop on the worst rail looked at."""
    from slipbench.scenario import scenario_names

    steps = [] if arguments.report else [shlex.join(["slipbench", "report", str(folder)])]
    rail = comparison.rails()[-1].name
    if rail in scenario_names():  # else it is a file, or one of several speeds
        best = min(comparison.scores(rail), key=lambda score: score.uses_truth).controller
        named = next(k.reference for k in comparison.strategies if k.controller.name == best)
        own = ["--speed", arguments.speed] if arguments.speed else []
        steps.append(shlex.join(["slipbench", "picture", rail, "--controller", named, *own]))
    return f"\nnext: {', or '.join(steps)}" if steps else ""


def _as_typed(arguments: argparse.Namespace) -> str:
    """Return the line that repeats a comparison, without where its results go."""
    words = ["slipbench", "compare", *arguments.scenarios]
    for name in ("controllers", "seeds", "speed"):
        value = getattr(arguments, name)
        if value is not None and (name, value) != ("seeds", 1):
            words += [f"--{name}", str(value)]
    return shlex.join([*words, *(["--compile"] if arguments.compile else [])])


def _scenarios(names: Sequence[str], speeds: str | None) -> list[Scenario]:
    """Return the scenarios, from each of the speeds; several speeds go into the names."""
    if speeds is None or "," not in speeds:
        return [read_scenario(name, speeds) for name in names]
    words = [word.strip() for word in speeds.split(",")]
    if not all(words) or len(set(words)) != len(words):
        raise InputError(f"--speed {speeds!r}; write different speeds as 50mph,75mph")
    pairs = [(read_scenario(name, word), word) for name in names for word in words]
    return [scenario.replace(name=f"{scenario.name} at {word}") for scenario, word in pairs]


def _strategies(text: str | None, compile_files: bool) -> list[Known]:
    from slipbench.strategies.registry import find_controller, known_controllers

    if text is not None:
        names = [name.strip() for name in text.split(",")]
        if not all(names):
            raise InputError(f"--controllers {text!r}: a name is empty; write them as a,b")
        return [find_controller(name, compile_file=compile_files) for name in names]
    shipped = [known for known in known_controllers().values() if known.is_shipped]
    if not shipped:
        raise InputError(
            "no strategies are installed; install the package (python -m pip install -e .)"
        )
    return shipped


def _folder(out: str | None) -> Path:
    if out is not None and (not out.strip() or "\0" in out):
        raise InputError(f"--out {out!r}: must be the path of a folder")
    return DEFAULT_FOLDER if out is None else Path(out)


def _check_range(name: str, value: int, low: int, high: int) -> None:
    if not low <= value <= high:
        raise InputError(f"{name} = {value}; allowed: {low} to {high}")


def _run_with_progress(
    arguments: argparse.Namespace,
    scenarios: Sequence[Scenario],
    strategies: Sequence[Known],
    *,
    draws: bool,
) -> Comparison:
    from concurrent.futures.process import BrokenProcessPool

    from tqdm import tqdm

    from slipbench.comparison.compare import compare, plan
    from slipbench.results.identity import versions
    from slipbench.strategies.native import is_library

    limit = stop_limit(arguments)
    n_jobs = len(plan(scenarios, strategies, arguments.seeds))
    is_quiet = arguments.json or not sys.stderr.isatty()
    with tqdm(total=n_jobs, unit="stop", disable=is_quiet, leave=False, file=sys.stderr) as bar:
        n_done = [0]

        def tell() -> None:
            n_done[0] += 1
            bar.update()

        def meanwhile() -> None:
            versions()  # kept for the record
            if draws:
                import_module("slipbench.figures.compare")

        try:
            return compare(
                scenarios,
                strategies,
                arguments.seeds,
                n_workers=arguments.workers,
                tell=tell,
                meanwhile=meanwhile,
                stop_limit=limit,
            )
        except KeyboardInterrupt:
            bar.close()
            done = f" after {n_done[0]} of {n_jobs} runs; nothing was written"
            raise KeyboardInterrupt(done) from None
        except BrokenProcessPool:
            native = ", ".join(k.origin for k in strategies if is_library(k.origin))
            cause = f"or a crash of {native}; " if native else ""
            raise InputError(
                f"a worker process died, perhaps for want of memory; {cause}nothing was written; "
                "try fewer --workers"
            ) from None


def _files(comparison: Comparison, *, with_picture: bool) -> dict[str, bytes]:
    from slipbench.comparison.compare import as_csv

    files = {"compare.csv": as_csv(comparison.rows).encode()}
    if not with_picture:
        return files
    from slipbench.figures import style
    from slipbench.figures.compare import draw_comparison
    from slipbench.strategies.registry import known_controllers

    drawn = [known.controller.name for known in comparison.strategies]
    looks = style.looks([*known_controllers(), *drawn])
    pictures = style.save(draw_comparison(comparison, looks))
    return files | {f"compare.{kind}": data for kind, data in pictures.items()}


def _as_json(content: Any) -> str:
    return json.dumps(content, indent=1, allow_nan=False)

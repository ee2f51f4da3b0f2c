"""The command `compare`: strategies on rails, side by side."""

from __future__ import annotations

import argparse
import json
import shlex
import sys
from collections.abc import Callable, Sequence
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, TextIO

from slipbench.commands.line import (
    drawn_or_refused,
    get_ready,
    out_folder,
    picture_names,
    result_stream,
)
from slipbench.commands.options import (
    add_out,
    add_scenario,
    add_seeds,
    add_stop_limit,
    add_strategy,
    add_workers,
    check_seeds,
    check_workers,
    read_scenario,
    read_strategies,
    scenario_words,
    stop_limit,
)
from slipbench.commands.parser import COMPARE, Commands
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.ground.interrupts import interrupts_ignored

if TYPE_CHECKING:
    from slipbench.comparison.compare import Comparison
    from slipbench.scenario import Scenario
    from slipbench.strategies.registry import Known

WRITER = "slipbench compare"
RECORD = "compare.json"
DEFAULT_SEEDS = 4
"""Seeds unless told otherwise: so many trains as they run in service."""

MOST_CURVES = 8
"""Rails whose speed curves a report shows."""

MOST_PAGES = 12
"""Pages of the picture that are written."""

_PAGES = ("compare", "speeds", "speed_curves", *(f"compare_{i}" for i in range(2, MOST_PAGES + 1)))
PICTURES = tuple(file for name in _PAGES for file in picture_names(name))
RESULT_FILES = ("compare.csv", "table.txt", *PICTURES)


def add_parsers(commands: Commands) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "compare", group=COMPARE, help="run strategies on rails, side by side"
    )
    add_scenario(parser, "*", "; several, as 50mph,75mph, give one wide table")
    add_strategy(parser, several=True, every=True)
    add_seeds(parser, None, str(DEFAULT_SEEDS))
    add_workers(parser)
    add_stop_limit(parser)
    add_out(parser, "compare")
    parser.add_argument(
        "--json", action="store_true", help="print the rows as JSON only; files only with --out"
    )
    parser.add_argument(
        "--full", action="store_true", help="print the table of every rail; table.txt has it always"
    )
    parser.add_argument("--report", action="store_true", help="write the report page as well")
    parser.set_defaults(act=compare_command)


def compare_command(arguments: argparse.Namespace) -> int:
    """Run strategies on rails, print the table, write the files."""
    with result_stream(arguments.json) as result:
        return _compare(arguments, result)


class _Asked(NamedTuple):
    """What is compared, all of it checked; `folder` is None where nothing is written."""

    scenarios: list[Scenario]
    strategies: list[Known]
    is_wide: bool
    folder: Path | None


def _asked(arguments: argparse.Namespace) -> _Asked:
    """Read what is asked; refuse what cannot be compared, or written."""
    from slipbench.results.output import check_folder
    from slipbench.scenario import scenario_names
    from slipbench.strategies.registry import refuse_twice

    if arguments.report and arguments.json and arguments.out is None:
        raise InputError("--report: with --json it needs --out, a folder for the page")
    if arguments.seeds is None:
        arguments.seeds = DEFAULT_SEEDS
    check_seeds(arguments.seeds)
    check_workers(arguments.workers)
    names = arguments.scenarios or scenario_names()
    scenarios = _scenarios(names, arguments)
    refuse_twice("scenarios", [(s.name, s.title) for s in scenarios])
    strategies = read_strategies(arguments.strategy, arguments.compile)
    refuse_twice("strategies", [(k.controller.name, k.origin) for k in strategies])
    stop_limit(arguments)
    folder = (
        None if arguments.json and arguments.out is None else out_folder(arguments.out, "compare")
    )
    if folder is not None:
        check_folder(folder, RESULT_FILES, RECORD, WRITER, arguments.overwrite)
    return _Asked(scenarios, strategies, len(scenarios) > len(names), folder)


def _compare(arguments: argparse.Namespace, result: TextIO) -> int:
    from slipbench.compiling.cache import is_cold
    from slipbench.running.pool import start_early

    asked = _asked(arguments)
    compiled = ["loop.run_compiled", "floor.run_floor", "priced.run_priced_floor"]
    if arguments.workers != 1 and not is_cold(*compiled):
        start_early("slipbench.comparison.compare")
    get_ready(["slipbench.comparison.compare"], compiled, asked.strategies)
    comparison = _run_with_progress(arguments, asked)
    from slipbench.commands.report import write_report
    from slipbench.comparison.compare import as_csv
    from slipbench.comparison.record import as_record
    from slipbench.results.quantities import SCHEMA, SCHEMA_VERSION, UNITS

    record = as_record(comparison, _as_typed(arguments))
    rows = {name: record[name] for name in (UNITS, "rows")}
    full, shown = _tables(comparison, asked.is_wide, arguments.full)
    text = _as_json({SCHEMA: SCHEMA_VERSION, **rows}) if arguments.json else shown
    if asked.folder is None:
        print(text, file=result)
        return 0
    files = {
        "compare.csv": as_csv(comparison.rows).encode(),
        "table.txt": f"{full}\n\n{CAUTION}\n".encode(),
    }
    step = None if arguments.json else _next_step(comparison, asked.folder, arguments)
    try:
        draw = partial(_drawn, comparison, asked.is_wide, arguments.report)
        _write(asked.folder, _Told(record, files, text, step), draw, arguments.overwrite, result)
    except InputError:
        print(text, file=result, flush=True)  # what was computed is not lost
        raise
    if arguments.report:
        print(write_report(asked.folder, None, arguments.overwrite))
    return 0


def _tables(comparison: Comparison, is_wide: bool, is_full: bool) -> tuple[str, str]:
    """Return the table that is written and the one that is shown."""
    from slipbench.comparison.standing import frontier_text, standing_table
    from slipbench.comparison.tables import comparison_table

    frontier = frontier_text(comparison)
    full = standing_table(comparison) if is_wide else comparison_table(comparison, is_full=True)
    shown = full if is_wide or is_full else comparison_table(comparison)
    full, shown = ("\n\n".join(filter(None, [own, frontier])) for own in (full, shown))
    return full, shown


class _Told(NamedTuple):
    """What a comparison says: in its record, in files, on the screen, and what comes next there."""

    record: dict[str, Any]
    files: dict[str, bytes]
    text: str
    next_step: str | None


def _write(
    folder: Path,
    told: _Told,
    draw: Callable[[], dict[str, bytes]],
    may_overwrite: bool,
    result: TextIO,
) -> None:
    """Write the files and say so; numbers first, so that a picture that fails loses none."""
    from slipbench.commands.report import REPORT
    from slipbench.results.output import remove_written, write_folder

    def write(files: dict[str, bytes]) -> None:
        write_folder(folder, files, RECORD, WRITER, told.record, may_overwrite)

    with interrupts_ignored():
        write(told.files)
        remove_written(folder, *REPORT)  # a page about the numbers before
    files = told.files | draw()
    ending = ""
    if told.next_step is not None:
        written = f"written to {folder}: {', '.join((RECORD, *files))}"
        ending = f"\n\n{written}{told.next_step}\n\n{CAUTION}"
    with interrupts_ignored():  # from here all is written, and said to be
        write(files)
        print(told.text + ending, file=result, flush=True)


def _next_step(comparison: Comparison, folder: Path, arguments: argparse.Namespace) -> str:
    """Return what to go on with: the page, and the best stop on the worst rail looked at."""
    from slipbench.scenario import scenario_names

    steps = [] if arguments.report else [shlex.join(["slipbench", "report", str(folder)])]
    rail = comparison.rails()[-1].name
    if rail in scenario_names():  # else it is a file, or one of several speeds
        best = min(comparison.scores(rail), key=lambda score: score.uses_truth).controller
        named = next(k.reference for k in comparison.strategies if k.controller.name == best)
        own = scenario_words(arguments)
        steps.append(shlex.join(["slipbench", "picture", rail, "--strategy", named, *own]))
    return f"\nnext: {', or '.join(steps)}" if steps else ""


def _as_typed(arguments: argparse.Namespace) -> str:
    """Return the line that repeats a comparison, without where its results go."""
    words = ["slipbench", "compare", *arguments.scenarios]
    words += ["--strategy", arguments.strategy] if arguments.strategy is not None else []
    words += ["--seeds", str(arguments.seeds)] if arguments.seeds != DEFAULT_SEEDS else []
    words += scenario_words(arguments) + ["--compile"] * arguments.compile
    return shlex.join(words)


def _scenarios(names: Sequence[str], arguments: argparse.Namespace) -> list[Scenario]:
    """Return the scenarios, from each of the speeds; several speeds go into the names."""
    speeds = arguments.speed
    if speeds is None or "," not in speeds:
        return [read_scenario(name, arguments) for name in names]
    words = [word.strip() for word in speeds.split(",")]
    if not all(words) or len(set(words)) != len(words):
        raise InputError(f"--speed {speeds!r}; write different speeds as 50mph,75mph")
    pairs = [(read_scenario(name, arguments, word), word) for name in names for word in words]
    return [scenario.replace(name=f"{scenario.name} at {word}") for scenario, word in pairs]


def _run_with_progress(arguments: argparse.Namespace, asked: _Asked) -> Comparison:
    from concurrent.futures.process import BrokenProcessPool

    from tqdm import tqdm

    from slipbench.comparison.compare import compare, plan

    scenarios, strategies, n_seeds = asked.scenarios, asked.strategies, arguments.seeds
    n_jobs = len(plan(scenarios, strategies, n_seeds))
    is_quiet = arguments.json or not sys.stderr.isatty()
    with tqdm(total=n_jobs, unit="stop", disable=is_quiet, leave=False, file=sys.stderr) as bar:
        n_done = [0]

        def tell() -> None:
            n_done[0] += 1
            bar.update()

        try:
            return compare(
                scenarios,
                strategies,
                n_seeds,
                n_workers=arguments.workers,
                tell=tell,
                meanwhile=partial(_prepare, asked.folder is not None),
                stop_limit=stop_limit(arguments),
            )
        except KeyboardInterrupt as end:
            bar.close()
            done = f" after {n_done[0]} of {n_jobs} runs; nothing was written"
            raise type(end)(done) from None
        except BrokenProcessPool:
            raise _worker_lost(strategies) from None


def _prepare(draws: bool) -> None:
    """Do while stops run what is needed after them."""
    from slipbench.results.identity import versions

    versions()  # kept for the record
    if draws:
        import_module("slipbench.figures.compare")


def _worker_lost(strategies: Sequence[Known]) -> InputError:
    from slipbench.strategies.foreign import is_foreign

    native = ", ".join(k.origin for k in strategies if is_foreign(k.origin))
    cause = f"or a crash of {native}; " if native else ""
    return InputError(
        f"a worker process died, perhaps for want of memory; {cause}nothing was written; "
        "try fewer --workers"
    )


def _drawn(comparison: Comparison, is_wide: bool, has_report: bool) -> dict[str, bytes]:
    """Return the pictures, for a report those of the speeds on the way as well."""
    return _pictures(comparison, is_wide) | (_speed_curves(comparison) if has_report else {})


def _pictures(comparison: Comparison, is_wide: bool) -> dict[str, bytes]:
    """Return the pictures: pages of rails, or of several speeds the distance over speed."""
    from slipbench.figures import style
    from slipbench.figures.compare import draw_comparison, pages_of
    from slipbench.strategies.registry import known_controllers

    drawn = [known.controller.name for known in comparison.strategies]
    looks = style.looks([*known_controllers(), *drawn])

    def draw() -> dict[str, bytes]:
        if is_wide:
            from slipbench.figures.speeds import draw_speeds

            figures = {"speeds": draw_speeds(comparison, looks)}
        else:
            pages = pages_of(comparison)[:MOST_PAGES]
            figures = {
                f"compare_{i}" if i > 1 else "compare": draw_comparison(comparison, looks, rails)
                for i, rails in enumerate(pages, 1)
            }
        return {
            f"{name}.{kind}": data
            for name, figure in figures.items()
            for kind, data in style.save(figure).items()
        }

    return drawn_or_refused(draw)


def _speed_curves(comparison: Comparison) -> dict[str, bytes]:
    """Run seed 0 of every strategy once more, with traces, on the rails that tell them apart."""
    from slipbench.comparison.quiet import quiet_rails
    from slipbench.figures import style
    from slipbench.figures.speed_curves import draw_speed_curves
    from slipbench.running.runner import run_stop
    from slipbench.strategies.registry import known_controllers

    quiet = {rail for group in quiet_rails(comparison.rows) for rail in group.rails}
    rails = [own for own in comparison.scenarios if own.name not in quiet][:MOST_CURVES]
    failed = {(r.scenario, r.controller) for r in comparison.rows if r.summary.get("failed")}
    curves: dict[str, dict[str, Any]] = {}
    for rail in rails:
        for known in comparison.strategies:
            name = known.controller.name
            if (rail.name, name) not in failed:
                traces = run_stop(rail, known, 0, with_traces=True).traces
                curves.setdefault(rail.name, {})[name] = traces["distance"], traces["train_speed"]
    truth = {known.controller.name: known.controller.uses_truth for known in comparison.strategies}
    looks = style.looks([*known_controllers(), *truth])
    if not curves:
        return {}
    drawn = drawn_or_refused(lambda: style.save(draw_speed_curves(curves, truth, looks)))
    return {f"speed_curves.{kind}": data for kind, data in drawn.items()}


def _as_json(content: Any) -> str:
    return json.dumps(content, indent=1, allow_nan=False)

"""The commands `tune` and `tune-all`: settings found on random rails, judged on others."""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from slipbench.commands.line import drawn_or_refused
from slipbench.commands.options import (
    FOLDER,
    add_scenario,
    add_strategy,
    count,
    positive,
    read_scenario,
    read_setting,
    read_settings,
)
from slipbench.commands.parser import JUDGE, Commands
from slipbench.commands.session import (
    add_campaign_options,
    campaign_path,
    make_folder,
    opened,
    ready,
    typed_command,
)
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.results.files import (
    named_path,
    refuse_foreign,
    refuse_foreign_result,
    write_file,
)

if TYPE_CHECKING:
    from slipbench.statistics.designs import Space
    from slipbench.strategies.registry import Known
    from slipbench.tuning.judge import Goal
    from slipbench.tuning.rails import Rails
    from slipbench.tuning.tuning import Tuned


def add_parsers(commands: Commands) -> None:
    """Add the commands."""
    tune = commands.add_parser("tune", group=JUDGE, help="tune a strategy's parameters")
    add_scenario(tune, "+")
    add_strategy(tune)
    _add_effort(tune, "stops in all")
    tune.add_argument("--parameters", metavar="A,B", help="tuned (all)")
    tune.add_argument(
        "--start", metavar="A=X,B=Y",
        help="where it starts from and what it is compared with: parameter values, or `midpoints` "
        "of their bounds (its defaults)",
    )  # fmt: skip
    tune.add_argument(
        "--choose", choices=("safe", "knee"), default="safe",
        help="the knee of the settings nowhere worse than the start, if any; or of all (safe)",
    )  # fmt: skip
    add_campaign_options(tune)
    tune.set_defaults(act=tune_command)

    every = commands.add_parser(
        "tune-all", group=JUDGE, help="tune every strategy with the same budget, rails and seeds"
    )
    add_scenario(every, "+")
    add_strategy(every, several=True, every=True)
    _add_effort(every, "stops for each")
    add_campaign_options(every, has_one_file=False)
    every.set_defaults(act=tune_all_command, export=None, choose="safe")


def _add_effort(parser: argparse.ArgumentParser, budget: str) -> None:
    parser.add_argument("--trade", default="distance,flats,air", metavar="A,B", help="objectives")
    parser.add_argument("--budget", type=count, required=True, metavar="N", help=budget)
    parser.add_argument("--training", type=count, default=8, help="random rails a scenario (8)")
    parser.add_argument("--held-out", type=count, default=16, help="others, not searched on (16)")
    parser.add_argument("--lock-limit", type=positive, default=math.inf, metavar="S")
    parser.add_argument("--extension-limit", type=positive, default=math.inf, metavar="RATIO")


def tune_command(arguments: argparse.Namespace) -> int:
    """Tune a strategy, print and write the result, draw the trade-off."""
    ready()
    from slipbench.results.canonical import short_hash
    from slipbench.tuning.report import tuned_text
    from slipbench.tuning.tuning import started

    known, start = started(read_setting(arguments.strategy, arguments.compile), arguments.start)
    names = None if arguments.parameters is None else _parameters(arguments.parameters)
    label = f"tune-{known.controller.name}"
    if arguments.start:
        label += f"-{short_hash(arguments.start)[:6]}"
    tuned, result = _tune(arguments, known, names, label, start)
    print(tuned_text(tuned), flush=True)
    written = _draw(tuned, result)
    print(f"\nwritten: {', '.join(map(str, written))}\n\n{CAUTION}")
    return 0


def tune_all_command(arguments: argparse.Namespace) -> int:
    """Tune every strategy with the same effort; say which settings are worth adopting."""
    ready()
    from slipbench.tuning.tuning_all import all_tuned_text, dry_extension, tunable

    folder = FOLDER / "tune-all" if arguments.out is None else named_path(arguments.out)
    strategies = tunable(read_settings(arguments.strategy, arguments.compile)[0])
    if not strategies:
        raise InputError("tune-all: none of these strategies has parameters to tune")
    refuse_foreign(folder / "table.txt", arguments.overwrite, makes_folder=True)
    names = [known.controller.name for known in strategies]
    files = {name: folder / f"{name}.sqlite" for name in names}
    for path in files.values():
        result = path.with_suffix(".toml")
        refuse_foreign_result(result, arguments.overwrite, makes_folder=True)
    for known in strategies:
        _plan(arguments, known, None)
    make_folder(folder)
    found = []
    for known in strategies:
        name = known.controller.name
        own = argparse.Namespace(**{**vars(arguments), "out": str(files[name])})
        tuned, result = _tune(own, known, None, f"tune-{name}")
        _draw(tuned, result)
        setting = known.controller.with_parameters(**tuned.chosen.values)
        found.append((tuned, dry_extension(setting)))
        if not arguments.quiet:
            print(f"{name}: {tuned.n_stops} stops", file=sys.stderr, flush=True)
    text = all_tuned_text(found)
    refuse_foreign(folder / "table.txt", arguments.overwrite)
    write_file(folder / "table.txt", f"{typed_command()}\n\n{text}\n".encode())
    print(f"{text}\n\nwritten to {folder}: table.txt, a .toml and a picture each\n\n{CAUTION}")
    return 0


def _tune(
    arguments: argparse.Namespace,
    known: Known,
    names: Sequence[str] | None,
    label: str,
    start: str | None = None,
) -> tuple[Tuned, Path]:
    """Tune one strategy; return what was found and the file of settings that was written."""
    from slipbench.running.progress import progress
    from slipbench.tuning.beside import code_of
    from slipbench.tuning.tuned_file import tuned_file
    from slipbench.tuning.tuning import tune

    space, goal, rails = _plan(arguments, known, names)
    result = campaign_path(arguments, label).with_suffix(".toml")
    refuse_foreign_result(result, arguments.overwrite, makes_folder=arguments.out is None)
    code = code_of(known, result)
    is_copied = code is not None and code.name != code.source.name
    if code is not None and is_copied:
        place = result.with_name(code.name)
        refuse_foreign(place, arguments.overwrite, makes_folder=arguments.out is None)
    with (
        opened(arguments, label) as (store, runner),
        progress(arguments.budget, is_quiet=arguments.quiet) as bar,
    ):
        tuned = tune(
            known, space, goal, rails, arguments.budget, store, runner, arguments.design_seed, bar
        )
    tuned = tuned if start is None else replace(tuned, start=start)
    refuse_foreign_result(result, arguments.overwrite)
    if code is not None and is_copied:
        write_file(result.with_name(code.name), code.content)
    write_file(result, tuned_file(tuned, known, typed_command(), code).encode())
    return tuned, result


def _draw(tuned: Tuned, result: Path) -> list[Path]:
    """Draw the trade-off beside the settings; return all files written."""
    from slipbench.figures.style import save
    from slipbench.figures.tuning import draw_tuning

    written = [result]
    for kind, data in drawn_or_refused(lambda: save(draw_tuning(tuned))).items():
        written.append(result.with_suffix(f".{kind}"))
        write_file(written[-1], data)
    return written


def _plan(
    arguments: argparse.Namespace, known: Known, names: Sequence[str] | None
) -> tuple[Space, Goal, Rails]:
    """Return what is varied, what is wanted and on which rails; refuse what cannot be done."""
    from slipbench.campaign.objectives import find_objectives
    from slipbench.statistics.designs import parameter_space
    from slipbench.tuning.judge import Goal
    from slipbench.tuning.rails import family_rails
    from slipbench.tuning.search import rungs, screening_size

    space = parameter_space(known.controller, names)
    goal = Goal(
        find_objectives(arguments.trade),
        arguments.lock_limit,
        arguments.extension_limit,
        is_knee_wanted=arguments.choose == "knee",
    )
    rails = family_rails(
        [read_scenario(name, arguments) for name in arguments.scenarios],
        arguments.training,
        arguments.held_out,
        arguments.design_seed,
        arguments.seeds,
    )
    screening_size(arguments.budget, rails, rungs(len(rails.training)))
    return space, goal, rails


def _parameters(text: str) -> list[str]:
    names = [name.strip() for name in text.split(",")]
    if len(set(names)) != len(names):
        raise InputError(f"--parameters {text!r}: one is given twice; give each once")
    return names

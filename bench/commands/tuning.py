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
from slipbench.ground.telling import shown
from slipbench.results.files import (
    named_path,
    refuse_foreign,
    refuse_foreign_result,
    write_file,
)

SEARCH_SEEDS = 5
"""Searches `tune-all` makes for each strategy."""

if TYPE_CHECKING:
    from slipbench.campaign.tuning.judge import Goal
    from slipbench.campaign.tuning.rails import Rails
    from slipbench.campaign.tuning.tuning import Tuned
    from slipbench.campaign.tuning.tuning_all import Effort
    from slipbench.statistics.designs import Space
    from slipbench.strategies.registry import Known


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
    every.add_argument(
        "--search-seeds", type=count, default=SEARCH_SEEDS, metavar="N",
        help=f"searches for each strategy, their spread is printed ({SEARCH_SEEDS})",
    )  # fmt: skip
    every.add_argument(
        "--starts", metavar="FILE",
        help="where each strategy starts from (the shipped file: literature, else midpoints)",
    )  # fmt: skip
    every.set_defaults(act=tune_all_command, export=None, choose="safe")


def _add_effort(parser: argparse.ArgumentParser, budget: str) -> None:
    parser.add_argument("--trade", default="distance,flats,air", metavar="A,B", help="objectives")
    parser.add_argument(
        "--objective", metavar="A=W,B=W",
        help="weigh objectives into one sum instead, such as distance=1,flats=200,air=0.005: a "
        "flat risk of 1 counts as 200 m, a normal litre as 5 mm",
    )  # fmt: skip
    parser.add_argument("--budget", type=count, required=True, metavar="N", help=budget)
    parser.add_argument("--training", type=count, default=8, help="random rails a scenario (8)")
    parser.add_argument("--held-out", type=count, default=16, help="others, not searched on (16)")
    parser.add_argument("--lock-limit", type=positive, default=math.inf, metavar="S")
    parser.add_argument("--extension-limit", type=positive, default=math.inf, metavar="RATIO")


def tune_command(arguments: argparse.Namespace) -> int:
    """Tune a strategy, print and write the result, draw the trade-off."""
    ready()
    from slipbench.campaign.tuning.report import tuned_text
    from slipbench.campaign.tuning.tuning import started
    from slipbench.results.canonical import short_hash

    known, start = started(read_setting(arguments.strategy, arguments.compile), arguments.start)
    names = None if arguments.parameters is None else _parameters(arguments.parameters)
    label = f"tune-{known.controller.name}"
    if arguments.start:
        label += f"-{short_hash(arguments.start)[:6]}"
    path = campaign_path(arguments, label)
    tuned = _search(arguments, known, names, label, start, [arguments.design_seed])[0]
    result = _write(arguments, path, tuned, known)
    print(tuned_text(tuned), flush=True)
    written = _draw(tuned, result)
    print(f"\nwritten: {', '.join(map(str, written))}\n\n{CAUTION}")
    return 0


def tune_all_command(arguments: argparse.Namespace) -> int:
    """Tune every strategy with one effort; say which settings are worth adopting."""
    ready()
    from slipbench.campaign.tuning.starts import NEUTRAL, SHIPPED_STARTS, at_start, read_starts
    from slipbench.campaign.tuning.tuning import NoSetting
    from slipbench.campaign.tuning.tuning_all import all_tuned_text, outcome_text, tunable

    folder = FOLDER / "tune-all" if arguments.out is None else named_path(arguments.out)
    strategies = tunable(read_settings(arguments.strategy, arguments.compile)[0])
    if not strategies:
        raise InputError("tune-all: none of these strategies has parameters to tune")
    starts = read_starts(arguments.starts or SHIPPED_STARTS)
    begun = [at_start(k, starts.get(k.controller.name, NEUTRAL)) for k in strategies]
    tables = [folder / "table.txt", folder / "one_effort.toml"]
    for path in tables:
        refuse_foreign(path, arguments.overwrite, makes_folder=True)
    for known, (at, _) in zip(strategies, begun, strict=True):
        result = (folder / known.controller.name).with_suffix(".toml")
        refuse_foreign_result(result, arguments.overwrite, makes_folder=True)
        _plan(arguments, at, None)
    make_folder(folder)
    efforts, without = [], []
    for known, (at, start) in zip(strategies, begun, strict=True):
        try:
            efforts.append(_effort(arguments, folder, known, at, start))
        except NoSetting as problem:
            without.append(str(problem))
    if not efforts:
        raise InputError(without[0])
    text = "\n".join([all_tuned_text(efforts), *without])
    for path in tables:
        refuse_foreign(path, arguments.overwrite)
    write_file(tables[0], f"{typed_command()}\n\n{text}\n".encode())
    write_file(tables[1], outcome_text(efforts, typed_command()).encode())
    files = "table.txt, one_effort.toml, a .toml and a picture each"
    print(f"{text}\n\nwritten to {folder}: {files}\n\n{CAUTION}")
    return 0


def _effort(
    arguments: argparse.Namespace, folder: Path, known: Known, at: Known, start: str
) -> Effort:
    """Tune one strategy from its start with every search seed, and write what was chosen."""
    from slipbench.campaign.tuning.tuning_all import Effort, dry_extension

    name = known.controller.name
    path = folder / f"{name}.sqlite"
    own = argparse.Namespace(**{**vars(arguments), "out": str(path)})
    seeds = [arguments.design_seed + i for i in range(arguments.search_seeds)]
    runs = _search(own, at, None, f"tune-{name}", start, seeds)
    effort = Effort(known, tuple(runs), math.nan)
    values = at.controller.with_parameters(**effort.chosen.chosen.values)
    effort = replace(effort, on_dry=dry_extension(replace(at, controller=values)))
    _draw(effort.chosen, _write(own, path, effort.chosen, at))
    if not arguments.quiet:
        print(f"{name}: {len(runs)} searches done", file=sys.stderr, flush=True)
    return effort


def _search(
    arguments: argparse.Namespace,
    known: Known,
    names: Sequence[str] | None,
    label: str,
    start: str | None,
    seeds: Sequence[int],
) -> list[Tuned]:
    """Tune one strategy, once for each search seed; the rails are those of the design seed."""
    from slipbench.campaign.tuning.tuning import tune

    space, goal, rails = _plan(arguments, known, names)
    result = campaign_path(arguments, label).with_suffix(".toml")
    refuse_foreign_result(result, arguments.overwrite, makes_folder=arguments.out is None)
    for copy in _copied_code(known, result):
        refuse_foreign(copy, arguments.overwrite, makes_folder=arguments.out is None)
    with opened(arguments, label, arguments.budget * len(seeds)) as rig:
        runs = [tune(known, space, goal, rails, arguments.budget, rig, seed) for seed in seeds]
    return runs if start is None else [replace(run, start=start) for run in runs]


def _copied_code(known: Known, result: Path) -> dict[Path, bytes]:
    """Return where a strategy's own files are copied to beside its settings, and their content."""
    from slipbench.campaign.tuning.beside import code_of

    code = code_of(known, result)
    if code is None or code.name == code.source.name:
        return {}
    return {result.with_name(name): content for name, content in code.files.items()}


def _write(arguments: argparse.Namespace, path: Path, tuned: Tuned, known: Known) -> Path:
    """Write a tuning's settings beside its store; return the file."""
    from slipbench.campaign.tuning.beside import code_of
    from slipbench.campaign.tuning.tuned_file import tuned_file

    result = path.with_suffix(".toml")
    refuse_foreign_result(result, arguments.overwrite)
    code = code_of(known, result)
    for copy, content in _copied_code(known, result).items():
        write_file(copy, content)
    write_file(result, tuned_file(tuned, known, typed_command(), code).encode())
    return result


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
    from slipbench.campaign.tuning.rails import family_rails
    from slipbench.campaign.tuning.search import rungs, screening_size
    from slipbench.campaign.tuning.tuning import n_held_out
    from slipbench.campaign.variation import parameter_space

    space, goal = parameter_space(known.controller, names), _goal(arguments)
    rails = family_rails(
        [read_scenario(name, arguments) for name in arguments.scenarios],
        arguments.training,
        arguments.held_out,
        arguments.design_seed,
        arguments.seeds,
    )
    screening_size(arguments.budget, rails, rungs(len(rails.training)), n_held_out(known))
    return space, goal, rails


def _goal(arguments: argparse.Namespace) -> Goal:
    from slipbench.campaign.objectives import find_objectives
    from slipbench.campaign.tuning.judge import Goal

    trade: str = arguments.trade
    weights: tuple[float, ...] = ()
    if arguments.objective is not None:
        trade, weights = _weighed(arguments.objective)
    return Goal(
        find_objectives(trade),
        arguments.lock_limit,
        arguments.extension_limit,
        is_knee_wanted=arguments.choose == "knee",
        weights=weights,
    )


def _weighed(text: str) -> tuple[str, tuple[float, ...]]:
    """Return the objectives of `--objective` as `--trade` writes them, and their weights."""
    names, weights = [], []
    for pair in text.split(","):
        name, _, number = pair.partition("=")
        try:
            weight = float(number)
        except ValueError:
            weight = -1.0
        if not (math.isfinite(weight) and weight > 0.0):
            raise InputError(
                f"--objective {shown(text)}; write objectives with weights above 0, "
                "such as distance=1,flats=200,air=0.005"
            )
        names.append(name.strip())
        weights.append(weight)
    return ",".join(names), tuple(weights)


def _parameters(text: str) -> list[str]:
    names = [name.strip() for name in text.split(",")]
    if len(set(names)) != len(names):
        raise InputError(f"--parameters {text!r}: one is given twice; give each once")
    return names

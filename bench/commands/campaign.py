"""The commands `campaign`, `tune`, `tune-all`, `sensitivity` and `worst-rail`: thin functions.

`add_parsers` adds them to the command line; each sets `act` to its function, which returns the exit
code. They raise `InputError` for what cannot be used and `KeyboardInterrupt` for Ctrl-C, after a
line about what is stored.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from slipbench.commands.line import (
    FOLDER,
    MOST_WORKERS,
    add_stop_limit,
    get_ready,
    read_scenario,
    whole_number,
)
from slipbench.commands.session import campaign_path, make_folder, opened, typed_command
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
    from slipbench.tuning.tuning import Tuned


def add_parsers(subparsers: Any) -> None:
    """Add the commands of campaigns to a command line's subparsers."""
    campaign = subparsers.add_parser("campaign", help="run many stops into a file, and judge them")
    campaign.add_argument(
        "scenarios", nargs="+", metavar="SCENARIO", help="shipped names or TOML files"
    )
    campaign.add_argument(
        "--controllers", metavar="A,B", help="names, path/to/file.py:NAME or tuned .toml files"
    )
    campaign.add_argument(
        "--random-rails", type=_count, default=0, metavar="N", help="random rails of each scenario"
    )
    campaign.add_argument(
        "--vary", action="append", default=[], metavar="NAME=LOW:HIGH",
        help="vary a parameter, film.* or a dotted scenario value; NAME=A,B,C for a grid",
    )  # fmt: skip
    campaign.add_argument("--design", choices=("grid", "sobol", "latin"), default="sobol")
    campaign.add_argument("--points", type=_count, default=8, help="of the design; a grid's levels")
    campaign.add_argument("--objectives", default="distance,flats,lock,air", metavar="A,B")
    campaign.add_argument("--baseline", metavar="LABEL", help="compared against (the first)")
    campaign.add_argument(
        "--overrun-beyond", type=_positive, default=math.inf, metavar="M", help="metres"
    )
    campaign.add_argument("--speed", help="start from this speed, with its unit, such as 75mph")
    _add_common(campaign)
    campaign.set_defaults(act=campaign_command)

    tune = subparsers.add_parser("tune", help="tune a strategy's parameters")
    tune.add_argument("controller", metavar="CONTROLLER")
    tune.add_argument("--rails", required=True, metavar="A,B", help="scenarios, each a family")
    tune.add_argument("--trade", default="distance,flats,air", metavar="A,B", help="objectives")
    tune.add_argument("--budget", type=_count, required=True, metavar="N", help="stops in all")
    tune.add_argument("--parameters", metavar="A,B", help="tuned (all)")
    tune.add_argument(
        "--start", metavar="A=X,B=Y",
        help="where it starts from and what it is compared with: parameter values, or `midpoints` "
        "of their bounds (its defaults)",
    )  # fmt: skip
    tune.add_argument("--training", type=_count, default=8, help="random rails a family (8)")
    tune.add_argument("--held-out", type=_count, default=16, help="others, never searched on (16)")
    tune.add_argument("--lock-limit", type=_positive, default=math.inf, metavar="S")
    tune.add_argument("--extension-limit", type=_positive, default=math.inf, metavar="RATIO")
    tune.add_argument(
        "--choose", choices=("safe", "knee"), default="safe",
        help="the knee of the settings nowhere worse than the start, if any; or of all (safe)",
    )  # fmt: skip
    tune.add_argument("--speed", help="start from this speed, with its unit, such as 75mph")
    _add_common(tune)
    tune.set_defaults(act=tune_command)

    _add_tune_all(subparsers)
    sensitivity = subparsers.add_parser("sensitivity", help="which parameters and assumptions tell")
    sensitivity.add_argument("controller", metavar="CONTROLLER")
    sensitivity.add_argument("--rails", required=True, metavar="A,B", help="scenarios")
    sensitivity.add_argument("--method", choices=("effects", "indices"), default="effects")
    sensitivity.add_argument(
        "--size", type=_count, default=8, help="trajectories, or base points (a power of two)"
    )
    sensitivity.add_argument("--vary", action="append", default=[], metavar="NAME=LOW:HIGH")
    sensitivity.add_argument("--objectives", default="distance,flats", metavar="A,B")
    sensitivity.add_argument("--speed", help="start from this speed, with its unit")
    _add_common(sensitivity)
    sensitivity.set_defaults(act=sensitivity_command)

    worst = subparsers.add_parser("worst-rail", help="search the rail that hurts a strategy most")
    worst.add_argument("controller", metavar="CONTROLLER")
    worst.add_argument("--scenario", required=True, metavar="SCENARIO", help="where it starts from")
    worst.add_argument("--budget", type=_count, default=200, metavar="N", help="rails tried (200)")
    worst.add_argument(
        "--harm", default="over-shortest", help="what hurting is; or distance, lock, flats"
    )
    worst.add_argument("--patches", type=_count, default=4)
    worst.add_argument("--friction", default="0.008:0.15", metavar="LOW:HIGH")
    worst.add_argument("--lengths", default="20:1000", metavar="LOW:HIGH", help="metres")
    worst.add_argument("--to", metavar="FILE.toml", help="the scenario file written")
    worst.add_argument("--speed", help="start from this speed, with its unit")
    _add_common(worst)
    worst.set_defaults(act=worst_command)


def _add_tune_all(subparsers: Any) -> None:
    every = subparsers.add_parser(
        "tune-all", help="tune every strategy with the same budget, rails and seeds"
    )
    every.add_argument("--controllers", metavar="A,B", help="strategies (all shipped)")
    every.add_argument("--rails", required=True, metavar="A,B", help="scenarios, each a family")
    every.add_argument("--trade", default="distance,flats,air", metavar="A,B", help="objectives")
    every.add_argument("--budget", type=_count, required=True, metavar="N", help="stops for each")
    every.add_argument("--training", type=_count, default=8, help="random rails a family (8)")
    every.add_argument("--held-out", type=_count, default=16, help="others, not searched on (16)")
    every.add_argument("--lock-limit", type=_positive, default=math.inf, metavar="S")
    every.add_argument("--extension-limit", type=_positive, default=math.inf, metavar="RATIO")
    every.add_argument("--speed", help="start from this speed, with its unit, such as 75mph")
    _add_common(every, has_one_file=False)
    every.set_defaults(act=tune_all_command, export=None, choose="safe")


def _add_common(parser: argparse.ArgumentParser, has_one_file: bool = True) -> None:
    if has_one_file:
        parser.add_argument(
            "--export", metavar="FILE", help="write all stops to a .csv or .parquet file as well"
        )
    parser.add_argument("--seeds", type=_count, default=1, help="runs of each pair (1)")
    parser.add_argument(
        "--seed", type=whole_number, default=0, help="of designs and random rails (0)"
    )
    parser.add_argument("--out", metavar="FILE", help="campaign file, resumed if it is there")
    parser.add_argument("--branch", default="main", metavar="NAME", help="of the campaign file")
    parser.add_argument("--workers", type=_worker_count, help="processes (one a core)")
    parser.add_argument("--scheduler", metavar="ADDRESS", help="run on a Dask cluster instead")
    add_stop_limit(parser)
    parser.add_argument("--quiet", action="store_true", help="no progress")
    parser.add_argument("--compile", action="store_true", help="compile strategies of files")


def _count(text: str) -> int:
    value = whole_number(text)
    if not 1 <= value <= 10_000_000:
        raise argparse.ArgumentTypeError(f"{text!r}; allowed: 1 to 10000000")
    return value


def _worker_count(text: str) -> int:
    value = whole_number(text)
    if not 1 <= value <= MOST_WORKERS:
        raise argparse.ArgumentTypeError(f"{text!r}; allowed: 1 to {MOST_WORKERS}")
    return value


def _positive(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not value > 0.0:
        raise argparse.ArgumentTypeError(f"{text!r} is no number above 0")
    return value


def campaign_command(arguments: argparse.Namespace) -> int:
    """Run a campaign's missing stops and print what they say."""
    _get_ready()
    from slipbench.campaign.analysis import collect, judge
    from slipbench.campaign.campaign import run_campaign
    from slipbench.campaign.objectives import find_objectives
    from slipbench.campaign.planning import campaign_plan
    from slipbench.campaign.report import campaign_text, counts_line

    objectives = find_objectives(arguments.objectives)
    plan = campaign_plan(
        scenarios=[read_scenario(name, arguments.speed) for name in arguments.scenarios],
        strategies=_strategies(arguments.controllers, arguments.compile),
        labels=_labels(arguments.controllers),
        space=_space(arguments.vary),
        design=arguments.design,
        n_points=arguments.points,
        n_random=arguments.random_rails,
        n_seeds=arguments.seeds,
        seed=arguments.seed,
    )
    labels = [candidate.label for candidate in plan.candidates]
    baseline = arguments.baseline or labels[0]
    if baseline not in labels:
        raise InputError(f"--baseline {baseline!r}; candidates: {', '.join(labels[:20])}")
    with opened(arguments, "campaign") as (store, runner):
        counts = run_campaign(plan, store, runner, is_quiet=arguments.quiet)
        print(counts_line(counts))
        collected = collect(
            store,
            objectives,
            arguments.overrun_beyond,
            labels,
            (scenario.name for scenario in plan.scenarios),
            plan.seeds,
        )
        verdicts = [judge(collected, objective, baseline) for objective in objectives]
        print(f"\n{campaign_text(collected, verdicts, baseline)}\n\nstored in {store.path}")
    print(f"\n{CAUTION}")
    return 0


def tune_command(arguments: argparse.Namespace) -> int:
    """Tune a strategy, print and write the result, draw the trade-off."""
    _get_ready()
    from slipbench.results.canonical import short_hash
    from slipbench.tuning.report import tuned_text
    from slipbench.tuning.tuning import started

    known, start = started(_strategies(arguments.controller, arguments.compile)[0], arguments.start)
    names = None if arguments.parameters is None else _parameters(arguments.parameters)
    label = f"tune-{known.controller.name}"
    if arguments.start:
        label += f"-{short_hash(arguments.start)[:6]}"
    tuned, written = _tune(arguments, known, names, label, start)
    print(tuned_text(tuned))
    print(f"\nwritten: {', '.join(map(str, written))}\n\n{CAUTION}")
    return 0


def tune_all_command(arguments: argparse.Namespace) -> int:
    """Tune every strategy with the same effort; say which settings are worth adopting."""
    _get_ready()
    from slipbench.tuning.tuning_all import all_tuned_text, dry_extension, tunable

    folder = FOLDER / "tune-all" if arguments.out is None else named_path(arguments.out)
    strategies = tunable(_strategies(arguments.controllers, arguments.compile))
    if not strategies:
        raise InputError("tune-all: none of these strategies has parameters to tune")
    make_folder(folder)
    refuse_foreign(folder / "table.txt", "slipbench ")
    found = []
    for known in strategies:
        name = known.controller.name
        own = argparse.Namespace(**{**vars(arguments), "out": str(folder / f"{name}.sqlite")})
        tuned = _tune(own, known, None, f"tune-{name}")[0]
        setting = known.controller.with_parameters(**tuned.chosen.values)
        found.append((tuned, dry_extension(setting)))
        if not arguments.quiet:
            print(f"{name}: {tuned.n_stops} stops", file=sys.stderr, flush=True)
    text = all_tuned_text(found)
    write_file(folder / "table.txt", f"{typed_command()}\n\n{text}\n".encode())
    print(f"{text}\n\nwritten to {folder}: table.txt, a .toml and a picture each\n\n{CAUTION}")
    return 0


def _tune(
    arguments: argparse.Namespace,
    known: Known,
    names: Sequence[str] | None,
    label: str,
    start: str | None = None,
) -> tuple[Tuned, list[Path]]:
    """Tune one strategy; return what was found and the files written: settings and picture."""
    from slipbench.campaign.objectives import find_objectives
    from slipbench.figures.style import save
    from slipbench.figures.tuning import draw_tuning
    from slipbench.running.progress import progress
    from slipbench.statistics.designs import parameter_space
    from slipbench.tuning.judge import Goal
    from slipbench.tuning.rails import family_rails
    from slipbench.tuning.tuned_file import tuned_file
    from slipbench.tuning.tuning import tune

    space = parameter_space(known.controller, names)
    goal = Goal(
        find_objectives(arguments.trade),
        arguments.lock_limit,
        arguments.extension_limit,
        is_knee_wanted=arguments.choose == "knee",
    )
    rails = family_rails(
        [read_scenario(name, arguments.speed) for name in arguments.rails.split(",")],
        arguments.training,
        arguments.held_out,
        arguments.seed,
        arguments.seeds,
    )
    refuse_foreign_result(campaign_path(arguments, label).with_suffix(".toml"))
    with (
        opened(arguments, label) as (store, runner),
        progress(arguments.budget, is_quiet=arguments.quiet) as bar,
    ):
        tuned = tune(
            known, space, goal, rails, arguments.budget, store, runner, arguments.seed, bar
        )
        result = store.path.with_suffix(".toml")
    tuned = tuned if start is None else replace(tuned, start=start)
    write_file(result, tuned_file(tuned, known, typed_command()).encode())
    written = [result]
    for kind, data in save(draw_tuning(tuned)).items():
        written.append(result.with_suffix(f".{kind}"))
        write_file(written[-1], data)
    return tuned, written


def sensitivity_command(arguments: argparse.Namespace) -> int:
    """Say which parameters and rail assumptions matter."""
    _get_ready()
    from slipbench.campaign.objectives import find_objectives
    from slipbench.campaign.report import sensitivity_text
    from slipbench.campaign.sensitivity import Study, analyse, n_points
    from slipbench.campaign.variation import default_space
    from slipbench.running.progress import progress

    known = _strategies(arguments.controller, arguments.compile)[0]
    space = _space(arguments.vary) or default_space(known.controller)
    scenarios = [read_scenario(name, arguments.speed) for name in arguments.rails.split(",")]
    objectives = find_objectives(arguments.objectives)
    study = Study(known, scenarios, space, objectives, range(arguments.seeds))
    n_stops = n_points(arguments.method, space, arguments.size)
    n_stops *= len(scenarios) * arguments.seeds
    with (
        opened(arguments, f"sensitivity-{known.controller.name}") as (store, runner),
        progress(n_stops, is_quiet=arguments.quiet) as bar,
    ):
        found = analyse(study, arguments.method, arguments.size, store, runner, arguments.seed, bar)
    print(f"{sensitivity_text(found)}\n\n{CAUTION}")
    return 0


def worst_command(arguments: argparse.Namespace) -> int:
    """Search the rail that hurts a strategy most and write it as a scenario file."""
    _get_ready()
    from slipbench.campaign.report import failure_notes
    from slipbench.campaign.worst import FLOOR_HARM, Bounds, worst_rail
    from slipbench.running.progress import progress

    known = _strategies(arguments.controller, arguments.compile)[0]
    friction = _range("--friction", arguments.friction)
    lengths = _range("--lengths", arguments.lengths)
    bounds = Bounds(arguments.patches, *friction, *lengths)
    label = f"worst-rail-{known.controller.name}"
    is_named = arguments.to is not None
    target = named_path(arguments.to, "--to") if is_named else campaign_path(arguments, label)
    target = target if is_named else target.with_suffix(".toml")
    if target == campaign_path(arguments, label):
        raise InputError(f"--to {target}: that is the campaign file; name another")
    refuse_foreign(target)
    n_each = arguments.seeds + (arguments.harm == FLOOR_HARM)
    with (
        opened(arguments, label) as (store, runner),
        progress(arguments.budget * n_each, is_quiet=arguments.quiet) as bar,
    ):
        found = worst_rail(
            read_scenario(arguments.scenario, arguments.speed),
            known,
            arguments.budget,
            store,
            runner,
            bounds=bounds,
            harm=arguments.harm,
            seeds=range(arguments.seeds),
            seed=arguments.seed,
            bar=bar,
        )
    write_file(target, found.file().encode())
    print(
        f"{found.harm_name}: {found.harm:.4g} on the worst of {found.n_rails} rails, "
        f"{found.harm_before:.4g} on {arguments.scenario}\n"
        f"within {found.bounds.written()}"
    )
    for line in failure_notes(found.failures, "the search passed them over"):
        print(line)
    print(f"written: {target}\n\n{CAUTION}")
    return 0


def _get_ready() -> None:
    get_ready(["slipbench.stop.simulation"], ["loop.run_compiled"], undone="nothing was run")


def _strategies(text: str | None, compile_files: bool) -> list[Known]:
    from slipbench.strategies.registry import find_controller, known_controllers
    from slipbench.tuning.tuned_reader import find_tuned

    if text is None:
        return [known for known in known_controllers().values() if known.is_shipped]
    names = [name.strip() for name in text.split(",")]
    if not all(names):
        raise InputError(f"controllers {text!r}: a name is empty; write them as a,b")
    return [
        find_tuned(name)
        if name.endswith(".toml")
        else find_controller(name, compile_file=compile_files)
        for name in names
    ]


def _labels(text: str | None) -> list[str | None] | None:
    """Return names of their own for tuned settings, so that they stand beside the untuned."""
    from slipbench.tuning.tuned_reader import find_tuned, tuned_name

    if text is None:
        return None
    names = [name.strip() for name in text.split(",")]
    return [
        tuned_name(find_tuned(name), name) if name.endswith(".toml") else None for name in names
    ]


def _space(texts: Sequence[str]) -> Space:
    from slipbench.statistics.designs import parse_factor
    from slipbench.strategies.registry import refuse_twice

    factors = tuple(parse_factor(text) for text in texts)
    refuse_twice("factors", [(factor.name, "--vary") for factor in factors])
    return factors


def _parameters(text: str) -> list[str]:
    names = [name.strip() for name in text.split(",")]
    if len(set(names)) != len(names):
        raise InputError(f"--parameters {text!r}: one is given twice; give each once")
    return names


def _range(name: str, text: str) -> tuple[float, float]:
    try:
        low, high = (float(word) for word in text.split(":"))
    except ValueError:
        raise InputError(f"{name} {text!r}; write LOW:HIGH") from None
    if not 0.0 < low <= high < math.inf:
        raise InputError(f"{name} {text!r}; allowed: above 0, the lower one first")
    return low, high

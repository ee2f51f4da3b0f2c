"""The commands `sensitivity` and `worst-rail`: what matters, and what hurts."""

from __future__ import annotations

import argparse
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

from slipbench.commands.options import (
    add_scenario,
    add_strategy,
    count,
    files_read,
    read_scenario,
    read_setting,
)
from slipbench.commands.parser import JUDGE, Commands
from slipbench.commands.session import (
    add_campaign_options,
    campaign_path,
    opened,
    picture_place,
    ready,
    say_varied,
    varied,
    write_picture,
)
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.results.files import named_path, refuse_foreign_result, refuse_input, write_file

if TYPE_CHECKING:
    from slipbench.campaign.worst import Bounds, WorstRail
    from slipbench.scenario import Scenario
    from slipbench.strategies.registry import Known


def add_parsers(commands: Commands) -> None:
    """Add the commands."""
    sensitivity = commands.add_parser(
        "sensitivity", group=JUDGE, help="which parameters and assumptions tell"
    )
    add_scenario(sensitivity, "+")
    add_strategy(sensitivity)
    sensitivity.add_argument("--method", choices=("effects", "indices"), default="effects")
    sensitivity.add_argument(
        "--size", type=count, default=8, help="trajectories, or base points (a power of two)"
    )
    sensitivity.add_argument("--vary", action="append", default=[], metavar="KEY=LOW:HIGH")
    sensitivity.add_argument("--objectives", default="distance,flats", metavar="A,B")
    add_campaign_options(sensitivity)
    sensitivity.set_defaults(act=sensitivity_command)

    worst = commands.add_parser(
        "worst-rail", group=JUDGE, help="search the rail that hurts a strategy most"
    )
    add_scenario(worst)
    add_strategy(worst)
    worst.add_argument("--budget", type=count, default=200, metavar="N", help="rails tried (200)")
    worst.add_argument(
        "--harm", default="over-shortest", help="what hurting is; or distance, lock, flats"
    )
    worst.add_argument("--patches", type=count, default=4)
    worst.add_argument("--friction", default="0.008:0.15", metavar="LOW:HIGH")
    worst.add_argument("--lengths", default="20:1000", metavar="LOW:HIGH", help="metres")
    worst.add_argument("--to", metavar="FILE.toml", help="the scenario file written")
    add_campaign_options(worst)
    worst.set_defaults(act=worst_command)


def sensitivity_command(arguments: argparse.Namespace) -> int:
    """Say which parameters and rail assumptions matter."""
    ready()
    from slipbench.campaign.objectives import find_objectives
    from slipbench.campaign.report import sensitivity_text
    from slipbench.campaign.sensitivity import Study, analyse, n_points
    from slipbench.campaign.variation import default_space, is_parameter, parameter_space

    known = read_setting(arguments.strategy, arguments.compile)
    scenarios = [read_scenario(name, arguments) for name in arguments.scenarios]
    space = varied(arguments.vary, [known], scenarios, default_space(known.controller))
    parameters = [factor.name for factor in space if is_parameter(factor)]
    if parameters:
        parameter_space(known.controller, parameters)  # refuses those it does not have
    objectives = find_objectives(arguments.objectives)
    study = Study(known, scenarios, space, objectives, range(arguments.seeds))
    n_stops = n_points(arguments.method, space, arguments.size)
    n_stops *= len(scenarios) * arguments.seeds
    label = f"sensitivity-{known.controller.name}"
    beside = picture_place(arguments, label)
    with opened(arguments, label, n_stops) as rig:
        say_varied(space, [known])
        found = analyse(study, arguments.method, arguments.size, rig, arguments.design_seed)

    def draw() -> Any:
        from slipbench.figures.campaigns import draw_sensitivity

        return draw_sensitivity(found)

    drawn = write_picture(beside, draw)
    print(f"{sensitivity_text(found)}\n\nwritten: {drawn}\n\n{CAUTION}")
    return 0


def worst_command(arguments: argparse.Namespace) -> int:
    """Search the rail that hurts a strategy most and write it as a scenario file."""
    ready()
    from slipbench.campaign.report import failure_notes
    from slipbench.campaign.worst import FLOOR_HARM, refuse_search, worst_rail

    known = read_setting(arguments.strategy, arguments.compile)
    bounds = _bounds(arguments)
    refuse_search(arguments.harm, arguments.budget)
    label = f"worst-rail-{known.controller.name}"
    target = _target(arguments, label)
    base = read_scenario(arguments.scenario, arguments)
    n_each = arguments.seeds + (arguments.harm == FLOOR_HARM)
    with opened(arguments, label, arguments.budget * n_each) as rig:
        found = worst_rail(
            base,
            known,
            arguments.budget,
            rig,
            bounds=bounds,
            harm=arguments.harm,
            seeds=range(arguments.seeds),
            seed=arguments.design_seed,
        )
    write_file(target, found.file().encode())
    drawn = write_picture(target, lambda: _drawn_worst(found, base, known))
    print(
        f"{found.harm_name}: {found.harm:.4g} on the worst of {found.n_rails} rails, "
        f"{found.harm_before:.4g} on {arguments.scenario}\n"
        f"within {found.bounds.written()}"
    )
    for line in failure_notes(found.failures, "the search passed them over"):
        print(line)
    print(f"written: {target}, {drawn}\n\n{CAUTION}")
    return 0


def _drawn_worst(found: WorstRail, base: Scenario, known: Known) -> Any:
    from slipbench.figures.campaigns import draw_worst_rail
    from slipbench.running.runner import run_stop

    stops = [run_stop(rail, known, 0, with_traces=True) for rail in (base, found.scenario)]
    return draw_worst_rail(found, base, stops)


def _bounds(arguments: argparse.Namespace) -> Bounds:
    """Return what the search stays within; refuse what cannot be."""
    from slipbench.campaign.worst import Bounds

    friction = _range("--friction", arguments.friction)
    lengths = _range("--lengths", arguments.lengths)
    bounds = Bounds(arguments.patches, *friction, *lengths)
    bounds.space()  # refuses
    return bounds


def _target(arguments: argparse.Namespace, label: str) -> Path:
    """Return the scenario file to write: `--to`, else beside the campaign file."""
    is_named = arguments.to is not None
    target = named_path(arguments.to, "--to") if is_named else campaign_path(arguments, label)
    target = target if is_named else target.with_suffix(".toml")
    if target.absolute() == campaign_path(arguments, label).absolute():
        raise InputError(f"--to {target}: that is the campaign file; name another")
    refuse_input(target, "--to", files_read(arguments))
    refuse_foreign_result(target, arguments.overwrite, makes_folder=not is_named)
    return target


def _range(name: str, text: str) -> tuple[float, float]:
    try:
        low, high = (float(word) for word in text.split(":"))
    except ValueError:
        raise InputError(f"{name} {text!r}; write LOW:HIGH") from None
    if not 0.0 < low <= high < math.inf:
        raise InputError(f"{name} {text!r}; allowed: above 0, the lower one first")
    return low, high

"""The commands `list` and `show`: what there is, and every value of a scenario."""

from __future__ import annotations

import argparse
import shutil
import sys
from typing import TYPE_CHECKING

from slipbench.commands.options import add_scenario, read_scenario
from slipbench.commands.parser import LEARN, OWN_TRAIN, Commands
from slipbench.ground.caution import CAUTION

if TYPE_CHECKING:
    from slipbench.scenario import Driver


def add_parsers(commands: Commands) -> None:
    """Add the commands."""
    show = commands.add_parser(
        "show", group=OWN_TRAIN, help="print every value of a scenario, and its source"
    )
    add_scenario(show)
    show.set_defaults(act=show_command)
    listing = commands.add_parser(
        "list", group=LEARN, help="name all scenarios, trains, drivers, strategies"
    )
    listing.set_defaults(act=list_command)


def list_command(arguments: argparse.Namespace) -> int:
    """Print scenarios, trains, drivers and strategies, one line each."""
    from slipbench.scenario import driver_names, load_scenario, scenario_names, train_names
    from slipbench.strategies.registry import known_controllers

    names, known = scenario_names(), known_controllers()
    trains, drivers = train_names(), driver_names()
    width = max(map(len, [*names, *trains, *drivers, *known]))
    print("scenarios")
    for name in names:
        print(f"  {name:<{width}}  {load_scenario(name).title}")
    print("trains (--train)")
    for name in trains:
        print(f"  {name:<{width}}  {load_scenario('dry', train=name).train.name}")
    print("drivers (--driver)")
    for name in drivers:
        print(f"  {name:<{width}}  {_driven(load_scenario('dry', driver=name).driver)}")
    print("strategies")
    for name, found in known.items():
        truth = " (sees truth, ranked apart)" if found.controller.uses_truth else ""
        print(f"  {name:<{width}}  {found.controller.title}{truth} [{found.origin}]")
    print(f"\n{CAUTION}")
    return 0


def _driven(driver: Driver) -> str:
    """Say in a few words what a driver does with the handle of a brake of three steps."""
    names = {0: "release", 4: "emergency"}
    said = [names.get(one.position, f"step {one.position}") for one in driver.programme]
    moves = ", ".join([*said[:5], *(["..."] if len(said) > 5 else [])])
    return f"{moves}; eases when slip control works" if driver.easing is not None else moves


def show_command(arguments: argparse.Namespace) -> int:
    """Print every value of a scenario with unit, mark and source."""
    from slipbench.results.tables import scenario_table

    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
    print(scenario_table(read_scenario(arguments.scenario, arguments), width))
    print(f"\n{CAUTION}")
    return 0

"""The commands `fmu` and `export-fmu`: models of other tools, in and out.

Light to import; whatever is heavy is imported inside the commands.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from slipbench.commands.options import (
    WRITTEN,
    add_compile,
    add_overwrite,
    add_scenario,
    check_range,
    count,
    read_scenario,
    read_strategy,
)
from slipbench.commands.parser import EXCHANGE, Commands
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError


def add_parsers(commands: Commands) -> None:
    """Add the commands."""
    fmu = commands.add_parser(
        "fmu", group=EXCHANGE, help="say what an FMI unit is, and how its variables are bound"
    )
    fmu.add_argument("unit", metavar="FILE.fmu", help="a co-simulation unit, FMI 2.0 or 3.0")
    fmu.add_argument(
        "--guess", metavar="MAP.toml", help="write a mapping, guessed by its variables' names"
    )
    add_overwrite(fmu)
    fmu.set_defaults(act=fmu_command)
    export = commands.add_parser(
        "export-fmu", group=EXCHANGE, help="write a scenario's train, or a strategy, as an FMI unit"
    )
    add_scenario(export, "?")
    export.add_argument("unit", metavar="FILE.fmu", help="the unit to write")
    export.add_argument("--strategy", metavar="A", help=f"this strategy, not a train: {WRITTEN}")
    export.add_argument("--fmi", type=int, choices=(2, 3), default=2, help="2.0 or 3.0 (2)")
    which = export.add_mutually_exclusive_group()
    which.add_argument(
        "--vehicle", type=count, metavar="N", help="slip control of this vehicle alone is outside"
    )
    which.add_argument("--train-wide", action="store_true", help="one controller samples all axles")
    export.add_argument(
        "--dynamic", action="store_true", help="slip control outside commands the dynamic brake too"
    )
    export.add_argument(
        "--axles", type=count, default=4, metavar="N", help="most axles of a strategy's vehicle (4)"
    )
    export.add_argument(
        "--seeds", type=count, default=64, metavar="N", help="equipment of so many seeds (64)"
    )
    export.add_argument(
        "--native", action="store_true", help="compile for this processor, not for any of its kind"
    )
    add_compile(export)
    add_overwrite(export)
    export.set_defaults(act=export_command)


def fmu_command(arguments: argparse.Namespace) -> int:
    """Print what a unit says of itself; write a mapping where one is asked for. It is not run."""
    from slipbench.exchange.guess import guess_text
    from slipbench.results.files import named_path, refuse_foreign, refuse_input, write_file
    from slipbench.strategies.foreign import is_unit
    from slipbench.strategies.units.unit import mapping_text, read_description_of

    if not is_unit(arguments.unit):
        raise InputError(f"{arguments.unit}: write the path of an FMI unit, FILE.fmu")
    path = Path(arguments.unit).absolute()
    description = read_description_of(path)
    n_tuned = len(description.of("parameter", "structuralParameter"))
    print(
        f"{description.name}: FMI {description.version} co-simulation, "
        f"made by {description.tool or 'nobody named'}\n"
        f"  {len(description.of('input'))} inputs, {len(description.of('output'))} outputs, "
        f"{n_tuned} parameters"
    )
    if arguments.guess is not None:
        target = named_path(arguments.guess, "--guess")
        refuse_input(target, "--guess", [str(path)])
        refuse_foreign(target, arguments.overwrite)
        write_file(target, guess_text(description, path.name).encode())
        print(f"wrote {target}: read it, correct it; it counts as {path.stem}.map.toml beside it")
    else:
        print(mapping_text(path, description))
    print(
        f"\nA unit runs with your rights: it can read, write and crash whatever you can.\n{CAUTION}"
    )
    return 0


MOST_SEEDS = 1000
"""Seeds whose equipment one unit may hold."""


def export_command(arguments: argparse.Namespace) -> int:
    """Write a train or a strategy as a unit."""
    from slipbench.exchange.building import built_for, compiler
    from slipbench.results.files import named_path, refuse_foreign, write_file
    from slipbench.strategies.foreign import is_unit

    if (not arguments.scenario) == (arguments.strategy is None):
        raise InputError("export-fmu: name a scenario, or a strategy by --strategy, not both")
    if not is_unit(arguments.unit):
        raise InputError(f"{arguments.unit}: write the path of the unit, FILE.fmu")
    target = named_path(arguments.unit, "FILE.fmu")
    refuse_foreign(target, arguments.overwrite)
    compiler()  # refused before anything is computed
    content = _strategy(arguments) if arguments.strategy is not None else _train(arguments)
    write_file(target, content)
    print(
        f"wrote {target}: FMI {arguments.fmi}.0 co-simulation, {len(content) / 1000:.0f} kB\n"
        f"  for {built_for(arguments.native)}\n\n{CAUTION}"
    )
    return 0


def _strategy(arguments: argparse.Namespace) -> bytes:
    from slipbench.exchange.strategy_unit import strategy_unit

    known = read_strategy(arguments.strategy, arguments.compile)
    return strategy_unit(
        known.controller, arguments.fmi, arguments.axles, is_native=arguments.native
    )


def _train(arguments: argparse.Namespace) -> bytes:
    from slipbench.exchange.train_unit import Wanted, check_speed, train_unit

    check_range("--seeds", arguments.seeds, 1, MOST_SEEDS)
    wanted = Wanted(
        read_scenario(arguments.scenario, arguments),
        arguments.fmi,
        arguments.vehicle,
        arguments.train_wide,
        arguments.dynamic,
        arguments.seeds,
        arguments.native,
    )
    check_speed(wanted)
    if sys.stderr is not None and sys.stderr.isatty():
        print("slipbench: compiling the physics for the unit, once ...", file=sys.stderr)
    return train_unit(wanted)

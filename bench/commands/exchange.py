"""The commands `fmu` and `export-fmu`: models of other tools, in and out.

Light to import; whatever is heavy is imported inside the commands.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from slipbench.commands.options import add_overwrite
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

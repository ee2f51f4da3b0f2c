"""Options that mean the same in every command, and how what they name is read.

`--train`, `--rail`, `--driver`, `--speed` and `--set` change the scenario a command reads, so each
command reads scenarios by `read_scenario`; `--strategy` names strategies, read by `read_strategies`
or `read_strategy`.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from slipbench.ground.errors import InputError
from slipbench.ground.telling import shown

if TYPE_CHECKING:
    from slipbench.scenario import Scenario
    from slipbench.strategies.registry import Known

FOLDER = Path("slipbench-results")
"""Where results go unless another folder is named: each command has its own inside."""

MOST_WORKERS = 1024
"""Processes a command may be told to start."""

MOST_SEEDS = 10_000

WRITTEN = "NAME[:KEY=VALUE...] or FILE[:NAME][:KEY=VALUE...]"
"""How a strategy is written."""

_CHANGES = ("train", "rail", "driver", "speed")


def add_scenario(
    parser: argparse.ArgumentParser, number: str = "1", more: str = "", default: str = ""
) -> None:
    """Add the scenarios of a command, and the options that change them.

    Parameters
    ----------
    parser : ArgumentParser
    number : str   "1" one, "?" one or none (then `default`), "+" one or more, "*" none or more
    more : str     what the help of `--speed` says beside
    default : str  the scenario where none is named
    """
    if number == "1":
        parser.add_argument("scenario", metavar="SCENARIO", help="a shipped name or a TOML file")
    elif number == "?":
        text = "a shipped name or a TOML file" + (f" ({default})" if default else "")
        parser.add_argument("scenario", nargs="?", default=default, metavar="SCENARIO", help=text)
    else:
        text = "shipped names or TOML files" + (" (all shipped)" if number == "*" else "")
        parser.add_argument("scenarios", nargs=number, metavar="SCENARIO", help=text)
    group = parser.add_argument_group("the scenario")
    for part, brought in (
        ("train", "train, with brake, slip control, sensing and sanders: a shipped train,"),
        ("rail", "rail, with the contact on it and its gradients and curves:"),
        ("driver", "driver: a shipped driver,"),
    ):
        group.add_argument(
            f"--{part}", metavar="FILE|NAME", help=f"another {brought} a scenario, or a file of one"
        )
    group.add_argument("--speed", help=f"start from this speed, with its unit, such as 75mph{more}")
    group.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="KEY=VALUE",
        help="set one value, with its unit, such as brake.emergency=1.1m/s2; may be repeated",
    )


def add_strategy(
    parser: argparse.ArgumentParser,
    *,
    default: str | None = None,
    several: bool = False,
    every: bool = False,
) -> None:
    """Add `--strategy`, and `--compile` for what it names.

    Parameters
    ----------
    parser : ArgumentParser
    default : str or None   the strategy where none is named
    several : bool          more than one may be named, with commas between
    every : bool            where none is named all shipped ones are meant; else one must be named,
                            unless there is a default
    """
    left_out = "all shipped" if every else default
    parser.add_argument(
        "--strategy",
        default=default,
        required=not every and default is None,
        metavar="A[,B]" if several else "A",
        help=f"{WRITTEN}{f' ({left_out})' if left_out else ''}",
    )
    add_compile(parser)


def add_compile(parser: argparse.ArgumentParser) -> None:
    """Add `--compile`."""
    parser.add_argument("--compile", action="store_true", help="compile strategies read from .py")


def add_seed(parser: argparse.ArgumentParser) -> None:
    """Add `--seed`, the seed of one stop."""
    parser.add_argument("--seed", type=seed_number, default=0, help="of sampling and teeth (0)")


def add_seeds(parser: argparse.ArgumentParser, default: int | None = 1, text: str = "1") -> None:
    """Add `--seeds`, how often each pair of scenario and strategy is run."""
    parser.add_argument(
        "--seeds",
        type=whole_number,
        default=default,
        metavar="N",
        help=f"runs of each pair ({text})",
    )


def add_workers(parser: argparse.ArgumentParser) -> None:
    """Add `--workers`."""
    parser.add_argument("--workers", type=whole_number, metavar="N", help="processes (one a core)")


def add_out(parser: argparse.ArgumentParser, command: str) -> None:
    """Add `--out`, the folder for the results of a command."""
    parser.add_argument("--out", metavar="DIR", help=f"folder for the results ({FOLDER / command})")
    add_overwrite(parser)


def add_overwrite(parser: argparse.ArgumentParser) -> None:
    """Add `--overwrite`: a command replaces what it wrote itself, and nothing else without it."""
    parser.add_argument(
        "--overwrite", action="store_true", help="replace files not written here, or changed since"
    )


def files_read(arguments: argparse.Namespace) -> list[str]:
    """Return what a command line names that may be files it reads, strategies as written."""
    names = [*getattr(arguments, "scenarios", []), getattr(arguments, "scenario", None)]
    names += [getattr(arguments, part, None) for part in ("train", "rail", "driver", "limits")]
    names += (getattr(arguments, "strategy", None) or "").split(",")
    return [name.strip() for name in names if name]


def add_stop_limit(parser: argparse.ArgumentParser) -> None:
    """Add the limit by the clock for one stop."""
    parser.add_argument(
        "--stop-limit",
        metavar="TIME",
        help="what one stop may take by the clock before it counts as failed, such as 60s; "
        "or none (30min)",
    )


def stop_limit(arguments: argparse.Namespace) -> float:
    """Return the limit by the clock for one stop. [s]"""
    from slipbench.running.limit import DEFAULT_LIMIT, parse_limit

    return DEFAULT_LIMIT if arguments.stop_limit is None else parse_limit(arguments.stop_limit)


def add_stop_arguments(
    parser: argparse.ArgumentParser,
    command: str,
    strategy: str = "slip_band",
    several: bool = False,
) -> None:
    """Add the arguments of a command that runs one stop: scenario, strategy, seed, folder.

    Parameters
    ----------
    parser : ArgumentParser
    command : str    its folder inside `FOLDER`
    strategy : str   where none is named
    several : bool   it takes more than one strategy
    """
    add_scenario(parser)
    add_strategy(parser, default=strategy, several=several)
    add_seed(parser)
    add_out(parser, command)


def whole_number(text: str) -> int:
    """Read a whole number from 0; argparse prints the message."""
    if not (text.isascii() and text.isdigit() and len(text) < 20):
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number from 0")
    return int(text)


def seed_number(text: str) -> int:
    """Read a seed; argparse prints the message."""
    value = whole_number(text)
    if value >= 2**63:
        raise argparse.ArgumentTypeError(f"{text!r}; allowed: a whole number from 0 to 2**63 - 1")
    return value


def count(text: str) -> int:
    """Read a whole number from 1; argparse prints the message."""
    value = whole_number(text)
    if not 1 <= value <= 10_000_000:
        raise argparse.ArgumentTypeError(f"{text!r}; allowed: 1 to 10000000")
    return value


def positive(text: str) -> float:
    """Read a number above 0; argparse prints the message."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not value > 0.0:
        raise argparse.ArgumentTypeError(f"{text!r} is no number above 0")
    return value


def check_range(name: str, value: int, low: int, high: int) -> None:
    """Refuse a whole number out of its range."""
    if not low <= value <= high:
        raise InputError(f"{name} = {value}; allowed: {low} to {high}")


def check_seeds(n_seeds: int, most: int = MOST_SEEDS) -> None:
    """Refuse `--seeds` out of range."""
    check_range("--seeds", n_seeds, 1, most)


def check_workers(n_workers: int | None) -> None:
    """Refuse `--workers` out of range."""
    if n_workers is not None:
        check_range("--workers", n_workers, 1, MOST_WORKERS)


def read_scenario(name: str, arguments: argparse.Namespace, speed: str | None = None) -> Scenario:
    """Return a scenario with the changes the options ask for, told in its title.

    Parameters
    ----------
    name : str            a shipped name or a TOML file
    arguments : Namespace with what `add_scenario` added
    speed : str or None   instead of `--speed`

    Raises
    ------
    InputError
    """
    from slipbench.scenario import load_scenario, parse_speed
    from slipbench.scenario.assemble import with_values

    parts = {part: getattr(arguments, part) for part in ("train", "rail", "driver")}
    scenario = with_values(load_scenario(name.strip(), **parts), arguments.set)
    speed = arguments.speed if speed is None else speed
    if speed is None:
        return scenario
    start = parse_speed(speed)
    title = f"{scenario.title} (started from {start:.2f} m/s instead)"
    return scenario.replace(initial_speed=start, title=title)


def scenario_words(arguments: argparse.Namespace) -> list[str]:
    """Return the options of `add_scenario` as they were typed, scenarios apart."""
    words: list[str] = []
    for name in _CHANGES:
        value = getattr(arguments, name)
        words += [f"--{name}", value] if value is not None else []
    for text in arguments.set:
        words += ["--set", text]
    return words


def split_names(text: str) -> list[str]:
    """Return the strategies of an option's text."""
    names = [name.strip() for name in text.split(",")]
    if not all(names):
        raise InputError(f"--strategy {shown(text)}: a name is empty; write them as a,b")
    return names


def read_strategies(text: str | None, compile_files: bool) -> list[Known]:
    """Return the strategies an option names; all shipped ones where it was not given."""
    from slipbench.strategies.registry import find_controller

    if text is None:
        return shipped_strategies()
    return [find_controller(name, compile_file=compile_files) for name in split_names(text)]


def read_strategy(text: str, compile_files: bool) -> Known:
    """Return the one strategy an option names."""
    return read_strategies(one_name(text), compile_files)[0]


def one_name(text: str) -> str:
    """Return the text of an option that names one strategy."""
    if len(split_names(text)) > 1:
        raise InputError(f"--strategy {shown(text)}: this command takes one strategy")
    return text


def shipped_strategies() -> list[Known]:
    """Return the shipped strategies."""
    from slipbench.strategies.registry import known_controllers

    shipped = [known for known in known_controllers().values() if known.is_shipped]
    if not shipped:
        raise InputError(
            "no strategies are installed; install the package (python -m pip install -e .)"
        )
    return shipped


def read_settings(
    text: str | None, compile_files: bool
) -> tuple[list[Known], Sequence[str | None] | None]:
    """Return strategies under their own names, parameters set, and the labels that tell them apart.

    Returns
    -------
    list of Known
    labels : None where nothing was named, else one for each strategy, None where nothing was set
    """
    if text is None:
        return shipped_strategies(), None
    from slipbench.campaign.tuning.tuned_reader import find_setting

    found = [find_setting(name, compile_file=compile_files) for name in split_names(text)]
    return [known for known, _ in found], [label for _, label in found]


def read_setting(text: str, compile_files: bool) -> Known:
    """Return one strategy under its own name, parameters set."""
    return read_settings(one_name(text), compile_files)[0][0]

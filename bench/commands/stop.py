"""The command `stop`: one stop."""

from __future__ import annotations

import argparse
import json
from typing import TextIO

from slipbench.commands.line import get_ready, result_stream
from slipbench.commands.options import (
    add_scenario,
    add_seed,
    add_stop_limit,
    add_strategy,
    read_scenario,
    read_strategy,
    stop_limit,
)
from slipbench.commands.parser import ONE_STOP, Commands


def add_parsers(commands: Commands) -> None:
    """Add the command."""
    stop = commands.add_parser("stop", group=ONE_STOP, help="run one stop")
    add_scenario(stop)
    add_strategy(stop)
    add_seed(stop)
    add_stop_limit(stop)
    stop.add_argument("--json", action="store_true", help="print the summary as JSON only")
    stop.set_defaults(act=stop_command)


def stop_command(arguments: argparse.Namespace) -> int:
    """Run one stop and print it."""
    with result_stream(arguments.json) as result:
        return _stop(arguments, result)


def _stop(arguments: argparse.Namespace, result: TextIO) -> int:
    scenario = read_scenario(arguments.scenario, arguments)
    known = read_strategy(arguments.strategy, arguments.compile)
    limit = stop_limit(arguments)
    get_ready(["slipbench.running.runner"], ["loop.run_compiled"], [known])
    from slipbench.running.runner import run_stop, stop_record

    stop = run_stop(scenario, known, arguments.seed, stop_limit=limit)
    record = json.dumps(stop_record(stop), indent=1, allow_nan=False) if arguments.json else stop
    print(record, file=result)
    return 0

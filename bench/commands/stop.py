"""The command `stop`: one stop."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TextIO

from slipbench.commands.line import get_ready, result_stream
from slipbench.commands.options import (
    add_overwrite,
    add_scenario,
    add_seed,
    add_stop_limit,
    add_strategy,
    files_read,
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
    stop.add_argument(
        "--log",
        metavar="FILE",
        help="write what a recorder would hold, as .csv, .mf4, .parquet or .tdms",
    )
    stop.add_argument(
        "--traces", metavar="FILE", help="write everything traced, heads with units: .csv, .parquet"
    )
    add_overwrite(stop)
    stop.set_defaults(act=stop_command)


def stop_command(arguments: argparse.Namespace) -> int:
    """Run one stop and print it."""
    with result_stream(arguments.json) as result:
        return _stop(arguments, result)


def _stop(arguments: argparse.Namespace, result: TextIO) -> int:
    scenario = read_scenario(arguments.scenario, arguments)
    known = read_strategy(arguments.strategy, arguments.compile)
    limit = stop_limit(arguments)
    log, traces = _log_file(arguments), _trace_file(arguments)
    get_ready(["slipbench.running.runner"], ["loop.run_compiled"], [known])
    from slipbench.running.runner import run_stop, stop_record

    is_traced = log is not None or traces is not None
    stop = run_stop(scenario, known, arguments.seed, with_traces=is_traced, stop_limit=limit)
    if log is not None:
        from slipbench.measured.writing import write_log

        write_log(stop, log)
    if traces is not None:
        from slipbench.stop.trace_file import write_traces

        write_traces(stop, traces)
    record = json.dumps(stop_record(stop), indent=1, allow_nan=False) if arguments.json else stop
    print(record, file=result)
    for file in (log, traces):
        if file is not None:
            print(f"written to {file}", file=sys.stderr if arguments.json else result)
    return 0


def _log_file(arguments: argparse.Namespace) -> Path | None:
    """Return the file `--log` names, refused before anything is computed if it cannot serve."""
    if arguments.log is None:
        return None
    from slipbench.measured.writing import check_log_file
    from slipbench.results.files import named_path

    file = named_path(arguments.log, "--log")
    check_log_file(file, arguments.overwrite)
    return file


def _trace_file(arguments: argparse.Namespace) -> Path | None:
    """Return the file `--traces` names, refused before anything is computed if it cannot serve."""
    if arguments.traces is None:
        return None
    from slipbench.results.files import named_path, refuse_input
    from slipbench.stop.trace_file import check_trace_file

    file = named_path(arguments.traces, "--traces")
    check_trace_file(file, arguments.overwrite)
    refuse_input(file, "--traces", files_read(arguments))
    return file

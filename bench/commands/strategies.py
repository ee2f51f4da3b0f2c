"""The commands `check-strategy` and `native`: for whoever brings own code.

Light to import; whatever is heavy is imported inside the commands.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from slipbench.commands.line import get_ready
from slipbench.commands.options import WRITTEN, add_compile, add_seed, read_strategy
from slipbench.commands.parser import EXCHANGE, JUDGE, Commands
from slipbench.ground.caution import CAUTION

if TYPE_CHECKING:
    from slipbench.conformance import Evidence
    from slipbench.conformance.checks import Check

REFUTED = 1
"""Exit code when a check refutes a claim."""


def add_parsers(commands: Commands) -> None:
    """Add the commands."""
    check = commands.add_parser(
        "check-strategy", group=JUDGE, help="run the conformance suite over a strategy"
    )
    check.add_argument("strategy", metavar="STRATEGY", help=WRITTEN)
    add_compile(check)
    add_seed(check)
    check.set_defaults(act=check_command)
    native = commands.add_parser(
        "native", group=EXCHANGE, help="say where the C header and its example are"
    )
    native.set_defaults(act=native_command)


def check_command(arguments: argparse.Namespace) -> int:
    """Run every check over one strategy, a line each; return 1 if one refutes a claim."""
    known = read_strategy(arguments.strategy, arguments.compile)
    get_ready(["slipbench.conformance"], ["loop.run_compiled", "plain.advance_compiled"])
    from slipbench.conformance import CHECKS, Evidence

    print(f"{known.controller.name} [{known.origin}]: {known.controller.title}")
    evidence = Evidence(known.controller, seed=arguments.seed, runs_compiled=known.runs_compiled)
    states = [_check(check, evidence, known.runs_compiled) for check in CHECKS]
    n_refuted, n_tried = states.count("FAIL"), len(states) - states.count("skip")
    print(
        f"\n{n_tried - n_refuted} of {n_tried} checks passed"
        + (f", {n_refuted} refuted" if n_refuted else "")
        + ". They try a few thousand calls: they can refute a claim, never prove it.\n"
        + f"\n{CAUTION}"
    )
    return REFUTED if n_refuted else 0


def _check(check: Check, evidence: Evidence, is_compiled: bool) -> str:
    """Run and print one check; return its state: `ok`, `skip` or `FAIL`."""
    from slipbench.conformance import run_check

    if check.needs_compiled and not is_compiled:
        state, text = "skip", " (runs as plain Python; --compile checks it compiled)"
    else:
        finding = run_check(check, evidence)
        text = f": {' '.join(finding.problem.split())}" if finding else ""
        state = "ok" if finding is None else "FAIL"
    print(f"  {state:4}  {check.name}{text}", flush=True)
    return state


def native_command(arguments: argparse.Namespace) -> int:
    """Print where the header and the example are, and how to compile."""
    from slipbench.strategies.native import native_folder

    folder = native_folder()
    example = folder / "examples" / "slip_band.c"
    print(
        f"header   {folder / 'slipbench.h'}\n"
        f"example  {example}\n\n"
        f"cc -std=c99 -O2 -ffp-contract=off -shared -fPIC -I '{folder}' '{example}' "
        "-o my_control.so\n"
        "slipbench check-strategy ./my_control.so\n"
        "slipbench compare wet_leaf --strategy ./my_control.so,slip_band\n\n"
        "Native code runs with your rights: it can read, write and crash whatever you can."
    )
    return 0

"""The commands `check-controller` and `native`: for whoever brings own code.

Light to import; whatever is heavy is imported inside the commands.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from slipbench.commands.line import get_ready
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError

if TYPE_CHECKING:
    from slipbench.conformance import Evidence
    from slipbench.conformance.checks import Check

REFUTED = 1
"""Exit code when a check refutes a claim."""


def add_parsers(subparsers: Any) -> None:
    """Add the commands to a command line's subparsers."""
    check = subparsers.add_parser(
        "check-controller", help="run the conformance suite over a strategy"
    )
    check.add_argument(
        "controller",
        metavar="CONTROLLER",
        help="a name, path/to/file.py (with :NAME if it holds several), or a shared library",
    )
    check.add_argument(
        "--compile", action="store_true", help="check a file's strategy compiled as well"
    )
    check.add_argument("--seed", type=int, default=0, help="of the recorded stop (0)")
    check.set_defaults(act=check_command)
    native = subparsers.add_parser("native", help="say where the C header and its example are")
    native.set_defaults(act=native_command)


def check_command(arguments: argparse.Namespace) -> int:
    """Run every check over one strategy, a line each; return 1 if one refutes a claim."""
    from slipbench.strategies.registry import find_controller, only_controller

    if arguments.seed < 0:
        raise InputError(f"--seed {arguments.seed}; allowed: 0 or more")
    known = find_controller(only_controller(arguments.controller), compile_file=arguments.compile)
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
        "slipbench check-controller ./my_control.so\n"
        "slipbench compare wet_leaf --controllers ./my_control.so,slip_band\n\n"
        "Native code runs with your rights: it can read, write and crash whatever you can."
    )
    return 0

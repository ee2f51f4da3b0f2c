"""Try a library in a process of its own: `python -m slipbench.strategies.native.trial PATH HASH`.

Exit code 0: it may be used; 2: one line says why not; anything else: it crashed, and the last line
printed says what it was doing.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from slipbench.contract import OBSERVED, SIGNALS, Controller
from slipbench.ground.errors import InputError
from slipbench.kernel.columns import N_MEASURED
from slipbench.strategies.native.library import NativeUpdate, describe, stray_text

SIZES = (1, 2, 4, 16, 48)
"""Numbers of axles tried."""

SPEEDS = (0.0, 0.01, 1.0, 29.0, 30.0, 200.0)
"""Measured wheel speeds tried. [m/s]"""

N_CALLS = 200


def main(path: Path, digest: str) -> int:
    """Describe and call the library; return the exit code."""
    try:
        print("asking what it is", flush=True)
        controller = describe(path, digest)
        for n_axles in SIZES:
            print(f"calling it with {n_axles} axles", flush=True)
            _call(controller, NativeUpdate(path, digest), n_axles)
    except InputError as problem:
        print(problem, file=sys.stderr)
        return 2
    return 0


def _call(controller: Controller, update: NativeUpdate, n_axles: int) -> None:
    parameters = controller.parameter_values
    generator = np.random.default_rng(0)
    memory = np.zeros((n_axles + 1, controller.n_memory))
    command = np.tile([0.0, *[1.0] * (controller.n_command - 1)], (n_axles, 1))
    signals = np.zeros(len(SIGNALS))
    for i_call in range(N_CALLS):
        observation = np.full((n_axles, len(OBSERVED)), np.nan)
        observation[:, 0] = generator.choice(SPEEDS, n_axles) if i_call else 30.0
        force = generator.choice([0.0, 1e4])
        seen = (generator.choice([0.0, 3e5]), generator.random(), 0.01, force, force)
        observation[:, 1:N_MEASURED] = seen
        update.plain(observation, parameters, memory, command, signals)
        strayed = stray_text(float(command[0, 1]))
        if strayed:
            raise InputError(
                f"strategy {controller.name}: {strayed} in a trial, call {i_call} "
                f"with {n_axles} axles"
            )


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), sys.argv[2]))

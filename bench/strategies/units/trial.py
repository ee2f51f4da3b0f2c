"""Try a unit in a process of its own: `python -m slipbench.strategies.units.trial PATH HASH`.

Exit code 0: it may be used; 2: one line says why not; anything else: it crashed, and the last line
printed says what it was doing.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from slipbench.contract import (
    DEMAND,
    OBSERVED,
    PRESSURE,
    SAMPLE_TIME,
    SIGNALS,
    WHEEL_SPEED,
    Controller,
)
from slipbench.exchange import calls
from slipbench.ground.errors import InputError
from slipbench.kernel.columns import N_MEASURED
from slipbench.strategies.units.unit import UnitUpdate, describe

SPEEDS = (0.0, 0.01, 1.0, 29.0, 30.0, 200.0)
"""Measured wheel speeds tried. [m/s]"""

N_CALLS = 100


def main(path: Path, digest: str) -> int:
    """Load the unit and call it; return the exit code."""
    try:
        print("reading what it is", flush=True)
        controller = describe(path, digest)
        update = UnitUpdate(path, digest)
        found = update.instances.found
        own_step = found.step or update.instances.description.own_step or 0.01
        for n_axles in sorted({1, 2, 4, found.axles} if found.axle_count else {found.axles}):
            if n_axles <= found.axles:
                print(f"calling it with {n_axles} axles", flush=True)
                _call(controller, update, n_axles, own_step)
        print("letting it go", flush=True)
    except InputError as problem:
        print(problem, file=sys.stderr)
        return 2
    return 0


def _call(controller: Controller, update: UnitUpdate, n_axles: int, sample_time: float) -> None:
    parameters = controller.parameter_values
    generator = np.random.default_rng(0)
    memory = np.zeros((n_axles + 1, controller.n_memory))
    command, signals = np.ones((n_axles, controller.n_command)), np.zeros(len(SIGNALS))
    for i_call in range(N_CALLS):
        observation = np.full((n_axles, len(OBSERVED)), np.nan)
        observation[:, :N_MEASURED] = 0.0
        observation[:, WHEEL_SPEED] = generator.choice(SPEEDS, n_axles) if i_call else 30.0
        observation[:, PRESSURE] = generator.choice([0.0, 3e5])
        observation[:, DEMAND], observation[:, SAMPLE_TIME] = generator.random(), sample_time
        update(observation, parameters, memory, command, signals)
        if command[0, 1] == calls.REFUSED:
            raise InputError(f"{update.complaint(calls.REFUSED)} (in a trial, call {i_call})")
    update.release(memory)


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), sys.argv[2]))

"""Run the command line inside this process."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from slipbench.commands.main import main

STRATEGY = """
from slipbench.contract import DEMAND_FACTOR, FILL, VALVE, VENT, Controller

NUMBER = 7


def update(observation, parameters, memory, command, signals):
    for i_axle in range(command.shape[0]):
        is_fast = observation[i_axle, 0] > 4.0
        command[i_axle, VALVE] = VENT if is_fast and memory[i_axle, 0] > 20.0 else FILL
        command[i_axle, DEMAND_FACTOR] = 1.0
        memory[i_axle, 0] = (memory[i_axle, 0] + 1.0) % 40.0


MINE = Controller(name="mine", title="vents now and then", update=update)
"""
"""A strategy as a user would write it; it does something, so that its stop is its own."""


@dataclass(frozen=True)
class Ran:
    code: int
    out: str
    err: str


Run = Callable[..., Ran]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def run_line(*argv: object) -> Ran:
        code = main([str(word) for word in argv])
        captured = capsys.readouterr()
        return Ran(code, captured.out, captured.err)

    return run_line


@pytest.fixture
def strategy_file(tmp_path: Path) -> Path:
    path = tmp_path / "own.py"
    path.write_text(STRATEGY)
    return path

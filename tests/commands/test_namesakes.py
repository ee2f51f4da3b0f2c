"""In a folder full of a user's own packages with our folders' names every command works."""

import subprocess
import sys
from pathlib import Path

import pytest

from slipbench.commands.main import make_parser

NAMES = ("bench", "controllers", "experiments", "tests")

QUICK = {
    "completion": "bash",  # which asks for scenarios, strategies and experiments
    "stop": "dry --strategy none --speed 5mph",
}
"""Lines of the commands that always run."""

LINES = {
    "list": "",
    "show": "wet",
    "new": "train own_unit.toml",
    "keys": "brake",
    "check": "own_unit.toml",
    "native": "",
    "guide": "",
    "experiment": "disc_or_tread --quick",
    "picture": "wet_leaf --speed 5mph",
    "playback": "wet_leaf --strategy none,slip_band --speed 5mph",
    "practice": "--help",  # it serves until it is interrupted
    "lesson": "holding",
    "creep": "wet_leaf",
    "conditioning": "wet_leaf --speed 5mph",
    "compare": "wet_leaf dry --strategy none,slip_band --speed 5mph --workers 2",
    "report": "slipbench-results/compare",
    "sweep": "film.friction=0.5x:1x:2 wet_leaf --strategy none --speed 5mph --seeds 1 --workers 1",
    "campaign": "wet_leaf --strategy none --speed 5mph --workers 2 --quiet",
    "tune": "wet_leaf --strategy speed_difference --budget 60 --training 1 --held-out 1 "
    "--speed 5mph --workers 1 --quiet",
    "tune-all": "wet_leaf --strategy speed_difference --budget 60 --training 1 --held-out 1 "
    "--speed 5mph --workers 1 --quiet",
    "sensitivity": "wet_leaf --strategy slip_band --vary film.friction=0.5:1 --size 1 "
    "--speed 5mph --workers 1 --quiet",
    "worst-rail": "wet_leaf --strategy none --budget 13 --patches 1 --harm distance --speed 5mph "
    "--workers 1 --quiet",
    "verdict": "wet_leaf --strategy none,slip_band --size 4 --nodes 2 --each 2 --speed 5mph "
    "--workers 1 --quiet",
    "overrun": "wet_leaf --strategy none --marker 5m --count 4 --speed 5mph --workers 1 --quiet",
    "export-fmu": "wet_leaf train.fmu --speed 5mph",
    "fmu": "train.fmu",
    "backup": "slipbench-results/campaign.sqlite --to copy.sqlite",
    "mend": "slipbench-results/campaign.sqlite --to mended.sqlite",
    "best-found": "dry --speed 5mph --seeds 1 --workers 1",
    "hold-or-ease": "wet_leaf --strategy slip_band --speed 5mph --draws 3 --workers 1 --quiet",
    "route": "elderwick --confidence 50% --draws 3 --workers 2 --quiet",
    "log": "log.csv",
    "reproduce": "slid.csv --train wet_leaf --rail wet_leaf",
    "identify": "slid.csv --train wet_leaf --to found.toml --draws 1",
    "whatif": "slid.csv --train wet_leaf --rail found.toml --strategy none",
    "braking-points": "--quick --as-shipped --speed 5mph --confidence 50% --draws 3 --workers 1",
    "assess": "wet_leaf --strategy none --quick",
    "check-strategy": "own.py",
} | QUICK

LOG = "time_s,axle 1 [m/s],axle 2 [m/s]\n" + "".join(
    f"{0.1 * i},{9 - 0.05 * i},{9 - 0.05 * i}\n" for i in range(60)
)

OWN = """
from slipbench import DEMAND_FACTOR, FILL, VALVE, Controller

def update(observation, parameters, memory, command, signals):
    for i_axle in range(command.shape[0]):
        command[i_axle, VALVE] = FILL
        command[i_axle, DEMAND_FACTOR] = 1.0

MINE = Controller(name="mine", title="no slip control", update=update, observes=())
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in NAMES:
        (tmp_path / name).mkdir()
        (tmp_path / name / "__init__.py").write_text(
            f"raise RuntimeError('the user owns {name}')\n"
        )
    (tmp_path / "own.py").write_text(OWN)
    (tmp_path / "log.csv").write_text(LOG)
    return tmp_path


def run_in(folder: Path, name: str, line: str) -> None:
    """Run a command as a module, so that the folder comes first on the path."""
    words = [sys.executable, "-m", "slipbench", name, *line.split()]
    done = subprocess.run(words, cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, (name, done.stderr)


def test_every_command_has_a_line() -> None:
    assert set(LINES) == {command.name for command in make_parser().commands.all}


def test_light_commands_work_among_namesakes(folder: Path) -> None:
    for name, line in QUICK.items():
        run_in(folder, name, line)


@pytest.mark.slow
def test_every_command_works_among_namesakes(folder: Path) -> None:
    run_in(folder, "stop", "wet_leaf --strategy slip_band --speed 25mph --log slid.csv")
    for name, line in LINES.items():
        run_in(folder, name, line)

"""With --json nothing but JSON reaches stdout, whatever a strategy prints and where it does."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from tests.places import SOURCE_ROOT

from slipbench.commands.main import main

NOISY = """
import os
print("read")
os.system("echo from a child process")

from slipbench import Controller


def update(observation, parameters, memory, command, signals):
    if memory[-1, 0] == 0.0:
        print("called")
        os.write(1, b"written to the descriptor\\n")
    memory[-1, 0] = 1.0
    command[:, 0], command[:, 1] = 0.0, 1.0


def fail(observation, parameters, memory, command, signals):
    print("about to fail")
    command[0, 0] = 7.0


NOISY = Controller(name="noisy", title="prints", update=update)
FAILS = Controller(name="fails", title="prints and fails", update=fail)
"""
NOISES = ("read", "from a child process", "called", "written to the descriptor")
COMPARE = ("compare", "dry", "--speed", "5mph", "--seeds", "1", "--strategy")
STOP = ("stop", "dry", "--speed", "5mph", "--strategy")


@pytest.fixture
def noisy(tmp_path: Path) -> str:
    path = tmp_path / "noisy.py"
    path.write_text(NOISY)
    return str(path)


def run_apart(*words: str) -> subprocess.CompletedProcess[str]:
    """Run the command line in a process of its own, so that its descriptors are its own."""
    path = os.pathsep.join([str(SOURCE_ROOT), os.environ.get("PYTHONPATH", "")])
    return subprocess.run(
        [sys.executable, "-m", "slipbench", *words],
        env={**os.environ, "PYTHONPATH": path},
        capture_output=True,
        text=True,
    )


@pytest.mark.parametrize("workers", ["1", "2"])
def test_a_comparison_prints_json_alone(noisy: str, workers: str) -> None:
    ran = run_apart(*COMPARE, f"{noisy}:NOISY", "--json", "--workers", workers)
    assert ran.returncode == 0, ran.stderr
    assert [row["strategy"] for row in json.loads(ran.stdout)["rows"]] == ["noisy"]
    for noise in NOISES:
        assert noise in ran.stderr


def test_a_stop_prints_json_alone(noisy: str) -> None:
    ran = run_apart(*STOP, f"{noisy}:NOISY", "--json")
    assert ran.returncode == 0, ran.stderr
    assert json.loads(ran.stdout)["strategy"] == "noisy"
    for noise in NOISES:
        assert noise in ran.stderr


@pytest.mark.parametrize("line", [COMPARE, STOP], ids=lambda line: line[0])
def test_an_error_leaves_stdout_empty(noisy: str, line: tuple[str, ...]) -> None:
    ran = run_apart(*line, f"{noisy}:FAILS", "--json")
    assert (ran.returncode, ran.stdout) == (2, "")
    assert "about to fail" in ran.stderr
    assert "valve 7" in ran.stderr.splitlines()[-1]


def test_without_json_what_a_strategy_prints_is_left_alone(noisy: str) -> None:
    ran = run_apart(*STOP, f"{noisy}:NOISY")
    for noise in NOISES:
        assert noise in ran.stdout


def test_stdout_is_given_back(noisy: str, capfd: pytest.CaptureFixture[str]) -> None:
    assert main([*STOP, f"{noisy}:NOISY", "--json"]) == 0
    assert json.loads(capfd.readouterr().out)["strategy"] == "noisy"
    print("printed afterwards")
    os.write(1, b"written afterwards\n")
    out = capfd.readouterr().out
    assert "printed afterwards" in out and "written afterwards" in out


def test_a_reader_that_leaves_is_no_error(noisy: str) -> None:
    line = [sys.executable, "-m", "slipbench", *STOP, f"{noisy}:NOISY", "--json"]
    read_end, write_end = os.pipe()
    os.close(read_end)
    ran = subprocess.run(line, stdout=write_end, stderr=subprocess.PIPE, text=True)
    os.close(write_end)
    assert ran.returncode == 1
    assert "Traceback" not in ran.stderr and "BrokenPipe" not in ran.stderr

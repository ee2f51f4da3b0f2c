"""Completion scripts are made from the parser, and the shells take them."""

import shutil
import subprocess

import pytest

from slipbench.commands.completion import SHELLS, words_of
from slipbench.commands.main import make_parser
from slipbench.scenario import scenario_names

COMMANDS = make_parser().commands.all


@pytest.mark.parametrize("shell", SHELLS)
def test_every_command_and_option_is_in_the_script(shell, run):
    script = run("completion", shell).out
    for command in COMMANDS:
        assert command.name in script
        for word in words_of(command):
            for option in word.options:
                assert (option if shell != "fish" else f" {option.lstrip('-')}") in script
    assert all(name in script for name in scenario_names())


@pytest.mark.parametrize("shell", SHELLS)
def test_the_shell_reads_the_script(shell, run, tmp_path):
    if shutil.which(shell) is None:
        pytest.skip(f"{shell} is not installed")
    path = tmp_path / "script"
    path.write_text(run("completion", shell).out)
    done = subprocess.run([shell, "-n", path], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("comp", {"compare", "completion"}),
        ("stop wet_", {"wet_leaf"}),
        ("stop wet_leaf --strategy none,slip_b", {"none,slip_band"}),
        ("stop wet_leaf --see", {"--seed"}),
        ("campaign wet_leaf --design s", {"sobol"}),
        ("completion z", {"zsh"}),
        ("experiment what_s", {"what_sand_buys"}),
    ],
)
def test_bash_completes(typed, expected, run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    script = tmp_path / "script"
    script.write_text(run("completion", "bash").out)
    ask = (
        'source "$1"; shift; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); _slipbench; '
        'printf "%s\\n" "${COMPREPLY[@]}"'
    )
    words = ["slipbench", *typed.split(" ")]
    done = subprocess.run(
        ["bash", "-c", ask, "bash", script, *words], capture_output=True, text=True, check=True
    )
    assert set(done.stdout.split()) == expected

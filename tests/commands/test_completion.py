"""Completion scripts are made from the parser, and the shells take them."""

import shutil
import subprocess
from pathlib import Path

import pytest

from slipbench.commands.completion import SHELLS, words_of
from slipbench.commands.main import make_parser
from slipbench.guidance.route import shipped_routes
from slipbench.guide.pages import topics
from slipbench.practice.lessons import lesson_names
from slipbench.scenario import driver_names, scenario_names, train_names

COMMANDS = make_parser().commands.all


@pytest.mark.parametrize("shell", SHELLS)
def test_every_command_and_option_is_in_the_script(shell, run):
    script = run("completion", shell).out
    for command in COMMANDS:
        assert command.name in script
        for word in words_of(command):
            for option in word.options:
                assert (option if shell != "fish" else f" {option.lstrip('-')}") in script
    for names in (scenario_names, train_names, driver_names, lesson_names, shipped_routes, topics):
        assert all(name in script for name in names())


WITHOUT_COMPLETION = {
    "", "A,B", "A=W,B=W", "A=X,B=Y", "ADDRESS", "KEY=FROM:TO[:N]", "KEY=LOW:HIGH", "KEY=VALUE",
    "...", "LABEL", "LENGTH", "LOW:HIGH", "M", "N", "NAME", "PART|KEY", "RATIO", "S", "SHARE",
    "SPEED", "STEP", "TEXT", "TIME", "WORDS=SCENARIO",
}  # fmt: skip
"""Numbers, and words that are the user's own."""


@pytest.mark.parametrize("command", COMMANDS, ids=[command.name for command in COMMANDS])
def test_whatever_stands_for_a_name_or_a_file_can_be_completed(command):
    """A new metavar is either known, or listed here as one for which nothing can be offered."""
    for action, word in zip(command.parser._actions, words_of(command), strict=True):
        metavar = action.metavar if isinstance(action.metavar, str) else ""
        if word.takes_value and not word.kind and not word.choices:
            assert metavar in WITHOUT_COMPLETION, word


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
        ("verdict wet_", {"wet_leaf"}),
        ("stop --train two", {"two_cars"}),
        ("stop --driver eas", {"eased_late"}),
        ("route eld", {"elderwick"}),
        ("lesson gau", {"gauge"}),
        ("guide own-t", {"own-train"}),
        ("new dr", {"driver"}),
        ("new driver mi", {"mine.toml"}),
        ("log mi", {"mine.toml"}),
        ("fmu mi", {"mine.toml"}),
        ("export-fmu wet_leaf mi", {"mine.toml"}),
        ("whatif mine.toml --driver held,eas", {"held,eased_late"}),
        ("campaign wet_leaf --out mi", {"mine.toml"}),
    ],
)
def test_bash_completes(typed, expected, run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("mine.toml").touch()
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

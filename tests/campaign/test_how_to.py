"""The engineer's page of the handbook: every command is one the command line takes."""

import re
import shlex
from pathlib import Path

import numpy as np
import pytest
from tests.places import ROOT

from slipbench.campaign.campaign import run_campaign
from slipbench.campaign.factors import read_factor
from slipbench.campaign.objectives import find_objectives
from slipbench.campaign.store import Store
from slipbench.campaign.tuning.tuning import started
from slipbench.commands.main import make_parser
from slipbench.scenario import load_scenario
from slipbench.strategies.registry import find_controller

SECTION = (ROOT / "bench" / "guide" / "engineer.md").read_text(encoding="utf-8")
COMMANDS = re.findall(r"```console\n(.*?)```", SECTION, flags=re.S)[0].splitlines()


@pytest.mark.parametrize("line", COMMANDS, ids=lambda line: " ".join(line.split()[1:3]))
def test_a_command_of_the_how_to_is_understood(line):
    program, *words = shlex.split(line)
    assert program == "slipbench"
    arguments = vars(make_parser().parse_args(words))
    if "objectives" in arguments:
        find_objectives(arguments["objectives"])
    if arguments.get("start"):
        started(find_controller(arguments["strategy"]), arguments["start"])
    for text in arguments.get("vary") or ():
        read_factor(text)
    for name in arguments.get("scenarios") or ():
        assert name.endswith(".toml") or load_scenario(name).name == name


def test_a_file_of_the_how_to_is_made_before_it_is_read():
    made = set()
    for line in COMMANDS:
        words = shlex.split(line)
        read = {name for word in words for name in word.split(",") if name.endswith(".toml")}
        if "--to" in words:
            made.add(words[words.index("--to") + 1])
        assert read <= made
        if words[1] == "tune":
            made.add(Path(words[words.index("--out") + 1]).with_suffix(".toml").name)


def test_the_table_of_the_how_to_works(plan, stub, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with Store("first.sqlite") as store:
        run_campaign(plan, store, stub(), is_quiet=True)
    content: dict = {}
    exec(re.findall(r"```python\n(.*?)```", SECTION, flags=re.S)[0], content)
    assert all(isinstance(column, np.ndarray) for column in content["table"].values())

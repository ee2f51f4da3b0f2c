"""The handbook's page on an own train, every step as a new user would take it."""

import re
import shlex

import pytest
from tests.places import ROOT

from slipbench.commands.main import main
from slipbench.scenario import load_scenario

GUIDE = ROOT / "bench" / "guide" / "own-train.md"


def blocks(kind: str) -> list[str]:
    """Return the blocks of a kind in the page, in order."""
    return re.findall(rf"```{kind}\n(.*?)```", GUIDE.read_text(encoding="utf-8"), flags=re.S)


def run(block: str) -> None:
    for line in block.splitlines():
        program, *words = shlex.split(line)
        more = ["--workers", "1"] if words[0] == "compare" else []
        assert program == "slipbench" and main([*words, *more]) == 0, line


def test_a_new_users_path(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    write, look = blocks("console")
    run(write)
    path = tmp_path / "my_unit.toml"
    text = path.read_text()
    edits = blocks("toml")[0].splitlines()
    assert len(edits) == 5
    for edit in edits:
        key = edit.split(" = ")[0]
        text, n_changed = re.subn(rf"^{key} = .*$", edit, text, flags=re.M)
        assert n_changed >= 1, edit
    path.write_text(text)
    run(look)
    said = capsys.readouterr().out
    assert "step 4" in said and "without a mistake" in said
    scenario = load_scenario("damp_oxide", train="my_unit.toml")
    assert (scenario.sensing.teeth, scenario.brake.n_steps) == (100, 4)
    assert scenario.driver.programme[0].position == 4
    results = tmp_path / "slipbench-results"
    for name in ("check/train.png", "compare/compare.png", "picture/stop_sheet.png"):
        assert (results / name).stat().st_size > 10_000


@pytest.mark.parametrize("i", [1, 2])
def test_files_shown_can_be_used(tmp_path, monkeypatch, i):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "train", "my_unit.toml"]) == 0
    assert main(["new", "rail", "mere.toml"]) == 0
    (tmp_path / "own.toml").write_text(blocks("toml")[i])
    scenario = load_scenario("dry", train="own.toml") if i == 2 else load_scenario("own.toml")
    assert scenario.train.n_axles == 16

"""The handbook's page on an own strategy, every step as a new user would take it."""

import json
import re
import runpy
import shlex
from pathlib import Path

import pytest
from tests.places import ROOT

from slipbench.commands.main import main

GUIDE = ROOT / "bench" / "guide" / "own-strategy.md"


def section() -> str:
    return GUIDE.read_text(encoding="utf-8")


def blocks(kind: str) -> list[str]:
    """Return the code blocks of a kind in the guide, in order."""
    return re.findall(rf"```{kind}\n(.*?)```", section(), flags=re.S)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return an empty folder with the files of the guide, which is also where we are."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.syspath_prepend(tmp_path)
    names = re.findall(r"ave as `(\w+\.py)`", section())
    assert names == ["my_idea.py", "look.py"]
    for name, text in zip(names, blocks("python"), strict=True):
        (tmp_path / name).write_text(text)
    return tmp_path


def test_the_strategy_is_under_thirty_lines() -> None:
    assert len(blocks("python")[0].splitlines()) < 30


def test_every_command_works(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (console,) = blocks("console")
    commands = [shlex.split(line) for line in console.splitlines()]
    assert [words[:2] for words in commands] == [
        ["slipbench", "stop"],
        ["slipbench", "check-strategy"],
        ["slipbench", "compare"],
    ]
    for words in commands:
        more = ["--workers", "1"] if words[1] == "compare" else []
        assert main([*words[1:], *more]) == 0, words
    out = capsys.readouterr().out
    assert "18 of 18 checks passed" in out and "FAIL" not in out
    written = folder / "slipbench-results" / "compare"
    rows = json.loads((written / "compare.json").read_text())["rows"]
    assert list(dict.fromkeys(row["strategy"] for row in rows)) == ["my_idea", "slip_band"]
    assert all(row["vent_count"] > 0 and row["is_stopped"] for row in rows)
    assert (written / "compare.png").stat().st_size > 10_000


def test_the_picture_is_drawn(folder: Path) -> None:
    runpy.run_path(str(folder / "look.py"))
    assert (folder / "my_idea.png").stat().st_size > 10_000


def test_a_refuted_claim_is_exit_code_1(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = folder / "my_idea.py"
    declared = '("measured_wheel_speed", "sample_time")'
    path.write_text(path.read_text().replace(declared, '("sample_time",)'))
    assert main(["check-strategy", "my_idea.py:CONTROLLER"]) == 1
    out = capsys.readouterr().out
    assert "FAIL  observes only what it declares: depends on measured_wheel_speed" in out
    assert "1 refuted" in out


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("from slipbench import Controller\n", "strategies in it: none"),
        ("import nothing_there\n", "No module named"),
    ],
)
def test_a_file_without_a_strategy_is_exit_code_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, part: str
) -> None:
    path = tmp_path / "empty.py"
    path.write_text(text)
    assert main(["check-strategy", str(path)]) == 2
    said = capsys.readouterr().err
    assert part in said and said.count("\n") == 1


def test_unknown_names_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check-strategy", "gone.py"]) == 2
    assert "strategy 'gone.py': no such file" in capsys.readouterr().err
    assert main(["check-strategy", "slip_bend"]) == 2
    assert "slip_band" in capsys.readouterr().err


def test_the_native_command_names_files_that_are_there(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["native"]) == 0
    out = capsys.readouterr().out
    for label in ("header", "example"):
        line = next(line for line in out.splitlines() if line.startswith(label))
        assert Path(line.split(maxsplit=1)[1]).is_file()
    assert "with your rights" in out

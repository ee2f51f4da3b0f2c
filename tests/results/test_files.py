"""Campaign commands never write over a file they did not make, nor over the campaign itself."""

from pathlib import Path

import pytest

from slipbench.commands.main import main
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.results.files import TABLE_MARK, refuse_foreign, write_through

PRECIOUS = "mine, and precious\n"
TUNE = ["tune", "dry", "--strategy", "slip_band", "--budget", "20", "--quiet"]
WORST = ["worst-rail", "dry", "--strategy", "slip_band", "--budget", "2", "--quiet"]
CAMPAIGN = ["campaign", "dry", "--strategy", "none", "--speed", "20mph", "--quiet"]
CASES = {
    "export over a table": ([*CAMPAIGN, "--export", "mine.csv"], "mine.csv"),
    "export over a folder": ([*CAMPAIGN, "--export", "folder"], "is no file"),
    "export into nothing": ([*CAMPAIGN, "--export", "gone/x.csv"], "folder is missing"),
    "export without a name": ([*CAMPAIGN, "--export", ""], "--export ''"),
    "campaign without a name": ([*CAMPAIGN, "--out", ""], "--out ''"),
    "campaign called like its result": ([*TUNE, "--out", "a.toml"], ".sqlite"),
    "settings over a file": ([*TUNE, "--out", "mine.sqlite"], "mine.toml"),
    "picture over a file": ([*TUNE, "--out", "drawn.sqlite"], "drawn.png"),
    "rail over a scenario": ([*WORST, "--out", "w.sqlite", "--to", "mine.toml"], "mine.toml"),
    "rail over the campaign": ([*WORST, "--out", "w.sqlite", "--to", "w.sqlite"], "campaign file"),
    "table over a file": (["tune-all", "dry", "--budget", "99", "--out", "folder"],
                          "table.txt"),
    "branch without a name": ([*CAMPAIGN, "--branch", ""], "--branch ''"),
    "scheduler nowhere": ([*CAMPAIGN, "--out", "c.sqlite", "--scheduler", "x"], "scheduler"),
    "harm unknown": ([*WORST[:-1], "--out", "w.sqlite", "--harm", "zz"], "harm 'zz'"),
    "budget too small": ([*TUNE[:-1], "--out", "t.sqlite"], "at least"),
    "folder is a file": (["tune-all", "dry", "--budget", "99", "--out", "mine.csv"],
                         "cannot be made"),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_foreign_files_are_refused_in_one_line_before_anything_runs(
    case: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("folder").mkdir()
    names = ("mine.csv", "mine.toml", "drawn.png", "folder/table.txt")
    for name in names:
        Path(name).write_text(PRECIOUS)
    argv, words = CASES[case]
    assert main(argv) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith("slipbench: ") and captured.err.count("\n") == 1
    assert words in captured.err
    assert all(Path(name).read_text() == PRECIOUS for name in names)
    assert not list(tmp_path.rglob("*.sqlite"))


def test_own_files_are_replaced_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "own.csv"
    path.write_text(f"{TABLE_MARK}seed\n")
    refuse_foreign(path, TABLE_MARK)
    with pytest.raises(InputError, match="not written by slipbench"):
        refuse_foreign(path, CAUTION)

    def fail(temporary: Path) -> int:
        temporary.write_text("half")
        raise OSError(28, "No space left on device")

    with pytest.raises(InputError, match="No space left"):
        write_through(path, fail)
    assert [one.name for one in tmp_path.iterdir()] == ["own.csv"]
    assert path.read_text() == f"{TABLE_MARK}seed\n"
    assert write_through(path, lambda temporary: temporary.write_text("new")) == 3
    assert path.read_text() == "new"

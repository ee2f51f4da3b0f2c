"""Campaign commands never write over a file they did not make, nor over the campaign itself."""

from pathlib import Path

import pytest

from slipbench.commands.main import main
from slipbench.ground.errors import InputError
from slipbench.results.cells import cell
from slipbench.results.files import (
    OWN_FILES,
    refuse_foreign,
    refuse_input,
    write_file,
    write_through,
)

PRECIOUS = "mine, and precious\n"
TUNE = ["tune", "dry", "--strategy", "slip_band", "--budget", "100", "--quiet"]
WORST = ["worst-rail", "dry", "--strategy", "slip_band", "--budget", "13", "--quiet"]
CAMPAIGN = ["campaign", "dry", "--strategy", "none", "--speed", "20mph", "--quiet"]
CASES = {
    "export over a table": ([*CAMPAIGN, "--export", "mine.csv"], "mine.csv"),
    "export over a folder": ([*CAMPAIGN, "--export", "folder.csv"], "no regular file"),
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
    "budget too small": ([*TUNE, "--budget", "20", "--out", "t.sqlite"], "at least"),
    "folder is a file": (["tune-all", "dry", "--budget", "99", "--out", "mine.csv"],
                         "is no folder"),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_foreign_files_are_refused_in_one_line_before_anything_runs(
    case: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("folder").mkdir()
    Path("folder.csv").mkdir()
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
    write_file(path, b"as it was written")
    refuse_foreign(path)

    def fail(temporary: Path) -> int:
        temporary.write_text("half")
        raise OSError(28, "No space left on device")

    with pytest.raises(InputError, match="No space left"):
        write_through(path, fail)
    assert sorted(one.name for one in tmp_path.iterdir()) == ["own.csv", OWN_FILES]
    assert path.read_text() == "as it was written"
    assert write_through(path, lambda temporary: temporary.write_text("new")) == 3
    assert path.read_text() == "new"
    refuse_foreign(path)


def test_a_file_changed_by_hand_is_the_users(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    write_file(path, b"a = 1\n")
    path.write_text("a = 2  # mine\n")
    with pytest.raises(InputError, match=r"changed since .* --overwrite"):
        refuse_foreign(path)
    refuse_foreign(path, may_overwrite=True)
    foreign = tmp_path / "foreign.toml"
    foreign.write_text("a = 3\n")
    with pytest.raises(InputError, match=r"was not written .* --overwrite"):
        refuse_foreign(foreign)
    for record in ("[]", "{", '{"files": 1}', '{"files": {"own.toml": "x"}}', "[" * 100_000):
        (tmp_path / OWN_FILES).write_text(record)
        with pytest.raises(InputError, match="was not written"):
            refuse_foreign(path)


def test_no_name_is_written_through(tmp_path: Path) -> None:
    """A link under the name of a temporary file, or of the result, leads nowhere."""
    victim = tmp_path / "victim"
    victim.write_text(PRECIOUS)
    path = tmp_path / "own.csv"
    (tmp_path / ".own.csv.part").symlink_to(victim)
    write_file(path, b"new")
    assert victim.read_text() == PRECIOUS and path.read_text() == "new"
    link = tmp_path / "link.csv"
    link.symlink_to(victim)
    for may_overwrite in (False, True):
        with pytest.raises(InputError, match="no regular file"):
            refuse_foreign(link, may_overwrite)


@pytest.mark.parametrize("name", ["n" * 256 + ".csv", "gone/x.csv", "folder.csv"])
def test_a_place_that_takes_no_file_is_refused_before(name: str, tmp_path: Path) -> None:
    (tmp_path / "folder.csv").mkdir()
    with pytest.raises(InputError):
        refuse_foreign(tmp_path / name, may_overwrite=True)


def test_an_input_is_never_an_output(tmp_path: Path) -> None:
    path = tmp_path / "rail.toml"
    path.write_text(PRECIOUS)
    (tmp_path / "same.toml").hardlink_to(path)
    (tmp_path / "own.py").write_text(PRECIOUS)
    for target, source in (
        (path, str(path)),
        (tmp_path / "same.toml", str(path)),
        (tmp_path / "own.py", f"{tmp_path}/own.py:CONTROLLER"),
    ):
        with pytest.raises(InputError, match="is read by this command"):
            refuse_input(target, "--to", ["wet_leaf", source])
    refuse_input(tmp_path / "new.toml", "--to", ["wet_leaf", str(path), "a\0b"])


def test_text_in_a_csv_is_never_a_formula() -> None:
    for text in ("=1+1", "+A1", "-A1", "@x", "\t=1", "\r=1"):
        assert cell(text).startswith("'")
    for value in ("-3.5", "+1e3", "-inf", -3.5, None, True, "a=1"):
        assert cell(value) == value
    assert cell("a\x1b[2Jb") == "a\\x1b[2Jb"

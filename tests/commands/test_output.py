"""Result files: all or none, and never over somebody else's."""

import json
import os

import pytest

import slipbench.results.output
from slipbench.ground.errors import InputError
from slipbench.results.output import check_folder, write_folder

WRITER = "slipbench test"


def write(folder, **files: str):
    data = {name.replace("_", "."): text.encode() for name, text in files.items()}
    return write_folder(folder, data, "record.json", WRITER, {"rows": [1]})


def test_own_files_are_replaced(tmp_path):
    write(tmp_path / "a" / "b", t_csv="one")
    write(tmp_path / "a" / "b", t_csv="two")
    assert (tmp_path / "a" / "b" / "t.csv").read_text() == "two"
    record = json.loads((tmp_path / "a" / "b" / "record.json").read_text())
    assert record["written_by"] == WRITER
    assert record["rows"] == [1]
    assert sorted(path.name for path in (tmp_path / "a" / "b").iterdir()) == [
        "record.json",
        "t.csv",
    ]


def test_file_removed_by_the_user_comes_back(tmp_path):
    write(tmp_path, t_csv="one")
    (tmp_path / "t.csv").unlink()
    write(tmp_path, t_csv="two")
    assert (tmp_path / "t.csv").read_text() == "two"


def test_other_files_stay(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    write(tmp_path, t_csv="one")
    assert (tmp_path / "notes.txt").read_text() == "mine"


def foreign_file(folder):
    (folder / "t.csv").write_text("mine")


def foreign_record(folder):
    (folder / "record.json").write_text('{"written_by": "somebody"}')


def broken_record(folder):
    (folder / "record.json").write_text("[[[")


def edited_file(folder):
    write(folder, t_csv="one")
    (folder / "t.csv").write_text("one, and my remarks")


def folder_of_that_name(folder):
    write(folder, t_csv="one")
    (folder / "t.csv").unlink()
    (folder / "t.csv").mkdir()


def link_of_that_name(folder):
    write(folder, t_csv="one")
    (folder / "elsewhere").write_text("one")
    (folder / "t.csv").unlink()
    (folder / "t.csv").symlink_to(folder / "elsewhere")


@pytest.mark.parametrize(
    "spoil",
    [
        foreign_file,
        foreign_record,
        broken_record,
        edited_file,
        folder_of_that_name,
        link_of_that_name,
    ],
)
def test_what_is_not_ours_is_refused_and_left(tmp_path, spoil):
    spoil(tmp_path)
    before = {p: p.read_bytes() for p in tmp_path.iterdir() if p.is_file()}
    with pytest.raises(InputError, match=r"(t\.csv|record\.json) is there and .* name another"):
        write(tmp_path, t_csv="new")
    assert {p: p.read_bytes() for p in tmp_path.iterdir() if p.is_file()} == before


def test_failed_write_leaves_nothing_behind(tmp_path, monkeypatch):
    write(tmp_path, t_csv="one")
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}

    def full(*arguments):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(slipbench.results.output.os, "chmod", full)
    with pytest.raises(InputError, match="No space left"):
        write(tmp_path, t_csv="two")
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write all")
def test_folder_without_permission_is_refused(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(InputError, match="cannot be written"):
        check_folder(tmp_path / "new", ["t.csv"], "record.json", WRITER)


def test_failed_writing_still_prints_the_table(run, tmp_path, monkeypatch):
    def full(*arguments):
        raise InputError("output folder x: No space left on device")

    monkeypatch.setattr(slipbench.results.output, "write_folder", full)
    ran = run("compare", "dry", "--speed", "5mph", "--workers", "1", "--out", tmp_path)
    assert ran.code == 2
    assert "slip_band" in ran.out
    assert ran.err == "slipbench: output folder x: No space left on device\n"

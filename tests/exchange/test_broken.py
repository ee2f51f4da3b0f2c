"""Broken units: one line each, exit code 2, no traceback, nothing left behind."""

import os
import stat
import struct
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.exchange.units import (
    compile_library,
    description_2,
    description_3,
    mapping,
    pack_unit,
)
from tests.places import SOURCE_ROOT

from slipbench.commands.main import main

GOOD = description_2()


def unit_of(path: Path, members: dict[str, bytes | str]) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)


def with_library(path: Path, description: str = GOOD, folder: str = "linux64") -> None:
    unit_of(path, {
        "modelDescription.xml": description,
        f"binaries/{folder}/bench_test.so": b"\x7fELF and then nothing",
    })  # fmt: skip


def described(text: bytes | str) -> Callable[[Path], None]:
    return lambda path: unit_of(path, {"modelDescription.xml": text})


def no_zip(path: Path) -> None:
    path.write_bytes(b"PK but no zip" * 100)


def cut_short(path: Path) -> None:
    with_library(path)
    path.write_bytes(path.read_bytes()[:-30])


def damaged(path: Path) -> None:
    with_library(path)
    content = bytearray(path.read_bytes())
    content[60:200] = os.urandom(140)
    path.write_bytes(content)


def link(path: Path) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("modelDescription.xml", GOOD)
        member = zipfile.ZipInfo("resources/link")
        member.external_attr = (stat.S_IFLNK | 0o777) << 16
        archive.writestr(member, "/etc/passwd")


def named(name: str) -> Callable[[Path], None]:
    return lambda path: unit_of(path, {"modelDescription.xml": GOOD, name: b"x"})


def bomb(path: Path) -> None:
    unit_of(path, {"modelDescription.xml": GOOD, "resources/zeros": bytes(60_000_000)})


def liar(path: Path) -> None:
    """A file that says it is small: its size in the zip's directory is written over."""
    unit_of(path, {"modelDescription.xml": GOOD + " " * 3_000_000})
    content = bytearray(path.read_bytes())
    at = content.rfind(b"PK\x01\x02")
    content[at + 24 : at + 28] = struct.pack("<I", 1000)
    path.write_bytes(content)


def twice(path: Path) -> None:
    with pytest.warns(UserWarning), zipfile.ZipFile(path, "w") as archive:
        for _ in range(2):
            archive.writestr("modelDescription.xml", GOOD)


def crowded(path: Path) -> None:
    unit_of(path, {"modelDescription.xml": GOOD} | {f"resources/{i}": b"" for i in range(1001)})


ENTITIES = (
    '<?xml version="1.0"?><!DOCTYPE m [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;">]>'
    "<fmiModelDescription fmiVersion='2.0' modelName='&b;'/>"
)

BROKEN: dict[str, tuple[Callable[[Path], None], str]] = {
    "not a zip": (no_zip, "no zip that can be read"),
    "cut short": (cut_short, "no zip that can be read"),
    "damaged": (damaged, ""),
    "empty file": (lambda path: path.write_bytes(b""), "no zip that can be read"),
    "zip bomb": (bomb, "would grow 500-fold and more"),
    "lies about a size": (liar, ""),
    "leads out": (named("../../evil.so"), "leads out of the folder"),
    "absolute": (named("/etc/evil"), "leads out of the folder"),
    "backslash": (named("binaries\\evil.dll"), "leads out of the folder"),
    "link": (link, "is a link or a device"),
    "file twice": (twice, "is there twice"),
    "thousands of files": (crowded, "holds 1002 files"),
    "no description": (lambda path: unit_of(path, {"a": b"b"}), "has no modelDes"),
    "huge description": (
        described(GOOD + "<!-- " + "".join(chr(33 + i % 90) for i in range(17_000_000)) + "-->"),
        "at most 16 MB are read",
    ),
    "no xml": (described("<fmiModelDescription"), "not XML"),
    "entities": (described(ENTITIES), "declares a document type"),
    "entities in UTF-16": (described(ENTITIES.encode("utf-16")), "declares a document type"),
    "endless depth": (described("<a>" * 5000), "is nested too deeply"),
    "another version": (described(GOOD.replace('fmiVersion="2.0"', 'fmiVersion="1.0"')),
                        "fmiVersion '1.0'; FMI 2.0 and 3.0 are read"),
    "model exchange": (described(GOOD.replace("CoSimulation", "ModelExchange")),
                       "is not for co-simulation"),
    "identifier that is a path": (
        described(GOOD.replace('modelIdentifier="bench_test"', 'modelIdentifier="../evil"')),
        "modelIdentifier '../evil'",
    ),
    "no guid": (described(GOOD.replace(' guid="{c0ffee}"', "")), "has no guid"),
    "two of one name": (described(GOOD.replace("v_axle_2", "v_axle_1")), "two variables are"),
    "start that is no number": (described(GOOD.replace('start="0"', 'start="zero"', 1)),
                                "start = 'zero'; allowed: a number"),
    "wrong platform": (lambda path: with_library(path, folder="win64"),
                       "has no library for this platform"),
    "no library": (described(description_3()), "has no library for this platform"),
}  # fmt: skip


@pytest.fixture(autouse=True)
def private_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Let temporary files go where what is left can be counted."""
    folder = tmp_path / "temporary"
    folder.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    monkeypatch.setenv("TMPDIR", str(folder))
    return folder


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_unit_is_one_line(name, tmp_path, capsys, private_folder) -> None:  # type: ignore[no-untyped-def]
    make, part = BROKEN[name]
    unit = tmp_path / "model.fmu"
    make(unit)
    (tmp_path / "model.map.toml").write_text(mapping(2))
    before = sorted(path.name for path in tmp_path.iterdir())
    code = main(["stop", "dry", "--strategy", str(unit)])
    said = capsys.readouterr()
    assert code == 2
    assert said.out == ""
    assert len(said.err.strip().splitlines()) == 1
    assert "model.fmu" in said.err
    assert part in said.err
    assert "Traceback" not in said.err
    assert sorted(path.name for path in tmp_path.iterdir()) == before
    assert not any(private_folder.iterdir())


FAULTS = {
    "wrong token": ('-DTOKEN="{another}"', "gives no instance"),
    "crash on instantiate": ("-DAT_START=abort()", "crashed (signal 6) in a trial"),
    "crash in a step": ("-DFAULT=*(volatile int *)8 = 1", "crashed (signal 11) in a trial"),
    "error in a step": ("-DFAULT=return 3", "said 'error' in its step"),
    "not a number": ("-DFAULT=return m->command[1] = 0.0 / 0.0, 0", "is not finite"),
    "leaves": ("-DFAULT=exit(7)", "crashed (exit code 7) in a trial"),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", [*FAULTS, "missing symbol", "endless"])
def test_a_unit_that_misbehaves_is_one_line(build, name, private_folder) -> None:  # type: ignore[no-untyped-def]
    """As a command of its own, so that what stays behind when it ends can be looked for."""
    option, part = FAULTS.get(name, ("-DFAULT=for (;;)", "did not end in 2 s"))
    if name == "missing symbol":
        option, part = "-Dfmi2DoStep=hidden_step", "has no function fmi2DoStep"
    unit = build(2, option)
    code = (
        "import sys; from slipbench.strategies.units import unit; unit.TRIAL_TIME = "
        f"{2.0 if name == 'endless' else 60.0}; from slipbench.commands.main import main; "
        "sys.exit(main(sys.argv[1:]))"
    )
    words = [sys.executable, "-c", code, "stop", "dry", "--strategy", str(unit)]
    done = subprocess.run(
        words,
        capture_output=True,
        text=True,
        env={k: v for k, v in os.environ.items() if k != "SLIPBENCH_UNITS"}
        | {"PYTHONPATH": str(SOURCE_ROOT), "TMPDIR": str(private_folder)},
    )
    assert done.returncode == 2
    assert part in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert not any(private_folder.iterdir())


def test_a_unit_of_another_library_is_no_unit(tmp_path, capsys) -> None:  # type: ignore[no-untyped-def]
    """A library that lacks the interface altogether: found as it is loaded in the trial."""
    source = tmp_path / "empty.c"
    source.write_text("int nothing(void) { return 0; }\n")
    compile_library(source, tmp_path / "empty.so")
    pack_unit(tmp_path / "model.fmu", GOOD, tmp_path / "empty.so")
    (tmp_path / "model.map.toml").write_text(mapping(2))
    assert main(["check-strategy", str(tmp_path / "model.fmu")]) == 2
    assert "its library has no function fmi2" in capsys.readouterr().err

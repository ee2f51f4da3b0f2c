"""Whatever is wrong with a library is one clear line and exit code 2, and never a crash of ours."""

import hashlib
import json
import os
import re
import subprocess
import sys
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import pytest
from tests.strategies.native.conftest import DESCRIBED
from tests.thinning import thinned

from slipbench.commands.line import COMPILING
from slipbench.commands.main import main
from slipbench.ground.errors import InputError
from slipbench.strategies.native import load_library, stray_text
from slipbench.strategies.native.guard import GUARDED, STRAY
from slipbench.strategies.native.library import describe

PRINTING = "#include <stdio.h>\n" + DESCRIBED

AFTER = "if (memory[n_axles * n_memory] > 250) %s"
"""After so many calls of a vehicle, which the trial does not reach: in the stop itself."""


def complaint(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """Run the command line; return its one line of complaint."""
    assert main([*words]) == 2
    said = capsys.readouterr().err.removeprefix(f"slipbench: {COMPILING}\n")  # the first time
    assert said.startswith("slipbench: ") and said.count("\n") == 1, said
    return said


def stop_with(capsys: pytest.CaptureFixture[str], library: Path) -> str:
    words = ("stop", "dry", "--speed", "20mph", "--strategy", str(library))
    return complaint(capsys, *words)


IS = r"command of axle %s \(vehicle 1\) at 2\.5\d\d s is valve %s, demand factor %s; allowed: "


@pytest.mark.parametrize(
    ("name", "lines", "part"),
    thinned(
        [
            ("nan_factor", "command[1] = NAN;", IS % (1, 0, "nan")),
            ("nan_valve", "command[2 * n_axles - 2] = NAN;", IS % (4, "nan", 1)),
            ("no_such_valve", "command[0] = 3.0;", IS % (1, 3, 1)),
            ("half_a_valve", "command[2] = 0.5;", IS % (2, "0.5", 1)),
            ("too_large", "command[1] = 1.01;", IS % (1, 0, "1.01")),
            ("negative", "command[1] = -0.01;", IS % (1, 0, "-0.01")),
            ("endless", "command[1] = 1.0 / (command[0] - 0.0);", IS % (1, 0, "inf")),
            (
                "late_memory",
                "memory[-1] = 0.0;",
                r"library wrote outside its rows of memory \(vehicle 1\) at 2\.5\d\d s",
            ),
            (
                "late_command",
                "command[2 * n_axles] = 1.0;",
                r"library wrote outside its rows of command \(vehicle 1\) at 2\.5\d\d s",
            ),
        ],
        ["nan_factor", "half_a_valve", "late_memory"],
    ),
)
def test_a_stray_call_ends_the_stop(make, capsys, name, lines, part) -> None:  # type: ignore[no-untyped-def]
    """Vehicle 1 comes first in a step; its 251st call is a sample time's 250 into the stop."""
    said = stop_with(capsys, make(name, AFTER % f"{{ {lines} }}"))
    assert re.search(f"strategy mine: {part}", said)


def test_what_a_library_prints_stays_out_of_json(make, tmp_path) -> None:  # type: ignore[no-untyped-def]
    """Its own buffer is emptied late, at the end of the process if nobody asks before."""
    library = make("prints", 'if (memory[n_axles * n_memory] < 2) puts("hello from C");', PRINTING)
    words = ("stop", "dry", "--speed", "5mph", "--json", "--strategy", str(library))
    line = [sys.executable, "-m", "slipbench", *words]
    # where Python is told to keep no buffers, C keeps none either
    environment = {k: value for k, value in os.environ.items() if k != "PYTHONUNBUFFERED"}
    ran = subprocess.run(line, env=environment, capture_output=True, text=True)
    assert json.loads(ran.stdout)["strategy"] == "mine"
    assert "hello from C" in ran.stderr


@pytest.mark.parametrize(
    ("name", "lines", "part"),
    [
        ("memory", "memory[(n_axles + 1) * n_memory] = 1.0;", "outside its rows of memory"),
        ("before", "memory[-64] = 1.0;", "outside its rows of memory"),
        ("command", "command[2 * n_axles + 63] = 0.0;", "outside its rows of command"),
        ("signals", "signals[n_signals] = 1.0;", "outside its rows of signals"),
        ("observed", "((double *)observation)[0] = 1.0;", "wrote into its observation"),
        ("tuned", "((double *)parameters)[0] = 9.0;", "wrote into its parameters"),
    ],
)
def test_a_stray_call_at_once_is_found_in_the_trial(make, name, lines, part) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InputError, match=f"{part}.* in a trial, call 0 with 1 axles"):
        load_library(make(name, lines))


@pytest.mark.parametrize(
    ("name", "lines", "part"),
    [
        ("crashes", "abort();", "crashed (signal 6) in a trial, calling it with 1 axles"),
        ("leaves", "exit(7);", "crashed (exit code 7) in a trial"),
        ("null", "*(volatile double *)8 = 1.0;", "crashed (signal 11) in a trial"),
    ],
)
def test_a_crash_in_the_trial_is_one_line(make, capsys, name, lines, part) -> None:  # type: ignore[no-untyped-def]
    assert part in stop_with(capsys, make(name, lines))


def test_an_endless_call_is_given_up(make, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.setattr("slipbench.strategies.native.library.TRIAL_TIME", 1.0)
    with pytest.raises(InputError, match="did not end in 1 s"):
        load_library(make("endless", "for (;;) memory[0] += 1.0;"))


def test_a_lost_worker_is_blamed_on_native_code_too(make, capsys, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    """As a crash in a worker shows; the long version below crashes one."""

    def lose(*_: object, **__: object) -> None:
        raise BrokenProcessPool

    monkeypatch.setattr("slipbench.comparison.compare.compare", lose)
    library = make("late_memory", AFTER % "{ memory[-1] = 0.0; }")
    words = ("compare", "dry", "--speed", "10mph", "--json", "--strategy", str(library))
    assert f"or a crash of {library}; nothing was written" in complaint(capsys, *words)


@pytest.mark.slow
def test_a_crash_in_a_comparison_loses_a_worker_not_the_program(make, capsys) -> None:  # type: ignore[no-untyped-def]
    library = make("late", AFTER % "abort();")
    words = ("compare", "dry", "--speed", "10mph", "--workers", "2", "--json")
    said = complaint(capsys, *words, "--strategy", str(library))
    assert f"or a crash of {library}" in said


@pytest.mark.parametrize(
    ("old", "new", "part"),
    [
        ("slipbench_abi = SLIPBENCH_ABI", "slipbench_abi = 7", "ABI version 7; this slipbench has"),
        ("const int64_t slipbench_abi = SLIPBENCH_ABI;", "int not_it;", "no symbol slipbench_abi"),
        ("*slipbench_describe(void)", "*describe_it(void)", "no symbol slipbench_describe"),
        ("return &SAID", "return 0", "slipbench_describe returned NULL"),
        ('"mine"', '"not a name"', "name 'not a name'"),
        ('"mine"', "0", "name is NULL"),
        (", 2, 1, GAIN", ", 0, 1, GAIN", "n_memory = 0"),
        (", 2, 1, GAIN", ", 2, 9999, GAIN", "n_parameters = 9999"),
        (", 2, 1, GAIN", ", 2, 1, 0", "parameters is NULL"),
        ("GAIN, 0}", "GAIN, 5}", "is_train_wide = 5"),
        ("measured_wheel_speed,", "train_speed,", "observes a truth column"),
        ("measured_wheel_speed,", "wheel_sped,", "observes 'wheel_sped'"),
        ('"gain", 0.5', '"gain", 5.5', "gain = 5.5 -; allowed: 0 to 4"),
        ('"gain", 0.5', '"gain", NAN', "gain = nan"),
    ],
)
def test_a_wrong_description_is_refused(make, described, old, new, part) -> None:  # type: ignore[no-untyped-def]
    assert old in described
    library = make(f"wrong{abs(hash((old, new)))}", "", described.replace(old, new))
    with pytest.raises(InputError) as refusal:
        describe(library, hashlib.sha256(library.read_bytes()).hexdigest())
    assert part in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_a_library_without_update_is_refused(build, described, capsys) -> None:  # type: ignore[no-untyped-def]
    assert "no symbol slipbench_update" in stop_with(capsys, build(described, "no_update"))


def test_what_is_no_library_is_refused(tmp_path, capsys) -> None:  # type: ignore[no-untyped-def]
    assert "no such file" in stop_with(capsys, tmp_path / "gone.so")
    text = tmp_path / "text.so"
    text.write_text("no library")
    assert "cannot be loaded" in stop_with(capsys, text)
    (tmp_path / "folder.so").mkdir()
    assert "is no regular file" in stop_with(capsys, tmp_path / "folder.so")


def test_a_campaign_notices_another_library_at_the_same_place(make, build) -> None:  # type: ignore[no-untyped-def]
    from slipbench.running.candidate import candidate_of, found
    from slipbench.strategies.registry import find_controller

    candidate = candidate_of(find_controller(str(make("changing"))))
    assert Path(candidate.reference).is_absolute()
    found.cache_clear()
    make("changing", "command[0] = 1.0;")
    with pytest.raises(InputError, match="its source here has hash"):
        found(candidate.reference, candidate.compile_file, candidate.source_hash)


def test_every_array_has_its_words() -> None:
    texts = {stray_text(STRAY * (i + 1)) for i in range(len(GUARDED))}
    assert len(texts) == len(GUARDED)
    for factor in (0.0, 1.0, -1.0, float("nan"), STRAY * 6, -STRAY, 1.5 * STRAY):
        assert stray_text(factor) == ""

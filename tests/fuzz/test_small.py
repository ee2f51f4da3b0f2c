"""A small part of the fuzzer, with a new seed each time; the rest is run by hand (`run.py`)."""

import random
from pathlib import Path

import pytest
from tests.fuzz.cases import FILES, Sound, case_of
from tests.fuzz.judging import run_case
from tests.fuzz.newer import SOUND_LINES, newer_files

from slipbench.commands.main import main

N_CASES = 80


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Sound:
    """Return a campaign file, a folder of a comparison and others that are in order."""
    folder = tmp_path_factory.mktemp("sound")
    for name, text in FILES.items():
        (folder / name).write_text(text)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        line = ["scenario.toml", "--strategy", "none", "--workers", "1"]
        assert main(["campaign", *line, "--seeds", "2", "--quiet", "--out", "c.sqlite"]) == 0
        assert main(["compare", *line, "--seeds", "1", "--out", "out"]) == 0
        for words in SOUND_LINES:
            assert main(words) == 0
    record = {path.name: path.read_bytes() for path in (folder / "out").glob("*.[jct]*")}
    return Sound((folder / "c.sqlite").read_bytes(), record, newer_files(folder))


def is_quick(argv: list[str]) -> bool:
    """Say whether a case may come: what draws, starts processes or runs many stops is left out."""
    slow = ("picture", "playback", "conditioning", "creep", "tune", "tune-all", "worst-rail",
            "check-strategy", "sensitivity", "assess", "experiment", "compare", "check", "sweep",
            "log", "reproduce", "identify", "whatif", "route", "braking-points", "hold-or-ease",
            "overrun", "verdict", "export-fmu")  # fmt: skip
    in_one_process = "--workers" in argv or not argv or argv[0] not in ("campaign",)
    return in_one_process and not (argv and argv[0] in slow) and "--compile" not in argv


def test_odd_input_is_one_line_and_touches_nothing(sound: Sound, tmp_path: Path) -> None:
    first, n_run = random.randrange(10**9), 0
    for seed in range(first, first + 20 * N_CASES):
        case = case_of(seed, sound)
        if n_run == N_CASES or not is_quick(case.argv):
            continue
        n_run += 1
        folder = tmp_path / str(seed)
        folder.mkdir()
        outcome = run_case(case, folder, seed)
        assert not outcome.faults, (
            f"python tests/fuzz/run.py --seed {seed} --cases 1: {outcome.argv}, {outcome.faults}, "
            f"{outcome.err}"
        )
    assert n_run == N_CASES

"""An edited source never runs as its old compiled self; an unedited one is not compiled again.

Everything runs in new processes on a copy of the sources, so an edit touches nobody else.
"""

import json
import os
import pickle
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import numba
import pytest
from tests.places import SOURCE_ROOT

from slipbench.compiling import cache
from slipbench.compiling.checked import CheckedFile
from slipbench.controllers import by_name
from slipbench.scenario import load_scenario
from slipbench.stop.simulation import simulate

PROBE = '''
import json
import sys

import numba

import slipbench
from slipbench.compiling import cache
from slipbench.compiling.checked import CheckedFile
from slipbench.kernel.creep import friction_at_slip

SIGNATURE = numba.float64(numba.float64)


def friction(slip_speed):
    """Friction at a slip speed, by a helper from another file."""
    return friction_at_slip(0.1, 0.4, 0.2, slip_speed)[0]


if sys.argv[1] == "ours":
    with cache.compiled_here():
        compiled = numba.njit(SIGNATURE, cache=True)(friction)
else:
    compiled = numba.njit(SIGNATURE, cache=True)(friction)
print(json.dumps({"from": slipbench.__file__, "number": compiled(5.0)}))
'''
"""A small compiled function that calls a kernel helper from another file."""

STOP = """
import json

import slipbench
from slipbench.compiling import cache
from slipbench.compiling.checked import CheckedFile
from slipbench.scenario import load_scenario
from slipbench.stop.simulation import simulate
from slipbench.controllers import by_name

scenario = load_scenario("wet").replace({"initial_speed": 5.0})
stop = simulate(scenario, by_name("speed_difference"))
print(json.dumps({"from": slipbench.__file__, "number": stop.summary["stopping_distance"]}))
"""


class Copy:
    """A copy of the sources with a cache of its own, run in new processes."""

    def __init__(self, folder: Path) -> None:
        self.sources = folder / "sources"
        self.cache = folder / "cache"
        self.script = folder / "script.py"
        shutil.copytree(
            SOURCE_ROOT, self.sources, ignore=shutil.ignore_patterns("__pycache__", "figures")
        )

    def run(self, source: str, *arguments: str, **more: str) -> Any:
        self.script.write_text(source, encoding="utf-8")
        os.utime(self.script, (1e9, 1e9))  # numba would take a newer script for an edited one
        environment = {
            **os.environ,
            "PYTHONPATH": str(self.sources),
            "SLIPBENCH_CACHE": str(self.cache),
            **more,
        }
        done = subprocess.run(
            [sys.executable, str(self.script), *arguments],
            env=environment,
            cwd=self.sources,
            capture_output=True,
            text=True,
        )
        assert done.returncode == 0, done.stderr
        result = json.loads(done.stdout)
        assert Path(result["from"]).is_relative_to(self.sources)
        return result["number"]

    def edit(self, file: str, old: str, new: str) -> None:
        path = self.sources / file
        text = path.read_text(encoding="utf-8")
        assert text.count(old) == 1, f"{file} no longer says {old!r} once"
        path.write_text(text.replace(old, new), encoding="utf-8")

    def compiled(self) -> dict[str, tuple[int, bytes]]:
        """Return when each compiled file was written, and what it holds."""
        files = [path for path in self.cache.rglob("*.nb?") if path.is_file()]
        return {str(path): (path.stat().st_mtime_ns, path.read_bytes()) for path in files}

    def folders(self) -> set[str]:
        return {path.name for path in self.cache.iterdir()}


@pytest.fixture
def copy(tmp_path: Path) -> Copy:
    return Copy(tmp_path)


HELPER = ("slipbench/kernel/creep.py", "return static_friction * ratio + fading,")
EDITED = "return static_friction * ratio + 2.0 * fading,"


def test_an_edited_helper_in_another_file_gives_the_new_number(copy: Copy) -> None:
    """0.1 (0.4 + 0.6 exp(-1)) before; the falling part doubled after."""
    before = copy.run(PROBE, "ours")
    assert before == pytest.approx(0.062072766, abs=1e-9)
    compiled, folders = copy.compiled(), copy.folders()
    assert compiled
    assert copy.run(PROBE, "ours") == before
    assert copy.compiled() == compiled, "compiled again though nothing was edited"
    copy.edit(*HELPER, EDITED)
    assert copy.run(PROBE, "ours") == pytest.approx(0.084145533, abs=1e-9)
    assert len(copy.folders() - folders) == 1
    assert copy.compiled().items() > compiled.items(), "the old version should have been kept"


def test_numba_alone_would_have_run_the_old_helper(copy: Copy, tmp_path: Path) -> None:
    """Why the folder carries a hash. Should numba learn to see this, the hash can go."""
    setting = {"NUMBA_CACHE_DIR": str(tmp_path / "numba")}
    before = copy.run(PROBE, "numba", **setting)
    copy.edit(*HELPER, EDITED)
    assert copy.run(PROBE, "numba", **setting) == before


@pytest.mark.slow
def test_an_edited_resistance_reaches_a_whole_stop(copy: Copy) -> None:
    """The compiled loop itself: a hundred times the running resistance shortens a stop.

    One cold compilation of all physics; the number before the edit is this process's own. That an
    edit between two runs of one copy is seen, the tests of the small function above show.
    """
    scenario = load_scenario("wet").replace({"initial_speed": 5.0})
    before = simulate(scenario, by_name("speed_difference")).summary["stopping_distance"]
    copy.edit("slipbench/kernel/train.py", "return train.mass * (", "return 100.0 * train.mass * (")
    after = copy.run(STOP)
    # 0.6 m/s2 of resistance beside 0.9 m/s2 of brake, and all the while the brake builds up
    assert 0.3 * before < after < 0.7 * before
    compiled = copy.compiled()
    assert any("loop.run_compiled" in name for name in compiled)
    assert any("speed_difference.update" in name for name in compiled)
    assert copy.run(STOP) == after
    assert copy.compiled() == compiled, "compiled again though nothing was edited"


FOLDERS = (
    "import json, slipbench; from slipbench.compiling import cache; "
    "print(json.dumps({'from': slipbench.__file__, "
    "'number': [cache._FOLDER, cache._strategy_folder()]}))"
)


def test_every_source_of_compiled_code_moves_its_cache(copy: Copy) -> None:
    """Strategies compile the contract's and the kernel's numbers in; the kernel only its own."""
    before = copy.run(FOLDERS)
    for file, is_kernel in (
        ("slipbench/kernel/columns.py", True),
        ("slipbench/controllers/parts/reference.py", False),
        ("slipbench/contract.py", False),
    ):
        with (copy.sources / file).open("a", encoding="utf-8") as source:
            source.write("\n# edited\n")
        after = copy.run(FOLDERS)
        assert [a != b for a, b in zip(before, after, strict=True)] == [is_kernel, True], file
        before = after


def test_the_hash_covers_names_and_contents(tmp_path: Path) -> None:
    (tmp_path / "a.py").write_text("one")
    (tmp_path / "b.py").write_text("two")
    before = cache.hash_of_sources(tmp_path)
    (tmp_path / "b.txt").write_text("no source")
    assert cache.hash_of_sources(tmp_path) == before
    (tmp_path / "b.py").rename(tmp_path / "c.py")
    renamed = cache.hash_of_sources(tmp_path)
    (tmp_path / "a.py").write_text("One")
    assert len({before, renamed, cache.hash_of_sources(tmp_path)}) == 3


def test_the_cache_leaves_strange_folders_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A user may name a folder that holds other things as well."""
    names = {f"experiment_{i:05}" for i in range(2 * cache._KEPT_FOLDERS)}
    for name in names:
        (tmp_path / name).mkdir()
    monkeypatch.setenv("SLIPBENCH_CACHE", str(tmp_path))
    cache.cache_folder("0123456789abcdef")
    assert {path.name for path in tmp_path.iterdir()} == names | {"0123456789abcdef"}


def test_only_a_few_old_versions_are_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SLIPBENCH_CACHE", str(tmp_path))
    for i in range(2 * cache._KEPT_FOLDERS):
        folder = cache.cache_folder(f"{i:016x}")
        os.utime(folder, (1e9 + i, 1e9 + i))
    (tmp_path / f"{99:016x}").mkdir()  # named like one, and not marked: somebody else's
    cache.cache_folder(f"{2 * cache._KEPT_FOLDERS - 1:016x}")
    kept = sorted(path.name for path in tmp_path.iterdir())
    assert kept.pop() == f"{99:016x}"
    newest = range(cache._KEPT_FOLDERS - 1, 2 * cache._KEPT_FOLDERS)
    assert kept == [f"{i:016x}" for i in newest]


def test_a_folder_that_cannot_be_written_is_not_fatal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("not a folder")
    (tmp_path / "temporary").mkdir()
    monkeypatch.setenv("SLIPBENCH_CACHE", str(tmp_path / "file"))
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "temporary"))
    folder = cache.cache_folder("0123456789abcdef")
    assert folder.parent.is_dir()
    assert folder.is_relative_to(tmp_path / "temporary")


HASH = "0123456789abcdef"


@pytest.mark.parametrize("what", ["writable by all", "of a group", "somebody else's", "a link"])
def test_a_folder_that_others_can_write_is_not_used(
    what: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    base = tmp_path / "base"
    monkeypatch.setenv("SLIPBENCH_CACHE", str(base))
    folder = cache.cache_folder(HASH)
    assert folder == base / HASH and folder.stat().st_mode & 0o777 == 0o700
    if what == "writable by all":
        folder.chmod(0o777)
    elif what == "of a group":
        folder.chmod(0o770)
    elif what == "a link":
        folder.rename(tmp_path / "elsewhere")
        folder.symlink_to(tmp_path / "elsewhere")
    else:
        monkeypatch.setattr(os, "getuid", lambda: 4321)
    private = cache.cache_folder(HASH)
    assert not private.is_relative_to(base)
    assert private.parent.stat().st_mode & 0o777 == 0o700
    assert os.environ["SLIPBENCH_CACHE"] == str(private.parent)  # for processes started


def test_a_user_without_a_home_compiles_in_a_private_folder(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    for name in ("SLIPBENCH_CACHE", "XDG_CACHE_HOME", "HOME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(os.path, "expanduser", lambda path: path)  # as without a passwd entry
    folder = cache.cache_folder(HASH)
    assert folder.is_absolute() and not list(tmp_path.iterdir())


def double(value: float) -> float:
    return 2.0 * value


def compiled_in(folder: Path) -> Any:
    with cache._compiled_in(str(folder)):
        return numba.njit(numba.float64(numba.float64), cache=True)(double)


class Planted:
    """Leaves a trace when it is unpickled."""

    def __init__(self, trace: Path) -> None:
        self.trace = trace

    def __reduce__(self) -> Any:
        return os.mkdir, (str(self.trace),)


@pytest.mark.parametrize("what", ["cut short", "a flipped bit", "planted", "writable", "empty"])
def test_a_file_that_is_not_what_was_written_is_compiled_again(what: str, tmp_path: Path) -> None:
    compiled_in(tmp_path)
    hits = compiled_in(tmp_path).stats.cache_hits
    assert sum(hits.values()) == 1
    trace = tmp_path / "trace"
    for file in [*tmp_path.rglob("*.nbi"), *tmp_path.rglob("*.nbc")]:
        assert file.stat().st_mode & 0o777 == 0o600
        content = bytearray(file.read_bytes())
        if what == "cut short":
            content = content[: len(content) // 2]
        elif what == "a flipped bit":
            content[len(content) // 2] ^= 1
        elif what == "planted":
            content = bytearray(pickle.dumps(Planted(trace)))
        elif what == "empty":
            content = bytearray()
        file.write_bytes(content)
        if what == "writable":
            file.chmod(0o666)
    again = compiled_in(tmp_path)
    assert again(3.0) == 6.0 and not trace.exists()
    assert sum(again.stats.cache_hits.values()) == 0


def test_a_full_disk_is_not_fatal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*arguments: Any) -> Any:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(CheckedFile, "_open_for_write", full)
    assert compiled_in(tmp_path)(3.0) == 6.0
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]

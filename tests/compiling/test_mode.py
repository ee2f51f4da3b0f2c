"""Two ways of compiling: which is taken, and that both give the same bits."""

import json
import os
import subprocess
import sys
from pathlib import Path

import numba
import pytest
from tests.places import SOURCE_ROOT

from slipbench.compiling import private, public
from slipbench.compiling.mode import MARK, PUBLIC, QUICK, SWITCH, wanted_way, way_that_works
from slipbench.ground.errors import InputError

SHORT_STOP = """
import json, sys
from slipbench import load_scenario, simulate
from slipbench.compiling import jit
from slipbench.controllers import by_name

found = {"way": jit.way_name()}
for rail, speed in (("wet_leaf", 8.0), ("grease", 6.0)):
    for name in ("none", "slip_band"):
        stop = simulate(load_scenario(rail).replace(initial_speed=speed), by_name(name), seed=5)
        numbers = [v for v in stop.summary.values() if isinstance(v, (int, float))]
        found[f"{rail} {name}"] = [float(n).hex() for n in numbers]
print(json.dumps(found))
"""
"""Prints every number of four short stops to the last bit, and the way they were compiled."""


def run(way: str, cache: Path) -> dict[str, object]:
    environment = {
        **os.environ, SWITCH: way, "SLIPBENCH_CACHE": str(cache), "PYTHONPATH": str(SOURCE_ROOT),
    }  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-c", SHORT_STOP], env=environment, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.mark.slow
def test_both_ways_give_the_same_bits(tmp_path: Path) -> None:
    """Whole stops, locks among them; the public way takes minutes to compile."""
    quick, plain = run(QUICK, tmp_path), run(PUBLIC, tmp_path)
    assert (quick.pop("way"), plain.pop("way")) == ("private", "public")
    assert quick == plain


@pytest.mark.parametrize("way", [private, public], ids=["private", "public"])
def test_a_part_of_the_physics_is_the_same_either_way(way: object) -> None:
    """The creep law's functions, their sources compiled anew by each way, against plain Python."""
    from slipbench.kernel import elementary

    exponential = way.part(elementary.falling_exponential.py_func)
    arctangent = way.folded(elementary.arctangent.py_func)
    for x in (0.0, 1e-9, 0.37, 2.5, 31.0):
        assert exponential(x) == elementary.falling_exponential(x)
        assert arctangent(x) == elementary.arctangent(x)


def test_the_version_decides_and_the_switch_overrules() -> None:
    assert wanted_way("", "0.61.2") == wanted_way("", "0.68.1") == QUICK
    assert wanted_way("", "0.60.0") == wanted_way("", "0.69.0") == wanted_way("", "1.2") == PUBLIC
    assert wanted_way("", "main") == PUBLIC
    assert wanted_way(PUBLIC, "0.68.1") == PUBLIC
    assert wanted_way(QUICK, "0.99") == QUICK


def test_an_unknown_way_is_refused() -> None:
    with pytest.raises(InputError, match="SLIPBENCH_COMPILING = 'fast'; allowed: quick or public"):
        wanted_way("fast")


def test_the_trial_is_done_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert way_that_works(tmp_path) is private
    assert (tmp_path / MARK).exists()
    monkeypatch.setattr("slipbench.compiling.mode._try", None)  # would fail if called
    assert way_that_works(tmp_path) is private


@pytest.mark.parametrize("gone", ["folded", "entry"])
def test_a_numba_without_what_is_needed_compiles_the_public_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, gone: str
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise AttributeError("no such name in this numba")

    monkeypatch.setattr(private, gone, broken)
    assert way_that_works(tmp_path) is public
    assert not (tmp_path / MARK).exists()


def test_a_trial_that_computes_something_else_is_noticed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = numba.njit(lambda value: 0.4 * value)
    monkeypatch.setattr(private, "folded", lambda function: plain)
    assert way_that_works(tmp_path) is public


def test_without_a_folder_it_is_public() -> None:
    assert way_that_works(None) is public

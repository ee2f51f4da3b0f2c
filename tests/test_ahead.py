"""The second process that compiles: for the types the loop uses, gone when it is not needed."""

import multiprocessing
from pathlib import Path

import bench.kernel.cache
from bench.ahead import _left_to, compiling_ahead
from bench.kernel import loop  # noqa: F401 - it must be compiled
from bench.kernel.axle import move_axle
from bench.kernel.records import WORLD_TYPE
from bench.kernel.step import move_group


def test_what_is_compiled_ahead_is_what_the_loop_needs():
    """Other types than the loop's would mean a second file, and a second process for nothing."""
    move_group.compile((WORLD_TYPE,))
    assert len(move_axle.signatures) == 1
    kept = list(Path(move_axle.stats.cache_path).glob("axle.move_axle-*.nbc"))
    assert len(kept) == 1


class Helper:
    """A helper process that has another ten looks to live."""

    n_looks = 0

    def is_alive(self):
        self.n_looks += 1
        return self.n_looks < 10


def test_the_compiler_does_not_wait_for_a_dead_helper(monkeypatch):
    monkeypatch.setattr(bench.kernel.cache, "is_cold", lambda *functions: True)
    helper = Helper()
    with _left_to(helper):
        move_axle.compile(move_axle.signatures[0])
    assert helper.n_looks == 10
    assert "compile" not in vars(move_axle)


def test_the_helper_is_gone_after_the_body():
    with compiling_ahead(["loop.run_compiled"], ["none"]):
        pass
    assert multiprocessing.active_children() == []

"""The second process that compiles: for the types the loop uses, gone when it is not needed."""

import multiprocessing
from pathlib import Path

import bench.kernel.cache
from bench.ahead import _left_to, compile_kept_functions, compiling_ahead, kept_functions
from bench.kernel import loop  # noqa: F401 - it must be compiled
from bench.kernel.axle import move_axle


def test_what_is_compiled_ahead_is_what_the_loop_needs():
    """Other types than the loop's would mean a second file, and a second process for nothing."""
    compile_kept_functions()
    for name, dispatcher in kept_functions().items():
        assert len(dispatcher.signatures) == 1, name
        assert len(list(Path(dispatcher.stats.cache_path).glob(f"{name}-*.nbc"))) == 1, name


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

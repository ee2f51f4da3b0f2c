"""Same seed, same bits: however many processes, workers or threads, plain Python or compiled."""

import hashlib
import json
import multiprocessing
import os
import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from tests.thinning import thinned

import slipbench
from slipbench.contract import Controller
from slipbench.controllers import ALL_CONTROLLERS, by_name
from slipbench.scenario import load_scenario
from slipbench.stop.simulation import simulate
from slipbench.stop.stop import Stop

each_controller = pytest.mark.parametrize("controller", ALL_CONTROLLERS, ids=lambda c: c.name)

SHORT_STOP = load_scenario("wet_leaf").replace({"initial_speed": 10.0})
"""Slides at once, and is short in plain Python."""

WORKER = """
import hashlib

from slipbench.scenario import load_scenario
from slipbench.stop.simulation import simulate
from slipbench.controllers import by_name


def digest(name, seed):
    scenario = load_scenario("wet_leaf").replace({"initial_speed": 10.0})
    stop = simulate(scenario, by_name(name), seed)
    parts = [repr(sorted(stop.summary.items())).encode(), stop.rail_after.work.tobytes()]
    parts += [stop.traces[key].tobytes() for key in sorted(stop.traces)]
    return hashlib.sha256(b"".join(parts)).hexdigest()
"""
"""What a worker runs, as a file of its own, so that processes started by `spawn` can import it."""


def digest(stop: Stop) -> str:
    """Return a hash of every number of a stop; `repr` of a float keeps all its bits."""
    parts = [repr(sorted(stop.summary.items())).encode(), stop.rail_after.work.tobytes()]
    parts += [stop.traces[key].tobytes() for key in sorted(stop.traces)]
    return hashlib.sha256(b"".join(parts)).hexdigest()


PAIRS = [(controller.name, seed) for controller in ALL_CONTROLLERS[1::3] for seed in (0, 7)]
"""What the processes run: every third strategy is enough to see the bench's own part."""


@pytest.fixture(scope="module")
def expected() -> list[str]:
    """Digests made in this process, in the order of PAIRS."""
    return [digest(simulate(SHORT_STOP, by_name(name), seed)) for name, seed in PAIRS]


@pytest.fixture
def worker_file(tmp_path: Path) -> Path:
    path = tmp_path / "digest_worker.py"
    path.write_text(WORKER, encoding="utf-8")
    return path


def digests_of_a_new_process(worker_file: Path, changes: dict[str, str]) -> list[str]:
    """Return the digests of PAIRS made by a new process in a changed environment."""
    code = (
        "import json, sys; from digest_worker import digest; "
        "print(json.dumps([digest(*pair) for pair in json.loads(sys.argv[1])]))"
    )
    sources = Path(slipbench.__file__).parents[1]  # these, and not what else may be installed
    path = os.pathsep.join([str(sources), str(worker_file.parent)])
    environment = {**os.environ, "PYTHONPATH": path, **changes}
    done = subprocess.run(
        [sys.executable, "-c", code, json.dumps(PAIRS)],
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    found: list[str] = json.loads(done.stdout)
    return found


def test_another_process_gives_the_same_bits(worker_file: Path, expected: list[str]) -> None:
    """With another seed for the hashes of text, too."""
    assert digests_of_a_new_process(worker_file, {"PYTHONHASHSEED": "4711"}) == expected


@pytest.mark.parametrize("n_workers", thinned([1, 2], [2]))
def test_the_number_of_workers_changes_no_bit(
    worker_file: Path, expected: list[str], n_workers: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.syspath_prepend(str(worker_file.parent))
    monkeypatch.delitem(sys.modules, "digest_worker", raising=False)
    from digest_worker import digest as in_worker  # type: ignore[import-not-found]

    with multiprocessing.get_context("spawn").Pool(n_workers) as pool:
        assert pool.starmap(in_worker, PAIRS, chunksize=1) == expected


def test_an_executor_that_finishes_in_any_order_changes_no_bit(
    worker_file: Path, expected: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.syspath_prepend(str(worker_file.parent))
    monkeypatch.delitem(sys.modules, "digest_worker", raising=False)
    from digest_worker import digest as in_worker

    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(2, mp_context=context) as executor:
        waiting = [executor.submit(in_worker, *pair) for pair in reversed(PAIRS)]
        assert [future.result() for future in waiting] == expected[::-1]


@pytest.mark.parametrize("n_threads", thinned([2, 5], [5]))
def test_threads_of_one_process_change_no_bit(expected: list[str], n_threads: int) -> None:
    """Stops that run beside each other share nothing but what is compiled."""

    def run(pair: tuple[str, int]) -> str:
        return digest(simulate(SHORT_STOP, by_name(pair[0]), pair[1]))

    with ThreadPoolExecutor(n_threads) as threads:
        assert list(threads.map(run, PAIRS * 3)) == expected * 3


@pytest.mark.parametrize("n_threads", thinned(["1", "2"], ["1"]))
def test_the_threads_libraries_may_use_change_no_bit(
    worker_file: Path, expected: list[str], n_threads: str
) -> None:
    names = ("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
    assert digests_of_a_new_process(worker_file, dict.fromkeys(names, n_threads)) == expected


@each_controller
def test_python_loop_and_compiled_loop_give_the_same_stop(controller: Controller) -> None:
    compiled = simulate(SHORT_STOP, controller, seed=5)
    plain = simulate(SHORT_STOP, controller, seed=5, compiled=False)
    assert dict(plain.summary) == dict(compiled.summary)
    assert digest(plain) == digest(compiled)


@each_controller
def test_traces_are_only_looked_at(controller: Controller) -> None:
    with_traces = simulate(SHORT_STOP, controller, seed=5)
    without = simulate(SHORT_STOP, controller, seed=5, with_traces=False)
    assert dict(with_traces.summary) == dict(without.summary)
    assert with_traces.rail_after.work.tobytes() == without.rail_after.work.tobytes()


@each_controller
def test_different_seeds_differ(controller: Controller) -> None:
    stops = [simulate(SHORT_STOP, controller, seed) for seed in range(3)]
    assert len({digest(stop) for stop in stops}) == 3
    measured = {stop.traces["measured_wheel_speed"][:500].tobytes() for stop in stops}
    assert len(measured) == 3


@pytest.mark.parametrize(
    "controller",
    [c for c in ALL_CONTROLLERS if "measured_wheel_speed" in c.observes],
    ids=lambda c: c.name,
)
def test_seeds_move_the_distance_of_a_strategy_that_measures(controller: Controller) -> None:
    """By more than rounding: 1e-6 m is ten times what seeds change where no valve moves."""
    distances = [simulate(SHORT_STOP, controller, s).summary["final_distance"] for s in range(2)]
    assert max(distances) - min(distances) > 1e-6


def test_the_global_random_state_is_neither_used_nor_changed() -> None:
    controller = ALL_CONTROLLERS[1]
    np.random.seed(1)  # noqa: NPY002
    before = repr(np.random.get_state())  # noqa: NPY002
    one = digest(simulate(SHORT_STOP, controller, 3))
    assert repr(np.random.get_state()) == before  # noqa: NPY002
    np.random.seed(2)  # noqa: NPY002
    assert digest(simulate(SHORT_STOP, controller, 3)) == one

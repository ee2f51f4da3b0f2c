"""The shipped example in C is the built-in strategy, to the last bit, over whole stops."""

import pickle
from pathlib import Path

import numpy as np
import pytest

from slipbench.conformance import check_controller, play, record_stop
from slipbench.conformance.inputs import extreme_observations, patchy_stop
from slipbench.controllers import by_name
from slipbench.running.candidate import candidate_of, source_text
from slipbench.running.task import make_task, run_task, summary_text
from slipbench.scenario import load_scenario
from slipbench.stop.simulation import simulate
from slipbench.strategies.native import load_library, native_folder
from slipbench.strategies.registry import find_controller

BUILT_IN = by_name("slip_band")


@pytest.fixture(scope="module")
def library(build) -> Path:  # type: ignore[no-untyped-def]
    source = native_folder() / "examples" / "slip_band.c"
    return build(source, "slip_band", "-Wall", "-Wextra", "-Wpedantic", "-Werror")


def test_it_declares_what_the_built_in_declares(library: Path) -> None:
    own = load_library(library)
    for name in ("observes", "n_memory", "scope", "uses_truth", "actuator", "is_permutable"):
        assert getattr(own, name) == getattr(BUILT_IN, name), name
    declared = [(p.name, p.default, p.unit, p.low, p.high) for p in own.parameters]
    assert declared == [(p.name, p.default, p.unit, p.low, p.high) for p in BUILT_IN.parameters]


@pytest.mark.parametrize(
    ("name", "speed", "seed"), [("wet_leaf", 12.0, 0), ("frost", 12.0, 1), ("detergent", 33.5, 2)]
)
def test_whole_stops_are_equal_to_the_last_bit(
    library: Path, name: str, speed: float, seed: int
) -> None:
    scenario = load_scenario(name).replace(initial_speed=speed)
    theirs = simulate(scenario, BUILT_IN, seed)
    own = simulate(scenario, load_library(library), seed)
    assert theirs.summary["vent_count"] > 10
    assert dict(own.summary) == dict(theirs.summary)
    for trace, values in theirs.traces.items():
        assert own.traces[trace].tobytes() == values.tobytes(), trace


@pytest.mark.slow
@pytest.mark.parametrize("name", ["wet_leaf", "tough_film", "grease", "frost", "damp_oxide"])
@pytest.mark.parametrize("seed", range(3))
def test_whole_stops_from_75_mph_are_equal_to_the_last_bit(
    library: Path, name: str, seed: int
) -> None:
    scenario = load_scenario(name)
    theirs = simulate(scenario, BUILT_IN, seed)
    own = simulate(scenario, load_library(library), seed)
    assert dict(own.summary) == dict(theirs.summary)
    for trace, values in theirs.traces.items():
        assert own.traces[trace].tobytes() == values.tobytes(), trace


def test_it_is_the_same_on_extreme_observations(library: Path) -> None:
    own = load_library(library)
    for n_axles in (1, 4):
        seen = extreme_observations(BUILT_IN, n_axles, 0.01)
        expected = play(BUILT_IN.update, BUILT_IN, seen)
        got = play(own.update, own, seen)
        for name in ("commands", "memories", "signals"):
            assert getattr(got, name).tobytes() == getattr(expected, name).tobytes(), name


def test_the_python_loop_and_the_compiled_one_agree(library: Path) -> None:
    own = load_library(library)
    scenario = patchy_stop().replace({"run.maximum_time": 3.0})
    plain = record_stop(own, scenario).stop
    compiled = simulate(scenario, own)
    assert plain is not None
    assert plain.summary["n_steps"] == compiled.summary["n_steps"]
    assert np.array_equal(plain.traces["pressure"], compiled.traces["pressure"])


def test_it_travels_to_other_processes_by_path_and_hash(library: Path) -> None:
    own = load_library(library)
    again = pickle.loads(pickle.dumps(own))
    assert again == own
    assert again.update.digest == own.update.digest  # type: ignore[attr-defined]
    assert len(pickle.dumps(own.update)) < 500


def test_a_campaign_runs_it_and_keeps_its_hash(library: Path) -> None:
    scenario = patchy_stop().replace({"run.maximum_time": 5.0})
    known = find_controller(str(library))
    candidate = candidate_of(known)
    outcome = run_task(make_task(scenario, candidate, 3))
    assert outcome.summary == summary_text(simulate(scenario, known.controller, 3).summary)
    assert known.controller.update.digest in source_text(known.controller)  # type: ignore[attr-defined]


@pytest.mark.slow
def test_the_conformance_suite_passes(library: Path) -> None:
    """The parts of it that call libraries otherwise than stops do are tried above."""
    assert check_controller(load_library(library)) == ()

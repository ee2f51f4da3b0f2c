"""The helper that records stops, and the inputs the checks make."""

import numpy as np
import pytest

from slipbench.conformance import Evidence, play, record_stop
from slipbench.conformance.evidence import LATE
from slipbench.conformance.inputs import (
    extreme_observations,
    fast_stop,
    for_axles,
    odd_train,
    patchy_stop,
    scrambled,
    speed_sweep,
)
from slipbench.conformance.recording import OUTPUTS, first_difference
from slipbench.contract import COLUMN, TRUTH, Controller, Floats
from slipbench.controllers import by_name
from slipbench.stop.simulation import simulate

TRUTH_COLUMN = COLUMN[TRUTH[0]]

SHORT = patchy_stop().replace({"run.maximum_time": 3.0})


def test_recording_changes_nothing_in_the_stop() -> None:
    controller = by_name("slip_band")
    recorded = record_stop(controller, SHORT, seed=3).stop
    assert recorded is not None
    plain = simulate(SHORT, controller, seed=3, compiled=False)
    assert dict(recorded.traces).keys() == dict(plain.traces).keys()
    for name, values in plain.traces.items():
        assert values.tobytes() == recorded.traces[name].tobytes(), name


@pytest.mark.parametrize(("name", "n_recordings", "n_axles"), [("none", 2, 4), ("train", 1, 8)])
def test_one_recording_a_vehicle_or_one_a_train(name: str, n_recordings: int, n_axles: int) -> None:
    controller = by_name("none")
    if name == "train":
        controller = Controller(name="wide", title="-", update=controller.update, scope="train")
    vehicles = record_stop(controller, SHORT).vehicles
    assert [own.observations.shape[1] for own in vehicles] == [n_axles] * n_recordings
    # 3 s, a sample every 10 ms at some phase; rounding may add a last step
    assert all(len(own) in (300, 301) for own in vehicles)


def test_what_a_call_leaves_is_what_the_next_one_finds() -> None:
    for own in record_stop(by_name("deceleration"), SHORT).vehicles:
        assert not own.memories_before[0].any()
        for before, after in (
            (own.memories_before, own.memories),
            (own.commands_before, own.commands),
            (own.signals_before, own.signals),
        ):
            assert before[1:].tobytes() == after[:-1].tobytes()


def test_vehicles_are_in_order_from_the_front() -> None:
    """The leading car meets the dry patch at 70 m first, so its wheels spin up first."""
    scenario = patchy_stop()
    front, rear = record_stop(by_name("none"), scenario).vehicles
    first_spin = [int((own.observations[400:, 0, 0] > 4.0).argmax()) for own in (front, rear)]
    assert 0 < first_spin[0] < first_spin[1]


def wild(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    memory[-1, 0] += 1.0
    command[:, 0] = 0.0 if memory[-1, 0] < 50.0 else 7.0
    command[:, 1] = 1.0


def test_a_refused_command_ends_the_recording_with_its_call() -> None:
    recorded = record_stop(Controller(name="wild", title="-", update=wild), SHORT)
    assert recorded.stop is None
    assert "strategy wild" in recorded.refusal
    assert "valve 7" in recorded.refusal
    assert len(recorded.vehicles[0]) in (49, 50)
    assert max(own.commands.max() for own in recorded.vehicles) == 7.0


def test_playing_a_recording_again_gives_its_outputs() -> None:
    controller = by_name("slip_band")
    own = record_stop(controller, SHORT).vehicles[1]
    again = play(controller.update, controller, own.observations)
    assert again.commands.tobytes() == own.commands.tobytes()
    assert again.memories.tobytes() == own.memories.tobytes()


@pytest.mark.parametrize("is_late", [False, True])
def test_the_dead_sensor_reads_zero_from_the_fault_on(is_late: bool) -> None:
    short = fast_stop().replace({"run.maximum_time": 5.0})
    evidence = Evidence(by_name("deceleration"), fast_scenario=short, runs_compiled=True)
    traces = evidence.stop_with_dead_sensor(2, is_late).traces
    is_dead = traces["distance"] > (LATE if is_late else 0.0) + 5.0
    assert not traces["measured_wheel_speed"][is_dead, 2].any()
    n_alive = int((traces["measured_wheel_speed"][~is_dead, 2] > 0.0).sum())
    assert n_alive > 100 if is_late else n_alive <= 1
    assert (traces["measured_wheel_speed"][is_dead, 3] > 0.0).all()


def test_compiled_the_fast_stop_is_the_same_to_the_last_bit() -> None:
    short = fast_stop().replace({"run.maximum_time": 5.0})
    plain, compiled = (
        Evidence(by_name("slip_band"), fast_scenario=short, runs_compiled=runs_compiled)
        for runs_compiled in (False, True)
    )
    pairs = zip(plain.recorded_fast.vehicles, compiled.recorded_fast.vehicles, strict=True)
    for one, other in pairs:
        assert first_difference(one, other, *OUTPUTS, "observations") is None


def test_the_sweep_meets_every_speed_and_slides() -> None:
    seen = speed_sweep(by_name("none"))
    speeds = seen[:, 0, COLUMN["measured_wheel_speed"]]
    assert set(range(121)) <= set(np.round(speeds, 9).tolist())
    assert (seen[:, 1, 0] <= seen[:, 0, 0]).all() and (seen[:, 1, 0] < 0.7 * seen[:, 0, 0]).any()
    assert np.isfinite(speed_sweep(by_name("peak_follower"))).all()


def test_observations_go_round_for_more_axles() -> None:
    seen = speed_sweep(by_name("none"))[:3]
    assert for_axles(seen, 5)[:, :, 0].tolist() == seen[:, [0, 1, 0, 1, 0], 0].tolist()
    assert for_axles(seen, 1).shape == (3, 1, len(COLUMN))


@pytest.mark.parametrize("n_axles", [1, 4, 12, 48])
@pytest.mark.parametrize("name", ["none", "peak_follower"])
def test_extreme_observations_are_finite_where_the_strategy_may_look(
    name: str, n_axles: int
) -> None:
    controller = by_name(name)
    seen = extreme_observations(controller, n_axles, 0.01)
    assert seen.shape == (480, n_axles, len(COLUMN))
    truth = [COLUMN[column] for column in TRUTH]
    assert np.isfinite(np.delete(seen, truth, axis=2)).all()
    assert np.isfinite(seen[..., truth]).all() == controller.uses_truth
    speeds = seen[..., COLUMN["measured_wheel_speed"]]
    assert (speeds == 0.0).all(axis=1).any()
    assert (speeds == 200.0).all(axis=1).any()
    assert (seen[..., COLUMN["brake_demand"]] == 0.0).all(axis=1).any()


def test_scrambling_changes_its_columns_only() -> None:
    seen = record_stop(by_name("none"), SHORT).vehicles[0].observations
    changed = scrambled(seen, [1, TRUTH_COLUMN])
    rest = [i for i in range(seen.shape[2]) if i not in (1, TRUTH_COLUMN)]
    assert changed[..., rest].tobytes() == seen[..., rest].tobytes()
    assert np.isnan(seen[..., TRUTH_COLUMN]).all()
    assert np.isfinite(changed[..., [1, TRUTH_COLUMN]]).all()
    assert (changed[..., 1] != seen[..., 1]).mean() > 0.9


def test_the_longest_train_has_48_axles_in_vehicles_of_1_to_12() -> None:
    sizes = (1, 2, 3, 4, 6, 8, 12, 12)
    train = odd_train(sizes).train
    assert tuple(vehicle.n_axles for vehicle in train.vehicles) == sizes
    assert train.n_axles == 48

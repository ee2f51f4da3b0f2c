"""Who passes where, and when who is asked: neither hangs on the step."""

import numpy as np
import pytest
from tests.support_stops import FALLING, car, clean, film, packed, plain_stop, run_world, train_of

from slipbench.controllers import by_name
from slipbench.packing import pack
from slipbench.scenario import Rail, Scenario
from slipbench.stop.simulation import run_sample_by_sample
from slipbench.strategies.update import compile_update

WHEELBASE = 2.6


def cleaning_stop(step: float, cell_length: float) -> Scenario:
    """Return a two-car stop in which every axle slides and each cleans for the next."""
    sections = (film(0.05, recovered_friction=0.2, cleaning_work=1e4, **FALLING),)
    stop = plain_stop(
        30.0, train=train_of(car(), car()), rail=Rail(sections=sections, cell_length=cell_length)
    )
    return stop.replace({"run.maximum_step": step, "rail.locked_cleaning_share": 1.0})


@pytest.mark.parametrize("cell_length", [0.25, 1.0, 1.25])
def test_axles_pass_in_order_however_many_cells_a_step_holds(cell_length: float) -> None:
    """At 30 m/s a step of 0.1 s is 3 m: up to twelve cells, and more than a wheelbase.

    So within one step an axle enters cells that the axle ahead left in that same step, and finds
    them cleaned; without any cleaning the stop would take more than half as long again.
    """
    coarse, fine = (run_world(packed(cleaning_stop(step, cell_length))) for step in (0.1, 0.1 / 64))
    assert 0.1 * 30.0 > WHEELBASE > 2.0 * cell_length
    distances = [float(world.train_state["distance"][0]) for world in (coarse, fine)]
    assert distances[0] == pytest.approx(distances[1], rel=1e-3)
    bare = cleaning_stop(0.1, cell_length).replace({"rail.sections.0.recovered_friction": 0.05})
    assert run_world(packed(bare)).train_state["distance"][0] > 1.5 * distances[0]
    # cell by cell, where every axle has passed
    n = int((distances[1] - 60.0) / cell_length)
    start = int(-float(fine.train["rail_start"][0]) / cell_length)
    profiles = [world.rail_work[start : start + n] for world in (coarse, fine)]
    assert profiles[1].min() > 0.0
    assert np.abs(profiles[0] / profiles[1] - 1.0).mean() < 0.01
    frictions = [world.axle_states["friction"] for world in (coarse, fine)]
    assert frictions[0] == pytest.approx(frictions[1], rel=0.01)
    assert (np.diff(frictions[0][:4]) > 0.0).all()  # of a car, each better than the one ahead


def sample_times(step: float, seed: int, name: str = "slip_band") -> list[np.ndarray]:
    """Return when each group of axles had its strategy asked, in a stop on leaf film."""
    scenario = clean("wet_leaf").replace({"initial_speed": 6.0, "run.maximum_step": step})
    controller = by_name(name)
    world = pack(scenario, controller, seed, False)
    memory = np.zeros((len(world.axles) + len(world.groups), controller.n_memory))
    first_rows = [world.observation[group["first_axle"]].ctypes.data for group in world.groups]
    times: list[list[float]] = [[] for _ in first_rows]
    compiled = compile_update(controller.update)

    def note(observation, parameters, memory, command, signals):  # type: ignore[no-untyped-def]
        group = first_rows.index(observation.ctypes.data)
        times[group].append(float(world.train_state["clock"][0]))
        compiled(observation, parameters, memory, command, signals)

    for _ in run_sample_by_sample(world, controller, note, memory):
        pass
    return [np.array(found) for found in times]


def test_strategies_are_asked_at_instants_the_step_does_not_move() -> None:
    short, long = sample_times(0.001, 3), sample_times(0.05, 3)
    assert len(short) == len(long) == 4
    for own, other in zip(short, long, strict=True):
        n = min(len(own), len(other))
        assert n > 500
        assert np.array_equal(own[:n], other[:n])
        assert np.diff(own) == pytest.approx(0.01, abs=1e-9)


def test_every_vehicle_has_its_phase_and_the_seed_decides_it() -> None:
    phases = [times[0] for seed in (0, 1) for times in sample_times(0.02, seed)]
    assert len(set(phases)) == 8
    assert min(phases) >= 0.0 and max(phases) < 0.01
    assert sample_times(0.02, 1)[2][0] == phases[4 + 2]


def test_one_strategy_for_the_whole_train_has_one_phase() -> None:
    (times,) = sample_times(0.02, 0, "cleaning_balance")
    assert np.diff(times) == pytest.approx(0.01, abs=1e-9)

"""Stops that once never ended end at standstill; what would never end is given up, and says so."""

import dataclasses
import math

import numpy as np
import pytest
from tests.support_stops import film, packed, plain_stop

from slipbench.contract import Controller
from slipbench.controllers import by_name
from slipbench.ground.errors import InputError, StopFailed
from slipbench.kernel.codes import MOST_STEP_PIECES, STOPPED, TOO_MANY_PIECES
from slipbench.kernel.loop import PAUSED, run_compiled
from slipbench.measures.locks import lock_samples
from slipbench.scenario import load_scenario
from slipbench.stop import simulation
from slipbench.stop.findings import find
from slipbench.stop.simulation import simulate
from slipbench.stop.worth import assess_world
from slipbench.strategies.update import compile_update

MPH = 0.44704


def flip(observation, parameters, memory, command, signals):  # type: ignore[no-untyped-def]
    """Fill a wheel that turns, vent one that stands: as many locks as there can be."""
    for i in range(command.shape[0]):
        if observation[i, 0] > 0.6:
            command[i, 0] = 0.0
        elif observation[i, 0] < 0.3:
            command[i, 0] = 2.0
        command[i, 1] = 1.0


FLIP = Controller(name="flip", title="-", update=flip, observes=("measured_wheel_speed",))


def two_units(name, **changes):  # type: ignore[no-untyped-def]
    scenario = load_scenario(name)
    return scenario.replace({"train.vehicles": 2 * scenario.train.vehicles, **changes})


def patched():  # type: ignore[no-untyped-def]
    section = load_scenario("tough_film").rail.sections[0]
    sections = tuple(
        dataclasses.replace(section, from_distance=5.0 * i, friction=grip, recovered_friction=grip)
        for i, grip in enumerate(600 * (0.02, 0.35))
    )
    return two_units("tough_film", **{"rail.sections": sections, "initial_speed": 55.9})


# as met, but for a smoothing of 0.033 s that strategies no longer have of their own
DECELERATION = by_name("deceleration").with_parameters(
    vent_deceleration=3.623,
    re_acceleration=9.398,
    longest_hold=0.064,
    cut_out_speed=1.172,
)
ENDLESS = {
    "deceleration on a tough film": (
        lambda: two_units("tough_film", initial_speed=75 * MPH), DECELERATION,
    ),
    "no control over patches": (patched, by_name("none")),
    "one lock after the other": (
        lambda: load_scenario("wet_leaf").replace(initial_speed=56 * MPH), FLIP,
    ),
}  # fmt: skip
"""Stops whose lock trail was full at some time, after which each piece was cut to a nanosecond."""


@pytest.mark.parametrize("case", ENDLESS)
def test_the_endless_stops_end_at_standstill_and_not_by_the_budget(case, monkeypatch):
    make, controller = ENDLESS[case]
    pieces = []
    monkeypatch.setattr(
        simulation, "_failure", lambda scenario, world: pieces.append(world.train_state) or ""
    )
    stop = simulate(make(), controller, with_traces=False)
    assert stop.summary["is_stopped"] and stop.summary["final_speed"] == 0.0
    assert pieces[0]["status"][0] == STOPPED
    assert pieces[0]["n_axle_steps"][0] < 1e-3 * stop.scenario.run.maximum_pieces
    assert abs(stop.summary["energy_residual"]) < 1e-3


TWO_LOCKS = (film(0.03), film(0.5, 60.0), film(0.03, 100.0))
"""A film the one axle locks on, grip that lets it roll again, and the film once more."""


def run_with_trail(scenario, n_rows):  # type: ignore[no-untyped-def]
    world = packed(scenario, by_name("none"))
    if n_rows is not None:
        world = world._replace(lock_trail=np.zeros((n_rows, world.lock_trail.shape[1])))
    update = compile_update(by_name("none").update)
    assert run_compiled(world, update, np.zeros(0), np.zeros((2, 0))) == -1
    return world


def test_a_full_trail_leaves_samples_out_and_a_finding_says_so():
    """Two locks: the trail has room for a part of the first. Pieces then end elsewhere, no more."""
    scenario = plain_stop(20.0, sections=TWO_LOCKS)
    full, short = run_with_trail(scenario, None), run_with_trail(scenario, 5)
    state = short.train_state[0]
    assert full.train_state["n_locks"][0] == state["n_locks"] == 2
    assert full.train_state["n_unsampled"][0] == 0
    assert (state["status"], state["n_trail"], state["n_unsampled"]) == (STOPPED, 5, 2)
    assert state["distance"] == pytest.approx(full.train_state["distance"][0], rel=1e-5)
    for name in ("locked_distance", "contact_energy", "duration"):
        column = [*("axle", "start_time", "duration", "start_speed", "end_speed")]
        column += ["start_distance", "locked_distance", "contact_energy"]
        i = column.index(name)
        kept = short.lock_log[:2, i]
        assert kept == pytest.approx(full.lock_log[:2, i], rel=1e-3)
    worth = assess_world(scenario, short)
    told = [f for f in find(scenario, {"is_stopped": True}, worth) if f.kind == "locks not sampled"]
    assert len(told) == 1 and told[0].value == 2.0 and told[0].text.startswith("2 locks, the first")
    assert 0.0 < told[0].time < 10.0
    untouched = find(scenario, {"is_stopped": True}, assess_world(scenario, full))
    assert not [f for f in untouched if f.kind.startswith("locks ")]


def test_locks_beyond_the_log_are_told_with_their_way():
    scenario = plain_stop(20.0, sections=TWO_LOCKS)
    world = packed(scenario, by_name("none"))
    world = world._replace(lock_log=np.zeros((1, world.lock_log.shape[1])))
    update = compile_update(by_name("none").update)
    assert run_compiled(world, update, np.zeros(0), np.zeros((2, 0))) == -1
    left = assess_world(scenario, world).left_out
    assert left.n_unlogged == 1
    way = float(run_with_trail(scenario, None).lock_log[1, 6])
    assert left.distance == pytest.approx(way, rel=1e-3) and way > 1.0


def test_a_crowded_trail_is_sampled_more_coarsely():
    """Past its first part samples are spared, so a trail lasts for more locks."""
    scenario = plain_stop(30.0, 0.03)
    fine, coarse = run_with_trail(scenario, 1000), run_with_trail(scenario, 50)
    n_fine = fine.train_state["n_trail"][0]
    assert 40 < n_fine < 100 and coarse.train_state["n_unsampled"][0] == 0
    assert coarse.train_state["n_trail"][0] < n_fine
    names = ("lock", "elapsed", "locked_distance", "contact_energy", "train_speed")
    trail = coarse.lock_trail[: coarse.train_state["n_trail"][0]]
    assert (np.diff(trail[:, names.index("elapsed")]) > 0.0).all()


def test_the_budget_of_pieces_ends_a_stop_and_says_where():
    scenario = plain_stop(20.0, 0.1).replace({"run.maximum_pieces": 1000})
    with pytest.raises(StopFailed) as failed:
        simulate(scenario, by_name("none"))
    text = str(failed.value)
    assert "\n" not in text and isinstance(failed.value, InputError)
    assert "more than 1000 pieces of time (run.maximum_pieces) were taken by" in text
    assert scenario.name in text and "strategy none, seed 0" in text and " m/s" in text


def test_a_step_that_comes_to_no_end_is_given_up_and_names_its_axle():
    """No such step is known, so one is made: a lock that wants to be sampled all the time."""
    scenario = plain_stop(20.0, 0.03)
    world = packed(scenario, by_name("none"))
    update = compile_update(by_name("none").update)
    states = world.axle_states
    while not states["is_locked"][0]:
        world.train_state["pause_at"] = world.train_state["n_axle_steps"] + 1
        assert run_compiled(world, update, np.zeros(0), np.zeros((2, 0))) == PAUSED
    states["i_lock"], states["next_trail"] = 0, -math.inf
    world.train_state["n_trail"] = 0
    log = world.lock_log
    log[0, 2] = -math.inf  # never long enough to be sampled
    world.train_state["pause_at"] = np.iinfo(np.int64).max
    assert run_compiled(world, update, np.zeros(0), np.zeros((2, 0))) == -1
    state = world.train_state[0]
    assert state["status"] == TOO_MANY_PIECES
    assert state["n_axle_steps"] < 2 * MOST_STEP_PIECES
    text = simulation._failure(scenario, world)
    assert f"more than {MOST_STEP_PIECES} pieces of time an axle at" in text and "axle 1" in text


def test_pauses_change_no_bit(monkeypatch):
    scenario = load_scenario("wet_leaf").replace(initial_speed=8.0)
    whole = simulate(scenario, by_name("slip_band"), 3, with_traces=False)
    monkeypatch.setattr(simulation, "PIECES_A_TURN", 37)
    turns = simulate(scenario, by_name("slip_band"), 3, with_traces=False)
    assert dict(turns.summary) == dict(whole.summary)


def test_a_lock_without_samples_keeps_its_energy():
    """Its heat is spread over the whole of it, as the finding says."""
    log = {
        name: np.array([value])
        for name, value in {
            "axle": 0.0, "start_time": 1.0, "duration": 2.0, "start_speed": 20.0, "end_speed": 18.0,
            "start_distance": 5.0, "locked_distance": 38.0, "contact_energy": 4e4,
            "rim_travel": 7.0, "wheel_load": 5e4,
        }.items()
    }  # fmt: skip
    names = ("lock", "elapsed", "locked_distance", "contact_energy", "train_speed")
    locks = lock_samples(log, {name: np.zeros(0) for name in names}, np.array([75.7e-6]))
    assert locks.energy[0].tolist() == [0.0, 2e4] and locks.distance[0].tolist() == [0.0, 38.0]

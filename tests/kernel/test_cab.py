"""The driver who eases sees only what a cab shows: scramble the rest and nothing changes."""

import copy

import numba
import numpy as np
import pytest
from numba import njit
from tests.support_stops import car, film, packed, plain_stop, train_of

from slipbench.controllers import by_name
from slipbench.kernel.columns import FILL, VENT
from slipbench.kernel.records import WORLD_TYPE, World
from slipbench.kernel.step import _look_at_cab
from slipbench.scenario import Brake, Driver, Easing, HandleEntry
from slipbench.stop.simulation import simulate

FULL = 3e5
SHOWN_AXLE = ("measured_speed", "pressure", "valve", "valve_fault", "is_vent_blocked")
SHOWN_VEHICLE = ("air_demand", "load_factor")
OWN = (
    "time",
    "eased_since",
    "activity_since",
    "activity_last",
    "driver_position",
    "driver_effective",
    "n_eased",
    "next_look",
    "n_handled",
    "n_effective",
    "position",
)
"""The driver's clock, hand and memory."""

EQUIPMENT = ("run", "train", "brakes", "driver", "handle", "presses", "demand_table", "wire_table")


@njit(numba.void(WORLD_TYPE), error_model="numpy")
def look(world):
    _look_at_cab(world)


def easing_stop(**changes):
    """Return a stop on a slippery rail by a driver who eases to step 1."""
    easing = Easing(position=1, reaction_time=1.0, calm_time=2.0)
    stop = plain_stop(
        25.0,
        sections=(film(0.04, recovered_friction=0.15, cleaning_work=4e3),),
        train=train_of(car(), car()),
        brake=Brake(
            steps=(0.3, 0.6, 0.9),
            emergency=1.2,
            demand_delay=0.4,
            build_up_time=1.0,
            release_time=1.0,
            full_pressure=FULL,
            fill_rate=4e5,
            vent_rate=5e5,
            fill_delay=0.04,
            vent_delay=0.03,
        ),
        driver=Driver(programme=(HandleEntry(at_time=0.0, position=3),), easing=easing),
    )
    return stop.replace(changes)


def calm_world():
    """Return a world whose programme is done and whose leading bogie rolls, fully braked."""
    world = packed(easing_stop())
    train = world.train_state[0]
    train["n_handled"] = train["n_effective"] = 1
    train["position"], train["speed"] = 3, 20.0
    world.vehicle_states["demand"] = world.vehicle_states["air_demand"] = 0.75
    world.axle_states["measured_speed"] = 20.0
    world.axle_states["pressure"] = 0.75 * FULL * world.vehicle_states[0]["load_factor"]
    world.axle_states["valve"] = FILL
    return world


def scramble(world, seed):
    """Return a copy with everything the cab does not show replaced at random."""
    generator = np.random.default_rng(seed)
    world = World(*(copy.deepcopy(part) for part in world))
    kept = {
        "axle_states": (SHOWN_AXLE, 2),
        "vehicle_states": (SHOWN_VEHICLE, 1),
        "train_state": (OWN, 1),
    }
    for name, part in world._asdict().items():
        if name in EQUIPMENT or part.size == 0:
            continue
        if part.dtype.names is None:
            part[...] = generator.uniform(-5.0, 30.0, part.shape)
            continue
        fields, n_rows = kept.get(name, ((), 0))
        for field in part.dtype.names:
            drawn = generator.uniform(0.0, 30.0, part[field].shape).astype(part[field].dtype)
            if field in fields:
                drawn[:n_rows] = part[field][:n_rows]
            part[field] = drawn
    return world


SIGHTS = {
    "nothing": {},
    "valve heard": {"valve": VENT},
    "gauge low": {"pressure": 0.3 * FULL},
    "speeds apart": {"measured_speed": 15.0},
}


def hand_after(world, seconds=2.0):
    """Return what hand and memory are after looking for so long at the same sight."""
    train = world.train_state[0]
    while train["time"] < seconds:
        look(world)
        train["time"] += 0.1
    return {name: float(train[name]) for name in OWN}


@pytest.mark.parametrize("sight", SIGHTS)
@pytest.mark.parametrize("axle", [0, 1])
def test_decision_depends_on_the_cab_alone(sight, axle):
    world = calm_world()
    for name, value in SIGHTS[sight].items():
        world.axle_states[name][axle] = value
    plain = hand_after(scramble(world, 1))
    assert plain["position"] == (3.0 if sight == "nothing" else 1.0)
    for seed in range(2, 5):
        assert hand_after(scramble(world, seed)) == plain


@pytest.mark.parametrize("sight", ["valve heard", "gauge low", "speeds apart"])
def test_other_bogies_are_out_of_sight_and_hearing(sight):
    world = calm_world()
    for name, value in SIGHTS[sight].items():
        world.axle_states[name][2:] = value
    assert hand_after(world)["position"] == 3.0


def test_blocked_vent_is_silent_and_stuck_one_is_heard():
    world = calm_world()
    world.axle_states["valve"][0] = VENT
    world.axle_states["is_vent_blocked"][0] = 1
    assert hand_after(world)["position"] == 3.0
    world = calm_world()
    world.axle_states["valve_fault"][0] = VENT
    assert hand_after(world)["position"] == 1.0


def test_driver_eases_after_the_reaction_time_and_brakes_again_when_calm():
    traces = simulate(easing_stop(), by_name("slip_band")).traces
    time, handle = traces["time"], traces["handle"]
    venting = (traces["valve"][:, :2] == VENT).any(axis=1)
    heard, eased = time[venting][0], time[handle == 1][0]
    # looks every 0.1 s, traces every 0.02 s; noticed no sooner than heard
    assert heard + 0.9 <= eased <= heard + 1.3
    again = time[(time > eased) & (handle == 3)]
    assert again[0] >= eased + 3.0 - 0.03  # calm time and reaction time at least


def test_driver_without_easing_leaves_the_handle():
    traces = simulate(easing_stop(**{"driver.easing": None}), by_name("slip_band")).traces
    assert set(traces["handle"][1:]) == {3.0}

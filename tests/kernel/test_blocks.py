"""Discs and blocks through whole stops, and what they heat."""

import numpy as np
import pytest
from tests.support_stops import brake_of, car, packed, plain_stop, run_world, train_of

from slipbench.controllers import none
from slipbench.kernel.friction import cast_iron_friction, composite_friction, friction_share
from slipbench.stop.simulation import simulate


def stop_with(**changes):
    """Return a dry stop of two cars from 30 m/s with some fields of all vehicles changed."""
    brake = brake_of(0.9, 0.0, 1.0, full_pressure=3e5, fill_rate=4e5, vent_rate=5e5)
    stop = plain_stop(30.0, train=train_of(car(), car()), brake=brake)
    return stop.replace({f"train.vehicles.{path}": value for path, value in changes.items()})


def decelerations(stop, *speeds):
    """Return the deceleration at train speeds. [m/s2]"""
    traces = simulate(stop, none.CONTROLLER).traces
    speed, time = traces["train_speed"], traces["time"]
    middle = 0.5 * (speed[1:] + speed[:-1])
    return np.interp(speeds, middle[::-1], (-np.diff(speed) / np.diff(time))[::-1])


def test_disc_brakes_evenly():
    fast, slow = decelerations(stop_with(), 25.0, 2.0)
    # 0.1 %: creep moves with the train's speed, so wheels brake a little less than the train
    assert slow == pytest.approx(fast, rel=1e-3)
    assert fast == pytest.approx(0.9, rel=1e-3)


@pytest.mark.parametrize(
    ("kind", "friction"), [("cast_iron", cast_iron_friction), ("composite", composite_friction)]
)
def test_blocks_brake_as_their_friction_says(kind, friction):
    """A tare car: each axle brakes 10 t and its wheels, by four blocks matched at 0.12."""
    stop = stop_with(**{"*.brake_kind": kind, "*.block_design_friction": 0.12})
    fast, slow = decelerations(stop, 25.0, 2.0)
    block_force = 0.9 * (10e3 + 100.0 / 0.42**2) / 0.12 / 4
    # 0.5 %: the rim is a little slower than the train
    assert fast == pytest.approx(0.9 * friction(block_force, 25.0) / 0.12, rel=5e-3)
    assert slow == pytest.approx(0.9 * friction(block_force, 2.0) / 0.12, rel=5e-3)
    assert slow > 1.3 * fast


def test_mixed_train_brakes_between_the_two():
    disc = decelerations(stop_with(), 2.0)[0]
    iron = decelerations(stop_with(**{"*.brake_kind": "cast_iron"}), 2.0)[0]
    mixed = decelerations(stop_with(**{"1.brake_kind": "cast_iron"}), 2.0)[0]
    assert mixed == pytest.approx(0.5 * (disc + iron), rel=1e-2)


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"pad_wetness": 0.3}, 0.7),
        ({"pad_speed_term": -0.004}, 1.0 - 0.004 * 20.0),
        ({"pad_heat_term": -0.001}, 1.0 - 0.001 * 150.0),
        ({"pad_heat_term": -0.001, "pad_speed_term": 0.01}, 1.0 + 0.2 - 0.15),
    ],
)
def test_pads_have_terms_of_wetness_speed_and_heat(changes, expected):
    world = packed(stop_with(**{f"*.{name}": value for name, value in changes.items()}))
    world.axle_states[0]["temperature"] = 150.0
    share = friction_share(2e5, 20.0, world.axles[0], world.axle_states[0])
    assert share == pytest.approx(expected, rel=1e-12)


def test_uncooled_disc_takes_all_the_heat():
    stop = stop_with(**{"*.cooling": 0.0, "*.cooling_speed_term": 0.0})
    world = run_world(packed(stop))
    axles = world.axle_states
    expected = axles["brake_energy"] / world.axles["heat_capacity"]
    assert axles["temperature"] == pytest.approx(expected, rel=1e-9)  # a sum of some 1e4 pieces
    assert 20.0 < axles["hottest"].max() < 60.0  # 4.5 MJ in 120 kJ/K


def test_cooling_disc_ends_cooler_than_it_was():
    hot = run_world(packed(stop_with())).axle_states
    uncooled = stop_with(**{"*.cooling": 0.0, "*.cooling_speed_term": 0.0})
    assert (hot["hottest"] < run_world(packed(uncooled)).axle_states["hottest"]).all()


def test_unbraked_axles_neither_brake_nor_slide():
    """Two of eight unbraked: the other six carry 8/6 of the adhesion (ideal, no transfer)."""
    stop = stop_with(**{"0.unbraked_axles": (1, 2)})
    traces = simulate(stop, none.CONTROLLER).traces
    i = int(np.searchsorted(traces["time"], 10.0))
    forces = traces["brake_force"][i]
    assert (forces[:2] == 0.0).all()
    assert forces[2:4] == pytest.approx(2.0 * forces[4], rel=1e-6)  # of its own car's four, two
    assert (traces["wheel_speed"][i, :2] >= traces["train_speed"][i]).all()


def test_wheel_diameter_set_wrongly_is_measured_wrongly():
    """A wheel 3 % smaller than the equipment believes seems 3 % faster."""
    right = (0.84,) * 4
    stop = stop_with(
        **{
            "0.wheel_diameters": (0.815, 0.84, 0.84, 0.84),
            "0.assumed_wheel_diameters": right,
            "*.unbraked_axles": (),
        }
    )
    traces = simulate(stop, none.CONTROLLER).traces
    i = int(np.searchsorted(traces["time"], 5.0))
    ratio = traces["measured_wheel_speed"][i] / traces["wheel_speed"][i]
    # a period's mean is half a sample old: 0.9 m/s2 over 10 ms is 3e-4 of 25 m/s
    assert ratio[0] == pytest.approx(0.84 / 0.815, rel=1e-3)
    assert ratio[1:] == pytest.approx(1.0, rel=1e-3)

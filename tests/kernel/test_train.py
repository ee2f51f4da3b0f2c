"""Running resistance, gradients, and what they do through a whole stop."""

import math

import pytest
from tests.support_stops import (
    FILL_TIME,
    brake_of,
    car,
    level_then,
    one_axle,
    packed,
    plain_stop,
    train_of,
)

from slipbench.controllers import none
from slipbench.kernel.train import GRAVITY, gradient_force, running_resistance
from slipbench.scenario import Driver, HandleEntry
from slipbench.stop.simulation import simulate


def test_gravity_is_the_standard_one():
    """CGPM 1901: 9.80665 m/s2 by definition."""
    assert GRAVITY == 9.80665


@pytest.mark.parametrize("speed", [0.0, 7.0, 60.0])
def test_resistance_is_a_polynomial_of_speed_times_mass(speed):
    stop = plain_stop(20.0).replace(
        {
            "train.resistance_constant": 0.006,
            "train.resistance_linear": 1e-4,
            "train.resistance_quadratic": 2e-5,
        }
    )
    expected = 15e3 * (0.006 + 1e-4 * speed + 2e-5 * speed**2)
    assert running_resistance(speed, packed(stop).train[0]) == pytest.approx(expected, rel=1e-14)


def test_level_track_has_no_gradient_force():
    world = packed(plain_stop(20.0))
    assert gradient_force(100.0, world.axles, world.grades) == 0.0


def test_each_axle_pulls_where_it_stands():
    """Two axles 5 m apart, the front at 12 m: one beyond the change of slope at 8 m, one before."""
    stop = plain_stop(
        20.0,
        train=train_of(one_axle(), one_axle()),
        gradient=level_then((0.0, 0.01), (8.0, -0.02)),
    )
    world = packed(stop)
    weight = 15e3 * GRAVITY
    uphill, downhill = (0.01 / math.hypot(1.0, 0.01), -0.02 / math.hypot(1.0, 0.02))
    assert gradient_force(1.0, world.axles, world.grades) == 0.0
    assert gradient_force(3.0, world.axles, world.grades) == pytest.approx(weight * uphill)
    assert gradient_force(12.0, world.axles, world.grades) == pytest.approx(
        weight * (uphill + downhill), rel=1e-12
    )
    assert gradient_force(50.0, world.axles, world.grades) == pytest.approx(2 * weight * downhill)


@pytest.mark.parametrize("rise", [0.01, 0.05])
def test_coasting_uphill_decelerates_by_gravity_times_slope(rise):
    """Closed form: no brake, so M g sin(slope) slows M and the rotating mass to rest."""
    stop = plain_stop(
        10.0,
        train=train_of(car()),
        driver=Driver(programme=(HandleEntry(at_time=0.0, position=0),)),
        gradient=level_then((-100.0, rise)),
    )
    world = packed(stop)
    mass, rotating = world.train["mass"][0], world.axles["rotating_mass"].sum()
    slowing = GRAVITY * rise / math.hypot(1.0, rise) * mass / (mass + rotating)
    summary = simulate(stop, none.CONTROLLER, with_traces=False).summary
    # a rolling wheel's creep is 1e-5 here, and so is the share of its momentum
    assert summary["stopping_distance"] == pytest.approx(100.0 / (2.0 * slowing), rel=1e-5)
    assert summary["stopping_time"] == pytest.approx(10.0 / slowing, rel=1e-5)


@pytest.mark.parametrize("rise", [-0.03, -0.01, 0.02])
def test_gradient_adds_to_the_brakes_deceleration(rise):
    """EN 14531-1 style, from memory, not verified: a + g i M / (M + M_rot), plus uphill."""
    stop = plain_stop(20.0, brake=brake_of(0.9), gradient=level_then((-100.0, rise)))
    world = packed(stop)
    mass, rotating = world.train["mass"][0], world.axles["rotating_mass"].sum()
    slowing = 0.9 + GRAVITY * rise / math.hypot(1.0, rise) * mass / (mass + rotating)
    distance = simulate(stop, none.CONTROLLER, with_traces=False).summary["stopping_distance"]
    # half of the cylinder's 2 ms passes without brake; creep: 0.04 % of a rotating mass of 4 %
    filling = 20.0 * 0.5 * FILL_TIME * 0.9 / slowing
    assert distance - filling == pytest.approx(400.0 / (2.0 * slowing), rel=3e-5)

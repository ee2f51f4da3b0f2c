"""The closed form against the kernel, and both integrations against each other."""

import math

import pytest
from hypothesis import given
from scipy.integrate import solve_ivp
from tests.properties.random_stops import examples, numbers
from tests.support_stops import DRY, brake_of, car, film, level_then, plain_stop, train_of

from slipbench.controllers import none
from slipbench.guidance.formula import GRAVITY, stepped_distance, stopping_distance
from slipbench.guidance.spread import reacting
from slipbench.stop.simulation import simulate

MPH = 0.44704


def test_it_is_the_formula_of_the_standard_on_the_level():
    """EN 14531-1 style, value from memory, not verified; its ramp term is derived.

    160 km/h, 0.9 m/s2, delay 0.4 s, ramp 2.0 s: 1159.47 m.
    """
    v0, a, delay, ramp = 160 / 3.6, 0.9, 0.4, 2.0
    expected = v0 * (delay + ramp / 2) + v0**2 / (2 * a) - a * ramp**2 / 24
    assert stopping_distance(v0, a, delay, ramp) == pytest.approx(expected, rel=1e-14)
    assert expected == pytest.approx(1159.47, abs=0.01)


@examples(20)
@given(
    numbers(2.0, 60.0), numbers(0.3, 1.2), numbers(0.0, 3.0), numbers(0.01, 4.0),
    numbers(-0.02, 0.05),
)  # fmt: skip
def test_the_gradient_is_integrated_exactly(speed, demand, delay, ramp, rise):
    """Against a general-purpose integrator of scipy, and against the bench's own steps."""

    def change(time, state):
        braked = demand * min(max((time - delay) / ramp, 0.0), 1.0)
        return [state[1], -braked - GRAVITY * rise / 1.04]

    def at_rest(time, state):
        return state[1]

    at_rest.terminal = True
    found = solve_ivp(
        change, (0.0, 1e4), [0.0, speed], events=at_rest, rtol=1e-10, atol=1e-9, max_step=0.5
    )
    closed = stopping_distance(speed, demand, delay, ramp, rise, 0.04)
    assert closed == pytest.approx(found.y[0, -1], rel=1e-6)
    # a train at rest before the brake is fully on ends in a step of 50 ms whose mean is taken
    assert stepped_distance(speed, demand, delay, ramp, rise, 0.04) == pytest.approx(
        closed, rel=1e-9, abs=1e-4
    )


def test_nothing_holds_where_the_gradient_pulls_harder():
    assert stopping_distance(30.0, 0.19, 1.0, 1.0, -0.02) == math.inf
    assert stepped_distance(30.0, 0.19, 1.0, 1.0, -0.02) == math.inf
    assert math.isfinite(stopping_distance(30.0, 0.21, 1.0, 1.0, -0.02))


@pytest.mark.parametrize("rise", [-0.02, -0.01, 0.0, 0.01, 0.02])
@pytest.mark.parametrize("speed", [20.0, 75.0, 125.0])
def test_the_kernel_stops_where_the_closed_form_says(speed, rise):
    """EN 14531-type distance with reaction and gradient, no running resistance: within 0.1 %."""
    # What departs: creep (a tenth of a per cent of a rotating mass of 6 %), and 2 ms of cylinder.
    train = train_of(car(), car())
    stop = plain_stop(
        speed * MPH,
        sections=(film(0.4, **DRY),),
        train=train,
        brake=brake_of(0.9, 0.4, 1.5),
        gradient=level_then((-500.0, rise)),
    )
    stop = stop.replace({"driver": reacting(stop.driver, 1.173)})
    rotating = sum(vehicle.rotating_mass for vehicle in train.vehicles) / train.mass
    found = simulate(stop, none.CONTROLLER, with_traces=False).summary["stopping_distance"]
    assert found == pytest.approx(
        stopping_distance(speed * MPH, 0.9, 1.173 + 0.4, 1.5, rise, rotating), rel=1e-3
    )

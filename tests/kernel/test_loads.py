"""Load transfer: the sum stays, moments balance, leading axles of a bogie gain."""

import numpy as np
import pytest
from tests.support_stops import car, packed, plain_stop, train_of

from slipbench.kernel.loads import transfer_load
from slipbench.kernel.train import GRAVITY

HEIGHTS = {"body_height": 1.7, "pivot_height": 0.6, "bogie_mass": 6e3}
DECELERATION = 1.2


def loads_of(deceleration, **changes):
    """Return the loads of both wheels of a car's axles, braking so, and its scenario. [N]"""
    stop = plain_stop(20.0, train=train_of(car()))
    heights = {f"train.vehicles.*.{name}": value for name, value in {**HEIGHTS, **changes}.items()}
    world = packed(stop.replace(heights))
    transfer_load(-deceleration, world.vehicles[0], world.axles, world.axle_states)
    return 2.0 * world.axle_states["wheel_load"], world


@pytest.mark.parametrize("deceleration", [0.0, 0.3, 1.2, -0.5])
def test_loads_sum_to_the_weight(deceleration):
    """Of a 40 t car, to rounding: eight additions of 1e5 N."""
    loads, _ = loads_of(deceleration)
    assert loads.sum() == pytest.approx(40e3 * GRAVITY, rel=1e-14)


def test_leading_axle_of_each_bogie_and_leading_bogie_carry_more():
    loads, _ = loads_of(DECELERATION)
    assert loads[0] > loads[1]
    assert loads[2] > loads[3]
    assert loads[:2].sum() > loads[2:].sum()


def test_moments_about_the_rail_balance():
    """Inertia of body and bogies at their heights against the loads' moment about the middle."""
    loads, world = loads_of(DECELERATION)
    places = world.axles["offset"] - world.axles["offset"].mean()
    body, bogies = 40e3 - 2 * 6e3, 2 * 6e3
    inertia = DECELERATION * (body * 1.7 + bogies * 0.42)
    # exact: forces at the rail have no moment about it
    assert -(loads * places).sum() == pytest.approx(inertia, rel=1e-12)


def test_contact_stiffness_follows_hertz():
    """G a b C11 goes with load to the power 2/3."""
    loads, world = loads_of(DECELERATION)
    rest = 40e3 * GRAVITY / 4
    ratio = world.axle_states["contact_stiffness"] / world.axles["contact_stiffness"]
    assert ratio == pytest.approx((loads / rest) ** (2.0 / 3.0), rel=1e-12)


def test_no_heights_no_transfer():
    loads, _ = loads_of(DECELERATION, body_height=0.0, pivot_height=0.0, bogie_mass=0.0)
    assert np.ptp(loads) == pytest.approx(0.0, abs=1e-9)

"""Air through a whole stop: every gram is somewhere; reservoirs run down and are charged again."""

import numpy as np
import pytest
from tests.support_stops import (
    RANDOM_COMMANDS,
    brake_of,
    car,
    packed,
    plain_stop,
    run_world,
    train_of,
)

from slipbench.kernel.air import mass_of
from slipbench.scenario import Run

FLOW = {"air": "flow", "full_pressure": 3e5, "fill_delay": 0.04, "vent_delay": 0.03}


def stop_with_air(**changes):
    """Return two cars on a slippery rail whose valves move all the time."""
    return plain_stop(
        20.0,
        friction=0.06,
        train=train_of(car(), car()),
        brake=brake_of(0.9, 0.2, 1.0, **{**FLOW, **changes}),
        run=Run(maximum_time=60.0),
    )


@pytest.fixture(scope="module", params=[{}, {"charging_conductance": 0.0}], ids=["charged", "not"])
def world(request):
    stop = stop_with_air(**request.param)
    return run_world(packed(stop, RANDOM_COMMANDS), RANDOM_COMMANDS)


def test_air_of_each_cylinder_is_accounted_for(world):
    """What was filled in is out again or still there. Rounding: 1e5 additions of 1e-16 each."""
    axles = world.axle_states
    left = mass_of.py_func(axles["pressure"], world.axles["cylinder_volume"])
    gone = axles["vented_mass"] + axles["released_mass"]
    assert axles["vented_mass"].min() > 0.05  # [kg], a dozen fillings
    assert axles["filled_mass"] == pytest.approx(gone + left, rel=1e-11)


def test_air_of_each_reservoir_is_accounted_for(world):
    """What a reservoir lost was drawn less what came in; its cylinders got what was drawn."""
    train, vehicles = world.train[0], world.vehicle_states
    filled = world.axle_states["filled_mass"].reshape(2, 4).sum(axis=1)
    assert vehicles["drawn_mass"] == pytest.approx(filled, rel=1e-11)
    fall = train["reservoir_pressure"] - vehicles["reservoir"]
    lost = mass_of.py_func(fall, train["reservoir_volume"])
    drawn = vehicles["drawn_mass"] - vehicles["charged_mass"]
    assert lost == pytest.approx(drawn, rel=1e-9, abs=1e-12)


def test_reservoir_that_is_not_charged_runs_down_and_limits_the_brake():
    """Small reservoirs, valves at work, no main pipe: the cylinders end below the demand."""
    stop = stop_with_air(charging_conductance=0.0, reservoir_volume=0.02)
    world = run_world(packed(stop, RANDOM_COMMANDS), RANDOM_COMMANDS)
    vehicles = world.vehicle_states
    demanded = 3e5 * world.vehicles["load_factor"][0]
    assert vehicles["lowest_reservoir"].max() < demanded
    assert world.axle_states["pressure"].max() <= 1.001 * demanded
    assert (vehicles["charged_mass"] == 0.0).all()


def test_charging_never_passes_the_main_pipe():
    stop = stop_with_air(charging_conductance=1e-6, pipe_pressure=6.5e5, reservoir_pressure=6e5)
    world = run_world(packed(stop, RANDOM_COMMANDS), RANDOM_COMMANDS)
    assert (world.vehicle_states["reservoir"] <= 6.5e5 * (1.0 + 1e-9)).all()
    assert (world.vehicle_states["charged_mass"] > 0.0).all()
    assert np.isfinite(world.train_state["distance"][0])

"""What a train can do: against closed forms and the kernel's own loads."""

import math

import numpy as np
import pytest

from slipbench.controllers import by_name
from slipbench.kernel.train import GRAVITY
from slipbench.scenario import load_scenario
from slipbench.stop.abilities import applications, axle_loads, find_abilities


@pytest.fixture(scope="module")
def found():
    return find_abilities(load_scenario("wet_leaf"), by_name("none"), speeds=(20.0,))


def test_adhesion_needed_is_the_deceleration_less_what_resists_it(found):
    """Newton's second law: sum of rail forces = m (a - resistance), over the train's weight."""
    train, step = found.scenario.train, found.steps[-1]
    loads = axle_loads(found.scenario, step.reached)
    speed = 0.5 * 75 * 0.44704
    resistance = (
        train.resistance_constant
        + train.resistance_linear * speed
        + train.resistance_quadratic * speed**2
    )
    # a mean over a fifth of a second about that speed: resistance changes by 1e-4 of it
    expected = train.mass * (step.reached - resistance)
    assert float(step.adhesion @ loads) == pytest.approx(expected, rel=1e-3)


def test_loads_keep_the_weight_and_move_it_forward(found):
    for deceleration in (0.0, 1.2):
        loads = axle_loads(found.scenario, deceleration)
        assert loads.sum() == pytest.approx(found.scenario.train.mass * GRAVITY, rel=1e-12)
    assert np.ptp(axle_loads(found.scenario, 0.0)) == 0.0
    first, second = axle_loads(found.scenario, 1.2)[:2]
    assert first > second


def test_loads_are_those_of_the_kernel(found):
    """The compiled loads of a stop that has settled, read where it is looked at between samples."""
    from slipbench.kernel.loads import transfer_load
    from slipbench.packing import pack

    world = pack(found.scenario, by_name("none"), 0)
    for vehicle in world.vehicles:
        transfer_load(-1.2, vehicle, world.axles, world.axle_states)
    kernel = 2.0 * world.axle_states["wheel_load"]
    assert axle_loads(found.scenario, 1.2) == pytest.approx(kernel, rel=1e-12)


def test_steps_are_in_order_and_reach_what_is_demanded(found):
    assert [step.name for step in found.steps] == ["step 1", "step 2", "step 3", "emergency"]
    for step in found.steps:
        resistance = step.reached - step.demand
        assert 0.005 < resistance < 0.02  # the unit's running resistance at 17 m/s, 0.014 m/s2
    distances = [float(step.distances[0]) for step in found.steps]
    assert distances == sorted(distances, reverse=True)


def test_build_up_is_that_of_the_ramp(found):
    """0.4 s delay and a linear ramp of 1.5 s: 90 % is there after 0.4 + 0.9 * 1.5 s."""
    brake, sampled = found.scenario.brake, found.scenario.run.trace_interval
    for step in found.steps:
        expected = brake.demand_delay + 0.9 * brake.build_up_time
        assert step.built_up == pytest.approx(expected, abs=2 * sampled)


def test_applications_follow_from_the_volumes():
    """Isothermal: each takes V_c p / V_r; the last must leave at least the full pressure."""
    scenario = load_scenario("dry")
    train, brake = scenario.train, scenario.brake
    vehicle = train.vehicles[1]  # the lighter rotating mass has the lower weighed share
    share = max(
        (v.tare_mass + v.rotating_mass) / (v.laden_mass + v.rotating_mass) for v in train.vehicles
    )
    full = brake.full_pressure * share
    taken = 4 * vehicle.cylinder_volume * full / brake.reservoir_volume
    expected = math.floor((brake.reservoir_pressure - full) / taken)
    assert applications(scenario) in (expected, expected + 1)  # the last may just reach
    assert math.isinf(applications(scenario.replace({"brake.air": "ramps"})))

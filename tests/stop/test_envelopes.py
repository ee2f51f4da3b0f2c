"""Forces of dynamic and track brakes over speed: those of the kernel, and what they carry."""

import numpy as np
import pytest
from tests.support_stops import packed

from slipbench.controllers import none
from slipbench.kernel.drives import envelope
from slipbench.kernel.track_brake import magnet_force
from slipbench.scenario import Blending, load_scenario
from slipbench.stop.envelopes import find_envelopes
from slipbench.stop.simulation import simulate


@pytest.mark.parametrize("train", ["tram", "four_cars_dynamic", "locomotive_and_coaches"])
def test_forces_are_those_of_the_kernel(train):
    scenario = load_scenario("dry", train=train)
    own, world = find_envelopes(scenario, 40.0, 81), packed(scenario)
    for i, speed in enumerate(own.speed):
        drives = [
            float(drive["n_axles"]) * envelope(float(speed), float(drive["receptivity"]), drive)
            for drive in world.drives
        ]
        assert own.dynamic[:, i].sum() == pytest.approx(sum(drives), rel=1e-12)
        held = [
            2.0 * magnet_force(float(speed), 1.0, magnet)
            for magnet in world.magnets
            if speed > magnet["lowest_speed"]
        ]
        assert own.track[i] == pytest.approx(sum(held), rel=1e-12)
    assert own.has_dynamic and own.has_track == (train == "tram")


def test_a_step_s_demand_is_what_a_stop_then_brakes_with():
    """Step 3 at half the speed: force over demand, and the drives' part of it, as told."""
    scenario = load_scenario("dry", train="four_cars_dynamic").replace({"equipment.grade": "clean"})
    own = find_envelopes(scenario, 40.0, 401)
    stop = simulate(scenario, none.CONTROLLER)
    row = int(np.argmin(np.abs(stop.traces["train_speed"] - 25.0)))
    dynamic, friction = stop.traces["dynamic_force"][row], stop.traces["brake_force"][row]
    asked = own.demanded[2].sum()
    assert friction.sum() == pytest.approx(asked, rel=0.005)  # the lead hands over a little early
    told = float(np.interp(25.0, own.speed, own.carried(2)))
    assert dynamic.sum() / asked == pytest.approx(told, rel=0.02)


def test_what_drives_carry_depends_on_the_rule():
    """By vehicle a motored car carries its own; by train the others' too; none in emergency."""
    base = load_scenario("dry", train="four_cars_dynamic")
    shares = {}
    for rule in ("vehicle", "train"):
        own = find_envelopes(base.replace({"train.blending": Blending(rule=rule)}), 40.0)
        shares[rule] = float(np.interp(10.0, own.speed, own.carried(0)))
        assert own.carried(3).max() == 0.0
    assert shares["vehicle"] == pytest.approx(0.51, abs=0.01)
    assert shares["train"] == 1.0

"""Adhesion utilisation: its definition where wheels spin up again, drive or are not braked."""

import math

import numpy as np
import pytest
from tests.support_stops import level_then, packed, patches, plain_stop, run_world

from slipbench.controllers import by_name
from slipbench.kernel.codes import ADHESION_WORKS
from slipbench.kernel.tally import split_force
from slipbench.measures.adhesion import adhesion_use
from slipbench.scenario import Fault, load_scenario
from slipbench.stop.simulation import simulate

MASS = 567.0  # rotating


@pytest.mark.parametrize("force", [-900.0, -10.0, 0.0, 500.0, 3000.0, 9000.0])
@pytest.mark.parametrize("peak", [0.0, 1500.0, 6000.0])
@pytest.mark.parametrize("acceleration", [-1.2, -0.2, 0.0, 0.3])
def test_parts_of_the_rail_force_add_up_to_it_and_used_lies_within_usable(
    force, peak, acceleration
):
    """The identity of the definition, also where it is at its limits."""
    used, usable, excess, driven, inertia = split_force(force, peak, 4000.0, acceleration, MASS)
    assert used + excess - driven - inertia == pytest.approx(force, abs=1e-9)
    assert 0.0 <= used <= usable <= 4000.0 and excess >= 0.0 and driven >= 0.0
    assert excess == 0.0 or driven == 0.0
    assert inertia == MASS * max(-acceleration, 0.0)


def test_a_rolling_wheel_uses_its_brake_force_and_an_unbraked_one_nothing():
    """In step with the train the rail carries brake less inertia: used is the brake's force."""
    brake, slowing = 2500.0, 0.8
    assert split_force(brake - MASS * slowing, 9e3, 4e3, -slowing, MASS)[0] == brake
    used, usable, excess, driven, _ = split_force(-MASS * slowing, 9e3, 4e3, -slowing, MASS)
    assert (used, usable, excess, driven) == (0.0, 4e3, 0.0, 0.0)


def works_of(world):
    return {name: world.axle_states[f"{name}_work"].copy() for name in ADHESION_WORKS}


def test_works_of_a_stop_add_up_to_that_of_the_rail_force():
    """Patches make wheels lock and spin up again; the rail's work comes from the traces."""
    scenario = plain_stop(20.0, sections=tuple(patches([30.0] * 6, [0.02, 0.3] * 3)))
    fine = scenario.replace({"run.trace_interval": 1e-3, "run.maximum_step": 1e-3})
    world = run_world(packed(fine))
    works = works_of(world)
    stop = simulate(fine, by_name("none"))
    time, speed = stop.traces["time"], stop.traces["train_speed"]
    force = stop.traces["rail_force"][:, 0]
    rail = float(np.trapezoid(force * speed * (stop.traces["demand"] > 0.0), time))
    booked = works["used"] + works["excess"] - works["driven"] - works["inertia"]
    assert float(booked[0]) == pytest.approx(rail, rel=2e-3)
    assert works["excess"][0] > 0.01 * works["used"][0]  # re-spin is there, and apart
    assert stop.worth.adhesion.re_spin_work[0] == pytest.approx(works["excess"][0], rel=1e-6)
    assert 0.0 < stop.summary["adhesion_utilisation"] < 1.0


def shares(stop):
    return [stop.summary["adhesion_utilisation"], *stop.summary["adhesion_utilisation_by_axle"]]


NOTHING = {"kind": "car_unbraked", "at_time": 0.0}
CASES = {
    "unbraked cars": {"faults": tuple(Fault(vehicle=i, **NOTHING) for i in (1, 3))},
    "noise on an axle": {"faults": (Fault(kind="sensor_noisy", axle=3, noise=0.05, at_time=1.0),)},
    "valve stuck venting": {"faults": (Fault(kind="valve_stuck_vent", axle=5, at_time=1.0),)},
    "downhill": {"gradient": level_then((0.0, -0.03))},
    "down, then up": {"gradient": level_then((0.0, -0.04), (120.0, 0.04))},
}


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("name", ["none", "slip_band"])
def test_no_fault_noise_or_slope_takes_it_out_of_nothing_to_one(case, name):
    scenario = load_scenario("wet_leaf").replace({"initial_speed": 15.0, **CASES[case]})
    stop = simulate(scenario, by_name(name), with_traces=False)
    assert all(0.0 <= share <= 1.0 for share in shares(stop))
    if case == "unbraked cars":
        assert stop.summary["adhesion_utilisation_by_axle"][:4] == pytest.approx(
            [0.0] * 4, abs=1e-4
        )


def test_brakes_applied_that_reach_no_axle_use_none_of_the_adhesion():
    """All supply lost before the first step, or a stop of one metre that ends before the brake."""
    base = load_scenario("wet_leaf").replace(initial_speed=10.0)
    lost = base.replace(
        {
            "faults": (Fault(kind="control_supply_lost", at_time=0.0),),
            "run.maximum_distance": 100.0,
        }
    )
    short = base.replace({"run.maximum_distance": 1.0})
    for scenario in (lost, short):
        assert shares(simulate(scenario, by_name("none"), with_traces=False)) == [0.0] * 17


def test_a_stop_in_which_no_brake_was_applied_has_no_utilisation():
    works = {name: np.zeros(3) for name in ADHESION_WORKS}
    assert math.isnan(adhesion_use(works, False, np.full(3, math.nan)).train)
    assert adhesion_use(works, True, np.full(3, math.nan)).utilisation.tolist() == [0.0] * 3


def test_adhesions_are_of_the_rail_force():
    """A plain rolling stop: used and demanded over load are brake less inertia over load."""
    stop = simulate(plain_stop(30.0), by_name("none"), with_traces=False)
    use = stop.worth.adhesion
    assert use.used == pytest.approx(use.demanded, rel=1e-3)
    assert float(use.demanded[0]) == pytest.approx(0.0917, abs=3e-4)  # .9 m/s2 over g

"""A strategy sees the dynamic brake, and commands it where its record says so."""

import dataclasses

import numpy as np
import pytest
from tests.kernel.test_dynamic_brake import blended_stop, motored
from tests.support_stops import car

from slipbench import simulate
from slipbench.contract import COLUMN, DYNAMIC_FACTOR, MEASURED, Controller, Parameter
from slipbench.controllers import by_name, none
from slipbench.ground.errors import InputError
from slipbench.scenario import load_scenario

FORCE, DEMAND = COLUMN["dynamic_force"], COLUMN["dynamic_demand"]


def _halved(observation, parameters, memory, command, signals):
    """Half of the dynamic brake on the first axle, all of it on the others; note what is seen."""
    n_axles = observation.shape[0]
    for i in range(n_axles):
        command[i, 0] = 0.0
        command[i, 1] = 1.0
        command[i, 2] = parameters[0] if i == 0 else 1.0
        memory[i, 0] = max(memory[i, 0], observation[i, 4])
        memory[i, 1] = max(memory[i, 1], observation[i, 5])


HALVED = Controller(
    name="halved",
    title="half of the first axle's dynamic brake",
    update=_halved,
    parameters=(Parameter("factor", 0.5, "-", -1.0, 2.0, "assumed"),),
    observes=("dynamic_force", "dynamic_demand"),
    n_memory=2,
    commands_dynamic=True,
)


def test_the_dynamic_brake_is_seen_by_fitted_equipment():
    assert {"dynamic_force", "dynamic_demand"} <= set(MEASURED)
    assert (FORCE, DEMAND) == (4, 5)  # as slipbench.h says


@pytest.mark.parametrize(("drive", "halved"), [("axle", 1), ("bogie", 2), ("car", 4)])
def test_a_factor_acts_on_all_axles_of_its_drive(drive, halved):
    """One drive takes the least of its axles' factors; the rest of the stop goes on."""
    scenario = blended_stop(16.0, motored(drive=drive))
    stop = simulate(scenario, HALVED)
    row = int(np.argmin(np.abs(stop.traces["time"] - 3.0)))
    force = stop.traces["dynamic_force"][row]
    assert force[:halved] == pytest.approx(0.5 * force[-1] if halved < 4 else force[0], rel=1e-9)
    plain = simulate(scenario, none.CONTROLLER).traces["dynamic_force"][row]
    assert force[0] == pytest.approx(0.5 * plain[0], rel=1e-6)


def test_plain_and_compiled_give_the_same_bits():
    scenario = blended_stop(16.0, motored(drive="bogie", lag=0.1), car(), friction=0.06)
    scenario = scenario.replace({"run.maximum_time": 4.0})
    compiled, plain = (simulate(scenario, HALVED, compiled=way) for way in (True, False))
    assert compiled.summary["final_distance"] == plain.summary["final_distance"]
    assert compiled.summary["dynamic_energy"] == plain.summary["dynamic_energy"] > 0.0


@pytest.mark.parametrize("factor", [-0.1, 1.1])
def test_a_factor_out_of_range_ends_the_stop_in_one_line(factor):
    with pytest.raises(InputError, match=r"axle 1 .*dynamic factor .*dynamic factor 0 to 1"):
        simulate(blended_stop(16.0, motored()), HALVED.with_parameters(factor=factor))


def test_a_strategy_that_says_nothing_of_it_commands_nothing():
    """It gets two columns, as ever; the drives keep their own slip control."""
    assert none.CONTROLLER.n_command == 2 and HALVED.n_command == DYNAMIC_FACTOR + 1 == 3
    rail = load_scenario("wet_leaf", train="four_cars_dynamic").replace({"initial_speed": 12.0})
    own = simulate(rail, by_name("slip_band"), with_traces=False).summary
    assert own["dynamic_cut_outs"] > 0
    commanded = simulate(rail, HALVED.with_parameters(factor=1.0), with_traces=False).summary
    assert commanded["dynamic_cut_outs"] == 0


def test_the_claim_is_checked():
    with pytest.raises(InputError, match="commands_dynamic"):
        dataclasses.replace(HALVED, commands_dynamic=1)
    with pytest.raises(InputError, match="acts on the dynamic brake already"):
        dataclasses.replace(HALVED, uses_truth=True, actuator="ideal")


def test_an_ideal_strategy_masters_both_brakes():
    """It knows the peak: nothing locks above the low-speed cut-out, no drive's own rule acts."""
    rail = load_scenario("wet_leaf", train="four_cars_dynamic").replace({"initial_speed": 12.0})
    summary = simulate(rail, by_name("peak_follower"), with_traces=False).summary
    assert summary["longest_lock_speed"] < 3.2  # cut out below 6 mph by a reference
    assert summary["dynamic_cut_outs"] == 0
    assert summary["dynamic_energy"] > 0.0

"""The example that commands the dynamic brake, in C; and libraries that say nothing of it."""

import pytest
from tests.strategies.native.conftest import DESCRIBED, UPDATE
from tests.strategies.test_dynamic_command import HALVED

from slipbench import load_scenario, simulate
from slipbench.ground.errors import InputError
from slipbench.strategies.native import load_library, native_folder


@pytest.fixture(scope="module")
def eased_drive(build):
    source = native_folder() / "examples" / "eased_drive.c"
    return load_library(build(source, "eased_drive"))


def test_it_says_that_it_commands_the_dynamic_brake(eased_drive):
    assert eased_drive.commands_dynamic and eased_drive.n_command == 3
    assert "dynamic_force" in eased_drive.observes


def rims_of_motored_axles(stop):
    """Return rim over train speed of the motored axles, their mean above 6 m/s."""
    fast = stop.traces["train_speed"] > 6.0
    motored = stop.traces["dynamic_force"].max(axis=0) > 0.0
    assert motored.tolist() == [True] * 4 + [False] * 8 + [True] * 4
    rims = stop.traces["wheel_speed"][fast][:, motored]
    return float((rims / stop.traces["train_speed"][fast][:, None]).mean())


def test_it_eases_the_drives_in_place_of_their_own_slip_control(eased_drive):
    rail = load_scenario("wet_leaf", train="four_cars_dynamic").replace({"initial_speed": 12.0})
    stop = simulate(rail, eased_drive)
    assert stop.summary["dynamic_cut_outs"] == 0
    assert stop.summary["is_stopped"]
    assert abs(stop.summary["energy_residual"]) < 1e-3
    rims = rims_of_motored_axles(stop)
    left_alone = simulate(rail, HALVED.with_parameters(factor=1.0))
    assert rims_of_motored_axles(left_alone) < rims - 0.2


def test_a_library_made_before_runs_unchanged(build):
    """Two columns a row, as its header said; on a train with a dynamic brake as on any other."""
    before = load_library(build(DESCRIBED + UPDATE % "", "before"))
    assert not before.commands_dynamic
    rail = load_scenario("dry", train="four_cars_dynamic").replace({"initial_speed": 6.0})
    assert simulate(rail, before, with_traces=False).summary["is_stopped"]


def test_what_it_says_of_that_is_checked(build):
    said = "SLIPBENCH_EXPORT const int64_t slipbench_commands_dynamic = 2;\n"
    with pytest.raises(InputError, match="slipbench_commands_dynamic = 2; allowed: 0 or 1"):
        load_library(build(DESCRIBED + said + UPDATE % "", "says_two"))

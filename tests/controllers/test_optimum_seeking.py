"""The search ends at the creep curve's peak, from either side and whatever the wheelset's mass."""

import numpy as np
import pytest
from tests.thinning import thinned

from slipbench import load_scenario
from slipbench.contract import Controller
from slipbench.controllers import optimum_seeking
from slipbench.controllers.optimum_seeking import TARGET
from slipbench.controllers.parts.vehicle_data import ROTATING_MASS
from slipbench.packing import pack
from slipbench.scenario import Scenario
from slipbench.stop.simulation import run_sample_by_sample
from slipbench.strategies.update import compile_update

MOTORED, TRAILER = 0, 1
"""Cars of the shipped unit; their rotating masses lie on either side of the one assumed."""


def one_car(rail: str, i_vehicle: int) -> Scenario:
    """Return a stop of one car on a film that does not clean, so the peak stays where it is."""
    shipped = load_scenario(rail).replace({"train.vehicles.*.auxiliary_flow": 0.0})
    return shipped.replace(
        {
            "initial_speed": 25.0,
            "train.vehicles": shipped.train.vehicles[i_vehicle : i_vehicle + 1],
            "rail.sections.0.recovered_friction": shipped.rail.sections[0].friction,
        }
    )


def searched(scenario: Scenario, first_slip: float, until: float = 8.0) -> tuple[float, float]:
    """Return the mean target and the mean peak of the last 10 s before a train speed. [-]"""
    return found_by(begun_at(first_slip), scenario, until)


def begun_at(first_slip: float) -> Controller:
    return optimum_seeking.CONTROLLER.with_parameters(
        first_slip=first_slip,
        least_slip=0.01,
        largest_slip=0.5,
        swing=0.2,
        step=0.01,
        spell=0.7,
        settling_time=0.2,
        patience=5.0,
    )


def found_by(controller: Controller, scenario: Scenario, until: float = 8.0) -> tuple[float, float]:
    world = pack(scenario, controller, 1, False)
    n_axles = len(world.axles)
    memory = np.zeros((n_axles + len(world.groups), controller.n_memory))
    rows = []
    samples = run_sample_by_sample(world, controller, compile_update(controller.update), memory)
    for _ in samples:
        train, peaks = world.train_state[0], world.axle_states["peak_creepage"]
        rows.append((float(train["clock"]), memory[:n_axles, TARGET].mean(), peaks.mean()))
        if train["speed"] < until:
            break
    found = np.array(rows)
    late = found[found[:, 0] > found[-1, 0] - 10.0]
    return float(late[:, 1].mean()), float(late[:, 2].mean())


@pytest.mark.parametrize("i_vehicle", [MOTORED, TRAILER], ids=["motored", "trailer"])
@pytest.mark.parametrize("first_slip", thinned([0.02, 0.1, 0.2], [0.1]))
def test_it_ends_near_the_peak_of_a_falling_curve(i_vehicle: int, first_slip: float) -> None:
    """Grease, whose curve falls to 0.4: the search has 25 s and spells of about a second.

    Measured within 0.02: a swing and a step, where the curve is flatter than what counts as none.
    """
    target, peak = searched(one_car("grease", i_vehicle), first_slip)
    assert 0.03 < peak < 0.06
    assert abs(target - peak) < 0.03


def test_it_comes_back_from_a_deep_slide_on_a_flatter_curve() -> None:
    """Leaf film falls to 0.7 only; from 0.3, with wheelsets a fifth heavier than assumed."""
    scenario = one_car("wet_leaf", MOTORED)
    assumed = optimum_seeking.CONTROLLER.parameter_values[ROTATING_MASS]
    actual = (
        scenario.train.vehicles[0].wheelset_inertia / scenario.train.vehicles[0].wheel_radius ** 2
    )
    assert actual > 1.2 * assumed
    target, _ = searched(scenario, 0.3)
    assert target < 0.15


@pytest.mark.parametrize("rail", ["grease", "wet_leaf"])
def test_at_its_defaults_the_target_leaves_its_clamp(rail: str) -> None:
    """It begins and ends between its bounds, so what it ends at is found and not put in."""
    bounds = {p.name: p.default for p in optimum_seeking.CONTROLLER.parameters}
    target, peak = found_by(optimum_seeking.CONTROLLER, one_car(rail, TRAILER))
    assert 1.5 * bounds["least_slip"] < target < 0.5 * bounds["largest_slip"]
    assert abs(target - peak) < 0.04

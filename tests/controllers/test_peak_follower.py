"""Knowing everything, it holds each axle at the peak of its creep curve."""

import pytest
from tests.support_stops import clean

from slipbench.contract import FILL
from slipbench.controllers import peak_follower
from slipbench.scenario import load_scenario, scenario_names
from slipbench.stop.simulation import simulate

CONTROLLER = peak_follower.CONTROLLER.with_parameters(settling_time=0.05)


def see(vehicle, **changes: float):  # type: ignore[no-untyped-def]
    """Call for one axle at its peak of 20 % creepage, at 20 m/s, demand twice the peak."""
    state = {
        "train_speed": 20.0,
        "wheel_speed": 16.0,
        "peak_force": 5e3,
        "peak_creepage": 0.2,
        "demanded_force": 1e4,
        "rotating_mass": 600.0,
        "train_acceleration": 0.0,
    }
    own = vehicle(CONTROLLER)
    assert own.see([16.0], **{**state, **changes}) == [FILL]
    return own.factors[0]


def test_at_the_peak_the_brake_takes_the_peak_force(vehicle) -> None:  # type: ignore[no-untyped-def]
    assert see(vehicle) == pytest.approx(0.5, rel=1e-12)


def test_a_wheel_slowing_with_the_train_gives_up_momentum(vehicle) -> None:  # type: ignore[no-untyped-def]
    """600 kg at 0.8 of 1 m/s2 add 480 N to the brake."""
    assert see(vehicle, train_acceleration=-1.0) == pytest.approx(0.548, rel=1e-12)


def test_a_wheel_beside_its_target_is_brought_there_in_the_settling_time(vehicle) -> None:  # type: ignore[no-untyped-def]
    """0.1 m/s off, 0.05 s to settle: 2 m/s2 of 600 kg, 1.2 kN of the 10 kN demanded."""
    assert see(vehicle, wheel_speed=15.9) == pytest.approx(0.38, rel=1e-9)
    assert see(vehicle, wheel_speed=16.1) == pytest.approx(0.62, rel=1e-9)


@pytest.mark.parametrize(
    ("changes", "factor"),
    [
        ({"peak_force": 2e4}, 1.0),
        ({"wheel_speed": 0.0}, 0.0),
        ({"demanded_force": 0.0}, 1.0),
    ],
)
def test_it_never_asks_for_more_than_the_demand_or_less_than_nothing(
    vehicle, changes, factor
) -> None:  # type: ignore[no-untyped-def]
    assert see(vehicle, **changes) == factor


def test_on_a_flat_curve_it_rolls_at_half_slip(vehicle) -> None:  # type: ignore[no-untyped-def]
    assert see(vehicle, peak_creepage=1.0, wheel_speed=10.0) == pytest.approx(0.5, rel=1e-12)


FALLING = [
    name
    for name in scenario_names()
    if all(section.friction_ratio < 1.0 for section in load_scenario(name).rail.sections)
]


@pytest.mark.parametrize("name", FALLING)
def test_it_uses_what_a_rail_with_a_falling_curve_has(name: str) -> None:
    """At least 0.995 of the usable work: the settling after each cell border costs the rest."""
    scenario = clean(name, **{"slip_control.cut_out_speed": 0.0})
    summary = simulate(scenario, peak_follower.CONTROLLER, with_traces=False).summary
    assert summary["adhesion_utilisation"] >= 0.995
    assert summary["longest_lock"] == 0.0
    assert summary["is_stopped"]


def test_most_shipped_rails_have_a_falling_curve() -> None:
    assert len(FALLING) >= 5

"""The shipped trains: all invented, all whole, all stop on dry rail as they are asked."""

from pathlib import Path

import pytest

import slipbench.scenario
from slipbench import simulate
from slipbench.controllers import none
from slipbench.scenario import load_scenario
from slipbench.scenario.chain import train_names

TRAINS = Path(slipbench.scenario.__file__).parent / "trains"

AXLES = {
    "eight_cars": 32,
    "elderwick": 16,
    "four_cars_dynamic": 16,
    "locomotive_and_coaches": 28,
    "tram": 6,
    "twelve_cars": 48,
    "two_cars": 8,
}


def test_names_are_those_promised() -> None:
    assert train_names() == tuple(AXLES)


@pytest.mark.parametrize("name", AXLES)
def test_a_train_says_that_it_is_invented_and_has_its_axles(name: str) -> None:
    train = load_scenario("dry", train=name).train
    assert train.n_axles == AXLES[name]
    assert "invented" in train.name
    assert "invented" in " ".join((TRAINS / f"{name}.toml").read_text().splitlines()[:2])


@pytest.mark.parametrize("name", AXLES)
def test_a_train_stops_on_dry_rail_as_its_last_step_asks(name: str) -> None:
    """v^2 / 2a and the way of delay and build-up, v (t_d + t_b / 2), from 50 km/h: within 10 %.

    Cast-iron treads bite harder than that the slower they run; resistance helps a little.
    """
    scenario = load_scenario("dry", train=name, driver="full_service")
    scenario = scenario.replace({"initial_speed": 50.0 / 3.6, "equipment.grade": "clean"})
    summary = simulate(scenario, none.CONTROLLER, with_traces=False).summary
    brake, speed = scenario.brake, scenario.initial_speed
    asked = speed**2 / (2.0 * brake.steps[-1])
    asked += speed * (brake.demand_delay + 0.5 * brake.build_up_time)
    is_tread = scenario.train.vehicles[-1].brake_kind != "disc"
    assert (0.6 if is_tread else 0.9) * asked < summary["stopping_distance"] < 1.1 * asked
    assert abs(summary["energy_residual"]) < 1e-3
    assert (summary["dynamic_energy"] > 0.0) == scenario.train.has_dynamic_brake


def test_the_motors_of_the_dynamic_unit_count_as_the_plain_units_wheelsets() -> None:
    """100 kg m2 and 5^2 x 2.4 of the rotor are the 160 of `elderwick`, so the masses are equal."""
    plain, motored = load_scenario("dry"), load_scenario("dry", train="four_cars_dynamic")
    for own, other in zip(plain.train.vehicles, motored.train.vehicles, strict=True):
        assert own.rotating_mass == pytest.approx(other.rotating_mass, rel=1e-12)

"""The floor that weighs braking against cleaning: tight where it can be told, never beaten."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.properties.random_stops import examples, stops
from tests.support_stops import FALLING, car, film, plain_stop, train_of
from tests.thinning import thinned

from slipbench.comparison.possible.plan import Plan
from slipbench.comparison.possible.search import search
from slipbench.scenario import Rail, Run, Scenario, load_scenario
from slipbench.stop import shortest
from slipbench.stop.shortest import run_fictitious_stop, shortest_possible
from slipbench.stop.simulation import simulate

STEPS = 1.0 - 2e-3
"""What the floor may lie below a stop that is known to be the shortest: its own rounding."""


def cleaning_stop(speed: float = 12.0, **changes: float) -> Scenario:
    """A stop of two cars on one film that cleans."""
    values = {"recovered_friction": 0.15, "cleaning_work": 6e3, **FALLING, **changes}
    return plain_stop(
        speed,
        train=train_of(car(), car()),
        rail=Rail(sections=(film(0.03, **values),)),
        run=Run(maximum_distance=600.0, maximum_time=120.0),
    )


def distance_of(scenario: Scenario, plan: Plan) -> float:
    summary = simulate(scenario, plan.controller, with_traces=False).summary
    found: float = summary["final_distance"]
    return found


def without_worths(scenario: Scenario) -> float:
    """The longest of the floors that give every leading axle its peak and its cleaning at once."""
    numbers = (-1, *range(1, scenario.train.n_axles + 1))
    worlds = [run_fictitious_stop(scenario, n) for n in numbers]
    return max(float(world.train_state["distance"][0]) for world in worlds)


@pytest.mark.parametrize("law", ["rail_memory", "rail_and_contact"])
def test_what_goes_into_cleaning_is_not_braked_with_as_well(law: str) -> None:
    """On film whose friction falls with slip the floor is far longer than without that."""
    scenario = cleaning_stop(20.0).replace({"rail.cleaning_law": law})
    assert shortest_possible(scenario) > 1.08 * without_worths(scenario)


def test_a_flat_curve_and_one_axle_leave_nothing_to_weigh() -> None:
    """Sliding deep costs nothing and nobody comes behind: all wheels at the limit is the stop."""
    scenario = plain_stop(
        15.0,
        deceleration=3.0,
        sections=(film(0.05, recovered_friction=0.051, cleaning_work=1e6),),
    )
    plan = Plan.of_axles([1.0])
    floor = shortest_possible(scenario)
    assert floor <= distance_of(scenario, plan) <= floor / STEPS


def test_any_shares_give_a_floor(monkeypatch: pytest.MonkeyPatch) -> None:
    """The proof asks nothing of the shares borne: the search only makes the floor long."""
    scenario = cleaning_stop()
    best = search(scenario, budget=60, n_places=3).distance
    generator = np.random.default_rng(5)
    for _ in range(6):
        shares = generator.random(8) ** generator.choice([0.2, 1.0, 5.0])
        monkeypatch.setattr(shortest, "share_borne", lambda *_, own=shares: own)
        assert shortest_possible(scenario) <= best


def worst_ratio(scenario: Scenario, budget: int) -> float:
    """Shortest stop a search finds over the floor. [-]"""
    return search(scenario, budget=budget, n_places=3).distance / shortest_possible(scenario)


@pytest.mark.parametrize("decay", thinned([0.0, 0.2, 1.0], [0.2]))
@pytest.mark.parametrize("work", [1e3, 2e4])
def test_no_search_beats_the_floor_on_film(decay: float, work: float) -> None:
    scenario = cleaning_stop(friction_decay=decay, cleaning_work=work)
    assert 1.0 <= worst_ratio(scenario, 40) < 1.35


def test_no_search_beats_the_floor_on_patches_that_clean() -> None:
    sections = tuple(
        film(mu, 9.0 * i, recovered_friction=mu + 0.1, cleaning_work=4e3, **FALLING)
        for i, mu in enumerate([0.02, 0.12, 0.05] * 12)
    )
    scenario = cleaning_stop().replace({"rail.sections": sections})
    assert worst_ratio(scenario, 60) >= 1.0


@examples(6)
@given(st.data())
def test_no_search_beats_the_floor_anywhere(data: st.DataObject) -> None:
    scenario = data.draw(stops(fastest=12.0))
    assert worst_ratio(scenario, 20) >= 1.0


def test_sand_and_rail_left_by_a_train_lower_it() -> None:
    scenario = load_scenario("_tough_film_one_fixed").replace(initial_speed=10.0)
    bare = load_scenario("tough_film").replace(initial_speed=10.0)
    assert shortest_possible(scenario) < shortest_possible(bare)
    first = simulate(bare, Plan.of_axles([1.0] * 16).controller)
    assert shortest_possible(bare, first.rail_after) < shortest_possible(bare)

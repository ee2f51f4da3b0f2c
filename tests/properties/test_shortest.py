"""No strategy beats the shortest possible stop; the bounds it warns of are beaten."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.properties.random_stops import examples, random_parameters, stops
from tests.support_stops import (
    FALLING,
    RANDOM_COMMANDS,
    RANDOM_TORQUE,
    brake_of,
    car,
    film,
    level_then,
    one_axle,
    packed,
    patches,
    plain_stop,
    shipped_summary,
    train_of,
)
from tests.thinning import QUICK_RAILS, thinned

from slipbench.controllers import ALL_CONTROLLERS, by_name, none
from slipbench.ground.errors import InputError
from slipbench.kernel.floor import most_cleaning
from slipbench.scenario import Driver, HandleEntry, Rail, Run, load_scenario, scenario_names
from slipbench.stop.shortest import NUMERICAL_ALLOWANCE, run_fictitious_stop, shortest_possible
from slipbench.stop.simulation import simulate

MOST_FILL = {"change_chance": 0.0, "fill_share": 1.0, "vent_share": 0.0}
"""Random commands that are none: always fill, at the factor limit (for a seed that draws high)."""

HIGH_SEED = 2.0**31 - 2.0


def distance_of(scenario, controller, seed=0):
    """Return the stopping distance, infinity where the train did not stop. [m]"""
    summary = simulate(scenario, controller, seed, with_traces=False).summary
    return summary["stopping_distance"] if summary["is_stopped"] else math.inf


def assert_not_beaten(scenario, *controllers):
    floor = shortest_possible(scenario)
    for controller in controllers:
        assert distance_of(scenario, controller) >= floor, controller.name


@examples(25)
@given(st.data())
def test_random_commands_never_stop_shorter(data):
    scenario = data.draw(stops())
    limit = scenario.brake.demand_factor_limit
    drawn = [
        RANDOM_COMMANDS.with_parameters(**data.draw(random_parameters(limit))),
        RANDOM_TORQUE.with_parameters(**data.draw(random_parameters(limit))),
        data.draw(st.sampled_from(ALL_CONTROLLERS), label="shipped strategy"),
        none.CONTROLLER,
    ]
    assert_not_beaten(scenario, *drawn)


@pytest.mark.parametrize("length", [5.0, 12.0, 30.0])
@pytest.mark.parametrize("frictions", [(0.02, 0.3), (0.3, 0.02)], ids=["bad first", "good first"])
def test_no_strategy_stops_shorter_on_alternating_patches(length, frictions):
    scenario = plain_stop(
        20.0,
        train=train_of(car()),
        rail=Rail(sections=patches([length] * 100, list(frictions), **FALLING)),
        run=Run(maximum_distance=600.0, maximum_time=100.0),
    )
    drawn = [
        RANDOM_COMMANDS.with_parameters(seed=seed, change_chance=0.05, fill_share=0.8)
        for seed in (1.0, 77.0, 4321.0)
    ]
    assert_not_beaten(scenario, *ALL_CONTROLLERS, *drawn)


PLACES = (0.03, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 0.97)
"""Where speeds are compared, as shares of the shortest possible stop."""


def floor_at(scenario, place, n_limited):
    """Return distance [m], train speed [m/s] and momentum [N s] of a floor soon after a place.

    The momentum is None where the floor's leading axles are limited one by one.
    """
    world = run_fictitious_stop(scenario.replace({"run.maximum_distance": place}), n_limited)
    state = world.train_state[0]
    distance, speed = float(state["distance"]), float(state["speed"])
    if n_limited >= 0:
        return distance, speed, None
    wheels = float(world.axle_states["wheel_speed"][0])
    return distance, speed, float(world.train["mass"][0]) * speed + wheels


def assert_nowhere_slower_than_the_floor(scenario, *controllers):
    """At equal position no less speed than any floor, no less momentum than the pooled one."""
    world = packed(scenario)
    mass, rotating = float(world.train["mass"][0]), world.axles["rotating_mass"]
    shortest = shortest_possible(scenario)
    floors = [
        floor_at(scenario, share * shortest, n)
        for share in PLACES
        for n in (-1, 1, scenario.train.n_axles)
    ]
    # speed and momentum at a place of the floors are right to the share their distance is
    allowed = 1.0 - 2.0 * NUMERICAL_ALLOWANCE
    for controller in controllers:
        traces = simulate(scenario, controller, seed=3).traces
        momenta = mass * traces["train_speed"] + traces["wheel_speed"] @ rotating
        for distance, floor_speed, floor_momentum in floors:
            speed = np.interp(distance, traces["distance"], traces["train_speed"])
            assert speed >= allowed * floor_speed, (controller.name, distance)
            if floor_momentum is not None:
                momentum = np.interp(distance, traces["distance"], momenta)
                assert momentum >= allowed * floor_momentum, (controller.name, distance)


@pytest.mark.parametrize(
    "scenario", thinned(["wet_leaf", "detergent", "tough_film"], QUICK_RAILS[1:2])
)
def test_the_invariant_of_the_proof_holds_on_shipped_rail(scenario):
    assert_nowhere_slower_than_the_floor(load_scenario(scenario), *ALL_CONTROLLERS)


@pytest.mark.parametrize("frictions", [(0.02, 0.3), (0.3, 0.02)], ids=["bad first", "good first"])
def test_the_invariant_of_the_proof_holds_on_alternating_patches(frictions):
    scenario = plain_stop(
        20.0,
        train=train_of(car()),
        rail=Rail(sections=patches([12.0] * 100, list(frictions), **FALLING)),
        run=Run(maximum_distance=600.0, maximum_time=100.0, trace_interval=0.01),
    )
    drawn = [RANDOM_COMMANDS.with_parameters(seed=seed, fill_share=0.8) for seed in (1.0, 77.0)]
    assert_nowhere_slower_than_the_floor(scenario, *ALL_CONTROLLERS, *drawn)


@pytest.mark.parametrize("scenario", thinned(scenario_names(), QUICK_RAILS))
def test_no_strategy_stops_shorter_on_shipped_rail(scenario):
    floor = shortest_possible(scenario)
    for controller in ALL_CONTROLLERS:
        summary = shipped_summary(scenario, controller.name)
        assert summary["final_distance"] >= floor, controller.name


@pytest.mark.parametrize("initial_speed", [3.0, 5.0, 20.0])
@pytest.mark.parametrize("border", [2.0, 2.02, 2.3])
def test_floor_changes_friction_at_the_border_of_a_patch(initial_speed, border):
    """Locked wheels of a flat curve give all the rail has, so this stop is the shortest there is.

    The floor has only its numerical allowance then: it must not miss part of a good patch.
    """
    sections = patches([border, 1e3], [0.02, 0.3])
    assert_not_beaten(
        plain_stop(initial_speed, deceleration=5.0, sections=sections), none.CONTROLLER
    )


@pytest.mark.parametrize("maximum_step", [0.005, 0.02, 0.1])
def test_floor_holds_at_the_longest_step(maximum_step):
    run = Run(maximum_step=maximum_step, maximum_distance=500.0)
    patchy = patches([10.0] * 60, [0.02, 0.3])
    assert_not_beaten(plain_stop(20.0, deceleration=5.0, sections=patchy, run=run), none.CONTROLLER)
    ramped = plain_stop(20.0, brake=brake_of(1.0, build_up_time=2.0), run=run)
    assert_not_beaten(ramped, none.CONTROLLER)


def test_floor_is_tight_where_the_brake_decides():
    """Dry rail: a plain stop is within the allowance and the wheel's creep of the floor."""
    stop = plain_stop(30.0, brake=brake_of(0.9, 0.4, 1.5))
    assert distance_of(stop, none.CONTROLLER) == pytest.approx(shortest_possible(stop), rel=5e-4)


def test_floor_is_tight_where_friction_decides():
    """Locked wheels on a flat curve: the same."""
    stop = plain_stop(20.0, friction=0.03, deceleration=3.0)
    assert distance_of(stop, none.CONTROLLER) == pytest.approx(shortest_possible(stop), rel=5e-4)


@pytest.mark.parametrize("controller", [RANDOM_COMMANDS, RANDOM_TORQUE], ids=lambda c: c.name)
def test_floor_knows_the_demand_factor_limit(controller):
    """Equipment that may brake three times as hard, through a cylinder that fills slowly.

    Torque that acts at once rises with the pressure times the factor: faster than any cylinder.
    """
    slow = brake_of(0.9, demand_factor_limit=3.0, full_pressure=3e5, fill_rate=1e4)
    hardest = controller.with_parameters(factor_limit=3.0, seed=HIGH_SEED, **MOST_FILL)
    assert_not_beaten(plain_stop(30.0, friction=0.5, brake=slow), hardest, none.CONTROLLER)


@pytest.mark.parametrize("cell_length", [1.0, 10.0])
def test_floor_cleans_the_first_cell_of_the_law_without_memory(cell_length):
    """A contact that cleans itself does so from the start, not from the next cell on."""
    sections = (film(0.02, recovered_friction=0.3, cleaning_work=10.0),)
    rail = Rail(sections=sections, cleaning_law="contact_only", cell_length=cell_length)
    assert_not_beaten(plain_stop(3.0, deceleration=5.0, rail=rail), none.CONTROLLER)


def test_floor_holds_for_eased_and_repeated_handle_movements():
    entries = [HandleEntry(at_time=0.0, position=1)]
    entries += [HandleEntry(at_speed=19.9 - 0.5 * i, position=(i + 1) % 2) for i in range(30)]
    stop = plain_stop(
        20.0,
        friction=0.5,
        brake=brake_of(1.2, build_up_time=5.0, release_time=30.0),
        driver=Driver(programme=tuple(entries)),
        run=Run(maximum_distance=2e3),
    )
    assert_not_beaten(stop, none.CONTROLLER, by_name("slip_band"))


@pytest.mark.parametrize("rise", [-0.03, 0.03])
def test_floor_holds_on_a_gradient_that_begins_under_the_train(rise):
    stop = plain_stop(
        15.0,
        train=train_of(car(), car()),
        gradient=level_then((-100.0, -rise), (-20.0, rise)),
        run=Run(maximum_distance=2e3),
    )
    assert_not_beaten(stop, none.CONTROLLER)


def test_floor_is_not_infinite_where_only_time_runs_out():
    """A train that has not stopped in x when its time is up has gone x at the least."""
    stop = plain_stop(20.0, run=Run(maximum_time=5.0))
    assert not simulate(stop, none.CONTROLLER, with_traces=False).summary["is_stopped"]
    assert shortest_possible(stop) > 80.0


def test_floor_is_infinite_where_nothing_stops_the_train():
    stop = plain_stop(20.0, friction=0.01, run=Run(maximum_distance=100.0))
    assert shortest_possible(stop) == math.inf
    assert distance_of(stop, none.CONTROLLER) == math.inf


def test_more_friction_lowers_the_floor_and_more_speed_raises_it():
    floors = [shortest_possible(plain_stop(20.0, friction=mu)) for mu in (0.02, 0.05, 0.08)]
    assert floors[0] > floors[1] > floors[2]
    assert shortest_possible(plain_stop(21.0, friction=0.05)) > floors[1]


def test_most_cleaning_is_the_largest_product_of_efficiency_and_creepage():
    for share in (0.0, 0.05, 0.3, 0.7, 1.0):
        for full in (0.05, 0.3, 0.5, 0.95):
            stop = plain_stop(20.0).replace(
                {"rail.locked_cleaning_share": share, "rail.full_cleaning_slip": full}
            )
            scanned = max(
                s if s <= full else s * (1.0 - (s - full) / (1.0 - full) * (1.0 - share))
                for s in (i / 20000 for i in range(20001))
            )
            assert most_cleaning(packed(stop).train[0]) == pytest.approx(scanned, rel=1e-7)


def test_following_the_peak_is_no_bound_where_sliding_cleans():
    """Detergent: a strategy that slides deeper than the peak stops shorter than one at the peak."""
    at_peak = shipped_summary("detergent", "peak_follower")["stopping_distance"]
    sliding = shipped_summary("detergent", "slip_band")["stopping_distance"]
    assert sliding < at_peak
    assert sliding >= shortest_possible("detergent")


def metre_by_metre(scenario, mass):
    """Return the distance by min(demand, peak) everywhere: m v^2 / 2 spent on that force. [m]"""
    weight = mass * 9.80665
    demand = packed(scenario).axles["brake_gain"].sum() * scenario.brake.full_pressure
    energy, place = 0.5 * mass * scenario.initial_speed**2, 0.0
    while energy > 0.0:
        section = [s for s in scenario.rail.sections if s.from_distance <= place][-1]
        energy -= 0.01 * min(demand, section.friction * weight)
        place += 0.01
    return place


def test_demand_or_peak_metre_by_metre_is_no_bound_on_a_patchy_rail():
    """A wheel that slid on bad rail takes more than its brake demands when it spins up on good.

    The tempting bound even leaves out the rotating mass.
    """
    scenario = plain_stop(
        15.0, train=train_of(one_axle()), sections=patches([5.0] * 100, [0.02, 0.3])
    )
    tempting = metre_by_metre(scenario, 15e3)
    braked = distance_of(scenario, none.CONTROLLER)
    assert braked < 0.9 * tempting
    assert braked >= shortest_possible(scenario)


def test_unknown_scenario_is_refused():
    with pytest.raises(InputError, match="no_such"):
        shortest_possible("no_such")


def test_film_that_cleaning_makes_worse_is_refused():
    """The reader refuses it as well; here the proof's own need is asked for."""
    scenario = plain_stop(20.0, friction=0.1)
    object.__setattr__(scenario.rail.sections[0], "recovered_friction", 0.05)
    with pytest.raises(InputError, match=r"rail\.sections\.0\.recovered_friction = 0\.05"):
        shortest_possible(scenario)


@pytest.mark.parametrize(
    "change", [{"pad_speed_term": -0.002}, {"pad_heat_term": -1e-4}, {"brake_kind": "cast_iron"}]
)
def test_brake_whose_friction_changes_is_refused(change):
    stop = plain_stop(20.0).replace({f"train.vehicles.0.{k}": v for k, v in change.items()})
    with pytest.raises(InputError, match=r"train\.vehicles\.0"):
        shortest_possible(stop)

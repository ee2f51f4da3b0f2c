"""Where a verdict turns: effects of a sign, situations, sides, the plane and its border."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm
from tests.figures.legibility import faults

from slipbench.campaign.rig import Rig
from slipbench.campaign.store import IN_MEMORY, Store
from slipbench.campaign.variation import WEAR, worn
from slipbench.campaign.verdict import (
    DRAW,
    RAIL,
    Situations,
    distances,
    driver_sides,
    gains,
    judge_pair,
    make_design,
    map_plane,
    n_stops,
    plane_names,
    shares_of,
    sign_effects,
    strategy_side,
)
from slipbench.campaign.verdict_report import verdict_text
from slipbench.figures.verdict import draw_planes, draw_verdict
from slipbench.ground.errors import InputError
from slipbench.running.task import Outcome
from slipbench.scenario import GRADES, Equipment
from slipbench.statistics.designs import Factor
from slipbench.statistics.effects import saltelli_design
from slipbench.strategies.registry import find_controller

SPACE = (Factor("film.friction", 0.5, 2.0, is_log=True), Factor("brake.build_up_time", 1.0, 2.0))


@pytest.mark.parametrize("a", [(0.8, 0.6), (0.6, 0.0, 0.8)], ids=["two", "three"])
def test_effects_of_a_sign_are_those_of_orthants(a: tuple[float, ...]) -> None:
    """Z = 1 where a.x > 0, x standard normal, |a| = 1.

    Two such sums with correlation r have different signs with probability acos(r) / pi (Sheppard's
    formula of 1899, from memory): redrawing x_i leaves r = 1 - a_i^2, keeping it alone r = a_i^2.
    """
    squares = np.square(a)
    design = saltelli_design(len(a), 8192, seed=4)
    found = sign_effects(design, norm.ppf(design.points) @ np.array(a))
    # a share of 8192 has a standard error of 0.0055, over 2 p (1 - p) = 1/2: 0.011; first: twice
    assert found.total == pytest.approx(2.0 / math.pi * np.arccos(1.0 - squares), abs=0.025)
    assert found.first == pytest.approx(2.0 / math.pi * np.arcsin(squares), abs=0.04)
    if len(a) == 2:
        assert 2.0 / math.pi * np.arcsin(squares) == pytest.approx([0.4421, 0.2344], abs=5e-5)
        assert 2.0 / math.pi * np.arccos(1.0 - squares) == pytest.approx([0.7656, 0.5579], abs=5e-5)


def test_a_factor_that_flipped_nothing_may_still_flip_something() -> None:
    design = saltelli_design(2, 16)
    found = sign_effects(design, design.points[:, 0] - 0.5)
    assert found.total[1] == 0.0 and found.total_interval[1, 0] == 0.0
    # Wilson's upper end for none of 16 is 0.194, over 2 p (1 - p), about a half
    assert found.total_interval[1, 1] == pytest.approx(0.387, abs=0.01)
    assert found.first_interval[1].tolist() == found.total_interval[1].tolist()


def test_no_stop_counts_as_longer_and_two_of_them_as_alike() -> None:
    first, second = np.array([100.0, 100.0, math.inf]), np.array([101.0, math.inf, math.inf])
    assert gains(first, second).tolist() == [1.0, math.inf, 0.0]
    shares = shares_of(first, second)
    assert shares.first.estimate == pytest.approx(2 / 3)
    assert (shares.clearly_first, shares.clearly_second, shares.n) == (2 / 3, 0.0, 3)


@pytest.fixture
def tilted(stub):
    """A runner under which `slip_band` stops 40 m times ln(friction factor) before the others."""

    class Tilted(stub):
        def run_on(self, machine, task):
            outcome = super().run_on(machine, task)
            friction = task.scenario.rail.sections[0].friction / 0.03
            is_first = task.candidate.label == "slip_band" and task.scenario.driver.easing is None
            distance = 500.0 - (40.0 * math.log(friction) if is_first else 0.0)
            summary = json.loads(outcome.summary)
            summary |= {"stopping_distance": distance, "final_distance": distance}
            return Outcome(outcome.key, json.dumps(summary), outcome.machine, 0.0)

    return Tilted


@pytest.fixture
def situations(small):
    return Situations([small], SPACE)


@pytest.fixture
def sides(slip_band):
    return strategy_side(slip_band), strategy_side(find_controller("none"))


def test_the_verdict_turns_where_it_was_made_to(situations, sides, tilted) -> None:
    design, runner = make_design(situations, 64), tilted()
    with Store(IN_MEMORY) as store:
        found = distances(situations, sides, design.points, Rig(store, runner))
        verdict = judge_pair(situations, sides, design, found)
        assert plane_names(verdict, situations.space) == ("film.friction", "brake.build_up_time")
        plane = map_plane(
            situations, sides, plane_names(verdict, situations.space), 4, 3, Rig(store, runner)
        )
        before = runner.n_run
        again = distances(situations, sides, design.points, Rig(store, runner))
        assert runner.n_run == before and (again == found).all()  # all of it stored
    assert before <= n_stops(situations, 64, 4, 3)
    assert verdict.shares.first.estimate == pytest.approx(0.5, abs=0.02)
    assert verdict.effects.total.tolist() == pytest.approx([1.0, 0.0, 0.0], abs=0.2)
    assert verdict.by_third["film.friction"][0] == 0.0
    assert verdict.by_third["film.friction"][2] == 1.0
    expected = 40.0 * np.log(plane.x)
    assert plane.mean == pytest.approx(np.tile(expected, (4, 1)), abs=1e-9)
    assert (plane.low[:, 2:] > 0.0).all() and (plane.high[:, :2] < 0.0).all()
    full = replace(verdict, plane=plane)
    text = verdict_text(full)
    assert "slip_band stops shorter than none in 50%" in text
    assert "at 8 of 16 nodes, none at 8, undecided at 0" in text
    for figure in (draw_verdict(full), draw_planes([full, full, full])):
        assert faults(figure) == []


def test_nodes_where_the_sign_is_not_told_are_run_again(situations, sides, stub) -> None:
    """The stub's differences are noise, so every node is taken twice as far."""
    with Store(IN_MEMORY) as store:
        plane = map_plane(
            situations, sides, ("film.friction", SPACE[1].name), 2, 4, Rig(store, stub())
        )
    assert plane.n_each.tolist() == [[8, 8], [8, 8]]


def test_both_sides_meet_the_same_situations(small, sides) -> None:
    other = small.replace(name="other")
    situations = Situations([small, other], SPACE)
    assert situations.names == ("film.friction", "brake.build_up_time", RAIL, DRAW)
    points = make_design(situations, 8).points
    places = [situations.at(point) for point in points]
    tasks = [[side.task(*place) for place in places] for side in sides]
    for one, another in zip(*tasks, strict=True):
        assert (one.scenario_hash, one.seed) == (another.scenario_hash, another.seed)
        assert one.key != another.key
    n_second = sum(place.name.startswith("other~") for place, _ in places)
    assert n_second == situations.rail_of(points).sum() and 0 < n_second < len(points)
    assert len({seed for _, seed in places}) > 8


def test_eased_differs_from_held_by_the_driver_alone(small, slip_band) -> None:
    held, eased = (side.task(small, 3) for side in driver_sides(slip_band, 2))
    assert eased.scenario.driver.easing is not None and eased.scenario.driver.easing.position == 2
    assert eased.scenario.replace({"driver.easing": None}, name="small") == held.scenario
    assert eased.candidate == held.candidate and eased.seed == held.seed == 3


def test_own_contact_recovery_and_wear_reach_the_scenario(small) -> None:
    space = (Factor("film.own_contact", 0.0, 1.0), Factor(WEAR, 0.0, 2.0))
    scenario, _ = Situations([small], space).at(np.array([0.25, 1.0, 0.5]))
    assert (scenario.rail.cleaning_law, scenario.rail.contact_share) == ("rail_and_contact", 0.25)
    assert scenario.equipment.condition == Equipment(grade="worn").condition


def test_wear_goes_through_the_grades(small) -> None:
    for i, grade in enumerate(GRADES):
        assert worn(small, float(i)).equipment.condition == Equipment(grade=grade).condition
    between = worn(small, 1.5).equipment.condition
    assert between.pitch_error == pytest.approx(0.5e-3)  # 0.2 mm in service, 0.8 mm worn
    with pytest.raises(InputError, match=r"equipment.wear = 2.5; allowed: 0 \(clean\) to 2"):
        worn(small, 2.5)

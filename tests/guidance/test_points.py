import dataclasses
import math

import numpy as np
import pytest
from scipy import stats

from slipbench.ground.errors import InputError
from slipbench.guidance.points import (
    MPH,
    YARD,
    Place,
    bound,
    by_formula,
    good_distance,
    rank_of,
    rounded_up,
    time_lost,
)
from slipbench.guidance.shapes import deciding, table


@pytest.mark.parametrize("speed", [20, 75, 125])
@pytest.mark.parametrize("rise", [-0.02, 0.0, 0.02])
def test_the_braking_point_of_good_rail_is_that_of_the_formula(question, runs, speed, rise):
    """EN 14531-type distance with reaction, resistance and gradient: within 0.1 %."""
    found = good_distance(question, speed * MPH, rise, runs)
    assert found == pytest.approx(by_formula(question, speed * MPH, rise), rel=1e-3)


def test_a_film_that_cannot_hold_on_a_falling_gradient_has_no_number(question, runs):
    """Friction of .02 gives 0.196 m/s2 at the most, as much as 2 % takes away."""
    film = question.rails["very poor"].sections[0]
    bare = dataclasses.replace(film, friction=0.02, recovered_friction=0.02)
    rail = dataclasses.replace(question.rails["very poor"], sections=(bare,))
    rails = {**question.rails, "bare": rail}
    held = dataclasses.replace(question, rails=rails, confidence=0.75, n_draws=3)
    point = table(held, [Place("bare", 40 * MPH, -0.02)], runs, {})[0]
    assert point.earlier == math.inf
    assert point.yards == math.inf
    assert math.isnan(point.time_lost)


def test_worse_rail_faster_and_downhill_need_more(question, runs):
    held = dataclasses.replace(question, confidence=0.75, n_draws=8)
    places = [
        Place("wet", 30 * MPH, 0.0),
        Place("autumn", 30 * MPH, 0.0),
        Place("autumn", 45 * MPH, 0.0),
        Place("autumn", 45 * MPH, -0.01),
        Place("very poor", 45 * MPH, -0.01),
    ]
    found = [point.earlier for point in table(held, places, runs, {})]
    assert found == sorted(found)
    assert found[0] < 0.5 * found[1]


def test_rounding_never_shortens():
    assert rounded_up(0.0) == 0.0
    assert rounded_up(1.0) == 50.0
    assert rounded_up(50 * YARD) == 50.0
    assert rounded_up(50.1 * YARD) == 100.0
    assert rounded_up(-3.0) == 0.0
    assert rounded_up(math.inf) == math.inf


def test_time_lost_is_that_of_braking_evenly():
    """By kinematics: a train that takes 300 m more to the same place, at half its speed."""
    speed, good, earlier = 30.0, 500.0, 300.0
    lost = 2 * (good + earlier) / speed - (earlier / speed + 2 * good / speed)
    assert time_lost(speed, earlier) == pytest.approx(lost)


def test_the_bound_is_passed_as_often_as_it_says():
    """Exchangeable values: the chance that one more lies above is 1 - k / (n + 1)."""
    assert rank_of(0.95, 19) == 19
    assert rank_of(0.95, 128) == 123
    with pytest.raises(InputError, match="needs at least 19"):
        rank_of(0.95, 18)
    with pytest.raises(InputError, match="needs at least 99"):
        rank_of(0.99, 98)
    generator = np.random.default_rng(5)
    values = generator.normal(size=(4000, 129))
    passed = sum(row[-1] > bound(row[:-1], 0.95) for row in values)
    low, high = stats.binom.interval(0.999, 4000, 1 - 123 / 129)
    assert low <= passed <= high


def test_what_decides_a_point_lies_around_it():
    values = np.arange(100.0)[::-1]
    chosen = values[deciding(values, 0.95)]
    assert 7 <= len(chosen) <= 9
    assert min(chosen) < bound(values, 0.95) < max(chosen)
    assert deciding(np.array([1.0, 2.0, math.inf] * 10), 0.6)

"""Rare events against probabilities known in closed form."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from slipbench.ground.errors import InputError
from slipbench.statistics.rare import count_plainly, repeated, subset_simulation

REPEATS = 5


def linear(beta):
    """A margin with the probability of passing `beta` standard deviations."""
    return lambda points: points.sum(axis=1) / math.sqrt(points.shape[1]) - beta


def scattered(points):
    """A normal deviate that hangs on all digits of a number, as a seed's equipment does."""
    return norm.ppf(np.modf(np.abs(points) * 1e7)[0] * (1.0 - 1e-12) + 5e-13)


@pytest.mark.parametrize("beta", [2.3263478740408408, 3.7190164854556804, 4.753424308822899])
@pytest.mark.parametrize("n_dims", [2, 10])
def test_a_plane_is_as_far_off_as_it_is(beta, n_dims):
    """1e-2, 1e-4, 1e-6 (scipy's normal distribution): the mean of 40 within four errors."""
    found = np.array(
        [subset_simulation(linear(beta), n_dims, 500, seed).probability for seed in range(40)]
    )
    truth = norm.sf(beta)
    error = found.std(ddof=1) / math.sqrt(len(found))
    assert abs(found.mean() - truth) < 4.0 * error
    assert error < 0.15 * truth


def test_a_seed_that_neighbours_do_not_share_is_drawn_anew():
    """Half of the margin's variance comes from a number in which near points are not alike."""
    beta = norm.isf(1e-4)

    def margin(points):
        return (points[:, 0] + scattered(points[:, 1])) / math.sqrt(2.0) - beta

    found = np.array(
        [subset_simulation(margin, 2, 500, seed, unordered=(1,)).probability for seed in range(40)]
    )
    error = found.std(ddof=1) / math.sqrt(len(found))
    assert abs(found.mean() - 1e-4) < 4.0 * error and error < 2e-5


def test_intervals_of_five_repeats_hold_the_truth_as_often_as_said():
    """95 % of 200, exact binomial at 99 %: at least 180. Skewed, so 178 to 199 is asked."""
    truth, held = 1e-3, 0
    beta = norm.isf(truth)
    for trial in range(200):
        seeds = range(REPEATS * trial, REPEATS * (trial + 1))
        own = [subset_simulation(linear(beta), 3, 200, seed).probability for seed in seeds]
        interval = repeated(np.array(own))
        held += interval.low <= truth <= interval.high
    assert 178 <= held <= 199


def test_counting_and_levels_agree_where_both_reach():
    counted = count_plainly(linear(norm.isf(0.01)), 3, 20_000)
    assert counted.low < 0.01 < counted.high
    margin = linear(norm.isf(0.01))
    found = [subset_simulation(margin, 3, 500, seed).probability for seed in range(5)]
    levels = repeated(np.array(found))
    assert levels.low < counted.high and counted.low < levels.high


def test_what_never_happens_and_what_always_happens():
    never = subset_simulation(lambda points: np.full(len(points), -1.0), 2, 100)
    assert never.probability == 0.0
    always = subset_simulation(lambda points: np.full(len(points), math.inf), 2, 100)
    assert (always.probability, always.thresholds, always.n_points) == (1.0, (0.0,), 100)


@pytest.mark.parametrize("n_each", [0, 40, 55])
def test_a_level_of_no_tenth_is_refused(n_each):
    with pytest.raises(InputError, match="allowed: a multiple of 10, at least 50"):
        subset_simulation(linear(1.0), 2, n_each)


def test_one_repeat_has_no_interval():
    with pytest.raises(InputError, match="2 or more"):
        repeated(np.array([0.1]))

"""The stated confidence, kept by stops that were not used: other draws of the same spread."""

import dataclasses

import numpy as np
import pytest
from scipy import stats

from slipbench.guidance.points import MPH, YARD, Place, good_distance, needed, summed_up
from slipbench.guidance.spread import draws

N_HELD_OUT = 200
TRAINS = ("four cars, empty", "four cars, full", "two cars")
RAILS = ("autumn", "very poor")


def train_like(question, name):
    """Return the question for one of three trains."""
    if name == "four cars, full":
        return dataclasses.replace(
            question, scenario=question.scenario.replace({"train.load": 1.0})
        )
    if name == "four cars, empty":
        return question
    cars = question.scenario.train.vehicles
    kept = (cars[0],) if name == "one car" else (cars[0], cars[-1])
    train = dataclasses.replace(question.scenario.train, vehicles=kept)
    return dataclasses.replace(question, scenario=question.scenario.replace({"train": train}))


def passed(question, rail, speed, runs):
    """Return how many held-out stops pass the one-in-twenty point: before and after rounding."""
    place = Place(rail, speed, 0.0)
    good = good_distance(question, speed, 0.0, runs)
    point = summed_up(question, place, good, needed(question, place, runs, question.draws()))
    held_out = needed(question, place, runs, draws(question.spread, N_HELD_OUT, seed=1234)) - good
    before = int(np.count_nonzero(held_out > point.earlier))
    after = int(np.count_nonzero(held_out > point.yards * YARD))
    return before, after


def test_three_to_nineteen_is_the_exact_binomial_interval():
    """Of 200 stops that pass with a chance of 0.05 each: 3 to 19 hold 99 % (scipy)."""
    law = stats.binom(N_HELD_OUT, 0.05)
    assert law.cdf(2) <= 0.005 < law.cdf(3)
    assert law.sf(19) <= 0.005 < law.sf(18)


def test_the_confidence_is_kept_on_held_out_draws(question, runs):
    """The small version: one car from 30 mph on autumn rail."""
    small = dataclasses.replace(train_like(question, "one car"), n_draws=128)
    before, after = passed(small, "autumn", 30 * MPH, runs)
    assert 3 <= before <= 19
    assert after <= 19


@pytest.mark.slow
@pytest.mark.parametrize("rail", RAILS)
@pytest.mark.parametrize("train", TRAINS)
def test_the_confidence_is_kept_for_three_trains_on_two_rails(question, runs, train, rail):
    asked = dataclasses.replace(train_like(question, train), n_draws=128)
    before, after = passed(asked, rail, 60 * MPH, runs)
    print(f"{train}, {rail}: passed by {before} of {N_HELD_OUT}, rounded by {after}")
    assert 3 <= before <= 19
    assert after <= 19

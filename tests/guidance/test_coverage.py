"""The stated confidence, kept by stops that were not used: other draws of the same spread."""

import dataclasses

import numpy as np
import pytest
from scipy import stats

from slipbench.guidance.points import MPH, YARD, Place, good_distance, needed, summed_up
from slipbench.guidance.runs import Here
from slipbench.guidance.spread import draws
from slipbench.scenario import load_scenario

N_HELD_OUT = 200
TRAINS = {"elderwick": 60, "tram": 30, "locomotive_and_coaches": 60}
"""Three kinds of train: a unit with discs, a tram with track brakes, tread-braked coaches behind a
locomotive; and the speed they brake from. [mph]"""

RAILS = ("autumn", "very poor")


def one_car(question):
    """Return the question for the first car alone."""
    train = question.scenario.train
    train = dataclasses.replace(train, vehicles=train.vehicles[:1])
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


def test_the_confidence_is_kept_on_held_out_draws(question):
    """The small version: one car from 30 mph on autumn rail."""
    small = dataclasses.replace(one_car(question), n_draws=128)
    before, after = passed(small, "autumn", 30 * MPH, Here())
    assert 3 <= before <= 19
    assert after <= 19


@pytest.mark.slow
@pytest.mark.parametrize("rail", RAILS)
@pytest.mark.parametrize("train", TRAINS)
def test_the_confidence_is_kept_for_three_trains_on_two_rails(question, train, rail):
    scenario = load_scenario("autumn_guide", train=train)
    asked = dataclasses.replace(question, scenario=scenario, n_draws=128)
    before, after = passed(asked, rail, TRAINS[train] * MPH, Here())
    print(f"{train}, {rail}: passed by {before} of {N_HELD_OUT}, rounded by {after}")
    assert 3 <= before <= 19
    assert after <= 19

import math

import numpy as np
import pytest
from scipy import stats

from slipbench.ground.errors import InputError
from slipbench.statistics.intervals import (
    bootstrap_mean,
    fewest_rails,
    paired,
    pairs_needed,
    rank,
    signed_rank,
    wilson,
)

N_SETS = 400


def cover(make_interval, truth, draw, n):
    generator = np.random.default_rng(11)
    hits = 0
    for _ in range(N_SETS):
        interval = make_interval(draw(generator, n))
        hits += interval.low <= truth <= interval.high
    return hits / N_SETS


# of 400 sets at a coverage of 0.95, three standard deviations are 3 sqrt(0.95 0.05 / 400) = 0.033
THREE_SIGMA = 0.033


@pytest.mark.parametrize("n", [12, 60])
def test_signed_rank_covers_a_symmetric_median(n):
    share = cover(signed_rank, 0.3, lambda g, k: 0.3 + g.standard_t(3, k), n)
    assert abs(share - 0.95) < THREE_SIGMA


def test_bootstrap_covers_a_skewed_mean():
    # BCa at 40 values of an exponential is known to cover somewhat less than it says
    share = cover(
        lambda x: bootstrap_mean(x, n_resamples=799), 1.0, lambda g, k: g.exponential(1.0, k), 40
    )
    assert 0.95 - 0.02 - THREE_SIGMA < share < 0.95 + THREE_SIGMA


DRAWS = {
    "normal": lambda g, k: g.normal(0.0, 1.0, k),
    "exponential": lambda g, k: g.exponential(1.0, k) - 1.0,
}


@pytest.mark.parametrize(
    ("name", "n"),
    # below six values it is Student's interval, right for normal ones
    [("normal", 3), ("normal", 8), ("normal", 16), ("exponential", 8), ("exponential", 16)],
)
def test_a_mean_of_few_rails_is_covered_as_often_as_said(name, n):
    """Plain percentiles, even corrected for bias, cover 8 normal values in 88 of 100 cases."""
    share = cover(lambda x: bootstrap_mean(x, n_resamples=1999), 0.0, DRAWS[name], n)
    loss = 0.0 if name == "normal" else 0.04  # as its documentation says of skewed values
    assert 0.95 - loss - THREE_SIGMA < share < 0.95 + THREE_SIGMA


def test_paired_intervals_cover_what_rails_have_in_common_taken_out():
    """Rails differ by 50 m, pairs by a mean of 3 m with a spread of 2 m: the pairs decide."""
    generator = np.random.default_rng(8)
    n_covered = n_told = 0
    for _ in range(N_SETS):
        rails = generator.gamma(2.0, 25.0, 10)
        first = rails + generator.normal(0.0, 1.0, 10)
        second = rails + 3.0 + generator.normal(0.0, 1.7, 10)
        found = paired(first, second)
        n_covered += found.mean.low <= 3.0 <= found.mean.high
        n_told += found.mean.low > 0.0
    assert abs(n_covered / N_SETS - 0.95) < THREE_SIGMA
    assert n_told / N_SETS > 0.9  # 3 m over 2 m and ten rails: a power of 0.99


@pytest.mark.parametrize("probability", [0.02, 0.3])
def test_wilson_covers_a_probability(probability):
    def interval(events):
        return wilson(int(events.sum()), len(events))

    share = cover(interval, probability, lambda g, k: g.random(k) < probability, 50)
    # the score interval swings around its level with n p, here by up to 0.03
    assert share > 0.95 - 0.03 - THREE_SIGMA


def test_wilson_matches_its_formula():
    """E. B. Wilson, J. Amer. Statist. Assoc. 22 (1927) 209-212; formula from memory."""
    k, n, z = 3, 100, 1.959963984540054
    centre = (k / n + z**2 / (2 * n)) / (1 + z**2 / n)
    half = z / (1 + z**2 / n) * math.sqrt(k / n * (1 - k / n) / n + z**2 / (4 * n**2))
    found = wilson(k, n)
    # rounding only
    assert found.low == pytest.approx(centre - half, rel=1e-12)
    assert found.high == pytest.approx(centre + half, rel=1e-12)
    with pytest.raises(InputError, match="allowed"):
        wilson(4, 3)


@pytest.mark.parametrize("n", [1, 2, 7, 30])
def test_signed_rank_takes_the_means_of_pairs(n):
    values = np.random.default_rng(n).normal(size=n).round(1)
    means = np.array([(values[i] + values[j]) / 2 for i in range(n) for j in range(i, n)])
    assert signed_rank(values).estimate == pytest.approx(float(np.median(means)), abs=1e-12)


def test_signed_rank_interval_matches_the_exact_table():
    """Two-sided 95 % interval of 10 values: ends are the 9th means (critical value 8; memory)."""
    values = np.arange(10.0) ** 2
    means = np.sort([(values[i] + values[j]) / 2 for i in range(10) for j in range(i, 10)])
    found = signed_rank(values)
    assert (found.low, found.high) == (means[8], means[-9])


def test_too_few_values_give_no_rank_interval():
    found = signed_rank(np.array([1.0, 2.0, 3.0, 4.0, 5.0]))  # 2 / 2^5 > 0.05
    assert (found.low, found.high) == (-math.inf, math.inf)
    assert not found.excludes_zero


def test_an_overrun_spoils_the_mean_but_not_the_ranks():
    first = np.full(20, 100.0)
    second = np.full(20, 90.0) + np.arange(20) * 0.1
    second[3] = math.inf
    found = paired(first, second)
    assert math.isnan(found.mean.estimate) and math.isnan(found.n_needed)
    assert found.median.high < 0.0
    assert (found.n_better, found.n_worse) == (19, 1)


def test_two_overruns_are_a_tie():
    found = paired(np.array([math.inf, 1.0]), np.array([math.inf, 1.0]))
    assert found.mean.estimate == 0.0 and found.n_better == found.n_worse == 0


def test_pairing_needs_as_many():
    with pytest.raises(InputError, match="do not pair"):
        paired(np.zeros(3), np.zeros(4))


@pytest.mark.parametrize(("mean", "least", "most"), [(0.5, 34, 34), (1.2, 8, 8), (20.0, 6, 6)])
def test_pairs_needed_are_enough_and_hardly_more(mean, least, most):
    """Table values of the paired t test at 5 per cent and power 0.8: 34 and 8 pairs (memory)."""
    pilot = np.random.default_rng(5).normal(0.0, 1.0, 2000)
    pilot = mean + (pilot - pilot.mean()) / pilot.std(ddof=1)
    n = int(pairs_needed(pilot))
    assert least <= n <= most
    trials = np.random.default_rng(6).normal(mean, 1.0, (4000, n))
    t = trials.mean(axis=1) / (trials.std(axis=1, ddof=1) / math.sqrt(n))
    power = (np.abs(t) > stats.t.ppf(0.975, n - 1)).mean()
    # three standard errors of 4000 trials are 0.02; a whole number of pairs is a step of up to 0.06
    assert 0.78 < power < 0.88 or n == 6


def test_pairs_needed_of_no_difference_are_infinite():
    assert pairs_needed(np.array([1.0, -1.0])) == math.inf


def test_pairs_needed_never_promise_what_ranks_cannot_tell():
    assert pairs_needed(np.full(8, 3.0)) == pairs_needed(np.arange(8) + 1e3) == fewest_rails(2) == 6


def test_many_pairs_needed_come_from_the_normal_distribution():
    values = np.concatenate([np.full(500, 1.0), np.full(500, -1.0)]) + 0.01
    z = stats.norm.ppf(0.975) + stats.norm.ppf(0.8)
    assert pairs_needed(values) == math.ceil((z * values.std(ddof=1) / 0.01) ** 2)


def test_rank_tells_apart_only_what_differs():
    generator = np.random.default_rng(2)
    rails = generator.normal(0.0, 50.0, 30)
    values = {
        "a": rails + generator.normal(0.0, 1.0, 30),
        "b": rails + generator.normal(0.0, 1.0, 30),
        "c": rails + 10.0 + generator.normal(0.0, 1.0, 30),
    }
    found = rank({name: numbers.tolist() for name, numbers in values.items()})
    assert set(found.separated) == {("a", "c"), ("b", "c")}
    assert found.ranks == {"a": (1, 2), "b": (1, 2), "c": (3, 3)}
    assert found.is_supported and not found.is_full


def test_rank_of_noise_is_rarely_supported():
    generator = np.random.default_rng(3)
    n_wrong = 0
    for _ in range(100):
        values = {name: generator.normal(size=20).tolist() for name in "abcd"}
        n_wrong += rank(values).is_supported
    # at most 5 in 100 are expected; 13 has a probability of about 0.001 at 5 per cent
    assert n_wrong < 13


@pytest.mark.parametrize("n_candidates", [2, 3, 5])
def test_fewest_rails_is_the_edge(n_candidates):
    def is_full(n_rails):
        values = {str(i): [10.0**i + k for k in range(n_rails)] for i in range(n_candidates)}
        return rank(values).is_full

    n = fewest_rails(n_candidates)
    assert is_full(n) and not is_full(n - 1)

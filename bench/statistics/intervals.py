"""How sure: paired differences, probabilities of overrun, how many stops were needed, rankings.

The unit of every interval is the rail, not the stop: stops of one rail with different seeds are
much alike, so they are averaged before anything is concluded.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy import stats

from slipbench.ground.arrays import Floats
from slipbench.ground.errors import InputError

CONFIDENCE = 0.95
N_RESAMPLES = 4999
MOST_EXACT = 50
"""Up to this many pairs the signed-rank interval uses the exact distribution."""
FEWEST_RESAMPLED = 6
"""Values without which no resampled interval of a mean can reach 95 %: its widest, from the least
value to the greatest, holds the middle of a symmetric distribution with 1 - 2 / 2^n."""
MOST_COUNTED = 1000
"""Pairs beyond which the normal approximation is as good as Student's distribution."""


@dataclass(frozen=True)
class Interval:
    """An estimate with its interval; NaN where there is none."""

    estimate: float
    low: float
    high: float
    confidence: float = CONFIDENCE

    @property
    def excludes_zero(self) -> bool:
        """Whether the interval says which way it goes; NaN never does."""
        return self.low > 0.0 or self.high < 0.0

    def written(self, decimals: int = 2, unit: str = "") -> str:
        """Return the interval as text."""
        if not math.isfinite(self.estimate):
            return "no estimate"
        text = f"{self.estimate:.{decimals}f} [{self.low:.{decimals}f}, {self.high:.{decimals}f}]"
        return f"{text} {unit}".rstrip()


@dataclass(frozen=True)
class Paired:
    """Differences of two candidates on the same rails, second minus first.

    Attributes
    ----------
    n_pairs : int
    mean : Interval        bootstrap (BCa); NaN if a difference is not finite
    median : Interval      rank-based: Hodges-Lehmann estimate, Wilcoxon signed-rank interval
    n_better, n_worse : int   pairs in which the second is lower, higher
    n_needed : float       pairs needed to tell a difference of this mean; see `pairs_needed`
    """

    n_pairs: int
    mean: Interval
    median: Interval
    n_better: int
    n_worse: int
    n_needed: float


def wilson(n_events: int, n_trials: int, confidence: float = CONFIDENCE) -> Interval:
    """Return a probability with Wilson's score interval.

    Raises
    ------
    InputError   for no trials, or more events than trials

    References
    ----------
    E. B. Wilson, J. Amer. Statist. Assoc. 22 (1927) 209-212 (from memory); `scipy.stats`.
    """
    if not 0 <= n_events <= n_trials or n_trials < 1:
        raise InputError(f"{n_events} events in {n_trials} trials; allowed: 0 to n of n >= 1")
    found = stats.binomtest(n_events, n_trials).proportion_ci(confidence, method="wilson")
    return Interval(n_events / n_trials, float(found.low), float(found.high), confidence)


def bootstrap_mean(
    values: Floats, confidence: float = CONFIDENCE, seed: int = 0, n_resamples: int = N_RESAMPLES
) -> Interval:
    """Return a mean with its bootstrap interval: bias-corrected, accelerated, wider for few values.

    With fewer than 2 values, or one that is not finite, there is no interval; below 6 it is
    Student's. Equal values give an interval of no width.

    Notes
    -----
    Resampling n values gives means that spread too little by sqrt((n - 1) / n) and tails that are
    normal where Student's belong, so 8 normal values are covered in 88 of 100 cases. The level of
    the percentiles is therefore moved out until they are right for normal values; with it, 6 to 30
    values are covered in 93 to 95 of 100 cases, skewed ones (exponential) in 91 to 95. A rare large
    value that was never drawn is in no interval: the mean of few flats may lie above it.

    References
    ----------
    B. Efron, J. Amer. Statist. Assoc. 82 (1987) 171-185 (from memory); `scipy.stats.bootstrap`.
    T. Hesterberg, Amer. Statist. 69 (2015) 371-386, the expanded percentile interval (from memory).
    """
    values = np.asarray(values, dtype=np.float64)
    mean = float(values.mean()) if len(values) else math.nan
    if len(values) < 2 or not np.isfinite(values).all():
        return Interval(mean if math.isfinite(mean) else math.nan, math.nan, math.nan, confidence)
    if np.ptp(values) == 0.0:
        return Interval(mean, mean, mean, confidence)
    n = len(values)
    reach = float(stats.t.ppf(0.5 + 0.5 * confidence, n - 1))
    if n < FEWEST_RESAMPLED:
        half = reach * float(values.std(ddof=1)) / math.sqrt(n)
        return Interval(mean, mean - half, mean + half, confidence)
    found = stats.bootstrap(
        (values,),
        np.mean,
        confidence_level=1.0 - 2.0 * float(stats.norm.sf(math.sqrt(n / (n - 1)) * reach)),
        n_resamples=n_resamples,
        method="BCa",
        vectorized=True,
        batch=max(1, 1_000_000 // len(values)),
        random_state=np.random.default_rng(seed),
    ).confidence_interval
    return Interval(mean, float(found.low), float(found.high), confidence)


def signed_rank(values: Floats, confidence: float = CONFIDENCE) -> Interval:
    """Return the median of a symmetric distribution: Hodges-Lehmann, with its rank interval.

    Infinite values are allowed, such as the difference between an overrun and a stop; two overruns
    differ by 0. Too few values for the confidence give an infinite interval.

    Notes
    -----
    The k-th smallest and largest of the n (n + 1) / 2 means of pairs (a value with itself
    included), k from the distribution of the signed-rank statistic: exact up to 50 values, normal
    beyond. Covers as often as it says or more if the distribution is symmetric.

    References
    ----------
    J. L. Hodges, E. L. Lehmann, Ann. Math. Statist. 34 (1963) 598-611 (from memory).
    """
    values = np.asarray(values, dtype=np.float64)
    n = len(values)
    if n == 0 or np.isnan(values).any():
        return Interval(math.nan, math.nan, math.nan, confidence)
    values = np.sort(np.clip(values, -_BEYOND, _BEYOND))
    n_means = n * (n + 1) // 2
    middle = [_kth_mean(values, (n_means + 1) // 2), _kth_mean(values, n_means // 2 + 1)]
    estimate = 0.5 * sum(middle)
    tail = 0.5 * (1.0 - confidence)
    k = _exact_rank(n, tail) if n <= MOST_EXACT else _normal_rank(n, tail)
    low, high = -math.inf, math.inf
    if k >= 1:
        low, high = _kth_mean(values, k), _kth_mean(values, n_means + 1 - k)
    return Interval(_or_infinite(estimate), _or_infinite(low), _or_infinite(high), confidence)


def median_interval(values: Floats, confidence: float = CONFIDENCE) -> Interval:
    """Return the median with the interval between two of the ordered values.

    No shape of the distribution is assumed, and infinite values are allowed. It covers as often as
    it says or more; fewer than six values leave it infinite at 95 %.

    Notes
    -----
    The k-th smallest and the k-th greatest, k the greatest for which a binomial number of n and one
    half is below k with probability at most half of 1 - confidence: a textbook result.
    """
    ordered = np.sort(np.asarray(values, dtype=np.float64))
    n = len(ordered)
    if n == 0 or np.isnan(ordered).any():
        return Interval(math.nan, math.nan, math.nan, confidence)
    middle = float(0.5 * ordered[(n - 1) // 2] + 0.5 * ordered[n // 2])
    tail = 0.5 * (1.0 - confidence)
    k = int(np.searchsorted(stats.binom.cdf(np.arange(n), n, 0.5), tail, side="right"))
    if k < 1:
        return Interval(middle, -math.inf, math.inf, confidence)
    return Interval(middle, float(ordered[k - 1]), float(ordered[n - k]), confidence)


_BEYOND = 1e300
"""Stands for infinity, so that the mean of plus and minus infinity is 0."""


def _or_infinite(value: float) -> float:
    return math.copysign(math.inf, value) if abs(value) > 1e-3 * _BEYOND else value


def _kth_mean(values: Floats, k: int) -> float:
    """Return the k-th smallest mean of pairs of sorted values, each with itself included.

    Halves the interval between floats, taken by their order, so it needs 64 counts whatever the
    values, and memory for n of them only.
    """
    places = np.arange(len(values))

    def n_up_to(mean: float) -> int:
        partners = np.searchsorted(values, 2.0 * mean - values, side="right")
        return int(np.maximum(partners - places, 0).sum())

    low, high = _order(float(values[0])) - 1, _order(float(values[-1])) + 1
    while high - low > 1:
        middle = (low + high) // 2
        if n_up_to(_float_at(middle)) >= k:
            high = middle
        else:
            low = middle
    return _float_at(high)


def _order(value: float) -> int:
    """Return the place of a float among all floats, 0 for zero."""
    bits = int(np.float64(abs(value)).view(np.int64))
    return -bits if value < 0.0 else bits


def _float_at(place: int) -> float:
    value = float(np.int64(abs(place)).view(np.float64))
    return -value if place < 0 else value


def _exact_rank(n: int, tail: float) -> int:
    """Return the largest k with P(T < k) <= tail, T the sum of ranks with random signs."""
    ways = np.zeros(n * (n + 1) // 2 + 1)
    ways[0] = 1.0
    for rank in range(1, n + 1):
        ways[rank:] = ways[rank:] + ways[: len(ways) - rank]
    below = np.cumsum(ways) / 2.0**n  # P(T <= t)
    return int(np.searchsorted(below, tail, side="right"))


def _normal_rank(n: int, tail: float) -> int:
    mean, variance = n * (n + 1) / 4.0, n * (n + 1) * (2 * n + 1) / 24.0
    return math.floor(mean + float(stats.norm.ppf(tail)) * math.sqrt(variance))


def paired(
    first: Floats,
    second: Floats,
    confidence: float = CONFIDENCE,
    seed: int = 0,
) -> Paired:
    """Compare two candidates on the same rails.

    Parameters
    ----------
    first, second : (n,)   one number a rail, lower is better; infinite for an overrun

    Returns
    -------
    Paired   of second minus first

    Raises
    ------
    InputError   if the numbers do not pair
    """
    first, second = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if first.shape != second.shape or first.ndim != 1 or len(first) == 0:
        raise InputError(f"{len(first)} and {len(second)} numbers do not pair; allowed: as many")
    with np.errstate(invalid="ignore"):
        differences = np.where(first == second, 0.0, second - first)  # inf - inf: both overran
    return Paired(
        n_pairs=len(differences),
        mean=bootstrap_mean(differences, confidence, seed),
        median=signed_rank(differences, confidence),
        n_better=int((differences < 0.0).sum()),
        n_worse=int((differences > 0.0).sum()),
        n_needed=pairs_needed(differences, confidence),
    )


def pairs_needed(differences: Floats, confidence: float = CONFIDENCE, power: float = 0.8) -> float:
    """Return how many pairs tell a difference like the one seen from none, with the given power.

    The least n at which Student's paired interval excludes zero that often, for normal differences
    with this mean and spread; never below `fewest_rails`, without which ranks tell nothing apart.
    Infinite for no difference, NaN where it cannot be told.
    """
    differences = np.asarray(differences, dtype=np.float64)
    if len(differences) < 2 or not np.isfinite(differences).all():
        return math.nan
    mean, spread = float(differences.mean()), float(differences.std(ddof=1))
    if mean == 0.0:
        return math.inf
    upper = 0.5 + 0.5 * confidence
    z = float(stats.norm.ppf(upper) + stats.norm.ppf(power))
    n = max(fewest_rails(2, confidence), math.ceil((z * spread / mean) ** 2))
    shift = math.inf if spread == 0.0 else abs(mean) / spread
    while n <= MOST_COUNTED and math.isfinite(shift):
        limit = float(stats.t.ppf(upper, n - 1))
        if float(stats.nct.sf(limit, n - 1, shift * math.sqrt(n))) >= power:
            break
        n += 1
    return float(n)


@dataclass(frozen=True)
class Ranking:
    """What can be said about the order of candidates.

    Attributes
    ----------
    ranks : mapping        label to (best, worst) rank its intervals leave open, from 1
    separated : tuple      pairs (better, worse) that the intervals tell apart
    is_full : bool         every pair is told apart
    """

    ranks: Mapping[str, tuple[int, int]]
    separated: tuple[tuple[str, str], ...]
    is_full: bool

    @property
    def is_supported(self) -> bool:
        """Whether the intervals tell any pair apart."""
        return bool(self.separated)


def fewest_rails(n_candidates: int, confidence: float = CONFIDENCE) -> int:
    """Return the rails without which `rank` can tell no pair apart, however different it is."""
    n_pairs = max(1, n_candidates * (n_candidates - 1) // 2)
    return math.ceil(math.log2(2.0 * n_pairs / (1.0 - confidence)) - 1e-9)


def rank(values: Mapping[str, Sequence[float]], confidence: float = CONFIDENCE) -> Ranking:
    """Rank candidates by paired numbers, as far as their intervals support it.

    Two candidates are told apart only if the rank-based interval of their paired differences
    excludes zero at a confidence shared out among all pairs (Bonferroni), so the chance of any
    wrong order among them stays below 1 - confidence.

    Parameters
    ----------
    values : mapping   label to numbers in the order of the rails, lower is better

    Returns
    -------
    Ranking
    """
    labels = list(values)
    pairs = list(combinations(labels, 2))
    each = 1.0 - (1.0 - confidence) / max(1, len(pairs))
    separated: list[tuple[str, str]] = []
    for first, second in pairs:
        a, b = np.asarray(values[first], float), np.asarray(values[second], float)
        with np.errstate(invalid="ignore"):
            found = signed_rank(np.where(a == b, 0.0, b - a), each)
        if found.excludes_zero:
            separated.append((first, second) if found.low > 0.0 else (second, first))
    ranks = {
        label: (
            1 + sum(worse == label for _, worse in separated),
            len(labels) - sum(better == label for better, _ in separated),
        )
        for label in labels
    }
    return Ranking(ranks, tuple(separated), is_full=len(separated) == len(pairs) and bool(pairs))

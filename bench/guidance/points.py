"""Braking points by speed, gradient and rail state, with a stated confidence."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from slipbench.ground.arrays import Floats
from slipbench.ground.errors import InputError
from slipbench.guidance.formula import stepped_distance
from slipbench.guidance.runs import Asked, Distances
from slipbench.guidance.spread import Draw, Spread, draws, nominal, situation
from slipbench.guidance.states import GOOD
from slipbench.running.candidate import Candidate
from slipbench.scenario import GradientSection, Rail, Scenario

MPH, YARD = 0.44704, 0.9144
"""A mile an hour [m/s] and a yard [m], by definition."""

ROUNDING = 50
"""A driver's numbers are rounded up to so many. [yd]"""

UNLUCKY = 0.99
"""Share of stops that the unlucky one in a hundred leaves out. [-]"""

_BACK = -1e4
"""Where a gradient or film begins, behind any train. [m]"""


@dataclass(frozen=True)
class Question:
    """What braking points are asked for.

    Attributes
    ----------
    scenario : Scenario      train, equipment and driver; its rail and speed play no part
    candidate : Candidate    the strategy
    rails : mapping          state in words to its rail; `good` among them
    spread : Spread
    confidence : float       share of stops that must end before the platform does [-]
    n_draws : int            circumstances drawn for each point
    seed : int               of the draws
    """

    scenario: Scenario
    candidate: Candidate
    rails: Mapping[str, Rail]
    spread: Spread = field(default_factory=Spread)
    confidence: float = 0.95
    n_draws: int = 128
    seed: int = 0

    def __post_init__(self) -> None:
        """Refuse too few draws for the confidence."""
        rank_of(self.confidence, self.n_draws)

    def draws(self) -> list[Draw]:
        """Return the circumstances; the same for every point."""
        return draws(self.spread, self.n_draws, self.seed)


class Place(NamedTuple):
    """Where a point is asked for: train speed [m/s], gradient (positive uphill) [-], rail state."""

    state: str
    speed: float
    rise: float


@dataclass(frozen=True)
class Point:
    """How much earlier to brake than on good rail, at one place. Lengths in m; infinite: none.

    Attributes
    ----------
    place : Place
    good : float          from the braking point to standstill on good rail, as designed
    formula : float       the same by the formula of EN 14531 type
    earlier : float       so much earlier that the confidence is met, before rounding
    low, high : float     its range over the shapes of the creep curve and the cleaning laws
    median, unlucky : float   what half of the stops need, and all but one in a hundred (NaN where
                          there are too few draws to say)
    """

    place: Place
    good: float
    formula: float
    earlier: float
    low: float
    high: float
    median: float
    unlucky: float

    @property
    def time_lost(self) -> float:
        """What the driver's point costs against stopping as on good rail. [s]"""
        return time_lost(self.place.speed, self.driver)

    @property
    def yards(self) -> float:
        """As a driver would use it: the top of the range, rounded up to 50 yards. [yd]"""
        return rounded_up(max(self.earlier, self.high))

    @property
    def driver(self) -> float:
        """The same in metres. [m]"""
        return self.yards * YARD


def rounded_up(metres: float) -> float:
    """Return a distance in yards, rounded up to what a driver uses; infinite stays. [yd]"""
    if not math.isfinite(metres):
        return math.inf
    return float(ROUNDING * max(0, math.ceil(metres / YARD / ROUNDING - 1e-9)))


def rank_of(share: float, n: int) -> int:
    """Return which of n ordered values is exceeded by a further one with chance 1 - share at most.

    The ceil((n + 1) share)-th: of n + 1 values that might be exchanged for one another the last is
    equally likely to have any rank, so it lies above the k-th with chance 1 - k / (n + 1).

    Raises
    ------
    InputError   where n is too small for the share
    """
    rank = math.ceil((n + 1) * share - 1e-9)
    if rank > n:
        fewest = math.ceil(share / (1.0 - share) - 1e-9)
        raise InputError(f"{n} draws; a confidence of {share:g} needs at least {fewest} (--draws)")
    return rank


def bound(values: Floats, share: float) -> float:
    """Return the value a further one lies below with at least this chance; see `rank_of`."""
    return float(np.sort(values)[rank_of(share, len(values)) - 1])


def scenario_at(question: Question, place: Place) -> Scenario:
    """Return the stop of a place as designed: its rail untouched, its driver without delay."""
    level = () if place.rise == 0.0 else (GradientSection(from_distance=_BACK, rise=place.rise),)
    return question.scenario.replace(
        {
            "rail": question.rails[place.state],
            "initial_speed": place.speed,
            "gradient": level,
            "curves": (),
        }
    )


def asked(question: Question, scenario: Scenario, drawn: Sequence[Draw]) -> list[Asked]:
    """Return the stops of a place under these circumstances."""
    return [Asked(situation(scenario, one), question.candidate, one.seed) for one in drawn]


def good_distance(question: Question, speed: float, rise: float, runs: Distances) -> float:
    """Return the distance from the braking point on good rail, everything as designed. [m]"""
    scenario = scenario_at(question, Place(GOOD, speed, rise))
    return float(runs.distances(asked(question, scenario, [nominal(question.spread)]))[0])


def needed(question: Question, place: Place, runs: Distances, drawn: Sequence[Draw]) -> Floats:
    """Return how far stops of these circumstances run from the braking point. (n,) [m]"""
    return runs.distances(asked(question, scenario_at(question, place), drawn))


def by_formula(question: Question, speed: float, rise: float) -> float:
    """Return the EN 14531-type distance of a held step with the median reaction. [m]"""
    scenario, train = question.scenario, question.scenario.train
    brake, first = scenario.brake, scenario.driver.programme[0]
    at_full = (0.0, *brake.steps, brake.emergency)
    rotating = sum(vehicle.rotating_mass for vehicle in train.vehicles)
    return stepped_distance(
        speed,
        at_full[min(first.position, len(at_full) - 1)],
        question.spread.median_reaction + (first.at_time or 0.0) + brake.demand_delay,
        brake.build_up_time,
        rise,
        rotating / train.mass,
        (train.resistance_constant, train.resistance_linear, train.resistance_quadratic),
    )


def time_lost(speed: float, earlier: float) -> float:
    """Return what braking earlier costs a train that stops at the same place. [s]

    Assumed: a driver who finds the rail better than feared spreads the braking evenly up to the
    marker. So the way of the earlier braking is run at half the speed on average, and takes twice
    the time it took at full speed.
    """
    return earlier / speed if math.isfinite(earlier) else math.nan


def summed_up(question: Question, place: Place, good: float, distances: Floats) -> Point:
    """Return the point that these distances give. (n,) [m]"""
    n = len(distances)
    earlier = distances - good if math.isfinite(good) else np.full(n, math.inf)
    at = bound(earlier, question.confidence)
    is_enough = math.ceil((n + 1) * UNLUCKY - 1e-9) <= n
    return Point(
        place=place,
        good=good,
        formula=by_formula(question, place.speed, place.rise),
        earlier=at,
        low=at,
        high=at,
        median=float(np.median(earlier)),
        unlucky=bound(earlier, UNLUCKY) if is_enough else math.nan,
    )

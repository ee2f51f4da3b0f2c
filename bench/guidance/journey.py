"""A train over a route: for every stop and rail state the braking point, and what it is worth."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from slipbench.contract import Floats
from slipbench.guidance.line import Approach
from slipbench.guidance.points import YARD, bound, rank_of, rounded_up
from slipbench.guidance.route import Route
from slipbench.guidance.runs import FARTHEST_STOP, distance_of
from slipbench.guidance.spread import Draw, Spread, draws, holding, nominal, situation
from slipbench.guidance.states import GOOD, WET
from slipbench.running.candidate import Candidate, controller_of
from slipbench.running.runner import as_input_error
from slipbench.scenario import Rail, Scenario
from slipbench.statistics.intervals import Interval, wilson

MPH = 0.44704

SLOWER = tuple(mph * MPH for mph in (50, 40, 30, 20, 15))
"""Speeds tried where no braking point holds from line speed. [m/s]"""

FEW = 6
"""Draws that choose the step, and that begin the search for a braking point."""

_ROUNDS, CLOSE, ROUGHLY = 10, 25.0, 60.0
"""Of the search: most rounds, how near the least lead it ends (half of the rounding), and how near
where steps are compared. [m]"""

N_TRAINS = 3
"""Trains of the morning, one after the other over the rail the ones before left."""

N_MORNINGS = 6


@dataclass(frozen=True)
class Travel:
    """How a route is asked about.

    Attributes
    ----------
    scenario : Scenario    train, brake, equipment
    candidate : Candidate  the strategy
    films : mapping        scenario to its rail, of every film
    spread : Spread
    confidence : float     share of stops that must end before the platform does [-]
    n_draws : int
    seed : int
    redeposited : float    share of the film laid down again between two trains [-]
    """

    scenario: Scenario
    candidate: Candidate
    films: Mapping[str, Rail]
    spread: Spread = field(default_factory=Spread)
    confidence: float = 0.95
    n_draws: int = 40
    seed: int = 0
    redeposited: float = 0.0

    def __post_init__(self) -> None:
        """Refuse too few draws for the confidence."""
        rank_of(self.confidence, self.n_draws)


@dataclass(frozen=True)
class Asked:
    """One stop of the route on one rail state."""

    travel: Travel
    approach: Approach
    state: str


@dataclass(frozen=True)
class Advice:
    """What to do at one stop on one rail state. Leads count from the marker; SI.

    Attributes
    ----------
    station, state : str
    step : int               to select
    speed : float            at the braking point [m/s]
    line_speed : float       at the good-rail braking point [m/s]
    good : float             lead on good rail, everything as designed, the normal step [m]
    lead : float             that meets the confidence, before rounding; infinite: none does [m]
    yards : float            earlier than on good rail, rounded up to 50 [yd]
    past_platform : Interval share of held-out stops past the platform end [-]
    past_signal : Interval or None   past the signal beyond; None where there is none
    marker_speed : (median, 95 %)    at the marker, the brake held; 0 where it stopped before [m/s]
    morning : tuple          median way from the braking point of the first, second and third train
                             over the rail left by those before [m]; empty where not asked
    """

    station: str
    state: str
    step: int
    speed: float
    line_speed: float
    good: float
    lead: float
    yards: float
    past_platform: Interval
    past_signal: Interval | None
    marker_speed: tuple[float, float]
    morning: tuple[float, ...] = ()

    @property
    def holds(self) -> bool:
        """Whether there is a braking point."""
        return math.isfinite(self.lead)

    @property
    def is_slower(self) -> bool:
        """Whether the train has to come slower than the line lets it."""
        return self.holds and self.speed < 0.98 * self.line_speed

    @property
    def used(self) -> float:
        """The lead as the driver uses it. [m]"""
        return self.good + self.yards * YARD

    @property
    def time_lost(self) -> float:
        """Against running on and stopping as on good rail, braking evenly up to the marker. [s]"""
        if not self.holds:
            return math.nan
        as_good = 2.0 * self.good / self.line_speed
        running_on = (self.used - self.good) / self.line_speed
        return 2.0 * self.used / self.speed - as_good - running_on


def solve(asked: Asked) -> Advice:
    """Return the advice for one stop on one rail state."""
    travel, approach = asked.travel, asked.approach
    normal = approach.route.normal_step
    good = settled(
        replace(asked, state=GOOD), normal, [nominal(travel.spread)], max, 0.0, close=1.0
    )
    line_speed = approach.speed_at(approach.station.marker - good)
    drawn = draws(travel.spread, travel.n_draws, travel.seed)
    few = drawn[:FEW]
    steps = [normal]
    if asked.state not in (GOOD, WET):
        steps = list(range(1, travel.scenario.brake.n_steps + 1))
    leads = {normal: settled(asked, normal, few, max, approach.slack, good)}
    if leads[normal] > good + 50 * YARD + CLOSE:
        leads |= {
            one: settled(asked, one, few, max, approach.slack, good, close=ROUGHLY)
            for one in steps
            if one != normal
        }
    step = chosen(leads, normal, good)
    for top in (math.inf, *(speed for speed in SLOWER if speed < 0.95 * line_speed)):
        slow = math.isfinite(top)
        lead = settled(asked, step, few, max, approach.slack, good, top) if slow else leads[step]
        if math.isfinite(lead):
            lead = settled(asked, step, drawn, _bound_of(travel), approach.slack, lead, top)
        if math.isfinite(lead):
            return valued(asked, step, good, line_speed, max(lead, 0.0), top)
    none = Interval(math.nan, math.nan, math.nan)
    return Advice(
        approach.station.name, asked.state, step, line_speed, line_speed, good, math.inf, math.inf,
        none, None, (math.nan, math.nan),
    )  # fmt: skip


def _bound_of(travel: Travel) -> Callable[[Floats], float]:
    return lambda values: bound(values, travel.confidence)


def chosen(leads: Mapping[int, float], normal: int, good: float) -> int:
    """Return the step to select, from the lead each needs.

    The normal one where it needs no 50 yards more than on good rail; else the one with the shortest
    lead, or a lower one that needs no 50 yards more than that.
    """
    shortest = min(leads.values())
    if leads[normal] <= good + 50 * YARD + CLOSE:  # which a search may be too long by
        return normal
    if not math.isfinite(shortest):
        return max(leads)
    return min(step for step, lead in leads.items() if lead <= shortest + 50 * YARD)


def settled(
    asked: Asked,
    step: int,
    drawn: Sequence[Draw],
    pick: Callable[[Any], float],
    slack: float,
    lead: float = 300.0,
    top: float = math.inf,
    close: float = CLOSE,
) -> float:
    """Return the lead from which the stops of these draws end in time, as `pick` reads them.

    The way a stop takes depends on where it begins: film, gradient and speed lie along the line,
    and a train that brakes before a poor place may stop short of it. So the lead is not the way of
    one stop but the least one found from which the stops end in time, between one that does not do
    and one that does.

    Parameters
    ----------
    pick : function   of the ways of all stops: the one that decides [m]
    slack : float     how far past the marker may be stopped [m]
    lead : float      to begin with [m]
    top : float       no faster than this [m/s]
    close : float     how near the least lead the search ends [m]

    Returns
    -------
    float   infinite where the train would have to brake before it has left the station before [m]
    """
    room = asked.approach.station.marker - asked.approach.start
    low, high = 0.0, math.inf
    lead = min(lead, room)
    for _ in range(_ROUNDS):
        found = float(pick(ways_of(asked, step, lead, drawn, top))) - slack
        if found <= lead:
            high = lead
            if lead - found <= close:
                break
            ahead = found + 0.5 * close
        else:
            low = lead
            ahead = found + 0.3 * close if found < room else room
        if high - low <= close or low >= room:
            break
        lead = ahead if low < ahead < high else 0.5 * (low + min(high, room))
    return high


def scenario_of(
    asked: Asked, step: int, lead: float, top: float = math.inf, is_first: bool = True
) -> Scenario:
    """Return the stop that begins so far before the marker, as designed."""
    approach = asked.approach
    place = approach.station.marker - lead
    driver = replace(holding(step), stopping_point=max(lead, 1e-3))
    return asked.travel.scenario.replace(
        {
            "rail": approach.rail(asked.state, place, is_first, asked.travel.films),
            "gradient": approach.gradient(place),
            "curves": (),
            "initial_speed": min(approach.speed_at(place), top),
            "driver": driver,
            "run.maximum_distance": FARTHEST_STOP,
        }
    )


def _summaries(scenario: Scenario, candidate: Candidate, drawn: Sequence[Draw]) -> list[Any]:
    from slipbench.running.runner import run_stop

    known = controller_of(candidate)
    return [run_stop(situation(scenario, one), known, one.seed).summary for one in drawn]


def ways_of(
    asked: Asked, step: int, lead: float, drawn: Sequence[Draw], top: float = math.inf
) -> Floats:
    """Return how far the stops of these draws run from a braking point. (n,) [m]"""
    scenario = scenario_of(asked, step, lead, top)
    found = _summaries(scenario, asked.travel.candidate, drawn)
    return np.array([distance_of(summary) for summary in found])


def passing_speed(summary: Mapping[str, Any]) -> float:
    """Return the speed at the stopping marker, 0 for a train that stopped before it. [m/s]"""
    speed = summary["point_speed"]
    return 0.0 if speed is None or math.isnan(speed) else float(speed)


def valued(
    asked: Asked, step: int, good: float, line_speed: float, lead: float, top: float
) -> Advice:
    """Return what a lead is worth, rounded up, on draws that were not used to find it."""
    travel, approach = asked.travel, asked.approach
    yards = rounded_up(lead - good)
    room = approach.station.marker - approach.start
    used = min(good + yards * YARD, room)
    scenario = scenario_of(asked, step, used, top)
    held_out = draws(travel.spread, travel.n_draws, travel.seed + 1)
    found = _summaries(scenario, travel.candidate, held_out)
    ways = np.array([distance_of(summary) for summary in found])
    speeds = [passing_speed(summary) for summary in found]
    n = len(ways)
    past = wilson(int(np.count_nonzero(ways > used + approach.slack)), n)
    beyond = approach.beyond
    signal = None
    if math.isfinite(beyond):
        signal = wilson(int(np.count_nonzero(ways > used + beyond)), n)
    morning: tuple[float, ...] = ()
    if asked.state not in (GOOD, WET):
        morning = morning_of(asked, step, used, top)
    return Advice(
        station=approach.station.name,
        state=asked.state,
        step=step,
        speed=float(scenario.initial_speed),
        line_speed=line_speed,
        good=good,
        lead=lead,
        yards=yards,
        past_platform=past,
        past_signal=signal,
        marker_speed=(float(np.median(speeds)), float(np.quantile(speeds, 0.95))),
        morning=morning,
    )


def morning_of(asked: Asked, step: int, lead: float, top: float) -> tuple[float, ...]:
    """Return the median way of the first trains of the day over the rail those before left. [m]

    Every train brakes at the same place; the film is drawn once a morning, each train has equipment
    and reaction of its own. Film that lies for the first train alone is gone for the others.
    """
    from slipbench.stop.simulation import simulate

    travel = asked.travel
    known = controller_of(travel.candidate)
    drawn = draws(travel.spread, N_MORNINGS * N_TRAINS, travel.seed + 2)
    ways = np.empty((N_MORNINGS, N_TRAINS))
    for i in range(N_MORNINGS):
        film, left = drawn[i * N_TRAINS], None
        for k in range(N_TRAINS):
            own = drawn[i * N_TRAINS + k]._replace(friction=film.friction, recovery=film.recovery)
            scenario = situation(scenario_of(asked, step, lead, top, is_first=k == 0), own)
            stop = as_input_error(
                known,
                lambda scenario=scenario, own=own, left=left: simulate(  # type: ignore[misc]
                    scenario, known.controller, own.seed, compiled=known.runs_compiled,
                    with_traces=False, rail_before=left,
                ),
            )  # fmt: skip
            ways[i, k] = distance_of(dict(stop.summary))
            left = stop.rail_after.redeposited(travel.redeposited)
    return tuple(float(way) for way in np.median(ways, axis=0))


def asked_of(route: Route, travel: Travel, states: Sequence[str]) -> list[Asked]:
    """Return every stop of a running route on every rail state, in order."""
    return [
        Asked(travel, Approach(route, number), state)
        for number in range(1, len(route.stations))
        for state in states
    ]

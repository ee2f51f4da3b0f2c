"""A train over a route: for every stop and rail state the braking point, and what it is worth."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from slipbench.guidance.leads import (
    CLOSE,
    ROUGHLY,
    Asked,
    Braking,
    Travel,
    decided,
    run_ways,
    scenario_of,
    settled,
)
from slipbench.guidance.line import Approach
from slipbench.guidance.points import MPH, YARD, rounded_up
from slipbench.guidance.ranges import Lead, ranged
from slipbench.guidance.route import Route
from slipbench.guidance.spread import Draw, draws, nominal
from slipbench.guidance.states import GOOD, WET
from slipbench.running.candidate import controller_of
from slipbench.running.runner import run_way
from slipbench.statistics.intervals import Interval, wilson

SLOWER = tuple(mph * MPH for mph in (50, 40, 30, 20, 15))
"""Speeds tried where no braking point holds from line speed. [m/s]"""

FEW = 6
"""Draws that choose the step, and that begin the search for a braking point."""

N_TRAINS = 3
"""Trains of the morning, one after the other over the rail the ones before left."""

N_MORNINGS = 6


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
    lead : Lead              that meets the confidence, before rounding, and its range over the
                             shapes of creep curve and cleaning law; infinite: none does [m]
    yards : float            the top of the range, earlier than on good rail, rounded up to 50 [yd]
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
    lead: Lead
    yards: float
    past_platform: Interval
    past_signal: Interval | None
    marker_speed: tuple[float, float]
    morning: tuple[float, ...] = ()

    @property
    def holds(self) -> bool:
        """Whether there is a braking point."""
        return math.isfinite(self.lead.needed)

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
    normal, slack = approach.route.normal_step, approach.slack
    good = good_lead(replace(asked, state=GOOD), normal)
    line_speed = approach.speed_at(approach.station.marker - good)
    drawn = draws(travel.spread, travel.n_draws, travel.seed)
    few = drawn[:FEW]
    step, rough = stepped(asked, normal, good, few)
    for top in (math.inf, *(speed for speed in SLOWER if speed < 0.95 * line_speed)):
        braking = Braking(step, rough if math.isinf(top) else good, top)
        if math.isfinite(top):
            braking = braking.at(settled(asked, braking, few, max, slack))
        if math.isinf(braking.lead):
            continue
        lead, about = decided(asked, braking, drawn, slack)
        if math.isinf(lead):
            continue
        found = ranged(asked, braking.at(max(lead, 0.0)), about)
        if found.high <= asked.room:
            return valued(asked, step, good, line_speed, found, top)
    return _none(asked, step, good, line_speed)


def good_lead(asked: Asked, step: int) -> float:
    """Return the lead on good rail, everything as designed. [m]"""
    as_designed = [nominal(asked.travel.spread)]
    return settled(asked, Braking(step, 300.0), as_designed, max, 0.0, close=1.0)


def stepped(asked: Asked, normal: int, good: float, few: Sequence[Draw]) -> tuple[int, float]:
    """Return the step to select, and about the lead it needs, by a few draws."""
    slack = asked.approach.slack
    leads = {normal: settled(asked, Braking(normal, good), few, max, slack)}
    is_longer = leads[normal] > good + 50 * YARD + CLOSE
    if is_longer and asked.state not in (GOOD, WET):
        begin = min(leads[normal], asked.room)
        for step in range(1, asked.travel.scenario.brake.n_steps + 1):
            if step != normal:
                leads[step] = settled(asked, Braking(step, begin), few, max, slack, ROUGHLY)
    step = chosen(leads, normal, good)
    return step, leads[step]


def _none(asked: Asked, step: int, good: float, line_speed: float) -> Advice:
    none, nowhere = Interval(math.nan, math.nan, math.nan), Lead(*(3 * [math.inf]))
    return Advice(
        asked.approach.station.name, asked.state, step, line_speed, line_speed, good, nowhere,
        math.inf, none, None, (math.nan, math.nan),
    )  # fmt: skip


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


def valued(
    asked: Asked, step: int, good: float, line_speed: float, lead: Lead, top: float
) -> Advice:
    """Return what a lead is worth, rounded up, on draws that were not used to find it."""
    travel, approach = asked.travel, asked.approach
    yards = rounded_up(max(lead.needed, lead.high) - good)
    used = min(good + yards * YARD, asked.room)
    braking = Braking(step, used, top)
    held_out = draws(travel.spread, travel.n_draws, travel.seed + 1)
    found = run_ways(asked, braking, held_out)
    ways = np.array([way.distance for way in found])
    speeds = [way.point_speed for way in found]
    n = len(ways)
    past = wilson(int(np.count_nonzero(ways > used + approach.slack)), n)
    beyond = approach.beyond
    signal = None
    if math.isfinite(beyond):
        signal = wilson(int(np.count_nonzero(ways > used + beyond)), n)
    morning: tuple[float, ...] = ()
    if asked.state not in (GOOD, WET):
        morning = morning_of(asked, braking)
    return Advice(
        station=approach.station.name,
        state=asked.state,
        step=step,
        speed=min(approach.speed_at(approach.station.marker - used), top),
        line_speed=line_speed,
        good=good,
        lead=lead,
        yards=yards,
        past_platform=past,
        past_signal=signal,
        marker_speed=(float(np.median(speeds)), float(np.quantile(speeds, 0.95))),
        morning=morning,
    )


def morning_of(asked: Asked, braking: Braking) -> tuple[float, ...]:
    """Return the median way of the first trains of the day over the rail those before left. [m]

    Every train brakes at the same place; the film is drawn once a morning, each train has equipment
    and reaction of its own. Film that lies for the first train alone is gone for the others.
    """
    travel = asked.travel
    known = controller_of(travel.candidate)
    drawn = draws(travel.spread, N_MORNINGS * N_TRAINS, travel.seed + 2)
    ways = np.empty((N_MORNINGS, N_TRAINS))
    for i in range(N_MORNINGS):
        film, before = drawn[i * N_TRAINS], None
        for k in range(N_TRAINS):
            own = drawn[i * N_TRAINS + k]._replace(friction=film.friction, recovery=film.recovery)
            way = run_way(scenario_of(asked, braking, own, k == 0), known, own.seed, before)
            ways[i, k] = way.distance
            before = way._replace(rail_after=way.rail_after.redeposited(travel.redeposited))
    return tuple(float(way) for way in np.median(ways, axis=0))


def asked_of(route: Route, travel: Travel, states: Sequence[str]) -> list[Asked]:
    """Return every stop of a running route on every rail state, in order."""
    return [
        Asked(travel, Approach(route, number), state)
        for number in range(1, len(route.stations))
        for state in states
    ]

"""The least lead from which the stops of a route end in time: how it is found, with few stops."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from slipbench.campaign.variation import equipment_at
from slipbench.ground.arrays import Floats
from slipbench.guidance.line import Approach
from slipbench.guidance.points import rank_of
from slipbench.guidance.runs import FARTHEST_STOP
from slipbench.guidance.spread import Draw, Spread, drawn_rail, holding, reacting
from slipbench.running.candidate import Candidate, controller_of
from slipbench.running.runner import run_way
from slipbench.scenario import Rail, Scenario
from slipbench.stop.stop import Way

_ROUNDS, CLOSE, ROUGHLY = 10, 25.0, 60.0
"""Of the search: most rounds, how near the least lead it ends (half of the rounding), and how near
where steps are compared. [m]"""

_ABOVE = 4
"""Draws below the one that decides which are run on through the search, besides those above it."""

_FAR = 150.0
"""A lead that moved so far is looked at with all draws again: others may decide there. [m]"""


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
    shapes : mapping       another creep curve or cleaning law to its `films`; empty: no range
    """

    scenario: Scenario
    candidate: Candidate
    films: Mapping[str, Rail]
    spread: Spread = field(default_factory=Spread)
    confidence: float = 0.95
    n_draws: int = 40
    seed: int = 0
    redeposited: float = 0.0
    shapes: Mapping[str, Mapping[str, Rail]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse too few draws for the confidence."""
        rank_of(self.confidence, self.n_draws)


@dataclass(frozen=True)
class Asked:
    """One stop of the route on one rail state."""

    travel: Travel
    approach: Approach
    state: str

    @property
    def room(self) -> float:
        """Way from where the train stood before to the marker: no lead is longer. [m]"""
        return self.approach.station.marker - self.approach.start


@dataclass(frozen=True)
class Braking:
    """How a stop is braked: step, lead before the marker [m], no faster than `top` [m/s]."""

    step: int
    lead: float
    top: float = math.inf

    def at(self, lead: float) -> Braking:
        """Return the same from another lead."""
        return replace(self, lead=lead)


def settled(
    asked: Asked,
    braking: Braking,
    drawn: Sequence[Draw],
    pick: Callable[[Any], float],
    slack: float,
    close: float = CLOSE,
    found: float | None = None,
) -> float:
    """Return the lead from which the stops of these draws end in time, as `pick` reads them.

    The way a stop takes depends on where it begins: film, gradient and speed lie along the line,
    and a train that brakes before a poor place may stop short of it. So the lead is not the way of
    one stop but the least one found from which the stops end in time, between one that does not do
    and one that does.

    Parameters
    ----------
    braking : Braking   its lead is the one to begin with
    pick : function     of the ways of all stops: the one that decides [m]
    slack : float       how far past the marker may be stopped [m]
    close : float       how near the least lead the search ends [m]
    found : float       what `pick` reads at the first lead, where that is known

    Returns
    -------
    float   infinite where the train would have to brake before it has left the station before [m]
    """
    room, low, high = asked.room, 0.0, math.inf
    lead = min(braking.lead, room)
    for _ in range(_ROUNDS):
        if found is None:
            found = float(pick(ways_of(asked, braking.at(lead), drawn)))
        way, found = found - slack, None
        if way <= lead:
            high = lead
            if lead - way <= close:
                break
            ahead = way + 0.5 * close
        else:
            low = lead
            ahead = way + 0.3 * close if way < room else room
        if high - low <= close or low >= room:
            break
        lead = ahead if low < ahead < high else 0.5 * (low + min(high, room))
    return high


def decided(
    asked: Asked, braking: Braking, drawn: Sequence[Draw], slack: float
) -> tuple[float, list[Draw]]:
    """Return the lead that meets the confidence, and the draws about the one that decides it.

    All draws are run where the search begins, and only those that decide through it: all above the
    one that the confidence asks for, and a few below. Where it ends far from there, all are run
    again.
    """
    rank = rank_of(asked.travel.confidence, len(drawn))
    lead, n_above, about = braking.lead, len(drawn) - rank, list(drawn)
    for _ in range(3):
        lead = min(lead, asked.room)
        ways = ways_of(asked, braking.at(lead), drawn)
        order = np.argsort(ways, kind="stable")
        about = [drawn[i] for i in order[max(0, rank - 1 - _ABOVE) :]]

        def pick(values: Floats) -> float:
            return float(np.sort(values)[-1 - n_above])

        began, lead = lead, settled(
            asked, braking.at(lead), about, pick, slack, found=pick(ways)
        )  # fmt: skip
        if math.isinf(lead) or abs(lead - began) <= _FAR:
            break
    return lead, about


def scenario_of(asked: Asked, braking: Braking, draw: Draw, is_first: bool = True) -> Scenario:
    """Return the stop of a draw that begins so far before the marker."""
    approach, travel = asked.approach, asked.travel
    place = approach.station.marker - braking.lead
    driver = reacting(holding(braking.step), draw.reaction)
    rail = approach.rail(asked.state, place, is_first, travel.films)
    return travel.scenario.replace(
        {
            "rail": drawn_rail(rail, draw),
            "gradient": approach.gradient(place),
            "curves": (),
            "initial_speed": min(approach.speed_at(place), braking.top),
            "driver": replace(driver, stopping_point=max(braking.lead, 1e-3)),
            "equipment": equipment_at(draw.wear),
            "run.maximum_distance": FARTHEST_STOP,
        }
    )


def run_ways(asked: Asked, braking: Braking, drawn: Sequence[Draw]) -> list[Way]:
    """Run the stops of these draws from a braking point."""
    known = controller_of(asked.travel.candidate)
    return [run_way(scenario_of(asked, braking, one), known, one.seed) for one in drawn]


def ways_of(asked: Asked, braking: Braking, drawn: Sequence[Draw]) -> Floats:
    """Return how far the stops of these draws run from a braking point. (n,) [m]"""
    return np.array([way.distance for way in run_ways(asked, braking, drawn)])

"""A route under a train: which film lies where, how fast it comes, what gradient it meets."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from slipbench.guidance.route import Route, Station
from slipbench.guidance.states import AUTUMN, GOOD, STATES, VERY_POOR, WET
from slipbench.scenario import GradientSection, Rail, RailSection, load_scenario

OPEN = "open"
"""Track that is no place of poor rail."""

SLOWING = 0.3
"""Deceleration with which a driver slows for a lower permitted speed ahead (assumed). [m/s2]"""

_BEHIND, _BEYOND = 1000.0, 20_000.0
"""How far film and gradient are laid out behind a braking point and beyond it. [m]"""

_POOR: Mapping[str, str] = {
    "level_crossing": "grease",
    "industrial_site": "damp_oxide",
    "first_train": "damp_oxide",
}

FILMS: Mapping[str, Mapping[str, str]] = {
    GOOD: {OPEN: STATES[GOOD]},
    WET: {OPEN: STATES[WET]},
    AUTUMN: {OPEN: STATES[WET], "cutting_with_trees": STATES[AUTUMN], **_POOR},
    VERY_POOR: {OPEN: STATES[WET], "cutting_with_trees": STATES[VERY_POOR], **_POOR},
}
"""State in words: kind of place to the scenario whose film lies there; all of it assumed. A kind
that is not named has the film of open track."""


@dataclass(frozen=True)
class Approach:
    """A station as a train comes to it, distances counted in the direction it runs.

    Attributes
    ----------
    route : Route        running towards larger distances
    number : int         of the station on it, from 1: the first is where the train starts
    """

    route: Route
    number: int

    @property
    def station(self) -> Station:
        """The station the train stops at."""
        return self.route.stations[self.number]

    @property
    def start(self) -> float:
        """Where the train's front stood before. [m]"""
        return self.route.stations[self.number - 1].marker

    @property
    def slack(self) -> float:
        """Way from the marker to the platform end. [m]"""
        return self.station.platform_end - self.station.marker

    @property
    def beyond(self) -> float:
        """Way from the marker to the next signal, infinite where none is near. [m]"""
        signal = self.station.signal
        return math.inf if signal is None else signal - self.station.marker

    def speed_at(self, place: float) -> float:
        """Return how fast the train comes: permitted, reached since the stop before, its own. [m/s]

        A lower permitted speed ahead of the station is slowed down for at `SLOWING`.
        """
        route = self.route
        fastest = [route.top_speed]
        fastest.append(math.sqrt(2.0 * route.acceleration * max(place - self.start, 0.0)))
        for limit in route.limits:
            if limit.start <= place < limit.end:
                fastest.append(limit.speed)
            elif place < limit.start < self.station.marker:
                ahead = limit.start - place
                fastest.append(math.sqrt(limit.speed**2 + 2.0 * SLOWING * ahead))
        return max(min(fastest), 0.5)

    def gradient(self, place: float) -> tuple[GradientSection, ...]:
        """Return the gradient as a train meets it that starts there."""
        return tuple(
            replace(section, from_distance=section.from_distance - place)
            for section in self.route.gradient
        )

    def has_alike(self, state: str, other: str) -> bool:
        """Say whether a train that stops here meets the same films in two states.

        From where it stood before to the last place that is asked about, the signal beyond.
        """
        last = self.station.marker + max(
            self.slack, 0.0 if math.isinf(self.beyond) else self.beyond
        )
        if FILMS[state][OPEN] != FILMS[other][OPEN]:
            return False
        return not any(
            FILMS[state].get(poor.kind) != FILMS[other].get(poor.kind)
            for poor in self.route.poor_places
            if poor.is_poor_in(self.route.month) and poor.end > self.start and poor.start < last
        )

    def rail(self, state: str, place: float, is_first: bool, films: Mapping[str, Rail]) -> Rail:
        """Return the rail of a state as a train meets it that starts there.

        Parameters
        ----------
        state : str
        place : float       [m]
        is_first : bool     the first train of the day
        films : mapping     scenario to its rail
        """
        lying = FILMS[state]
        rail = films[lying[OPEN]]
        bare = rail.sections[0]
        sections = [replace(bare, from_distance=-_BEHIND)]
        for poor in self.route.poor_places:
            is_there = poor.is_poor_in(self.route.month) and poor.kind in lying
            if not is_there or (poor.kind == "first_train" and not is_first):
                continue
            start, end = poor.start - place, poor.end - place
            if end <= -_BEHIND or start >= _BEYOND:
                continue
            film = films[lying[poor.kind]].sections[0]
            _lay(sections, replace(film, from_distance=max(start, -_BEHIND)))
            sections.append(replace(bare, from_distance=end))
        return replace(rail, sections=tuple(sections))


def _lay(sections: list[RailSection], film: RailSection) -> None:
    """Put a film behind the last section, or in its place where it would have no length."""
    if film.from_distance <= sections[-1].from_distance + 1e-6:
        sections[-1] = replace(film, from_distance=sections[-1].from_distance)
    else:
        sections.append(film)


def films() -> dict[str, Rail]:
    """Return the rails of all films a route may have, by scenario."""
    names = {name for state in FILMS.values() for name in state.values()}
    return {name: load_scenario(name).rail for name in sorted(names)}


def height_at(route: Route) -> tuple[list[float], list[float]]:
    """Return places where the gradient changes, and the height there above the line's start. [m]"""
    places = [section.from_distance for section in route.gradient] or [0.0]
    rises = [section.rise for section in route.gradient] or [0.0]
    if places[0] > 0.0:
        places, rises = [0.0, *places], [0.0, *rises]
    places.append(route.length)
    heights = [0.0]
    for i, rise in enumerate(rises):
        heights.append(heights[-1] + rise * (places[i + 1] - places[i]))
    return places, heights

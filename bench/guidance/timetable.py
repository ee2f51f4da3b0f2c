"""A whole route answered: every stop on every rail state, in a pool, and what it comes to."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from slipbench.guidance.journey import Advice, asked_of, solve
from slipbench.guidance.leads import Asked, Travel
from slipbench.guidance.line import FILMS
from slipbench.guidance.points import MPH, YARD
from slipbench.guidance.ranges import Film, films_to_shape, shape_film, with_shapes
from slipbench.guidance.route import Route, running
from slipbench.guidance.shapes import SHAPES
from slipbench.guidance.states import AUTUMN, GOOD, VERY_POOR, WET
from slipbench.guidance.tell import DOES_NOT_STOP, odds_of, range_text
from slipbench.results.cells import cell
from slipbench.results.tables import UNKNOWN, plain_table
from slipbench.running.pool import map_in_pool

STATES = (GOOD, WET, AUTUMN, VERY_POOR)
"""Rail states of a route."""


@dataclass(frozen=True)
class Timetable:
    """What a route comes to.

    Attributes
    ----------
    route : Route        as its file has it
    line : Route         in the direction trains run
    travel : Travel
    advice : tuple       of every station but the first, every state
    """

    route: Route
    line: Route
    travel: Travel
    advice: tuple[Advice, ...]

    def at(self, station: str, state: str) -> Advice:
        """Return the advice for a station and state."""
        return next(a for a in self.advice if (a.station, a.state) == (station, state))

    @property
    def stations(self) -> list[str]:
        """Stations braked for, in the order run."""
        return list(dict.fromkeys(advice.station for advice in self.advice))

    def minutes_lost(self, state: str) -> float:
        """Return what a state costs over the line, stops that hold alone. [min]"""
        return sum(a.time_lost for a in self.advice if a.state == state and a.holds) / 60.0

    def n_open(self, state: str) -> int:
        """Return at how many stations no braking point holds."""
        return sum(a.state == state and not a.holds for a in self.advice)


Item = TypeVar("Item")
Result = TypeVar("Result")


def n_items(route: Route, travel: Travel, with_range: bool) -> int:
    """Return how many things a route has to be asked for, for a progress bar."""
    n_films = len(films_to_shape(travel)) if with_range else 0
    return (len(route.stations) - 1) * len(STATES) + n_films


def run_route(
    route: Route,
    travel: Travel,
    n_workers: int,
    tell: Callable[[], None] = lambda: None,
    with_range: bool = True,
) -> Timetable:
    """Return the advice for every stop and state; `tell` is called as each is found.

    Parameters
    ----------
    with_range : bool   with the range over creep curves and cleaning laws

    Raises
    ------
    InputError   where a strategy or rail cannot be used
    """
    line = running(route)
    if with_range:
        shaped: Sequence[Film] = films_to_shape(travel)
        travel = with_shapes(travel, shaped, _each(shape_film, shaped, n_workers, tell))
    asked: Sequence[Asked] = asked_of(line, travel, STATES)
    twins = {i: _twin(one, asked) for i, one in enumerate(asked)}
    own = [i for i, twin in twins.items() if twin is None]
    solved = dict(zip(own, _each(solve, [asked[i] for i in own], n_workers, tell), strict=True))
    for i, twin in twins.items():
        if twin is not None:
            solved[i] = replace(solved[twin], state=asked[i].state)
            tell()
    return Timetable(route, line, travel, tuple(solved[i] for i in range(len(asked))))


def _twin(one: Asked, asked: Sequence[Asked]) -> int | None:
    """Return the number of an earlier state of the same stop with the same films, None if none."""
    for i, other in enumerate(asked):
        if other is one:
            return None
        is_here = other.approach.number == one.approach.number
        if is_here and one.approach.has_alike(one.state, other.state):
            return i
    return None


def _each(
    function: Callable[[Item], Result],
    items: Sequence[Item],
    n_workers: int,
    tell: Callable[[], None],
) -> list[Result]:
    """Call a function with every item, in processes where there are several workers."""
    if n_workers > 1:
        return map_in_pool(function, items, n_workers, tell)
    found = []
    for item in items:
        found.append(function(item))
        tell()
    return found


def step_text(advice: Advice) -> str:
    """Return the step to select, in words."""
    return f"step {advice.step}"


def timetable_text(table: Timetable) -> str:
    """Return the route for a terminal: a block a station, a line a state."""
    rows: list[Sequence[str] | str] = []
    for station in table.stations:
        good = table.at(station, GOOD)
        head = (
            f"{station}: from {good.line_speed / MPH:.0f} mph, on good rail step {good.step} at "
            f"{good.good / YARD:.0f} yd ({good.good:.0f} m) before the marker"
        )
        rows += ["", head] if rows else [head]
        rows += [_row(table.at(station, state)) for state in STATES]
    heads = ["rail", "step", "speed\n[mph]", "earlier\n[yd]", "\n[m]", "lead\n[m]", "range\n[m]",
             "past the\nplatform", "past the\nsignal", "at the marker\nhalf, 95 % [mph]",
             "lost\n[s]", "2nd, 3rd train\nneeds [yd]"]  # fmt: skip
    odds = odds_of(table.travel.confidence)
    lines = [
        f"{table.route.name}, {table.route.month}: at most one stop in {odds} passes the platform "
        "end",
        f"train: {table.travel.scenario.train.name}; strategy {table.travel.candidate.label}; "
        f"{table.travel.n_draws} draws; spread: {table.travel.spread.text()}",
        "",
        plain_table(heads, rows, n_left=2),
        "",
        *lost_lines(table),
        "",
        *assumed_lines(table),
    ]
    return "\n".join(lines)


def lost_lines(table: Timetable) -> list[str]:
    """Return what each state costs over the line."""
    found = []
    for state in STATES:
        n_open = table.n_open(state)
        more = f"; {DOES_NOT_STOP} at {n_open}" if n_open else ""
        found.append(f"lost over the line, {state}: {table.minutes_lost(state):.1f} min{more}")
    return found


def assumed_lines(table: Timetable) -> list[str]:
    """Return what a reader has to know of how the numbers were made."""
    travel, route = table.travel, table.route
    films = [
        f"{state}: " + ", ".join(f"{kind.replace('_', ' ')} {name}" for kind, name in lying.items())
        for state, lying in FILMS.items()
    ]
    places = [
        f"{place.name} ({place.kind.replace('_', ' ')}, {place.months})"
        for place in route.poor_places
        if place.is_poor_in(route.month)
    ]
    return [
        f"films, all assumed: {'; '.join(films)}",
        f"poor in {route.month}: {', '.join(places) or 'nowhere'}",
        "lead: from the braking point to the marker; shares and speeds at the marker: the brake "
        f"held from the rounded point, {travel.n_draws} draws not used to find it",
        range_line(travel),
        f"step: the normal one, {route.normal_step}, unless another saves 50 yards",
        "lost: against stopping as on good rail, the braking spread evenly up to the marker",
        "2nd, 3rd train: what half of them need more or less than the first over the rail those "
        f"before left; {travel.redeposited:.0%} of the film laid down again in between",
    ]


def range_line(travel: Travel) -> str:
    """Return what the range is, or that none was asked for."""
    if not travel.shapes:
        return "range: not asked for; one creep curve and cleaning law a film"
    return (
        "range: the lead over other creep curves and cleaning laws, every film calibrated to the "
        f"same stop from 75 mph ({', '.join(SHAPES)}); earlier: its top, rounded up to 50 yards"
    )


def _row(advice: Advice) -> list[str]:
    if not advice.holds:
        return [f"  {advice.state}", "", "", DOES_NOT_STOP, *([""] * 8)]
    speeds = [speed / MPH for speed in advice.marker_speed]
    slower = " slower" if advice.is_slower else ""
    return [
        f"  {advice.state}",
        f"{step_text(advice)}{slower}",
        f"{advice.speed / MPH:.0f}",
        f"{advice.yards:.0f}",
        f"{advice.yards * YARD:.0f}",
        f"{advice.lead.needed:.0f}",
        range_text(advice.lead.low, advice.lead.high),
        f"{advice.past_platform.estimate:.1%}",
        UNKNOWN if advice.past_signal is None else f"{advice.past_signal.estimate:.1%}",
        f"{speeds[0]:.0f}, {speeds[1]:.0f}",
        f"{advice.time_lost:.0f}",
        morning_text(advice),
    ]


def morning_text(advice: Advice) -> str:
    """Return what the second and third train need more than the first, in yards."""
    if not advice.morning:
        return ""
    first = advice.morning[0]
    told = [
        f"{(way - first) / YARD:+.0f}" if math.isfinite(way - first) else DOES_NOT_STOP
        for way in advice.morning[1:]
    ]
    return ", ".join(told)


def timetable_csv(table: Timetable) -> str:
    """Return every number as CSV, units in the heads."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(
        ["station", "rail", "step", "speed_m_per_s", "line_speed_m_per_s", "good_m", "lead_m",
         "lead_least_m", "lead_most_m", "earlier_yd", "past_platform",
         "past_platform_at_most", "past_signal", "past_signal_at_most",
         "marker_speed_median_m_per_s", "marker_speed_95_m_per_s",
         "time_lost_s", "first_train_m", "second_train_m", "third_train_m"]
    )  # fmt: skip
    for advice in table.advice:
        signal = advice.past_signal
        numbers = (
            advice.step, advice.speed, advice.line_speed, advice.good, *advice.lead, advice.yards,
            advice.past_platform.estimate, advice.past_platform.high,
            math.nan if signal is None else signal.estimate,
            math.nan if signal is None else signal.high,
            *advice.marker_speed, advice.time_lost, *(advice.morning or (math.nan,) * 3),
        )  # fmt: skip
        writer.writerow([cell(advice.station), cell(advice.state), *map(_number, numbers)])
    return stream.getvalue()


def _number(value: float) -> str | float:
    if math.isnan(value):
        return ""
    return DOES_NOT_STOP if math.isinf(value) else value

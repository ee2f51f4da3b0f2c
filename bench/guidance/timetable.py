"""A whole route answered: every stop on every rail state, in a pool, and what it comes to."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from slipbench.guidance.journey import MPH, Advice, Asked, Travel, asked_of, solve
from slipbench.guidance.line import FILMS
from slipbench.guidance.points import YARD
from slipbench.guidance.route import Route, running
from slipbench.guidance.states import AUTUMN, GOOD, VERY_POOR, WET
from slipbench.guidance.tell import DOES_NOT_STOP, odds_of
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


def run_route(
    route: Route, travel: Travel, n_workers: int, tell: Callable[[], None] = lambda: None
) -> Timetable:
    """Return the advice for every stop and state; `tell` is called as each is found.

    Raises
    ------
    InputError   where a strategy or rail cannot be used
    """
    line = running(route)
    asked: Sequence[Asked] = asked_of(line, travel, STATES)
    if n_workers == 1:
        found = []
        for one in asked:
            found.append(solve(one))
            tell()
    else:
        found = map_in_pool(solve, asked, n_workers, tell)
    return Timetable(route, line, travel, tuple(found))


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
    heads = ["rail", "step", "speed\n[mph]", "earlier\n[yd]", "\n[m]", "lead\n[m]",
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
        f"step: the normal one, {route.normal_step}, unless another saves 50 yards",
        "lost: against stopping as on good rail, the braking spread evenly up to the marker",
        "2nd, 3rd train: what half of them need more or less than the first over the rail those "
        f"before left; {travel.redeposited:.0%} of the film laid down again in between",
        "one creep curve and cleaning law a film: slipbench braking-points tells how far others "
        "move a point",
    ]


def _row(advice: Advice) -> list[str]:
    if not advice.holds:
        return [f"  {advice.state}", "", "", DOES_NOT_STOP, *([""] * 7)]
    speeds = [speed / MPH for speed in advice.marker_speed]
    slower = " slower" if advice.is_slower else ""
    return [
        f"  {advice.state}",
        f"{step_text(advice)}{slower}",
        f"{advice.speed / MPH:.0f}",
        f"{advice.yards:.0f}",
        f"{advice.yards * YARD:.0f}",
        f"{advice.lead:.0f}",
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
         "earlier_yd", "past_platform", "past_platform_at_most", "past_signal",
         "past_signal_at_most", "marker_speed_median_m_per_s", "marker_speed_95_m_per_s",
         "time_lost_s", "first_train_m", "second_train_m", "third_train_m"]
    )  # fmt: skip
    for advice in table.advice:
        signal = advice.past_signal
        numbers = (
            advice.step, advice.speed, advice.line_speed, advice.good, advice.lead, advice.yards,
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

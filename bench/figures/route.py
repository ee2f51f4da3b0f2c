"""A route as a picture, the driver's card and the manager's sheet."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench.figures import style
from slipbench.figures.cards import Cell, Table, card_page, sheet_page
from slipbench.guidance.journey import Advice
from slipbench.guidance.line import Approach, height_at
from slipbench.guidance.points import MPH, YARD
from slipbench.guidance.states import AUTUMN, GOOD, VERY_POOR, WET
from slipbench.guidance.tell import DOES_NOT_STOP, odds_of, range_text, spread_rows
from slipbench.guidance.timetable import (
    STATES,
    Timetable,
    assumed_lines,
    lost_lines,
    morning_text,
    step_text,
)

_LOOKS = {
    GOOD: ("o", style.BLACK),
    WET: ("s", style.BLUE),
    AUTUMN: ("^", style.VERMILION),
    VERY_POOR: ("D", style.GREEN),
}
_BACKED = {"facecolor": style.PAPER, "edgecolor": "none", "pad": 0.6, "alpha": 0.9}
"""Behind words that stand over hatches or lines."""

_HATCHES = {
    "cutting_with_trees": "////",
    "level_crossing": "xxxx",
    "industrial_site": "....",
    "first_train": "||||",
}


def draw_route(table: Timetable) -> Figure:
    """Draw the line: permitted speed, height with the poor places, braking points by rail state."""
    with style.styled():
        figure = style.new_figure(6.6, 11.0)
        panels: Any = figure.subplots(3, 1, sharex=True, height_ratios=(0.9, 1.3, 1.5))
        figure.subplots_adjust(left=0.075, right=0.985, top=0.93, bottom=0.11, hspace=0.09)
        _draw_speed(panels[0], table)
        _draw_height(panels[1], table)
        _draw_points(panels[2], table)
        panels[0].set_xlim(0.0, table.line.length / 1000.0)
        panels[2].set_xlabel("distance in the direction run [km]")
        figure.text(
            0.01, 0.965, f"{table.route.name}, {table.route.month}: braking points so that at most "
            f"one stop in {odds_of(table.travel.confidence)} passes the platform end", fontsize=9,
        )  # fmt: skip
        style.write_caution(figure)
    return figure


def _draw_speed(axes: Axes, table: Timetable) -> None:
    places, speeds = [], []
    for limit in table.line.limits:
        places += [limit.start / 1000.0, limit.end / 1000.0]
        speeds += [limit.speed / MPH, limit.speed / MPH]
    axes.plot(places, speeds, color=style.GREY, linestyle="--", linewidth=1.2)
    for number in range(1, len(table.line.stations)):
        approach = Approach(table.line, number)
        way = np.linspace(approach.start + 1.0, approach.station.marker - 1.0, 240)
        axes.plot(
            way / 1000.0, [approach.speed_at(float(x)) / MPH for x in way], color=style.INK,
            linewidth=1.2,
        )  # fmt: skip
    axes.set_ylim(0.0, 1.15 * max(speeds))
    axes.set_ylabel("speed [mph]")
    axes.text(0.995, 0.06, "dashed: permitted; full: as trains come, before braking", bbox=_BACKED,
              transform=axes.transAxes, ha="right", fontsize=8.0)  # fmt: skip
    axes.grid(axis="y")


def _draw_height(axes: Axes, table: Timetable) -> None:
    line = table.line
    places, heights = height_at(line)
    kilometres = np.array(places) / 1000.0
    low, high = min(heights), max(heights)
    room = max(high - low, 1.0)
    axes.plot(kilometres, heights, color=style.INK, linewidth=1.6)
    kinds: set[str] = set()
    for place in line.poor_places:
        if not place.is_poor_in(line.month):
            continue
        axes.axvspan(
            place.start / 1000.0, place.end / 1000.0, facecolor=style.FAINT, edgecolor=style.QUIET,
            hatch=_HATCHES[place.kind], linewidth=0.0, alpha=0.75,
            label="" if place.kind in kinds else place.kind.replace("_", " "),
        )  # fmt: skip
        kinds.add(place.kind)
    for section, end in zip(line.gradient, [*places[1:]], strict=False):
        if abs(section.rise) >= 0.006:
            middle = 0.5 * (section.from_distance + end) / 1000.0
            at = float(np.interp(middle, kilometres, heights))
            axes.annotate(
                f"{1000 * section.rise:+.0f} ‰", (middle, at), (0, -9), fontsize=8.0, ha="center",
                va="top", textcoords="offset points", bbox=_BACKED,
            )  # fmt: skip
    for station in line.stations:
        axes.axvspan(station.platform_start / 1000.0, station.platform_end / 1000.0,
                     color=style.INK, linewidth=0)  # fmt: skip
    axes.set_ylim(low - 0.45 * room, high + 0.85 * room)
    axes.set_ylabel("height above\nthe start [m]")
    if kinds:
        key = axes.legend(loc="upper left", ncols=len(kinds), fontsize=8.0, handlelength=2.2)
        key.set_frame_on(True)
        key.get_frame().set(facecolor=style.PAPER, edgecolor="none", alpha=1.0)
        key.set_zorder(5)
    axes.grid(axis="y")


def _draw_points(axes: Axes, table: Timetable) -> None:
    """Draw a row a state: from each braking point a line to the marker it serves."""
    for number, state in enumerate(STATES):
        marker, colour = _LOOKS[state]
        y = -float(number)
        for station in table.line.stations[1:]:
            advice = table.at(station.name, state)
            end = station.marker / 1000.0
            if not advice.holds:
                axes.text(end, y, DOES_NOT_STOP, ha="right", va="center", fontsize=8.0,
                          fontweight="bold", color=colour)  # fmt: skip
                continue
            start = end - advice.used / 1000.0
            axes.plot([start, end], [y, y], color=colour, linewidth=1.4)
            axes.plot(start, y, marker, color=colour, markersize=6)
            axes.annotate(
                _point_text(advice), (start, y), (0, 6), textcoords="offset points", fontsize=8.0,
                color=colour, ha="center",
            )  # fmt: skip
    for station in table.line.stations:
        axes.axvline(station.marker / 1000.0, color=style.QUIET, linewidth=0.6)
        is_last = station.marker > 0.93 * table.line.length
        axes.annotate(
            station.name, (station.marker / 1000.0, 0.62), (2 if is_last else -2, 0),
            textcoords="offset points", fontsize=8.0, rotation=0 if is_last else 28, va="bottom",
            ha="right" if is_last else "left", annotation_clip=False,
        )  # fmt: skip
    axes.set_yticks([-float(i) for i in range(len(STATES))], STATES)
    axes.set_ylim(-len(STATES) + 0.5, 1.5)
    axes.text(0.995, 0.015, "over the mark: yards before the marker (good), yards earlier (others)",
              bbox=_BACKED, transform=axes.transAxes, ha="right", fontsize=8.0)  # fmt: skip
    style.bare(axes)


def _point_text(advice: Advice) -> str:
    if advice.state == GOOD:
        return f"{advice.good / YARD:.0f}"
    slower = f" at {advice.speed / MPH:.0f} mph" if advice.is_slower else ""
    return f"+{advice.yards:.0f}{slower}"


def route_card(table: Timetable) -> str:
    """Return the driver's card: a line a station, yards by rail state, the step."""
    rows = []
    for station in table.stations:
        good = table.at(station, GOOD)
        first = [Cell(station, f"from {good.line_speed / MPH:.0f} mph")]
        base = [Cell(f"{_tens(good.good / YARD)}")]
        others = [
            _card_cell(table.at(station, state), good.step) for state in STATES if state != GOOD
        ]
        rows.append([*first, *base, *others])
    odds = odds_of(table.travel.confidence)
    poor = [p for p in table.line.poor_places if p.is_poor_in(table.route.month)]
    places = "; ".join(p.name for p in poor) or "none"
    return card_page(
        f"{table.route.name}, {table.route.month}",
        f"{table.travel.scenario.train.name}; at most one stop in {odds} passes the platform end",
        ["stop", f"good rail, step {table.route.normal_step}: yd before the marker",
         *(f"{state}: yd earlier" for state in STATES if state != GOOD)],
        rows,
        [
            f"Poor places: {places}.",
            f"Hold step {table.route.normal_step}, or the step beside the number. "
            f"{DOES_NOT_STOP.capitalize()}: no braking point holds.",
        ],
    )  # fmt: skip


def _tens(yards: float) -> int:
    return int(10 * math.ceil(yards / 10.0))


def _card_cell(advice: Advice, usual: int) -> Cell:
    """Return yards earlier; step and speed beside them only where they are not the usual ones."""
    if not advice.holds:
        return Cell(DOES_NOT_STOP, is_none=True)
    other = [f"from {advice.speed / MPH:.0f} mph"] if advice.is_slower else []
    other += [step_text(advice)] if advice.step != usual else []
    return Cell(f"{advice.yards:.0f}", ", ".join(other))


def route_sheet(table: Timetable, picture: bytes, command: str) -> str:
    """Return the manager's sheet: every number, the picture, what is assumed."""
    heads = ["stop", "rail", "step", "speed [mph]", "good rail [m]", "lead [m]", "range [m]",
             "earlier [yd]",
             "past the platform", "95 % interval", "past the signal", "at the marker: half [mph]",
             "95 % [mph]", "lost [s]", "2nd, 3rd train [yd]"]  # fmt: skip
    rows = [_sheet_row(advice) for advice in table.advice]
    values = Table(
        "The spread", ["value", "mark", "what it is"], [list(row) for row in spread_rows()], 3
    )
    lost = Table("Minutes lost", ["over the line"], [[line] for line in lost_lines(table)], 1)
    train = table.travel.scenario.train
    return sheet_page(
        f"{table.route.name}, {table.route.month}: all numbers",
        f"At most one stop in {odds_of(table.travel.confidence)} past the platform end",
        [Table("Braking points", heads, rows, 2), lost, values],
        [
            f"train: {train.name}, {train.n_axles} axles, {train.mass / 1e3:.0f} t; strategy "
            f"{table.travel.candidate.label}; top speed {table.route.top_speed / MPH:.0f} mph",
            f"spread, {table.travel.n_draws} draws: {table.travel.spread.text()}",
            *assumed_lines(table),
        ],
        {"The line, its gradient, its poor places and the braking points": picture},
        command,
    )


def _sheet_row(advice: Advice) -> list[str]:
    head = [advice.station, advice.state]
    if not advice.holds:
        return [*head, f"{advice.step}", "", f"{advice.good:.0f}", DOES_NOT_STOP, *([""] * 9)]
    past, signal = advice.past_platform, advice.past_signal
    return [
        *head,
        f"{advice.step}",
        f"{advice.speed / MPH:.0f}{' (slower)' if advice.is_slower else ''}",
        f"{advice.good:.0f}",
        f"{advice.lead.needed:.0f}",
        range_text(advice.lead.low, advice.lead.high),
        f"{advice.yards:.0f}",
        f"{past.estimate:.1%}",
        f"{past.low:.1%} to {past.high:.1%}",
        "" if signal is None else f"{signal.estimate:.1%} (at most {signal.high:.1%})",
        f"{advice.marker_speed[0] / MPH:.0f}",
        f"{advice.marker_speed[1] / MPH:.0f}",
        f"{advice.time_lost:.0f}",
        morning_text(advice),
    ]

"""Braking points by speed: the picture, the driver's card, the manager's sheet."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench.figures import style
from slipbench.figures.cards import Cell, Table, card_page, sheet_page
from slipbench.guidance.answer import Answer
from slipbench.guidance.points import MPH, YARD, Point
from slipbench.guidance.shapes import ANCHOR, RULE_AT_ANCHOR, RULE_BEYOND
from slipbench.guidance.states import AUTUMN, GOOD
from slipbench.guidance.tell import (
    DOES_NOT_STOP,
    driver_text,
    metres_text,
    notes,
    odds_of,
    question_lines,
    range_text,
    rule_lines,
    spread_rows,
    yards_text,
)

_LOOKS = (
    (style.BLACK, "o", "-"),
    (style.BLUE, "s", "--"),
    (style.VERMILION, "^", "-"),
    (style.GREEN, "D", "-."),
    (style.PURPLE, "v", ":"),
    (style.ORANGE, "P", "-"),
    (style.SKY, "X", "--"),
    (style.GREY, "*", ":"),
)
MOST_ON_A_CARD = 7
"""Speeds a card holds."""


def draw_points(answer: Answer) -> Figure:
    """Draw how much earlier to brake over speed on the level: a line a rail, its range as a band.

    Half of the stops on autumn rail are a thin line, and common practice its two dots: the full one
    was calibrated to, the empty one was not used.
    """
    rise = min(answer.rises, key=abs)
    with style.styled():
        figure = style.new_figure(4.4)
        axes: Any = figure.subplots()
        figure.subplots_adjust(left=0.09, right=0.8, top=0.93, bottom=0.16)
        tops = [_draw_state(axes, answer, state, rise, i) for i, state in enumerate(answer.states)]
        shown = [top for top in tops if math.isfinite(top)]
        highest = max([1.12 * RULE_BEYOND[1] / YARD, *(1.08 * top for top in shown)])
        if answer.rule is not None and rise == 0.0:
            _draw_rule(axes, answer)
        axes.set_ylim(0.0, highest)
        axes.set_xlim(0.0, max(1.2 * answer.speeds[-1], 1.35 * RULE_BEYOND[0]) / MPH)
        axes.set_xlabel("speed at the braking point [mph]")
        axes.set_ylabel("brake earlier than on good rail [yd]")
        axes.grid(axis="y")
        metres = axes.secondary_yaxis(
            "right", functions=(lambda yards: yards * YARD, lambda metres: metres / YARD)
        )
        metres.set_ylabel("[m]", rotation=0, labelpad=4)
        metres.yaxis.set_label_coords(1.03, 1.06)
        odds = odds_of(answer.question.confidence)
        grade = "on the level" if rise == 0.0 else f"on a gradient of {100 * rise:+.3g} %"
        figure.text(
            0.012, 0.965, f"So that at most one stop in {odds} passes the platform end, {grade}; "
            f"{driver_text(answer.question)}, {answer.question.candidate.label}", fontsize=8.5,
        )  # fmt: skip
        style.write_caution(figure)
    return figure


def _draw_state(axes: Axes, answer: Answer, state: str, rise: float, number: int) -> float:
    """Draw one rail; return how far up its line reaches."""
    colour, marker, line = _LOOKS[number % len(_LOOKS)]
    points = [p for v in answer.speeds if (p := answer.at(state, v, rise)) is not None]
    held = [p for p in points if math.isfinite(p.earlier)]
    if not held:
        axes.annotate(f"{state}: {DOES_NOT_STOP}", (1.09, 0.06 * number), xycoords="axes fraction",
                      color=colour, fontsize=8)  # fmt: skip
        return math.nan
    speeds = np.array([p.place.speed / MPH for p in held])
    earlier = np.array([p.earlier / YARD for p in held])
    axes.plot(
        speeds, earlier, color=colour, marker=marker, linestyle=line, markersize=4.5, zorder=3
    )
    low = np.array([p.low / YARD for p in held])
    high = np.array([p.high / YARD if math.isfinite(p.high) else np.nan for p in held])
    axes.fill_between(speeds, low, high, color=colour, alpha=0.16, linewidth=0)
    if state == AUTUMN:
        half = [p.median / YARD for p in held]
        axes.plot(speeds, half, color=colour, linewidth=0.8, zorder=2)
        axes.annotate(
            "half of the autumn stops", (speeds[-1], half[-1]), (5, 0), va="center",
            textcoords="offset points", fontsize=8.0, color=colour, annotation_clip=False,
        )  # fmt: skip
    if len(held) < len(points):
        beyond = f", {DOES_NOT_STOP} from {points[len(held)].place.speed / MPH:.0f} mph"
    else:
        beyond = ""
    axes.annotate(
        f"{state}{beyond}", (speeds[-1], earlier[-1]), (5, 0), textcoords="offset points",
        fontsize=8, color=colour, va="center", annotation_clip=False,
    )  # fmt: skip
    return float(np.nanmax([*earlier, *high]))


def _draw_rule(axes: Axes, answer: Answer) -> None:
    colour = _LOOKS[answer.states.index(AUTUMN)][0] if AUTUMN in answer.states else style.INK
    (far, rule), near = RULE_BEYOND, (ANCHOR / MPH, RULE_AT_ANCHOR / YARD)
    axes.plot(*near, "o", color=colour, markersize=9, markeredgecolor=style.INK, zorder=5)
    axes.plot(
        far / MPH, rule / YARD, "o", color=style.PAPER, markersize=9, markeredgecolor=style.INK,
        markeredgewidth=1.4, zorder=5,
    )  # fmt: skip
    for place, text, height in (
        (near, f"common practice, {near[1]:.0f} yd: calibrated to", 0.62),
        ((far / MPH, rule / YARD), f"common practice, {rule / YARD:.0f} yd: not used", 0.76),
    ):
        axes.annotate(
            text, place, (0.03, height), textcoords="axes fraction", fontsize=8.0, zorder=6,
            arrowprops={"arrowstyle": "-", "color": style.QUIET, "linewidth": 0.6, "shrinkB": 5},
        )  # fmt: skip


def points_card(answer: Answer) -> str:
    """Return the card of a train: yards by speed and rail on the level, large."""
    question = answer.question
    rise = min(answer.rises, key=abs)
    speeds = answer.speeds
    if len(speeds) > MOST_ON_A_CARD:
        keep = np.unique(np.linspace(0, len(speeds) - 1, MOST_ON_A_CARD).round().astype(int))
        speeds = [speeds[i] for i in keep]
    states = [state for state in answer.states if state != GOOD]
    rows = []
    for speed in speeds:
        cells = [Cell(f"{speed / MPH:.0f} mph")]
        for state in states:
            point = answer.at(state, speed, rise)
            cells.append(_card_cell(point))
        rows.append(cells)
    grade = "level track" if rise == 0.0 else f"gradient {100 * rise:+.3g} %"
    return card_page(
        "Brake so many yards earlier than on good rail",
        f"{question.scenario.train.name}; {driver_text(question)}; {grade}; at most one stop in "
        f"{odds_of(question.confidence)} passes the platform end",
        [f"from ({grade})", *(f"{state} [yd]" for state in states)],
        rows,
        [
            "Falling gradients need more: see the sheet, or the card of your route.",
            f"{DOES_NOT_STOP.capitalize()}: no braking point holds from this speed. Come slower.",
        ],
    )


def _card_cell(point: Point | None) -> Cell:
    if point is None:
        return Cell("")
    if not math.isfinite(point.yards):
        return Cell(DOES_NOT_STOP, is_none=True)
    return Cell(f"{point.yards:.0f}", f"{point.driver:.0f} m")


def points_sheet(answer: Answer, pictures: Mapping[str, bytes], command: str) -> str:
    """Return the sheet: every number of every point, what is assumed, the pictures."""
    question = answer.question
    odds = odds_of(question.confidence)
    heads = ["rail", "speed [mph]", "gradient [%]", "good rail [m]", "formula [m]",
             f"one in {odds} [m]", "range [m]", "half [m]", "one in 100 [m]", "driver [yd]",
             "driver [m]", "lost [s]"]  # fmt: skip
    rows = [_sheet_row(point) for point in answer.points]
    values = Table(
        "The spread", ["value", "mark", "what it is"], [list(row) for row in spread_rows()], 3
    )
    lines = [*question_lines(question), *notes(answer)]
    lines += rule_lines(answer.rule) if answer.rule is not None else []
    return sheet_page(
        "Braking points: all numbers",
        f"So that at most one stop in {odds} passes the platform end",
        [Table("Braking points", heads, rows), values],
        lines,
        pictures,
        command,
    )


def _sheet_row(point: Point) -> list[str]:
    place = point.place
    has_point = math.isfinite(point.driver)
    return [
        place.state,
        f"{place.speed / MPH:.0f}",
        f"{100.0 * place.rise:+.3g}" if place.rise else "level",
        metres_text(point.good),
        metres_text(point.formula),
        metres_text(point.earlier),
        range_text(point.low, point.high),
        metres_text(point.median),
        metres_text(point.unlucky),
        yards_text(point.yards),
        metres_text(point.driver) if has_point else "",
        f"{point.time_lost:.0f}" if has_point else "",
    ]

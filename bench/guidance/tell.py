"""Braking points as text and as CSV."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence

from slipbench.guidance.answer import FAR, Answer, Rule
from slipbench.guidance.points import MPH, YARD, Point, Question
from slipbench.guidance.shapes import (
    ANCHOR,
    CLOSE_TO_RULE,
    RULE_AT_ANCHOR,
    RULE_BEYOND,
    SHAPES,
)
from slipbench.guidance.spread import MEANINGS
from slipbench.guidance.states import STATES
from slipbench.results.cells import cell
from slipbench.results.tables import UNKNOWN, plain_table

DOES_NOT_STOP = "does not stop"
"""Stands where there is no braking point: never a number."""

HEADS = (
    "speed\n[mph]", "gradient\n[%]", "good rail\n[m]", "formula\n[m]", "one in\n{odds} [m]",
    "range\n[m]", "half\n[m]", "one in\n100 [m]", "driver\n[yd]", "\n[m]", "lost\n[s]",
)  # fmt: skip


def yards_text(yards: float) -> str:
    """Return yards as a driver reads them."""
    return f"{yards:.0f}" if math.isfinite(yards) else DOES_NOT_STOP


def metres_text(metres: float) -> str:
    """Return metres, or why there are none."""
    if math.isnan(metres):
        return UNKNOWN
    return f"{metres:.0f}" if math.isfinite(metres) else DOES_NOT_STOP


def range_text(low: float, high: float) -> str:
    """Return a range in metres, one number where both ends are the same."""
    if math.isinf(low):
        return DOES_NOT_STOP
    if math.isinf(high):
        return f"{low:.0f} and more"
    return f"{low:.0f}" if round(low) == round(high) else f"{low:.0f} to {high:.0f}"


def odds_of(confidence: float) -> str:
    """Return one in how many stops may pass the platform end."""
    return f"{1.0 / (1.0 - confidence):.3g}"


def question_lines(question: Question) -> list[str]:
    """Return who was asked, in a few lines: train, driver, strategy, spread, draws."""
    train = question.scenario.train
    return [
        f"train: {train.name}, {train.n_axles} axles, {train.mass / 1e3:.0f} t, "
        f"{train.length:.0f} m",
        f"driver: {driver_text(question)}; strategy {question.candidate.label}",
        f"rails: {', '.join(rail_text(question, state) for state in question.rails)}",
        f"spread, {question.n_draws} draws: {question.spread.text()}",
    ]


def rail_text(question: Question, state: str) -> str:
    """Return a rail state with the scenario and friction that stand for it."""
    friction = question.rails[state].sections[0].friction
    name = STATES.get(state)
    return f"{state} ({f'{name}, ' if name else ''}friction {friction:.3g})"


def driver_text(question: Question) -> str:
    """Return what the driver does, in words."""
    driver, brake = question.scenario.driver, question.scenario.brake
    words = []
    for entry in driver.programme[:6]:
        position = entry.position
        name = "release" if position == 0 else f"step {position}"
        words.append("emergency" if position > brake.n_steps else name)
    text = ", then ".join(dict.fromkeys(words))
    if len(driver.programme) == 1 and driver.easing is None:
        return f"{text}, held"
    eased = f", eased to step {driver.easing.position} on a slide" if driver.easing else ""
    return f"{text}{eased}"


def answer_text(answer: Answer) -> str:
    """Return the table, the rule of thumb and what must be known to read them."""
    odds = odds_of(answer.question.confidence)
    rows: list[Sequence[str] | str] = []
    for state in answer.states:
        rows += [f"{state} rail"] if not rows else ["", f"{state} rail"]
        rows += [_row(point) for point in answer.points if point.place.state == state]
    heads = [head.format(odds=odds) for head in HEADS]
    lines = [
        f"How much earlier to brake than on good rail, so that at most one stop in {odds} passes "
        "the platform end",
        *question_lines(answer.question),
        "",
        plain_table(heads, rows, n_left=0),
        "",
        *notes(answer),
    ]
    if answer.rule is not None:
        lines += ["", *rule_lines(answer.rule)]
    return "\n".join(lines)


def _row(point: Point) -> list[str]:
    place = point.place
    return [
        f"{place.speed / MPH:.0f}",
        f"{100.0 * place.rise:+.3g}" if place.rise else "level",
        metres_text(point.good),
        metres_text(point.formula),
        metres_text(point.earlier),
        range_text(point.low, point.high),
        metres_text(point.median),
        metres_text(point.unlucky),
        yards_text(point.yards),
        metres_text(point.driver) if math.isfinite(point.driver) else UNKNOWN,
        f"{point.time_lost:.0f}" if math.isfinite(point.time_lost) else UNKNOWN,
    ]


def notes(answer: Answer) -> list[str]:
    """Return what must be known to read the table."""
    shapes = ", ".join(SHAPES) if answer.shaped else "not asked for"
    return [
        "good rail: from the braking point to standstill, everything as designed, reaction "
        f"{answer.question.spread.median_reaction:.2f} s; formula: the same, EN 14531 type",
        f"range: over other creep curves and cleaning laws, each calibrated at 75 mph ({shapes})",
        "driver: the top of the range, rounded up to 50 yards; lost: the driver spreads the "
        "braking evenly up to the marker",
        f"{DOES_NOT_STOP}: the confidence cannot be met; not every draw stops within 8 km",
    ]


def rule_lines(rule: Rule) -> list[str]:
    """Return what the calibrated rail says beside common practice, in yards."""
    speed, practice = RULE_BEYOND
    predicted = rule.medians[speed]
    verdict = f"{rule.departs:+.0%} of it, within {CLOSE_TO_RULE:.0%}"
    if not rule.agrees:
        verdict = f"{rule.departs:+.0%} of it, NOT within {CLOSE_TO_RULE:.0%}: {why(rule)}"
    lines = [
        f"autumn rail: calibrated so that half of the stops of the shipped unit in full service "
        f"need {RULE_AT_ANCHOR / YARD:.0f} yd from {ANCHOR / MPH:.0f} mph (common practice, no "
        f"source): friction {rule.friction:.4f}, {rule.factor:.3f} of the shipped film's",
        f"from {speed / MPH:.0f} mph half of them need {predicted / YARD:.0f} yd, predicted; "
        f"common practice says {practice / YARD:.0f} yd (no source; not used): {verdict}",
        f"kept at {ANCHOR / MPH:.0f} mph, {RULE_AT_ANCHOR / YARD:.0f} yd are passed in "
        f"{rule.passes.estimate:.0%} of the stops ({rule.passes.low:.0%} to "
        f"{rule.passes.high:.0%})",
    ]
    if rule.ranges:
        told = "; ".join(
            f"from {speed / MPH:.0f} mph {rule.ranges[speed][0] / YARD:,.0f} to "
            f"{rule.ranges[speed][1] / YARD:,.0f} yd"
            for speed in (RULE_BEYOND[0], FAR)
        )
        lines.append(f"over other creep curves and cleaning laws half of them need {told}")
    return lines


def why(rule: Rule) -> str:
    """Say why the prediction departs from common practice, as far as the numbers tell."""
    speed, practice = RULE_BEYOND
    if speed not in rule.ranges:
        return "other creep curves and cleaning laws were not asked for"
    low, high = rule.ranges[speed]
    if low <= practice <= high:
        return (
            f"creep curves and cleaning laws calibrated to the same number span {low / YARD:.0f} "
            f"to {high / YARD:.0f} yd, so the curve's shape decides it"
        )
    return (
        f"no creep curve or cleaning law tried gives it ({low / YARD:.0f} to {high / YARD:.0f} "
        "yd); the rule may be told of another train, step or rail"
    )


def answer_csv(answer: Answer) -> str:
    """Return every number of every point as CSV, units in the heads."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(
        ["rail", "speed_mph", "speed_m_per_s", "gradient", "good_m", "formula_m", "earlier_m",
         "earliest_m", "latest_m", "median_m", "one_in_100_m", "driver_yd", "driver_m",
         "time_lost_s"]
    )  # fmt: skip
    for point in answer.points:
        place = point.place
        numbers = (
            place.speed / MPH, place.speed, place.rise, point.good, point.formula, point.earlier,
            point.high, point.low, point.median, point.unlucky, point.yards, point.driver,
            point.time_lost,
        )  # fmt: skip
        writer.writerow([cell(place.state), *map(_number, numbers)])
    return stream.getvalue()


def _number(value: float) -> str | float:
    if math.isnan(value):
        return ""
    return DOES_NOT_STOP if math.isinf(value) else value


def spread_rows() -> list[tuple[str, str, str]]:
    """Return name, mark and meaning of each value of the spread, for a sheet."""
    return [(name, meaning.mark, meaning.doc) for name, meaning in MEANINGS.items()]

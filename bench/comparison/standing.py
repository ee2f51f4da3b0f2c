"""Where strategies stand over rails and speeds: one table with intervals, and the frontier.

Read from the rows of a comparison alone. A measure whose numbers a row lacks has no column.
"""

from __future__ import annotations

import math
import statistics
import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from slipbench.comparison.compare import ComparedStop, Comparison, half_width
from slipbench.results.tables import UNKNOWN, plain_table

SAME_DISTANCE = 1e-3
"""Mean distances closer than this share count as equal: the accuracy stops are computed with."""

SAME_RISK = 1e-3
"""Flat risks closer than this count as equal. Assumed. [-]"""


@dataclass(frozen=True)
class Measure:
    """A column: what a row gives for it; NaN where a run gives no number."""

    header: str
    of: Callable[[ComparedStop], float]
    decimals: int
    needs: str = ""
    """Name in the summary without which there is no column."""
    has_interval: bool = True


def _distance(row: ComparedStop) -> float:
    return float(row.summary["stopping_distance"]) if row.summary["is_stopped"] else math.inf


def _over_shortest(row: ComparedStop) -> float:
    return _distance(row) / row.yardsticks.shortest_possible


def _worst(name: str, factor: float = 1.0) -> Callable[[ComparedStop], float]:
    """Return a reader of a summary's number, or of the largest of its list."""

    def read(row: ComparedStop) -> float:
        value: Any = row.summary[name]
        return factor * float(max(value) if isinstance(value, list) else value)

    return read


MEASURES = (
    Measure("distance\n[m]", _distance, 1),
    Measure("over the\nfloor [-]", _over_shortest, 3),
    Measure("longest lock\n[s]", _worst("longest_lock"), 2),
    Measure("flat risk\n[-]", _worst("flat_risk"), 3),
    Measure("flat, low\n[mm]", _worst("flat_length_low", 1e3), 0, "flat_length_low", False),
    Measure("flat, high\n[mm]", _worst("flat_length_high", 1e3), 0, "flat_length_high", False),
    Measure("vent\ncommands [-]", _worst("vent_count"), 0),
    Measure("air\n[normal L]", _worst("air_vented_litres"), 0, "air_vented_litres"),
    Measure("vents below\n6 mph [-]", _worst("low_speed_vents"), 1, "low_speed_vents"),
)
"""Every measure, in the order of the columns."""


def standing_table(comparison: Comparison) -> str:
    """Return every strategy on every rail and speed, means with 95 % intervals over the seeds."""
    summary = comparison.rows[0].summary
    measures = [m for m in MEASURES if not m.needs or m.needs in summary]
    rows: list[Sequence[str] | str] = []
    for scenario in comparison.scenarios:
        marks = comparison.yardsticks[scenario.name]
        shortest = marks.shortest_possible
        known = f"{shortest:.1f} m" if math.isfinite(shortest) else UNKNOWN
        speed = f"{scenario.initial_speed:.2f} m/s"
        rows += ["", f"{scenario.name} ({speed}): cannot be shorter than {known}"]
        for score in comparison.scores(scenario.name):
            runs = runs_of(comparison, scenario.name, score.controller)
            truth = " (truth)" if score.uses_truth else ""
            rows.append([f"    {score.controller}{truth}", *(_cell(m, runs) for m in measures)])
    n_seeds = comparison.n_seeds
    note = (
        f"Means over {n_seeds} seeds (equipment, sampling phases, tooth angles), each with the "
        "half-width of its 95 % interval by Student's t; the seeds are no sample of rails. A mean "
        "with an overrun in it does not exist."
        if n_seeds > 1
        else "One seed, so no intervals: ask for more with --seeds."
    )
    table = plain_table(["\n    strategy", *(m.header for m in measures)], rows[1:])
    return "\n".join([table, "", *textwrap.wrap(note, 100)])


def runs_of(comparison: Comparison, scenario: str, controller: str) -> list[ComparedStop]:
    """Return the runs of a strategy on a rail, in the order of the seeds."""
    return [r for r in comparison.rows if r.scenario == scenario and r.controller == controller]


def _cell(measure: Measure, runs: Sequence[ComparedStop]) -> str:
    values = [measure.of(run) for run in runs]
    n_over = sum(not run.summary["is_stopped"] for run in runs)
    if measure is MEASURES[0] and n_over:
        return f"{n_over} of {len(runs)} not stopped"
    mean = statistics.fmean(values)
    if not math.isfinite(mean):
        return UNKNOWN
    width = half_width(values) if measure.has_interval else math.nan
    text = f"{mean:.{measure.decimals}f}"
    return text if math.isnan(width) else f"{text} ±{width:.{measure.decimals}f}"


@dataclass(frozen=True)
class Standing:
    """One strategy on one rail and speed against all others without truth.

    Attributes
    ----------
    is_shortest : bool       its mean distance is below every other's, by more than accuracy
    is_told : bool           and by more than the interval of the paired difference
    shorter, safer : tuple   others that stop as short or shorter, and others with less flat risk
    shortfall : float        its mean distance over the shortest of the others', less one [-]
    """

    scenario: str
    controller: str
    is_shortest: bool
    is_told: bool
    shorter: tuple[str, ...]
    safer: tuple[str, ...]
    shortfall: float

    @property
    def is_best(self) -> bool:
        """Whether it stops shorter than every other at equal or lower flat risk than each."""
        return self.is_shortest and not self.safer


def cases(comparison: Comparison, controller: str) -> list[Standing]:
    """Return how a strategy stands on every rail and speed, truth left out."""
    others = [
        k.controller.name
        for k in comparison.strategies
        if not k.controller.uses_truth and k.controller.name != controller
    ]
    found = []
    for scenario in comparison.scenarios:
        own = runs_of(comparison, scenario.name, controller)
        shorter, safer, is_told, best = [], [], True, math.inf
        mean, risk = _mean(own, _distance), _mean(own, _worst("flat_risk"))
        for other in others:
            theirs = runs_of(comparison, scenario.name, other)
            best = min(best, _mean(theirs, _distance))
            if not mean < (1.0 - SAME_DISTANCE) * _mean(theirs, _distance):
                shorter.append(other)
            if _mean(theirs, _worst("flat_risk")) < risk - SAME_RISK:
                safer.append(other)
            gains = [_distance(b) - _distance(a) for a, b in zip(own, theirs, strict=True)]
            gain = statistics.fmean(gains) if len({*gains} & {math.inf, -math.inf}) < 2 else 0.0
            width = half_width(gains)
            is_told &= gain == math.inf or (len(gains) > 1 and gain > width)
        behind = mean / best - 1.0 if math.isfinite(best) else 0.0
        kinds = tuple(shorter), tuple(safer)
        found.append(Standing(scenario.name, controller, not shorter, is_told, *kinds, behind))
    return found


def _mean(runs: Sequence[ComparedStop], of: Callable[[ComparedStop], float]) -> float:
    return statistics.fmean(of(run) for run in runs)


def frontier_text(comparison: Comparison) -> str:
    """Return whether a strategy stops shorter than every other at equal or lower flat risk.

    The one with most such cases is named, and every case in which it does not, and who stops as
    short or runs less risk there. Empty with fewer than two strategies without truth.
    """
    names = [k.controller.name for k in comparison.strategies if not k.controller.uses_truth]
    if len(names) < 2:
        return ""
    found = {name: cases(comparison, name) for name in names}
    best = max(names, key=lambda name: sum(case.is_best for case in found[name]))
    own = found[best]
    n_best = sum(case.is_best for case in own)
    n_told = sum(case.is_best and case.is_told for case in own)
    told = f", in {n_told} of them by more than the 95 % interval" if comparison.n_seeds > 1 else ""
    if not n_best:
        return "Frontier: no strategy stops shorter than every other at equal or lower flat risk."
    lines = [
        f"Frontier: {best} stops shorter than every other strategy, at equal or lower flat risk, "
        f"in {n_best} of {len(own)} cases{told}; distances within 0.1 % and flat risks within "
        "0.001 count as equal."
    ]
    for case in own:
        if case.is_best:
            continue
        why = []
        if case.shorter:
            why.append(f"as short or shorter: {_listed(case.shorter)}")
        if case.safer:
            why.append(f"less flat risk: {_listed(case.safer)}")
        lines.append(f"  not on {case.scenario}: {'; '.join(why)}")
    worst = max(own, key=lambda case: case.shortfall)
    if worst.shortfall > SAME_DISTANCE:
        behind = f"{100.0 * worst.shortfall:.1f} % behind the shortest"
        lines.append(f"  at most it is {behind}, on {worst.scenario}")
    second = [name for name in names if name != best and any(c.is_best for c in found[name])]
    for name in second:
        n_own = sum(c.is_best for c in found[name])
        lines.append(f"  {name} does so in {n_own} case{'s' if n_own > 1 else ''}")
    return "\n".join(
        part
        for line in lines
        for part in textwrap.wrap(line, 100, subsequent_indent="    ", drop_whitespace=True) or [""]
    )


def _listed(names: Sequence[str]) -> str:
    """Return names, or how many where it is nearly everybody."""
    return f"{len(names)} strategies" if len(names) > 6 else ", ".join(names)

"""The picture of a comparison: distance and longest lock of every strategy on every rail."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from bench.caution import CAUTION
from bench.compare import Comparison, Score
from bench.figures import style
from bench.figures.style import Look

LINE_HEIGHT = 0.155
"""Height of one strategy's line. [inch]"""

_NICE = tuple(
    step * 10.0**power for power in range(-1, 7) for step in (1.0, 1.5, 2.0, 3.0, 5.0, 7.0)
)


def draw_comparison(comparison: Comparison, looks: Mapping[str, Look]) -> Figure:
    """Draw a comparison.

    Each rail is a band with a line a strategy, in the same order in every band. Left: stopping
    distance on a logarithmic scale, with the shortest possible as a tick through the band and the
    dry stop as a dotted one. Right: longest time any wheel stayed locked, on a square-root scale.
    Several seeds: the marker is the mean, the bar runs from the least to the greatest. A strategy
    that did not stop in every run stands at the right edge and says so.

    Parameters
    ----------
    comparison : Comparison
    looks : mapping           of every strategy in it, see `style.looks`

    Returns
    -------
    Figure
    """
    names = _ordered(comparison)
    n_lines = len(names) + 1
    n_rails = len(comparison.scenarios)
    height = LINE_HEIGHT * n_lines * n_rails + 1.75
    with style.styled():
        figure = style.new_figure(height)
        left, right = figure.subplots(1, 2, sharey=True, width_ratios=(1.75, 1.0))
        figure.subplots_adjust(
            left=0.155, right=0.975, top=1.0 - 0.72 / height, bottom=0.95 / height, wspace=0.07
        )
        for axes in (left, right):
            _bands(axes, n_rails, n_lines)
        high = _distance_axis(left, comparison)
        _lock_axis(right, comparison)
        for i_rail, scenario in enumerate(comparison.scenarios):
            scores = {score.controller: score for score in comparison.scores(scenario.name)}
            _rail_ticks(left, comparison, scenario.name, i_rail * n_lines, n_lines)
            for i, name in enumerate(names):
                y = i_rail * n_lines + i + 1.0
                _distance(left, y, scores[name], looks[name], high)
                _lock(right, y, scores[name], looks[name])
        left.set_yticks(
            [(i + 0.5) * n_lines for i in range(n_rails)],
            [scenario.name.replace("_", " ") for scenario in comparison.scenarios],
            fontweight="bold",
        )
        _legend(figure, comparison, names, looks, height)
        figure.text(0.012, 0.1 / height, CAUTION, fontsize=6.5, color=style.QUIET, va="bottom")
    return figure


def _ordered(comparison: Comparison) -> list[str]:
    known = [strategy.controller for strategy in comparison.strategies]
    return [c.name for c in sorted(known, key=lambda controller: controller.uses_truth)]


def _bands(axes: Axes, n_rails: int, n_lines: int) -> None:
    for i in range(0, n_rails, 2):
        axes.axhspan(i * n_lines, (i + 1) * n_lines, color=style.BAND, linewidth=0, zorder=0)
    axes.set_ylim(n_rails * n_lines, 0)
    axes.grid(axis="x")
    style.bare(axes)


def _distance_axis(axes: Axes, comparison: Comparison) -> float:
    """Scale the distance axis; return where runs that did not stop are drawn. [m]"""
    distances = [row.summary["stopping_distance"] for row in comparison.rows]
    for marks in comparison.yardsticks.values():
        distances += [marks.dry_distance, marks.shortest_possible]
    finite = [distance for distance in distances if math.isfinite(distance) and distance > 0.0]
    low, high = (min(finite) / 1.12, max(finite) * 1.12) if finite else (100.0, 1000.0)
    is_overrun = any(not row.summary["is_stopped"] for row in comparison.rows)
    edge: float = high * (high / low) ** 0.06
    axes.set_xscale("log")
    axes.set_xlim(low, high * (high / low) ** 0.12 if is_overrun else high)
    ticks = [nice for nice in _NICE if low <= nice <= high]
    axes.xaxis.set_major_locator(FixedLocator(ticks))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:,.0f}".replace(",", " ")))
    axes.set_xlabel("stopping distance [m], logarithmic")
    return edge


def _lock_axis(axes: Axes, comparison: Comparison) -> None:
    longest = max(row.summary["longest_lock"] for row in comparison.rows)
    axes.set_xscale("function", functions=(_signed_root, _signed_square))
    axes.set_xlim(-0.004 * max(longest, 1.0), 1.15 * max(longest, 1.0))
    candidates = (0, 0.1, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
    ticks: list[float] = []
    for tick in candidates:
        is_clear = not ticks or math.sqrt(tick) - math.sqrt(ticks[-1]) > 0.085 * math.sqrt(
            max(longest, 1.0)
        )
        if tick <= 1.15 * max(longest, 1.0) and is_clear:
            ticks.append(tick)
    axes.xaxis.set_major_locator(FixedLocator(ticks))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:g}"))
    axes.set_xlabel("longest lock of a wheel [s], square-root scale")


def _signed_root(values: npt.ArrayLike) -> Any:
    return np.sign(values) * np.sqrt(np.abs(values))


def _signed_square(values: npt.ArrayLike) -> Any:
    return np.sign(values) * np.square(values)


def _rail_ticks(
    axes: Axes, comparison: Comparison, scenario: str, start: float, n_lines: int
) -> None:
    marks = comparison.yardsticks[scenario]
    reach = (start + 0.35, start + n_lines - 0.35)
    if math.isfinite(marks.shortest_possible):
        axes.plot([marks.shortest_possible] * 2, reach, color=style.INK, linewidth=2.2, zorder=2)
    if math.isfinite(marks.dry_distance):
        axes.plot(
            [marks.dry_distance] * 2,
            reach,
            color=style.QUIET,
            linewidth=1.2,
            linestyle=":",
            zorder=1,
        )


def _distance(axes: Axes, y: float, score: Score, look: Look, edge: float) -> None:
    if score.n_stopped == score.n_runs:
        axes.plot([score.shortest_run, score.longest_run], [y, y], color=look.colour, zorder=3)
        _dot(axes, score.distance, y, score, look)
        return
    _dot(axes, edge, y, score, look)
    n_over = score.n_runs - score.n_stopped
    text = "not stopped" if score.n_runs == 1 else f"{n_over} of {score.n_runs} not stopped"
    axes.annotate(
        f"{text} ",
        (edge, y),
        xytext=(-5, 0),
        textcoords="offset points",
        ha="right",
        va="center",
        fontsize=6.5,
        color=style.INK,
    )


def _lock(axes: Axes, y: float, score: Score, look: Look) -> None:
    axes.plot([0.0, score.worst_lock], [y, y], color=look.colour, linewidth=0.8, zorder=3)
    _dot(axes, score.longest_lock, y, score, look)


def _dot(axes: Axes, x: float, y: float, score: Score, look: Look) -> None:
    axes.plot([x], [y], **_dot_style(look, score.uses_truth), clip_on=False, zorder=4)


def _dot_style(look: Look, uses_truth: bool) -> dict[str, Any]:
    return {
        "marker": look.marker,
        "markersize": 5.5,
        "markerfacecolor": style.PAPER if uses_truth else look.colour,
        "markeredgecolor": look.colour if uses_truth else style.PAPER,
        "markeredgewidth": 1.3 if uses_truth else 0.4,
        "linestyle": "none",
    }


def _legend(
    figure: Figure,
    comparison: Comparison,
    names: Sequence[str],
    looks: Mapping[str, Look],
    height: float,
) -> None:
    truthful = {s.controller.name for s in comparison.strategies if s.controller.uses_truth}
    handles = [
        Line2D(
            [],
            [],
            label=name.replace("_", " ") + (" (sees truth)" if name in truthful else ""),
            **_dot_style(looks[name], name in truthful),
        )
        for name in names
    ]
    handles.append(Line2D([], [], color=style.INK, linewidth=2.2, label="shortest possible"))
    handles.append(
        Line2D([], [], color=style.QUIET, linewidth=1.2, linestyle=":", label="dry rail")
    )
    figure.legend(
        handles=handles,
        loc="upper left",
        bbox_to_anchor=(0.0, 1.0 - 0.06 / height),
        ncols=4,
        columnspacing=1.6,
        handletextpad=0.5,
        borderaxespad=0.2,
    )

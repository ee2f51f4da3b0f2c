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

from slipbench.comparison.compare import Comparison, Score, Yardsticks
from slipbench.figures import style
from slipbench.figures.style import Look

LINE_HEIGHT = 0.15
"""Height of one strategy's line. [inch]"""

HEAD, LEGEND_LINE, FOOT = 0.14, 0.24, 0.72
"""Room above, for each line of the legend, and for axis labels and the caution below. [inch]"""

LEGEND_LETTERS = 112
"""Letters a line of the legend holds, each entry counted with seven for its marker and gap."""

_STEPS = (1.0, 1.5, 2.0, 3.0, 5.0, 7.0)
_LOCK_TICKS = (0.0, 0.1, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)


def draw_comparison(comparison: Comparison, looks: Mapping[str, Look]) -> Figure:
    """Draw a comparison.

    Each rail is a band with a line a strategy, in the same order in every band. Left: stopping
    distance on a logarithmic scale, with the shortest possible as a bar through the band and the
    dry stop as a dotted line. Right: longest time any wheel stayed locked, on a square-root scale.
    Several seeds: the marker is the mean, the pale bar runs from the least to the greatest. A
    strategy that did not stop in every run stands at the right edge and says so.

    Parameters
    ----------
    comparison : Comparison
    looks : mapping           of every strategy in it, see `style.looks`

    Returns
    -------
    Figure
    """
    names, rails = _ordered(comparison), comparison.rails()
    n_lines, n_rails = len(names) + 1, len(comparison.scenarios)
    legend = _legend_rows(comparison, names, looks)
    head = HEAD + LEGEND_LINE * len(legend)
    height = LINE_HEIGHT * n_lines * n_rails + head + FOOT
    with style.styled():
        figure = style.new_figure(height)
        left, right = figure.subplots(1, 2, sharey=True, width_ratios=(1.9, 1.0))
        figure.subplots_adjust(
            left=0.135, right=0.975, top=1.0 - head / height, bottom=FOOT / height, wspace=0.06
        )
        edge = _scale_distance(left, comparison)
        _scale_lock(right, comparison)
        for axes in (left, right):
            _bands(axes, n_rails, n_lines)
        for i_rail, scenario in enumerate(rails):
            marks = comparison.yardsticks[scenario.name]
            _yardsticks(left, marks, i_rail * n_lines, n_lines)
            scores = {score.controller: score for score in comparison.scores(scenario.name)}
            for i, name in enumerate(names):
                y = i_rail * n_lines + i + 1.0
                _distance(left, y, scores[name], looks[name], edge, marks)
                _lock(right, y, scores[name], looks[name])
        left.set_yticks(
            [(i + 0.5) * n_lines for i in range(n_rails)],
            [scenario.name.replace("_", " ") for scenario in rails],
            fontweight="bold",
        )
        draw_legend(figure, legend, height)
        style.write_caution(figure)
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


def _scale_distance(axes: Axes, comparison: Comparison) -> float:
    """Scale the distance axis; return where strategies that did not always stop stand. [m]"""
    distances = [row.summary["stopping_distance"] for row in comparison.rows]
    for marks in comparison.yardsticks.values():
        distances += [marks.dry_distance, marks.shortest_possible, marks.best_found]
    finite = [distance for distance in distances if math.isfinite(distance)] or [100.0, 1000.0]
    low, high = min(finite) / 1.1, max(finite) * 1.1
    span = high / low
    edge: float = high * span**0.05
    axes.set_xscale("log")
    axes.set_xlim(low, high * span**0.08)  # room for the last number, or for what did not stop
    ticks = [step * 10.0**power for power in range(7) for step in _STEPS]
    _set_ticks(axes, [tick for tick in ticks if low <= tick <= high])
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:,.0f}".replace(",", " ")))
    axes.set_xlabel("stopping distance [m], logarithmic scale")
    return edge


def _scale_lock(axes: Axes, comparison: Comparison) -> None:
    locks = [row.summary["longest_lock"] for row in comparison.rows]
    longest = max(1.0, *(lock for lock in locks if math.isfinite(lock)))
    axes.set_xscale("function", functions=(_signed_root, _signed_square))
    axes.set_xlim(-0.0005 * longest, 1.4 * longest)
    ticks: list[float] = []
    for tick in _LOCK_TICKS:
        gap = math.sqrt(tick / longest) - math.sqrt(ticks[-1] / longest) if ticks else 1.0
        if tick <= 1.05 * longest and gap > 0.09:
            ticks.append(tick)
    _set_ticks(axes, ticks)
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:g}"))
    axes.set_xlabel("longest lock [s], square-root scale")


def _set_ticks(axes: Axes, ticks: Sequence[float]) -> None:
    axes.xaxis.set_major_locator(FixedLocator(ticks))
    axes.xaxis.set_minor_locator(NullLocator())


def _signed_root(values: npt.ArrayLike) -> Any:
    return np.sign(values) * np.sqrt(np.abs(values))


def _signed_square(values: npt.ArrayLike) -> Any:
    return np.sign(values) * np.square(values)


_SHORTEST = {"color": style.INK, "linewidth": 2.4, "solid_capstyle": "butt"}
_FOUND = {"color": style.INK, "linewidth": 1.2, "linestyle": (0, (3, 1.5))}
_DRY = {"color": style.QUIET, "linewidth": 1.2, "linestyle": ":"}


def _yardsticks(axes: Axes, marks: Yardsticks, start: float, n_lines: int) -> None:
    reach = (start + 0.3, start + n_lines - 0.3)
    if math.isfinite(marks.dry_distance):
        axes.plot([marks.dry_distance] * 2, reach, **_DRY, zorder=1)  # type: ignore[arg-type]
    if math.isfinite(marks.shortest_possible):
        axes.plot([marks.shortest_possible] * 2, reach, **_SHORTEST, zorder=2)  # type: ignore[arg-type]
    if math.isfinite(marks.best_found):
        axes.plot([marks.best_found] * 2, reach, **_FOUND, zorder=2)  # type: ignore[arg-type]


def _distance(
    axes: Axes, y: float, score: Score, look: Look, edge: float, marks: Yardsticks
) -> None:
    is_over = score.n_stopped < score.n_runs
    place = edge if is_over else score.distance
    if not is_over and math.isfinite(marks.shortest_possible):
        axes.plot([marks.shortest_possible, place], [y, y], color=look.colour, linewidth=0.8)
    _dot(axes, place, y, score, look)
    if not is_over:
        _spread(axes, score.shortest_run, score.longest_run, y, look)
        _say(axes, max(score.longest_run, place), y, f"{score.distance:.0f}")
    elif score.n_runs == 1:
        _say(axes, place, y, "not stopped", is_left=True)
    else:
        n_over = score.n_runs - score.n_stopped
        _say(axes, place, y, f"{n_over} of {score.n_runs} not stopped", is_left=True)


def _lock(axes: Axes, y: float, score: Score, look: Look) -> None:
    axes.plot([0.0, score.longest_lock], [y, y], color=look.colour, linewidth=0.8)
    if score.n_runs > 1:
        _spread(axes, score.least_lock, score.worst_lock, y, look)
    _dot(axes, score.longest_lock, y, score, look)
    if score.worst_lock > 0.0:
        decimals = 0 if score.longest_lock >= 10.0 else 1
        _say(axes, score.worst_lock, y, f"{score.longest_lock:.{decimals}f}")


def _spread(axes: Axes, low: float, high: float, y: float, look: Look) -> None:
    axes.plot(
        [low, high], [y, y], color=look.colour, linewidth=4.5, alpha=0.35, solid_capstyle="butt"
    )


def _say(axes: Axes, x: float, y: float, text: str, is_left: bool = False) -> None:
    axes.annotate(
        text,
        (x, y),
        xytext=(-6 if is_left else 6, 0),
        textcoords="offset points",
        ha="right" if is_left else "left",
        va="center_baseline",
        fontsize=8.0,
        color=style.INK,
        annotation_clip=False,
    )


def _dot(axes: Axes, x: float, y: float, score: Score, look: Look) -> None:
    axes.plot([x], [y], **dot_style(look, score.uses_truth), clip_on=False, zorder=4)


def dot_style(look: Look, uses_truth: bool) -> dict[str, Any]:
    """Return how a strategy's mark is drawn: hollow where it sees truth."""
    return {
        "marker": look.marker,
        "markersize": look.size(5.5),
        "markerfacecolor": style.PAPER if uses_truth else look.colour,
        "markeredgecolor": look.colour if uses_truth else style.PAPER,
        "markeredgewidth": 1.3 if uses_truth else 0.4,
        "linestyle": "none",
    }


def strategy_legend(
    names: Sequence[str], uses_truth: Mapping[str, bool], looks: Mapping[str, Look]
) -> list[list[Line2D]]:
    """Return an entry of the legend a strategy, as many a row as the width holds."""
    rows: list[list[Line2D]] = [[]]
    used = 0
    for name in names:
        label = name.replace("_", " ") + (" (sees truth)" if uses_truth[name] else "")
        used += len(label) + 7
        if used > LEGEND_LETTERS and rows[-1]:
            rows.append([])
            used = len(label) + 7
        rows[-1].append(Line2D([], [], label=label, **dot_style(looks[name], uses_truth[name])))
    return rows


def _legend_rows(
    comparison: Comparison, names: Sequence[str], looks: Mapping[str, Look]
) -> list[list[Line2D]]:
    """Return the legend's entries; yardsticks in the last row."""
    uses_truth = {s.controller.name: s.controller.uses_truth for s in comparison.strategies}
    yardsticks = [
        Line2D([], [], label="cannot be shorter than", **_SHORTEST),  # type: ignore[arg-type]
        Line2D([], [], label="best found, all known", **_FOUND),  # type: ignore[arg-type]
        Line2D([], [], label="dry rail, no slip control", **_DRY),  # type: ignore[arg-type]
    ]
    if comparison.n_seeds > 1:
        label = f"mean and range of {comparison.n_seeds} seeds"
        yardsticks.append(Line2D([], [], label=label, color=style.QUIET, linewidth=4.5, alpha=0.4))
    return [*strategy_legend(names, uses_truth, looks), yardsticks]


def draw_legend(figure: Figure, rows: Sequence[Sequence[Line2D]], height: float) -> None:
    """Draw a legend of several rows along the top of a figure of this height [inch]."""
    for i, handles in enumerate(rows):
        figure.legend(
            handles=list(handles),
            loc="upper left",
            bbox_to_anchor=(0.0, 1.0 - (0.06 + LEGEND_LINE * i) / height),
            ncols=len(handles),
            columnspacing=1.6,
            handletextpad=0.5,
            borderaxespad=0.2,
        )

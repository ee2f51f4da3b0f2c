"""The picture of a comparison: distance and longest lock of every strategy on every rail."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter, MaxNLocator

from slipbench.comparison.compare import Comparison, Score, Yardsticks
from slipbench.comparison.quiet import Quiet, quiet_rails
from slipbench.figures import style
from slipbench.figures.style import Look
from slipbench.scenario import Scenario

LINE_HEIGHT, LEAST_LINE = 0.165, 0.137
"""Height of one strategy's line, and where a page is full. [inch]"""

HEAD, LEGEND_LINE, FOOT = 0.14, 0.24, 0.72
"""Room above, for each line of the legend, and for axis labels and the caution below. [inch]"""

LONG_WIDTH, LONG_FROM = 9.6, 60
"""Width of a page of so many lines. [inch]"""

A3_HEIGHT = 16.2
"""What fits a printed A3 page. [inch]"""

LEGEND_LETTERS = 100
"""Letters a line of the legend holds, each entry counted with seven for its marker and gap."""

_NAME_WIDTH = 1.42
"""Room for names at the left. [inch]"""


def pages_of(comparison: Comparison) -> list[list[Scenario]]:
    """Return the rails of each page of the picture, so that each fits a printed A3 page.

    Rails on which nothing slides stand on none: a line tells them. Always one page at least.
    """
    quiet = {rail for group in quiet_rails(comparison.rows) for rail in group.rails}
    rails = [scenario for scenario in comparison.rails() if scenario.name not in quiet]
    n_lines = len(comparison.strategies) + 1
    room = A3_HEIGHT - FOOT - HEAD - 3 * LEGEND_LINE
    n_fit = max(1, int(room / (LEAST_LINE * n_lines)))
    n_pages = max(1, -(-len(rails) // n_fit))
    n_each = -(-len(rails) // n_pages) if rails else 1
    return [rails[i : i + n_each] for i in range(0, max(len(rails), 1), n_each)]


def draw_comparison(
    comparison: Comparison, looks: Mapping[str, Look], rails: Sequence[Scenario] | None = None
) -> Figure:
    """Draw a comparison.

    Each rail is a band with a named line a strategy, in the same order in every band. Left:
    stopping distance, with the shortest possible as a bar through the band and the dry stop as a
    dotted line. Right: longest time any wheel stayed locked. Both scales begin at nought. Several
    seeds: the mark is the mean, the bar runs from the least to the greatest. A strategy that did
    not stop in every run stands at the right edge and says so. Rails on which nothing slides have
    one line together.

    Parameters
    ----------
    comparison : Comparison
    looks : mapping           of every strategy in it, see `style.looks`
    rails : sequence or None  those drawn, a page of `pages_of`; None for all of its first page

    Returns
    -------
    Figure
    """
    rails = pages_of(comparison)[0] if rails is None else rails
    names, quiet = _ordered(comparison), quiet_rails(comparison.rows)
    n_lines = len(names) + 1
    n_all = n_lines * len(rails) + len(quiet)
    legend = _legend_rows(comparison)
    head = HEAD + LEGEND_LINE * len(legend)
    line = max(LEAST_LINE, min(LINE_HEIGHT, (A3_HEIGHT - head - FOOT) / n_all))
    height, width = line * n_all + head + FOOT, LONG_WIDTH if n_all > LONG_FROM else style.WIDTH
    with style.styled():
        figure = style.new_figure(height, width)
        left, right = figure.subplots(1, 2, sharey=True, width_ratios=(1.9, 1.0))
        figure.subplots_adjust(
            left=_NAME_WIDTH / width, right=1.0 - 0.25 / width, top=1.0 - head / height,
            bottom=FOOT / height, wspace=0.06,
        )  # fmt: skip
        shown = [score for rail in rails for score in comparison.scores(rail.name)]
        edge = _scale_distance(left, comparison, rails, shown)
        _scale_lock(right, shown)
        for axes in (left, right):
            _bands(axes, len(rails), n_lines, n_all)
        for i_rail, scenario in enumerate(rails):
            marks = comparison.yardsticks[scenario.name]
            _yardsticks(left, marks, i_rail * n_lines, n_lines)
            _head_line(left, scenario, i_rail * n_lines + 0.5, width)
            scores = {score.controller: score for score in comparison.scores(scenario.name)}
            for i, name in enumerate(names):
                y = i_rail * n_lines + i + 1.5
                _distance(left, y, scores[name], looks[name], edge, marks)
                _lock(right, y, scores[name], looks[name])
        for i, group in enumerate(quiet):
            _quiet_line(left, group, n_lines * len(rails) + i + 0.5, width)
        _name_lines(left, comparison, names, len(rails))
        draw_legend(figure, legend, height)
        style.write_caution(figure)
    return figure


def _ordered(comparison: Comparison) -> list[str]:
    known = [strategy.controller for strategy in comparison.strategies]
    return [c.name for c in sorted(known, key=lambda controller: controller.uses_truth)]


def _name_lines(axes: Axes, comparison: Comparison, names: Sequence[str], n_rails: int) -> None:
    truth = {s.controller.name: s.controller.uses_truth for s in comparison.strategies}
    said = [
        _shortened(name.replace("_", " ")) + (" \N{DAGGER}" if truth[name] else "")
        for name in names
    ]
    n_lines = len(names) + 1
    places = [r * n_lines + i + 1.5 for r in range(n_rails) for i in range(len(names))]
    axes.set_yticks(places, said * n_rails, fontsize=8.0)


def _shortened(name: str, most: int = 19) -> str:
    return name if len(name) <= most else f"{name[: most - 1]}\N{HORIZONTAL ELLIPSIS}"


def _head_line(axes: Axes, scenario: Scenario, y: float, width: float) -> None:
    name = _shortened(scenario.name.replace("_", " "), 30)
    room = int((width - 0.9) * 72.0 / 4.9 - 1.25 * len(name))
    title = _shortened(scenario.title, room) if room > 20 else ""
    words = axes.annotate(
        name, (0.0, y), xycoords=("axes fraction", "data"),
        xytext=(-72.0 * (_NAME_WIDTH - 0.12), 0), textcoords="offset points", fontsize=8.5,
        fontweight="bold", va="center_baseline", annotation_clip=False,
    )  # fmt: skip
    if title:
        axes.annotate(
            title, (1.0, 0.5), xycoords=words, xytext=(8, 0), textcoords="offset points",
            va="center", fontsize=8.0, color=style.QUIET, annotation_clip=False,
        )  # fmt: skip


def _quiet_line(axes: Axes, group: Quiet, y: float, width: float) -> None:
    room = int((width - 0.4) * 72.0 / 5.4)
    axes.annotate(
        _shortened(f"{group.line}, no wheel locks", room), (0.0, y),
        xycoords=("axes fraction", "data"), xytext=(-72.0 * (_NAME_WIDTH - 0.12), 0),
        textcoords="offset points", fontsize=8.5, fontweight="bold", va="center_baseline",
        annotation_clip=False,
    )  # fmt: skip


def _bands(axes: Axes, n_rails: int, n_lines: int, n_all: int) -> None:
    band = {"color": style.BAND, "linewidth": 0, "zorder": 0, "gid": style.CONTEXT}
    for i in range(0, n_rails, 2):
        axes.axhspan(i * n_lines, (i + 1) * n_lines, **band)  # type: ignore[arg-type]
    axes.set_ylim(n_all, 0)
    axes.grid(axis="x")
    style.bare(axes)


def _scale_distance(
    axes: Axes, comparison: Comparison, rails: Sequence[Scenario], scores: Sequence[Score]
) -> float:
    """Scale the distance axis; return where strategies that did not always stop stand. [m]"""
    distances = [end for score in scores for end in (score.distance, score.longest_run)]
    for rail in rails:
        marks = comparison.yardsticks[rail.name]
        distances += [marks.dry_distance, marks.shortest_possible, marks.best_found]
    longest = max((d for d in distances if math.isfinite(d)), default=1000.0)
    edge: float = 1.06 * longest
    axes.set_xlim(0.0, 1.13 * longest)  # room for the last number, or for what did not stop
    axes.xaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:,.0f}".replace(",", " ")))
    axes.set_xlabel("stopping distance [m]")
    return edge


def _scale_lock(axes: Axes, scores: Sequence[Score]) -> None:
    locks = [score.worst_lock for score in scores if math.isfinite(score.worst_lock)]
    longest = max([1.0, *locks])
    axes.set_xlim(-0.005 * longest, 1.22 * longest)
    axes.xaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 5, 10]))
    axes.set_xlabel("longest lock [s]")


_SHORTEST = {"color": style.INK, "linewidth": 2.4, "solid_capstyle": "butt"}
_FOUND = {"color": style.INK, "linewidth": 1.2, "linestyle": (0, (3, 1.5))}
_DRY = {"color": style.QUIET, "linewidth": 1.2, "linestyle": ":"}


def _yardsticks(axes: Axes, marks: Yardsticks, start: float, n_lines: int) -> None:
    reach = (start + 1.0, start + n_lines - 0.2)
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
    axes.plot([low, high], [y, y], color=look.colour, linewidth=2.4, solid_capstyle="butt")


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


def _legend_rows(comparison: Comparison) -> list[list[Line2D]]:
    """Return the legend's entries: what is no line of its own; strategies are named at theirs."""
    entries = [
        Line2D([], [], label="cannot be shorter than", **_SHORTEST),  # type: ignore[arg-type]
        Line2D([], [], label="best found, all known", **_FOUND),  # type: ignore[arg-type]
        Line2D([], [], label="dry rail, no slip control", **_DRY),  # type: ignore[arg-type]
    ]
    if comparison.n_seeds > 1:
        label = f"mean and range of {comparison.n_seeds} seeds"
        entries.append(
            Line2D([], [], label=label, color=style.QUIET, linewidth=2.4, marker="o", markersize=5)
        )
    if not any(s.controller.uses_truth for s in comparison.strategies):
        return [entries]
    hollow = Line2D([], [], label="\N{DAGGER} hollow: sees the true state, ranked apart",
                    **dot_style(Look(style.INK, "o"), True))  # fmt: skip
    return [entries, [hollow]]


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

"""Trade-offs of a comparison: what a short stop costs in wheels and in air."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from slipbench.comparison.compare import Score
from slipbench.figures import style
from slipbench.figures.compare import dot_style, draw_legend, strategy_legend
from slipbench.figures.style import Look
from slipbench.statistics.trade_off import non_dominated

ROW, HEAD, LEGEND_LINE, FOOT = 2.4, 0.4, 0.24, 0.75
"""Heights of a rail, of the room above, of a legend line, and of the room below. [inch]"""

LEAST_SPAN = 0.01
"""Least half-width of a distance axis, over its middle: ten times what distances are exact to."""

_COSTS: tuple[tuple[str, Callable[[Score], float]], ...] = (
    ("flat risk, first index [-]", lambda score: score.flat_risk),
    ("vent commands [-]", lambda score: score.vents),
)


def draw_trade_off(rails: Mapping[str, Sequence[Score]], looks: Mapping[str, Look]) -> Figure:
    """Draw distance against flat risk and against vent commands, a row a rail.

    Down and to the left is better. A line joins the strategies that no other beats in both, those
    that see truth left out. What did not stop in every run has no distance: it is named instead.

    Parameters
    ----------
    rails : mapping   rail to its scores, in the order they are drawn
    looks : mapping   of every strategy, see `style.looks`

    Returns
    -------
    Figure
    """
    names = {s.controller: s.uses_truth for scores in rails.values() for s in scores}
    legend = strategy_legend(sorted(names, key=lambda name: names[name]), names, looks)
    head = HEAD + LEGEND_LINE * len(legend)
    height = head + ROW * len(rails) + FOOT
    with style.styled():
        figure = style.new_figure(height)
        panels: Any = figure.subplots(len(rails), 2, squeeze=False)
        figure.subplots_adjust(
            left=0.09, right=0.985, top=1.0 - head / height, bottom=FOOT / height,
            hspace=0.55, wspace=0.24,
        )  # fmt: skip
        for row, (rail, scores) in zip(panels, rails.items(), strict=True):
            for axes, (label, cost) in zip(row, _COSTS, strict=True):
                _draw_panel(axes, scores, cost, looks)
                axes.set_ylabel(label)
            _name_rail(row[0], rail, scores)
        for axes in panels.flat:
            axes.set_xlabel("stopping distance [m], mean over seeds")
        draw_legend(figure, legend, height)
        style.write_caution(figure)
    return figure


def _draw_panel(
    axes: Axes, scores: Sequence[Score], cost: Callable[[Score], float], looks: Mapping[str, Look]
) -> None:
    stopped = [score for score in scores if math.isfinite(score.distance)]
    if not stopped:
        axes.text(
            0.5, 0.5, "no strategy always stopped", transform=axes.transAxes, ha="center",
            va="center",
        )  # fmt: skip
        axes.set_xticks([])
        axes.set_yticks([])
        return
    fair = [score for score in stopped if not score.uses_truth]
    places = np.array([(score.distance, cost(score)) for score in fair]).reshape(-1, 2)
    front = places[non_dominated(places, np.zeros(len(places)))]
    axes.plot(*front.T, color=style.GREY, linewidth=0.9, zorder=1)
    for score in stopped:
        look = dot_style(looks[score.controller], score.uses_truth)
        axes.plot([score.distance], [cost(score)], **look, zorder=3, clip_on=False)
    axes.set_ylim(bottom=0.0, top=max(1.05 * max(map(cost, stopped), default=0.0), 0.05))
    _scale_distance(axes, [score.distance for score in stopped])
    axes.grid(visible=True)


def _scale_distance(axes: Axes, distances: Sequence[float]) -> None:
    """Scale the axis so that what differs less than stops are computed exactly looks alike."""
    low, high = min(distances), max(distances)
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    half = max(1.12 * half, LEAST_SPAN * middle)
    axes.set_xlim(middle - half, middle + half)
    axes.xaxis.set_major_locator(MaxNLocator(5))
    axes.ticklabel_format(axis="x", style="plain", useOffset=False)


def _name_rail(axes: Axes, rail: str, scores: Sequence[Score]) -> None:
    """Write over the panel whose it is, and who has no place in it."""
    over = [s.controller.replace("_", " ") for s in scores if not math.isfinite(s.distance)]
    text = rail.replace("_", " ")
    place: dict[str, Any] = {"xycoords": "axes fraction", "textcoords": "offset points"}
    axes.annotate(text, (0.0, 1.0), xytext=(0, 4), fontweight="bold", **place)
    if over:
        said = f"not always stopped, not drawn: {', '.join(over)}"
        said = said if len(said) <= MOST_LETTERS else f"{len(over)} not always stopped, not drawn"
        axes.annotate(said, (0.0, 1.0), xytext=(7.0 * len(text) + 12.0, 4), fontsize=8.0, **place)


MOST_LETTERS = 84
"""Letters there is room for beside the name of a rail."""

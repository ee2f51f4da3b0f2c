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
from slipbench.ground.caution import CAUTION
from slipbench.statistics.trade_off import non_dominated

ROW, HEAD, LEGEND_LINE, FOOT = 2.1, 0.4, 0.24, 0.75
"""Heights of a rail, of the room above, of a legend line, and of the room below. [inch]"""

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
            hspace=0.3, wspace=0.24,
        )  # fmt: skip
        for row, (rail, scores) in zip(panels, rails.items(), strict=True):
            for axes, (label, cost) in zip(row, _COSTS, strict=True):
                _draw_panel(axes, scores, cost, looks)
                axes.set_ylabel(label)
            _name_rail(row[0], rail, scores)
        for axes in panels[-1]:
            axes.set_xlabel("stopping distance [m], mean over seeds")
        draw_legend(figure, legend, height)
        figure.text(0.012, 0.07 / height, CAUTION, fontsize=6.5, color=style.QUIET, va="bottom")
    return figure


def _draw_panel(
    axes: Axes, scores: Sequence[Score], cost: Callable[[Score], float], looks: Mapping[str, Look]
) -> None:
    stopped = [score for score in scores if math.isfinite(score.distance)]
    fair = [score for score in stopped if not score.uses_truth]
    places = np.array([(score.distance, cost(score)) for score in fair]).reshape(-1, 2)
    front = places[non_dominated(places, np.zeros(len(places)))]
    axes.plot(*front.T, color=style.FAINT, linewidth=3.0, zorder=1)
    for score in stopped:
        look = dot_style(looks[score.controller], score.uses_truth)
        axes.plot([score.distance], [cost(score)], **look, zorder=3, clip_on=False)
    axes.set_ylim(bottom=0.0, top=max(1.05 * max(map(cost, stopped), default=0.0), 0.05))
    axes.margins(x=0.06)
    axes.xaxis.set_major_locator(MaxNLocator(6))
    axes.grid(visible=True)


def _name_rail(axes: Axes, rail: str, scores: Sequence[Score]) -> None:
    over = [s.controller.replace("_", " ") for s in scores if not math.isfinite(s.distance)]
    text = rail.replace("_", " ")
    said = f"   not always stopped, so not drawn: {', '.join(over)}" if over else ""
    axes.annotate(
        text,
        (0.0, 1.0),
        xycoords="axes fraction",
        xytext=(0, 4),
        textcoords="offset points",
        fontweight="bold",
    )
    axes.annotate(
        said,
        (0.0, 1.0),
        xycoords="axes fraction",
        xytext=(6.0 * len(text), 4),
        textcoords="offset points",
        fontsize=7.0,
    )

"""The trade-off picture of a tuning: what every setting bought, what the chosen one is worth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench.campaign.objectives import OBJECTIVES, Objective
from slipbench.campaign.tuning.judge import Setting
from slipbench.campaign.tuning.tuning import Tuned
from slipbench.figures import style
from slipbench.statistics.intervals import Paired

TOP, BOTTOM = 2.9, 0.7
"""Heights of the trade-off and of one interval. [inch]"""


def draw_tuning(tuned: Tuned) -> Figure:
    """Draw a tuning.

    Above: every setting that met all training rails, the first objective against each of the
    others; the non-dominated ones are joined. Below, for each objective: the difference tuned -
    start on held-out rails, mean with its bootstrap interval; left of the line is better.

    Parameters
    ----------
    tuned : Tuned

    Returns
    -------
    Figure
    """
    objectives = tuned.goal.objectives
    pairs = [(0, k) for k in range(1, len(objectives))] or [(0, 0)]
    differences = tuned.held_out.differences
    height = TOP + BOTTOM * len(differences) + 0.7
    with style.styled():
        figure = style.new_figure(height)
        halves: Any = figure.subfigures(2, 1, height_ratios=(TOP, height - TOP))
        above, below = halves
        axes = above.subplots(1, len(pairs), squeeze=False)[0]
        above.subplots_adjust(left=0.1, right=0.97, top=0.86, bottom=0.17, wspace=0.3)
        for panel, (i, k) in zip(axes, pairs, strict=True):
            _scatter(panel, tuned, i, k)
        axes[0].legend(
            loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=4, fontsize=8.0, borderaxespad=0.2
        )
        rows = below.subplots(len(differences), 1, squeeze=False)[:, 0]
        below.subplots_adjust(
            left=0.22, right=0.9, top=1.0 - 0.4 / (height - TOP), bottom=0.6 / (height - TOP),
            hspace=2.4,
        )  # fmt: skip
        for panel, (name, difference) in zip(rows, differences.items(), strict=True):
            _interval(panel, OBJECTIVES[name], difference)
        n_rails = tuned.held_out.n_rails
        title = (
            f"tuned - start on {n_rails} held-out rails, mean [95 %]; left of the line is better"
        )
        rows[0].set_title(title, loc="left", fontsize=8.5)
        style.write_caution(figure)
    return figure


def _scatter(axes: Axes, tuned: Tuned, i: int, k: int) -> None:
    across, up = tuned.goal.objectives[i], tuned.goal.objectives[k]

    def places(settings: Sequence[Setting]) -> tuple[list[float], list[float]]:
        return [s.scores[i] for s in settings], [s.scores[k] for s in settings]

    kept = [s for s in tuned.tried if s.violation <= 0.0]
    broken = [s for s in tuned.tried if s.violation > 0.0]
    axes.scatter(*places(kept), s=12, color=style.SKY, label="tried", zorder=2)
    if broken:
        axes.scatter(
            *places(broken), s=12, marker="x", color=style.FAINT, label="breaks a constraint"
        )
    axes.scatter(
        *places(tuned.front), s=22, facecolor="none", edgecolor=style.BLUE, label="non-dominated"
    )
    axes.scatter(
        *places([tuned.default]), s=45, marker="X", color=style.BLACK, label="start", zorder=3
    )
    axes.scatter(
        *places([tuned.chosen]), s=55, marker="*", color=style.VERMILION, label="chosen", zorder=4
    )
    axes.set_xlabel(f"{across.name} [{across.unit}], mean over rails")
    axes.set_ylabel(f"{up.name} [{up.unit}]")
    axes.grid(visible=True)


def _interval(axes: Axes, objective: Objective, difference: Paired) -> None:
    mean = difference.mean
    axes.axvline(0.0, color=style.QUIET, linewidth=0.8)
    if math.isfinite(mean.low) and math.isfinite(mean.high):
        axes.plot([mean.low, mean.high], [0.0, 0.0], color=style.VERMILION, linewidth=2.0)
        axes.plot([mean.estimate], [0.0], marker="*", color=style.VERMILION, markersize=8)
        least = 5.0 * 10.0**-objective.decimals  # an interval of no width gets a scale, too
        reach = 1.15 * max(abs(mean.low), abs(mean.high), least)
        axes.set_xlim(-reach, reach)
    else:
        axes.text(0.5, 0.5, "no interval: an overrun", transform=axes.transAxes, ha="center")
    axes.set_yticks([0.0], [objective.name])
    axes.set_xlabel(f"[{objective.unit}]", loc="right", labelpad=0)
    style.bare(axes)

"""The trade-off picture of a tuning: what every setting bought, what the chosen one is worth."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench.campaign.objectives import OBJECTIVES, Objective
from slipbench.campaign.tuning.judge import Setting
from slipbench.campaign.tuning.tuning import Tuned
from slipbench.figures import style
from slipbench.statistics.intervals import Paired

TOP, BOTTOM, ROW = 2.9, 0.7, 0.24
"""Heights of the trade-off, of one objective's interval, and of a family's more. [inch]"""


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
    groups = {name: _rows(tuned, name) for name in differences}
    n_rows = sum(map(len, groups.values()))
    height = TOP + (BOTTOM - ROW) * len(groups) + ROW * n_rows + 0.75
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
        rows = below.subplots(
            len(groups), 1, squeeze=False, height_ratios=[len(own) for own in groups.values()]
        )[:, 0]
        below.subplots_adjust(
            left=0.22, right=0.86, top=1.0 - 0.4 / (height - TOP), bottom=0.6 / (height - TOP),
            hspace=2.4,
        )  # fmt: skip
        for panel, (name, own) in zip(rows, groups.items(), strict=True):
            _intervals(panel, OBJECTIVES[name], own)
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


def _rows(tuned: Tuned, name: str) -> dict[str, Paired]:
    """Return the difference of an objective on all held-out rails, and on each family of them."""
    held = tuned.held_out
    found = {"all rails": held.differences[name]}
    if len(held.by_family) > 1:
        found |= {
            family.replace("_", " "): own[name]
            for family, own in held.by_family.items()
            if name in own
        }
    return found


def told(difference: Paired) -> str:
    """Return what the interval of the mean says: `better`, `worse`, or `not told apart`."""
    mean = difference.mean
    if not (math.isfinite(mean.low) and math.isfinite(mean.high)):
        return "not told apart"
    return "better" if mean.high < 0.0 else "worse" if mean.low > 0.0 else "not told apart"


_LOOKS = {
    "better": (style.GREEN, "v"), "worse": (style.VERMILION, "^"),
    "not told apart": (style.GREY, "o"),
}  # fmt: skip
"""Colour and mark of a difference, by what it says."""


def _intervals(axes: Axes, objective: Objective, rows: Mapping[str, Paired]) -> None:
    axes.axvline(0.0, color=style.QUIET, linewidth=0.8)
    reach = 5.0 * 10.0**-objective.decimals  # an interval of no width gets a scale, too
    for i, difference in enumerate(rows.values()):
        mean = difference.mean
        colour, marker = _LOOKS[told(difference)]
        if math.isfinite(mean.low) and math.isfinite(mean.high):
            axes.plot([mean.low, mean.high], [i, i], color=colour, linewidth=2.0)
            axes.plot([mean.estimate], [i], marker=marker, color=colour, markersize=6.5)
            axes.annotate(
                told(difference), (1.0, i), (4, 0), xycoords=("axes fraction", "data"),
                textcoords="offset points", va="center", annotation_clip=False,
            )  # fmt: skip
            reach = max(reach, abs(mean.low), abs(mean.high))
        else:
            axes.annotate("no interval: an overrun", (0.5, i), xycoords=("axes fraction", "data"),
                          ha="center", va="center")  # fmt: skip
    axes.set_xlim(-1.15 * reach, 1.15 * reach)
    names = [f"{objective.name}: {row}" if i == 0 else row for i, row in enumerate(rows)]
    axes.set_yticks(range(len(rows)), names)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_xlabel(f"[{objective.unit}]", loc="right", labelpad=0)
    style.bare(axes)

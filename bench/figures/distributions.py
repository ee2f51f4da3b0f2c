"""Distributions of a comparison over its seeds: every run, the median and its interval."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from slipbench.comparison.compare import ComparedStop, Score
from slipbench.figures import style
from slipbench.figures.compare import dot_style
from slipbench.figures.style import Look
from slipbench.statistics.intervals import median_interval

LINE, BETWEEN, HEAD, FOOT = 0.24, 0.6, 0.5, 0.3
"""Heights of a strategy's line, of the room between rails, above and below. [inch]"""

_LEFT, _RIGHT = (0.17, 0.36), (0.57, 0.4)
"""Where the panels of a rail begin and how wide they are, over the width of the picture."""


def draw_distributions(
    rails: Mapping[str, Sequence[Score]], rows: Sequence[ComparedStop], looks: Mapping[str, Look]
) -> Figure:
    """Draw the stopping distance of every run, strategy by strategy, a block a rail.

    Left: the distances. Right: the same from each strategy's own median, on a scale that shows the
    spread. Pale dots are runs; the mark is the median; the bar its 95 % interval, which needs at
    least six seeds. Runs that did not stop stand at the right edge, with their number.

    Parameters
    ----------
    rails : mapping            rail to its scores, in the order they are drawn
    rows : sequence of ComparedStop     every run
    looks : mapping            of every strategy, see `style.looks`

    Returns
    -------
    Figure
    """
    counts = [len(scores) for scores in rails.values()]
    height = HEAD + FOOT + sum(counts) * LINE + len(rails) * BETWEEN
    with style.styled():
        figure = style.new_figure(height)
        bottom = height - HEAD
        for (rail, scores), count in zip(rails.items(), counts, strict=True):
            bottom -= count * LINE
            left, right = (
                figure.add_axes((start, bottom / height, wide, count * LINE / height))
                for start, wide in (_LEFT, _RIGHT)
            )
            _draw_rail(left, right, rail, _runs_of(rail, scores, rows), looks)
            bottom -= BETWEEN
        n_seeds = max(score.n_runs for scores in rails.values() for score in scores)
        said = f"{n_seeds} seeds: pale dots are runs, the mark is the median"
        said += ", the bar its 95 % interval" if n_seeds >= 6 else " (too few for an interval)"
        figure.text(_LEFT[0], 1.0 - 0.1 / height, said, va="top")
        style.write_caution(figure)
    return figure


def _runs_of(
    rail: str, scores: Sequence[Score], rows: Sequence[ComparedStop]
) -> list[tuple[Score, Any]]:
    """Return each strategy with its distances on a rail, infinite where it did not stop. [m]"""
    return [
        (
            score,
            np.array(
                [
                    row.summary["stopping_distance"] if row.summary["is_stopped"] else math.inf
                    for row in rows
                    if row.scenario == rail and row.controller == score.controller
                ]
            ),
        )
        for score in scores
    ]


def _draw_rail(
    left: Axes, right: Axes, rail: str, found: list[tuple[Score, Any]], looks: Mapping[str, Look]
) -> None:
    medians = [median_interval(runs).estimate for _, runs in found]
    shifted = [
        (score, runs - median if math.isfinite(median) else np.full(len(runs), np.nan))
        for (score, runs), median in zip(found, medians, strict=True)
    ]
    for axes, rows, least in ((left, found, 1.0), (right, shifted, 0.5)):
        together = np.concatenate([runs for _, runs in rows])
        finite = together[np.isfinite(together)]
        low, high = (finite.min(), finite.max()) if len(finite) else (0.0, 1.0)
        margin = max(0.06 * (high - low), least)
        has_over = bool(np.isposinf(together).any())
        edge = high + 3.0 * margin
        axes.set_xlim(low - margin, edge + margin if has_over else high + margin)
        for i, (score, runs) in enumerate(rows):
            _draw_runs(axes, float(i), runs, score, looks[score.controller], edge)
        axes.set_ylim(len(rows) - 0.4, -0.6)
        axes.xaxis.set_major_locator(MaxNLocator(5))
        axes.grid(axis="x")
        style.bare(axes)
    names = [score.controller.replace("_", " ") for score, _ in found]
    left.set_yticks(range(len(names)), names)
    left.set_xlabel(f"stopping distance [m] on {rail.replace('_', ' ')}", labelpad=1)
    right.set_yticks(range(len(names)), [""] * len(names))
    right.set_xlabel("from the strategy's own median [m]", labelpad=1)


def _draw_runs(axes: Axes, y: float, runs: Any, score: Score, look: Look, edge: float) -> None:
    spread = 0.28 * np.linspace(-1.0, 1.0, len(runs)) if len(runs) > 1 else np.zeros(1)
    axes.plot(
        np.minimum(runs, edge), y + spread, linestyle="none", marker=".", markersize=4.0,
        color=look.colour, markeredgewidth=0,
    )  # fmt: skip
    if np.isnan(runs).any():
        return
    interval = median_interval(runs)
    if math.isfinite(interval.low):
        bar = np.minimum([interval.low, interval.high], edge)
        axes.plot(bar, [y, y], color=look.colour, linewidth=2.2, solid_capstyle="butt")
    axes.plot([min(interval.estimate, edge)], [y], **dot_style(look, score.uses_truth), zorder=4)
    n_over = int(np.isinf(runs).sum())
    if n_over:
        axes.annotate(
            f"{n_over} of {len(runs)} not stopped",
            (edge, y),
            xytext=(-7, 0),
            textcoords="offset points",
            ha="right",
            va="center",
            fontsize=8.0,
        )

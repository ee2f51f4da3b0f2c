"""Distributions of a comparison over its seeds: every run, the median and its interval."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from bench.campaign.statistics import median_interval
from bench.caution import CAUTION
from bench.compare import Row, Score
from bench.figures import style
from bench.figures.style import Look

LINE, BETWEEN, HEAD, FOOT = 0.22, 0.55, 0.45, 0.3
"""Heights of a strategy's line, of the room between rails, above and below. [inch]"""


def draw_distributions(
    rails: Mapping[str, Sequence[Score]], rows: Sequence[Row], looks: Mapping[str, Look]
) -> Figure:
    """Draw the stopping distance of every run, strategy by strategy, a block a rail.

    Pale dots are runs; the mark is the median; the bar its 95 % interval, which needs at least six
    seeds. Runs that did not stop stand at the right edge, with their number.

    Parameters
    ----------
    rails : mapping            rail to its scores, in the order they are drawn
    rows : sequence of Row     every run
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
            axes = figure.add_axes((0.19, bottom / height, 0.77, count * LINE / height))
            _draw_rail(axes, rail, scores, rows, looks)
            bottom -= BETWEEN
        n_seeds = max(score.n_runs for scores in rails.values() for score in scores)
        said = f"{n_seeds} seeds: pale dots are runs, the mark is the median"
        said += ", the bar its 95 % interval" if n_seeds >= 6 else " (too few for an interval)"
        figure.text(0.19, 1.0 - 0.1 / height, said, va="top")
        figure.text(0.012, 0.05 / height, CAUTION, fontsize=6.5, color=style.QUIET, va="bottom")
    return figure


def _draw_rail(
    axes: Axes,
    rail: str,
    scores: Sequence[Score],
    rows: Sequence[Row],
    looks: Mapping[str, Look],
) -> None:
    runs = {
        score.controller: np.array(
            [
                row.summary["stopping_distance"] if row.summary["is_stopped"] else math.inf
                for row in rows
                if row.scenario == rail and row.controller == score.controller
            ]
        )
        for score in scores
    }
    together = np.concatenate(list(runs.values()))
    finite = together[np.isfinite(together)]
    low, high = (finite.min(), finite.max()) if len(finite) else (0.0, 1.0)
    margin = 0.04 * (high - low) or 1.0
    edge = high + 3.0 * margin
    axes.set_xlim(low - margin, edge + margin)
    for i, score in enumerate(scores):
        _draw_runs(axes, float(i), runs[score.controller], score, looks[score.controller], edge)
    axes.set_ylim(len(scores) - 0.4, -0.6)
    names = [score.controller.replace("_", " ") for score in scores]
    axes.set_yticks(range(len(names)), names)
    axes.set_xlabel(f"stopping distance [m] on {rail.replace('_', ' ')}", labelpad=1)
    axes.grid(axis="x")
    style.bare(axes)


def _draw_runs(axes: Axes, y: float, runs: Any, score: Score, look: Look, edge: float) -> None:
    spread = 0.22 * np.linspace(-1.0, 1.0, len(runs)) if len(runs) > 1 else np.zeros(1)
    shown = np.minimum(runs, edge)
    axes.plot(
        shown, y + spread, linestyle="none", marker=".", markersize=3.5, color=look.colour,
        alpha=0.35, markeredgewidth=0,
    )  # fmt: skip
    interval = median_interval(runs)
    if len(runs) >= 6:
        bar = np.minimum([interval.low, interval.high], edge)
        axes.plot(bar, [y, y], color=look.colour, linewidth=2.2, solid_capstyle="butt")
    axes.plot(
        [min(interval.estimate, edge)],
        [y],
        marker=look.marker,
        markersize=6.0,
        markerfacecolor=style.PAPER if score.uses_truth else look.colour,
        markeredgecolor=look.colour if score.uses_truth else style.PAPER,
        linestyle="none",
        zorder=4,
    )
    n_over = int(np.isinf(runs).sum())
    if n_over:
        axes.annotate(
            f"{n_over} of {len(runs)} not stopped",
            (edge, y),
            xytext=(-7, 0),
            textcoords="offset points",
            ha="right",
            va="center",
            fontsize=6.5,
        )

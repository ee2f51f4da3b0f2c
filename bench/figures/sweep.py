"""A sweep: distance, flats and air against the value, a line a strategy, seeds as a band."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench.campaign.objectives import OBJECTIVES, Objective
from slipbench.campaign.sweep import Swept
from slipbench.figures import style
from slipbench.figures.adhesion_speed import spread
from slipbench.figures.style import Look

DRAWN = ("distance", "flat-length", "air")

_SAID = {"distance": "stopping distance [m]", "flat-length": "longest flat,\nhigh end [mm]",
         "air": "air vented\n[normal litres]"}  # fmt: skip


def draw_sweep(swept: Swept, looks: Mapping[str, Look]) -> Figure:
    """Draw what a sweep gave.

    Parameters
    ----------
    swept : Swept
    looks : mapping   of every strategy, see `style.looks`

    Returns
    -------
    Figure   a mean over the seeds that stopped, from the least to the greatest as a band; a value
             at which none stopped is marked at the top
    """
    with style.styled():
        figure = style.new_figure(6.6)
        panels = figure.subplots(3, 1, sharex=True)
        figure.subplots_adjust(left=0.11, right=0.82, top=0.94, bottom=0.115, hspace=0.16)
        for axes, name in zip(panels, DRAWN, strict=True):
            _draw(axes, swept, OBJECTIVES[name], looks)
            axes.set_ylabel(_SAID[name])
        panels[-1].set_xlabel(swept.setting.label)
        n_seeds = len(swept.summaries[0][0])
        said = f"{swept.scenario.name}: mean of {n_seeds} seeds, band from least to greatest"
        figure.text(
            0.11, 0.98, said if n_seeds > 1 else f"{swept.scenario.name}: one seed", va="top"
        )
        style.write_caution(figure)
    return figure


def _draw(axes: Axes, swept: Swept, objective: Objective, looks: Mapping[str, Look]) -> None:
    setting = swept.setting
    places = np.array([setting.unit.from_si(value) for value in setting.values])
    numbers = swept.numbers(objective)
    numbers = np.where(np.isfinite(numbers), numbers, np.nan)
    ends: list[float] = []
    for j, label in enumerate(swept.strategies):
        look = looks[label]
        means, lows, highs = _over_seeds(numbers[:, j, :])
        axes.fill_between(
            places, lows, highs, color=look.colour, alpha=0.15, linewidth=0.0, gid=style.CONTEXT
        )
        axes.plot(places, means, color=look.colour, marker=look.marker, markersize=3.5)
        known = means[np.isfinite(means)]
        ends.append(float(known[-1]) if known.size else 0.0)
        gone = places[np.isnan(means)]
        (line,) = axes.plot(gone, np.ones_like(gone), look.marker, color=look.colour)
        line.set(markerfacecolor="none", clip_on=False, transform=axes.get_xaxis_transform())
    axes.margins(x=0.02, y=0.1)
    axes.set_ylim(bottom=0.0)
    axes.grid(axis="y")
    _name(axes, swept.strategies, ends, looks)


def _over_seeds(values: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return mean, least and greatest of each row; NaN where there is none."""
    is_there = np.isfinite(values).any(axis=1)
    filled = np.where(is_there[:, None], values, 0.0)
    found = (np.nanmean(filled, axis=1), np.nanmin(filled, axis=1), np.nanmax(filled, axis=1))
    means, lows, highs = (np.where(is_there, row, np.nan) for row in found)
    return means, lows, highs


def _name(
    axes: Axes, labels: tuple[str, ...], ends: list[float], looks: Mapping[str, Look]
) -> None:
    low, high = axes.get_ylim()
    order = sorted(range(len(labels)), key=lambda i: ends[i])
    for i, place in zip(order, spread([ends[i] for i in order], 0.1 * (high - low)), strict=True):
        axes.annotate(labels[i], (1.0, place), xycoords=("axes fraction", "data"), xytext=(5, 0),
                      textcoords="offset points", va="center", fontsize=8.0,
                      color=looks[labels[i]].colour, annotation_clip=False)  # fmt: skip

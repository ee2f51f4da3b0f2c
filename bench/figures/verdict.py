"""Where a verdict turns: the plane of two assumptions with its border, and what it hangs on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench.campaign.variation import FILM, WEAR
from slipbench.campaign.verdict import DRAW, MEANINGS, RAIL, Plane, Verdict
from slipbench.campaign.verdict_report import share_text
from slipbench.contract import Floats
from slipbench.figures import style

_TICKS = (0.1, 0.2, 0.5, 1, 2, 5, 10)

HEIGHT = 4.6
"""Of the picture. [inch]"""

FIRST, SECOND, UNDECIDED = style.BLUE, style.VERMILION, style.GREY

_SHORT = {
    "film.friction": "friction of the film",
    "film.recovery": "gain by cleaning",
    "film.cleaning_work": "cleaning work",
    "film.friction_ratio": "friction at high slip",
    "film.friction_decay": "fall of friction",
    "film.own_contact": "own-contact recovery",
    "rail.locked_cleaning_share": "cleaning when locked",
    WEAR: "wear of equipment",
    RAIL: "which rail",
    DRAW: "draw of equipment",
}


def draw_verdict(verdict: Verdict) -> Figure:
    """Draw a verdict: left the plane with its border (if it was mapped), right the total effects.

    Blue is where the first side is shorter on the mean, red the second, grey where the 95 %
    interval spans zero; the line is where the mean difference is zero, the thin ones where its
    interval's ends are.
    """
    with style.styled():
        figure = style.new_figure(HEIGHT)
        axes: Any = figure.subplots(1, 2, width_ratios=(1.35, 1.0))
        figure.subplots_adjust(left=0.09, right=0.985, top=0.8, bottom=0.2, wspace=0.62)
        if verdict.plane is None:
            axes[0].set_visible(False)
        else:
            _draw_plane(axes[0], verdict.plane)
        _draw_effects(axes[1], verdict)
        first, second = verdict.sides
        figure.text(
            0.012,
            0.955,
            f"{first} stops shorter than {second} in {share_text(verdict.shares.first)} of "
            f"{verdict.shares.n} situations; numbers: metres {first} is shorter, mean",
            fontsize=8.5,
        )
        style.write_caution(figure)
    return figure


def draw_planes(verdicts: Sequence[Verdict]) -> Figure:
    """Draw the planes of several verdicts, two in a row; see `draw_verdict` for the colours."""
    mapped = [verdict for verdict in verdicts if verdict.plane is not None]
    n_rows = -(-len(mapped) // 2)
    height = 3.5 * n_rows + 0.5
    with style.styled():
        figure = style.new_figure(height)
        panels: Any = figure.subplots(n_rows, 2, squeeze=False)
        figure.subplots_adjust(
            left=0.085, right=0.985, top=1.0 - 0.62 / height, bottom=0.75 / height,
            hspace=0.5, wspace=0.28,
        )  # fmt: skip
        for axes in panels.flat[len(mapped) :]:
            axes.set_visible(False)
        for axes, verdict in zip(panels.flat, mapped, strict=False):
            assert verdict.plane is not None
            first, second = verdict.sides
            _draw_plane(axes, verdict.plane)
            share = share_text(verdict.shares.first)
            axes.annotate(
                f"{first} against {second}: shorter in {share}", (0.0, 1.0),
                xycoords="axes fraction", xytext=(-28, 22), textcoords="offset points",
                fontsize=8.0, fontweight="bold",
            )  # fmt: skip
        style.write_caution(figure)
    return figure


def _draw_plane(axes: Axes, plane: Plane) -> None:
    x, y = np.meshgrid(plane.x, plane.y)
    for name, values, way in zip(plane.names, (plane.x, plane.y), "xy", strict=True):
        if name in FILM and FILM[name].is_log:
            getattr(axes, f"set_{way}scale")("log")
            ticks = [value for value in _TICKS if values[0] <= value <= values[-1]]
            getattr(axes, f"set_{way}ticks")(ticks, [f"{tick:g}" for tick in ticks])
            getattr(axes, f"{way}axis").minorticks_off()
        getattr(axes, f"set_{way}label")(MEANINGS.get(name, name), fontsize=8.0)
    _draw_border(axes, x, y, plane)
    is_first, is_second = plane.low > 0.0, plane.high < 0.0
    for chosen, colour, marker, label in (
        (is_first, FIRST, "o", "first shorter"),
        (is_second, SECOND, "s", "second shorter"),
        (~(is_first | is_second), UNDECIDED, "x", "undecided"),
    ):
        axes.scatter(x[chosen], y[chosen], s=30, c=colour, marker=marker, label=label, zorder=3)
    for i, k in np.ndindex(plane.mean.shape):
        text = f"{plane.mean[i, k]:+.0f}" if np.isfinite(plane.mean[i, k]) else "no stop"
        axes.annotate(
            text, (plane.x[k], plane.y[i]), xytext=(0, 5), textcoords="offset points",
            fontsize=8.0, color=style.INK, ha="center",
        )  # fmt: skip
    _pad(axes, plane)
    axes.legend(
        loc="lower left", bbox_to_anchor=(-0.09, 0.985), ncols=3, fontsize=8.0, handletextpad=0.0,
        columnspacing=0.7, borderpad=0.2,
    )  # fmt: skip


def _pad(axes: Axes, plane: Plane) -> None:
    """Leave room around the outer nodes, on linear and logarithmic axes alike."""
    for values, way in ((plane.x, "x"), (plane.y, "y")):
        scale = getattr(axes, f"{way}axis").get_transform()
        low, high = scale.transform(np.array([values[0], values[-1]]))
        room = np.array([low - 0.06 * (high - low), high + 0.09 * (high - low)])
        getattr(axes, f"set_{way}lim")(*scale.inverted().transform(room))


def _draw_border(axes: Axes, x: Floats, y: Floats, plane: Plane) -> None:
    """Draw whose the plane is, the line where the mean difference is zero, and its band."""
    if not np.isfinite(plane.mean).all():
        return
    far = 1.0 + float(np.abs(plane.mean).max())
    axes.contourf(x, y, plane.mean, levels=[-far, 0.0, far], colors=[SECOND, FIRST], alpha=0.13)
    for values, width, line in (
        (plane.mean, 1.8, "solid"), (plane.low, 0.6, "dashed"), (plane.high, 0.6, "dashed"),
    ):  # fmt: skip
        if np.isfinite(values).all() and values.min() < 0.0 < values.max():
            axes.contour(
                x, y, values, levels=[0.0], colors=style.INK, linewidths=width, linestyles=line
            )


def _draw_effects(axes: Axes, verdict: Verdict) -> None:
    effects, order = verdict.effects, verdict.ranked()[::-1]
    places = np.arange(len(order))
    total = np.clip(effects.total[order], 0.0, 1.0)
    axes.barh(places, total, height=0.55, color=style.SKY)
    for place, i in zip(places, order, strict=True):
        low, high = effects.total_interval[i]
        axes.plot([max(low, 0.0), high], [place, place], color=style.INK, linewidth=1.0)
    axes.scatter(
        np.clip(effects.first[order], 0.0, 1.0), places, s=16, c=style.INK, marker="D", zorder=3
    )
    names = [verdict.names[i] for i in order]
    axes.set_yticks(places, [_SHORT.get(name, name) for name in names])
    axes.set_xlim(0.0, 1.05)
    axes.set_xlabel("effect on the verdict [-]:\nbar total, line 95 %, diamond first-order")
    style.bare(axes)

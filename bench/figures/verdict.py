"""Where a verdict turns: the plane of two assumptions with its border, and what it hangs on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patheffects import withStroke

from slipbench.campaign.variation import FILM, WEAR
from slipbench.campaign.verdict import DRAW, RAIL, Plane, Verdict
from slipbench.campaign.verdict_report import share_text
from slipbench.contract import Floats
from slipbench.figures import style
from slipbench.scenario import GRADES

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
        figure.subplots_adjust(left=0.09, right=0.97, top=0.8, bottom=0.215, wspace=0.62)
        if verdict.plane is None:
            axes[0].set_visible(False)
        else:
            _draw_plane(axes[0], verdict.plane)
            _legend(figure, 0.885)
        _draw_effects(axes[1], verdict)
        first, second = verdict.sides
        figure.text(
            0.012,
            0.925,
            f"{first} against {second}: shorter in {share_text(verdict.shares.first)} of "
            f"{verdict.shares.n} situations.\nNumbers: metres by which {first} stops shorter, mean",
            fontsize=8.5,
        )
        style.write_caution(figure)
    return figure


def draw_planes(verdicts: Sequence[Verdict]) -> Figure:
    """Draw the planes of several verdicts, two in a row; see `draw_verdict` for the colours."""
    mapped = [verdict for verdict in verdicts if verdict.plane is not None]
    n_rows = -(-len(mapped) // 2)
    height = 3.3 * n_rows + 1.0
    with style.styled():
        figure = style.new_figure(height)
        panels: Any = figure.subplots(n_rows, 2, squeeze=False)
        figure.subplots_adjust(
            left=0.085, right=0.985, top=1.0 - 1.15 / height, bottom=0.8 / height,
            hspace=0.52, wspace=0.3,
        )  # fmt: skip
        for axes in panels.flat[len(mapped) :]:
            axes.set_visible(False)
        for axes, verdict in zip(panels.flat, mapped, strict=False):
            assert verdict.plane is not None
            _draw_plane(axes, verdict.plane)
            _head(axes, verdict)
        figure.text(
            0.012, 1.0 - 0.2 / height,
            "Numbers: metres by which the first named stops shorter, mean over all else drawn; "
            "line: where they are nothing.",
            fontsize=style.SMALLEST,
        )  # fmt: skip
        _legend(figure, 1.0 - 0.4 / height)
        style.write_caution(figure)
    return figure


def _head(axes: Axes, verdict: Verdict) -> None:
    """Name a panel's two sides, and below them the share in which the first is shorter."""
    first, second = verdict.sides
    for text, up, weight in (
        (f"{first} against {second}", 17, "bold"),
        (f"shorter in {share_text(verdict.shares.first)} of {verdict.shares.n} situations", 6,
         "normal"),
    ):  # fmt: skip
        axes.annotate(
            text, (0.0, 1.0), xycoords="axes fraction", xytext=(-24, up),
            textcoords="offset points", fontsize=style.SMALLEST, fontweight=weight,
        )  # fmt: skip


def _legend(figure: Figure, y: float) -> None:
    """Say once what the marks are. [y: of the figure's height]"""
    marks = (
        (FIRST, "o", "first shorter"),
        (SECOND, "s", "second shorter"),
        (UNDECIDED, "x", "undecided: 95 % interval spans 0"),
    )
    handles = [
        Line2D([], [], color=colour, marker=marker, linestyle="", markersize=5, label=label)
        for colour, marker, label in marks
    ]
    figure.legend(
        handles=handles, loc="center left", bbox_to_anchor=(0.004, y), ncols=3,
        fontsize=style.SMALLEST, handletextpad=0.1, columnspacing=1.2, borderpad=0.2,
    )  # fmt: skip


def _draw_plane(axes: Axes, plane: Plane) -> None:
    x, y = np.meshgrid(plane.x, plane.y)
    for name, values, way in zip(plane.names, (plane.x, plane.y), "xy", strict=True):
        _scale(axes, name, values, way)
    _draw_border(axes, x, y, plane)
    is_first, is_second = plane.low > 0.0, plane.high < 0.0
    for chosen, colour, marker in (
        (is_first, FIRST, "o"),
        (is_second, SECOND, "s"),
        (~(is_first | is_second), UNDECIDED, "x"),
    ):
        axes.scatter(x[chosen], y[chosen], s=30, c=colour, marker=marker, zorder=3)
    for i, k in np.ndindex(plane.mean.shape):
        text = f"{plane.mean[i, k]:+.0f}" if np.isfinite(plane.mean[i, k]) else "no stop"
        axes.annotate(
            text, (plane.x[k], plane.y[i]), xytext=(0, 5), textcoords="offset points",
            fontsize=style.SMALLEST, color=style.INK, ha="center", zorder=4,
            path_effects=[withStroke(linewidth=2.0, foreground=style.PAPER)],
        )  # fmt: skip
    _pad(axes, plane)


def _scale(axes: Axes, name: str, values: Floats, way: str) -> None:
    """Give an axis its scale, its ticks and the name of its assumption. [way: x or y]"""
    label = _SHORT.get(name, name)
    if name in FILM and FILM[name].is_log:
        getattr(axes, f"set_{way}scale")("log")
        ticks = [value for value in _TICKS if 0.999 * values[0] <= value <= 1.001 * values[-1]]
        getattr(axes, f"set_{way}ticks")(ticks, [f"{tick:g}" for tick in ticks])
        getattr(axes, f"{way}axis").minorticks_off()
        label = f"{label} [times the shipped]"
    elif name == WEAR:
        getattr(axes, f"set_{way}ticks")(range(len(GRADES)), GRADES)
        if way == "y":
            axes.tick_params(axis="y", labelrotation=90)
    elif name == "film.friction_decay":
        label = f"{label} [s/m]"
    else:
        label = f"{label} [-]" if name in _SHORT else f"{label} [SI unit]"
    getattr(axes, f"set_{way}label")(label, fontsize=style.SMALLEST)


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
    areas = axes.contourf(
        x, y, plane.mean, levels=[-far, 0.0, far], colors=[SECOND, FIRST], alpha=0.13
    )
    areas.set_gid(style.CONTEXT)
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
    axes.set_xlabel("effect on the verdict [-]\nbar: total, line: its 95 %,\ndiamond: first-order")
    style.bare(axes)

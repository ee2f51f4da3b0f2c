"""Speed over place under every strategy, a panel a rail: how each of them brakes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench.figures.compare import strategy_legend
from slipbench.figures.panels import rail_panels
from slipbench.figures.style import Look
from slipbench.ground.arrays import Floats
from slipbench.results.shown import METRIC, Shown

Curves = Mapping[str, Mapping[str, tuple[Floats, Floats]]]
"""Rail, then strategy, to distance run [m] and train speed [m/s] of one stop."""


def draw_speed_curves(
    curves: Curves,
    uses_truth: Mapping[str, bool],
    looks: Mapping[str, Look],
    shown: Shown = METRIC,
) -> Figure:
    """Draw the speed over the way of one stop of every strategy on every rail.

    Parameters
    ----------
    curves : Curves
    uses_truth : mapping   strategy to whether it sees the true state; such a line is dashed
    looks : mapping        of every strategy, see `style.looks`
    shown : Shown          units of speed and way
    """
    names = sorted(uses_truth, key=lambda name: uses_truth[name])
    legend = strategy_legend(names, uses_truth, looks)
    with rail_panels(len(curves), legend) as (figure, panels):
        for axes, (rail, own) in zip(panels, curves.items(), strict=True):
            for name, curve in own.items():
                _draw_curve(axes, curve, looks[name], shown, is_dashed=uses_truth[name])
            axes.set_xlim(left=0.0)
            axes.set_ylim(bottom=0.0)
            axes.set_xlabel(f"distance run [{shown.length}]")
            axes.set_ylabel(f"train speed [{shown.speed}]")
            axes.annotate(rail.replace("_", " "), (0.0, 1.0), (0, 5), xycoords="axes fraction",
                          textcoords="offset points", fontweight="bold")  # fmt: skip
            axes.grid(axis="y")
    return figure


def _draw_curve(
    axes: Axes, curve: tuple[Floats, Floats], look: Look, shown: Shown, *, is_dashed: bool
) -> None:
    way, speed = curve[0] / shown.per_length, curve[1] / shown.per_speed
    mark: dict[str, Any] = {"marker": look.marker, "markersize": look.size(4.5)}
    axes.plot(way, speed, color=look.colour, linewidth=1.1, linestyle="--" if is_dashed else "-",
              markevery=[len(way) // 2, len(way) - 1], clip_on=False, **mark)  # fmt: skip

"""Creep curves with the operating trace of a stop on them: where on the curve axles worked."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.colors import ListedColormap
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from slipbench.contract import Floats
from slipbench.figures import style
from slipbench.figures.creep_curves import adhesion_curve, world_of
from slipbench.figures.stop_sheet import creepage
from slipbench.results.shown import METRIC, Shown
from slipbench.stop.stop import Stop

LEAST_CREEPAGE = 1e-3
"""Left edge of the picture; what is less stands there. [-]"""

SLOWEST = 2.0
"""Below this train speed nothing is drawn: creepage loses its meaning at standstill. [m/s]"""

_TICKS = (0.003, 0.01, 0.03, 0.1, 0.3, 1.0)
_MOST_DOTS = 1500
_SHADES = ListedColormap(colormaps["cividis"](np.linspace(0.0, 0.56, 256)))
"""Dark to what still stands out from paper."""

_CREEPAGES: Floats = np.geomspace(LEAST_CREEPAGE, 1.0, 300)


def traced_axles(n_axles: int) -> list[int]:
    """Return which axles are drawn, counted from 0: the first, one halfway, the last."""
    return sorted({0, n_axles // 2 - 1 if n_axles > 1 else 0, n_axles - 1})


def trace_of(stop: Stop, i_axle: int) -> tuple[npt.NDArray[np.intp], Floats, Floats]:
    """Return the moments drawn (rows of the traces), creepage and adhesion of an axle then. [-]"""
    traces = stop.traces
    load = 2.0 * float(world_of(stop.scenario).axles["wheel_load"][i_axle])
    rows = np.flatnonzero((traces["train_speed"] > SLOWEST) & (traces["demand"] > 0.0))
    rows = rows[:: max(1, len(rows) // _MOST_DOTS)]
    slip: Floats = np.clip(creepage(stop)[rows, i_axle], LEAST_CREEPAGE, 1.0)
    return rows, slip, traces["rail_force"][rows, i_axle] / load


def thirds(speed: Floats) -> list[npt.NDArray[np.intp]]:
    """Return which moments are fast, middle and slow: thirds of the range of speeds, none empty."""
    if not len(speed):
        return []
    edges = np.linspace(speed.max(), speed.min(), 4)
    number = np.clip(np.searchsorted(-edges, -speed, side="right") - 1, 0, 2)
    parts = [np.flatnonzero(number == i) for i in range(3)]
    return [part for part in parts if len(part)]


def curve_at(stop: Stop, i_axle: int, friction: float, speed: float, at: Floats) -> Floats:
    """Return the creep curve of an axle at a friction [-] and a train speed [m/s]. [-]

    Parameters
    ----------
    at : (n,) float64   creepages [-]
    """
    world = world_of(stop.scenario)
    world.axle_states[i_axle]["friction"] = friction
    return adhesion_curve(world, i_axle, speed, at)


def draw_creep_trace(stop: Stop, shown: Shown = METRIC) -> Figure:
    """Draw adhesion over creepage as it happened on three axles, on the curves they met.

    A dot is a moment; its shade is the train's speed, dark is slow. Lines, of the shades of their
    speeds, are the scenario's creep curve at the friction the axle met and the speed it met it at:
    the medians over the fast, the middle and the slow third of the speeds. Dots lie on the line of
    their shade as far as friction did not vary within a third.

    Parameters
    ----------
    stop : Stop     with traces
    shown : Shown   unit of speed

    Returns
    -------
    Figure
    """
    height = 3.9
    axles = traced_axles(stop.scenario.train.n_axles)
    with style.styled():
        figure = style.new_figure(height)
        panels: Any = figure.subplots(1, len(axles), sharey=True, squeeze=False)[0]
        figure.subplots_adjust(left=0.085, right=0.89, top=0.83, bottom=0.19, wspace=0.07)
        top = 0.0
        dots: Any = None
        for axes, i_axle in zip(panels, axles, strict=True):
            dots, reach = _draw_axle(axes, stop, i_axle, shown)
            top = max(top, reach)
        panels[0].set_ylim(0.0, 1.5 * top)  # room for the legend
        panels[0].set_ylabel("adhesion, force over load [-]")
        for axes in panels:
            axes.set_xlabel("creepage [%], log. scale")
        box: Any = panels[-1].inset_axes((1.05, 0.0, 0.06, 1.0))
        bar = figure.colorbar(dots, cax=box)
        bar.set_label(f"train speed [{shown.speed}], dark is slow")
        said = "dots: as it happened; lines: creep curves at the friction met, fast to slow"
        figure.text(0.085, 0.985, f"{style.account(stop)}\n{said}", va="top", linespacing=1.4)
        style.write_caution(figure)
    return figure


def _draw_axle(axes: Axes, stop: Stop, i_axle: int, shown: Shown) -> tuple[Any, float]:
    """Draw one axle; return its dots, and the greatest adhesion drawn."""
    rows, slip, adhesion = trace_of(stop, i_axle)
    speed, met = stop.traces["train_speed"][rows], stop.traces["friction"][rows, i_axle]
    fastest = stop.scenario.initial_speed
    dots = axes.scatter(
        slip, adhesion, c=speed / shown.per_speed, cmap=_SHADES, vmin=0.0,
        vmax=fastest / shown.per_speed, s=5, linewidths=0, rasterized=True,
    )  # fmt: skip
    top = float(adhesion.max(initial=0.01))
    for own, dashes in zip(thirds(speed), ("-", (0, (5, 2)), (0, (1, 1.5))), strict=False):
        at, friction = float(np.median(speed[own])), float(np.median(met[own]))
        curve = curve_at(stop, i_axle, friction, at, _CREEPAGES)
        label = f"{shown.said_speed(at)}, {friction:.3f}"
        colour = _SHADES(at / fastest)
        axes.plot(_CREEPAGES, curve, color=style.PAPER, linewidth=3.0, gid=style.CONTEXT)
        axes.plot(_CREEPAGES, curve, color=colour, linestyle=dashes, linewidth=1.8, label=label)
        top = max(top, float(curve.max()))
    axes.set_xscale("log")
    axes.set_xlim(LEAST_CREEPAGE, 1.05)
    axes.xaxis.set_major_locator(FixedLocator(_TICKS))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{100.0 * x:g}"))
    axes.grid(axis="y")
    axes.legend(
        title=f"axle {i_axle + 1}: friction met at",
        title_fontproperties={"weight": "bold", "size": 8.0},
        loc="upper left",
        fontsize=8.0,
        handlelength=2.6,
        borderaxespad=0.2,
        alignment="left",
    )
    return dots, top

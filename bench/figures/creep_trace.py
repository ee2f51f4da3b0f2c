"""Creep curves with the operating trace of a stop on them: where on the curve axles worked."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from slipbench.contract import Floats
from slipbench.figures import style
from slipbench.figures.creep_curves import adhesion_curve, world_of
from slipbench.figures.stop_sheet import creepage
from slipbench.ground.caution import CAUTION
from slipbench.stop.stop import Stop

LEAST_CREEPAGE = 1e-3
"""Left edge of the picture; what is less stands there. [-]"""

SLOWEST = 2.0
"""Below this train speed nothing is drawn: creepage loses its meaning at standstill. [m/s]"""

_TICKS = (0.003, 0.01, 0.03, 0.1, 0.3, 1.0)
_MOST_DOTS = 1500
_CREEPAGES: Floats = np.geomspace(LEAST_CREEPAGE, 1.0, 300)


def traced_axles(n_axles: int) -> list[int]:
    """Return which axles are drawn, counted from 0: the first, one halfway, the last."""
    return sorted({0, n_axles // 2 - 1 if n_axles > 1 else 0, n_axles - 1})


def draw_creep_trace(stop: Stop) -> Figure:
    """Draw adhesion over creepage as it happened on three axles, on the curves they met.

    A dot is a moment; its shade is the train's speed, dark is slow. Lines are the scenario's creep
    curve for the friction the axle met: the least, the median and the greatest (5, 50, 95 %), at
    the starting speed. Friction falls with slip speed, so a slower train's curve lies higher than
    the line, and dark dots above it.

    Parameters
    ----------
    stop : Stop   with traces

    Returns
    -------
    Figure
    """
    height = 3.7
    shown = traced_axles(stop.scenario.train.n_axles)
    with style.styled():
        figure = style.new_figure(height)
        panels: Any = figure.subplots(1, len(shown), sharey=True, squeeze=False)[0]
        figure.subplots_adjust(left=0.085, right=0.89, top=0.83, bottom=0.19, wspace=0.07)
        top = 0.0
        dots: Any = None
        for axes, i_axle in zip(panels, shown, strict=True):
            dots, reach = _draw_axle(axes, stop, i_axle)
            top = max(top, reach)
        panels[0].set_ylim(0.0, 1.4 * top)  # room for the legend
        panels[0].set_ylabel("adhesion, force over load [-]")
        panels[len(shown) // 2].set_xlabel("creepage [%], logarithmic scale")
        box: Any = panels[-1].inset_axes((1.05, 0.0, 0.06, 1.0))
        bar = figure.colorbar(dots, cax=box)
        bar.set_label("train speed [km/h], dark is slow")
        said = "dots: as it happened; lines: the creep curve at the starting speed"
        figure.text(0.085, 0.985, f"{style.account(stop)}\n{said}", va="top", linespacing=1.4)
        figure.text(0.012, 0.02, CAUTION, fontsize=6.5, color=style.QUIET, va="bottom")
    return figure


def _draw_axle(axes: Axes, stop: Stop, i_axle: int) -> tuple[Any, float]:
    """Draw one axle; return its dots, and the greatest adhesion drawn."""
    traces = stop.traces
    world = world_of(stop.scenario)
    load = 2.0 * float(world.axles["wheel_load"][i_axle])
    rows = np.flatnonzero((traces["train_speed"] > SLOWEST) & (traces["demand"] > 0.0))
    rows = rows[:: max(1, len(rows) // _MOST_DOTS)]
    slip = np.clip(creepage(stop)[rows, i_axle], LEAST_CREEPAGE, 1.0)
    adhesion = traces["rail_force"][rows, i_axle] / load
    dots = axes.scatter(
        slip,
        adhesion,
        c=traces["train_speed"][rows] * 3.6,
        cmap="cividis",
        vmin=0.0,
        vmax=stop.scenario.initial_speed * 3.6,
        s=5,
        linewidths=0,
        alpha=0.8,
        rasterized=True,
    )
    top = float(adhesion.max(initial=0.01))
    met = traces["friction"][rows, i_axle]
    lows = np.unique(np.round(np.quantile(met, (0.05, 0.5, 0.95)) if len(met) else [0.0], 4))
    styles = ((0, (1, 1.5)), "-", (0, (5, 2)))[-len(lows) :] if len(lows) > 1 else ("-",)
    for friction, dashes in zip(lows, styles, strict=True):
        world.axle_states[i_axle]["friction"] = friction
        curve = adhesion_curve(world, i_axle, stop.scenario.initial_speed, _CREEPAGES)
        label = f"friction {friction:.3f}"
        axes.plot(_CREEPAGES, curve, color=style.BLACK, linestyle=dashes, label=label)
        top = max(top, float(curve.max()))
    axes.set_xscale("log")
    axes.set_xlim(LEAST_CREEPAGE, 1.05)
    axes.xaxis.set_major_locator(FixedLocator(_TICKS))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{100.0 * x:g}"))
    axes.grid(axis="y")
    axes.legend(
        title=f"axle {i_axle + 1}",
        title_fontproperties={"weight": "bold", "size": 8.0},
        loc="upper left",
        fontsize=7.0,
        handlelength=2.6,
        borderaxespad=0.2,
        alignment="left",
    )
    return dots, top

"""The rail as the train passes: the friction each axle meets at each place, and what is left."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench.contract import Floats
from slipbench.figures import style
from slipbench.figures.conditioning import moving_mean, shown_axles
from slipbench.figures.creep_curves import world_of
from slipbench.kernel.codes import CONTACT_ONLY
from slipbench.kernel.rail import conditioned_friction, sanded_friction
from slipbench.stop.stop import Stop

MEAN_OVER = 10.0
"""Friction along the track is drawn as a moving mean over this, or slip cycles hide it. [m]"""


@dataclass(frozen=True, eq=False)
class RailMet:
    """The rail of one stop, axle by axle.

    Attributes
    ----------
    place : (n_cells,) float64             middle of each cell, from the train's front at the
                                           start [m]
    friction : (n_axles + 1, n_cells)      static friction each axle met, front axle first; the last
                                           row is what the train left behind; NaN where an axle
                                           never was [-]
    cell_length : float                    [m]
    """

    place: Floats
    friction: Floats
    cell_length: float


def rail_met(stop: Stop) -> RailMet:
    """Return the friction every axle met, cell by cell, and what was left.

    Parameters
    ----------
    stop : Stop   with traces

    Returns
    -------
    RailMet

    Notes
    -----
    Read from the traces at the moment nearest to the middle of a cell: exact while the train
    moves less than a cell between two rows of the traces (50 m/s with the default 20 ms and 1 m).
    """
    after = stop.rail_after
    offsets = np.array(stop.scenario.train.axle_positions)
    ahead = stop.traces["distance"]
    i_first = int((-offsets.max() - after.start) // after.cell_length)
    i_last = int((ahead[-1] - offsets.min() - after.start) // after.cell_length)
    place = after.distance[i_first : i_last + 1]
    met = np.full((len(offsets) + 1, len(place)), np.nan)
    half = 0.5 * after.cell_length
    for i_axle, offset in enumerate(offsets):
        where = ahead - offset
        rows = np.rint(np.interp(place, where, np.arange(len(where)))).astype(np.intp)
        was_there = (place > where[0] - half) & (place <= where[-1] + half)
        met[i_axle] = np.where(was_there, stop.traces["friction"][rows, i_axle], np.nan)
    met[-1] = _left(stop, i_first, len(place))
    return RailMet(place, met, after.cell_length)


def _left(stop: Stop, i_first: int, n_cells: int) -> Floats:
    """Return the friction of the cells as the train left them. [-]"""
    world, after = world_of(stop.scenario), stop.rail_after
    train = world.train[0]
    forgets = int(train["cleaning_law"]) == CONTACT_ONLY
    return np.array(
        [
            conditioned_friction(world.cells[i], 0.0 if forgets else after.work[i])
            + sanded_friction(after.sand[i], train)
            for i in range(i_first, i_first + n_cells)
        ]
    )


def draw_rail_map(stop: Stop) -> Figure:
    """Draw the friction on the rail over place and passing axles.

    Above: a row an axle, from the front, and the rail as the train left it; light is better rail.
    Below: the same as lines for a few axles, moving means over 10 m.

    Parameters
    ----------
    stop : Stop   with traces

    Returns
    -------
    Figure
    """
    height = 5.0
    met = rail_met(stop)
    with style.styled():
        figure = style.new_figure(height)
        above, below = figure.subplots(2, 1, sharex=True, height_ratios=(1.25, 1.0))
        figure.subplots_adjust(left=0.105, right=0.845, top=0.93, bottom=0.125, hspace=0.1)
        _draw_map(figure, above, met, stop)
        _draw_lines(below, met)
        figure.text(0.105, 0.985, style.account(stop), va="top")
        style.write_caution(figure)
    return figure


def _draw_map(figure: Figure, axes: Axes, met: RailMet, stop: Stop) -> None:
    n_axles = len(met.friction) - 1
    half = 0.5 * met.cell_length
    ends = (met.place[0] - half, met.place[-1] + half)
    axes.set_facecolor(style.BAND)
    image = axes.imshow(
        met.friction,
        aspect="auto",
        interpolation="none",
        cmap="cividis",
        vmin=0.0,
        extent=(*ends, n_axles + 1.5, 0.5),
    )
    numbers = style.mark_vehicles(axes, stop.scenario, style.PAPER)
    axes.set_yticks([*numbers[:-1], n_axles + 1], [*map(str, numbers[:-1]), "behind"])
    axes.set_ylabel("axle, from the front")
    axes.axhline(n_axles + 0.5, color=style.PAPER, linewidth=1.5, gid=style.CONTEXT)
    box: Any = axes.inset_axes((1.025, 0.0, 0.022, 1.0))
    bar = figure.colorbar(image, cax=box)
    bar.set_label("friction of the rail [-]\nlight grips, dark is slippery")


def _draw_lines(axes: Axes, met: RailMet) -> None:
    n_axles = len(met.friction) - 1
    shown = shown_axles(n_axles)
    n_mean = round(MEAN_OVER / met.cell_length)
    shades, widths = np.linspace(0.52, 0.0, len(shown)), np.linspace(1.0, 2.0, len(shown))
    for number, shade, width in zip(shown, shades, widths, strict=True):
        line = moving_mean(met.friction[number - 1], n_mean)
        axes.plot(met.place, line, color=str(shade), linewidth=width, label=f"axle {number}")
    left = moving_mean(met.friction[-1], n_mean)
    axes.plot(met.place, left, color=style.VERMILION, linestyle="--", label="behind the\ntrain")
    axes.set_xlim(float(met.place[0]), float(met.place[-1]))
    axes.set_ylim(0.0, 1.08 * float(np.nanmax(axes.dataLim.y1)))
    axes.set_xlabel("place along the track, from the train's front at the start [m]")
    axes.set_ylabel("friction found [-]")
    axes.grid(axis="y")
    style.legend_beside(axes)

"""Conditioning: what each axle finds on the rail, and what it leaves for the next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench.contract import Controller, Floats
from slipbench.figures import style
from slipbench.figures.adhesion_speed import spread
from slipbench.kernel.train import GRAVITY
from slipbench.packing import pack
from slipbench.scenario import Scenario
from slipbench.stop.simulation import run_sample_by_sample
from slipbench.stop.stop import Stop, make_stop
from slipbench.strategies.update import compile_update

SLOWEST = 2.0
"""Below this train speed, and without brake demand, what an axle meets does not count. [m/s]"""

RANGE = (0.1, 0.9)
"""Shares of the way between which the friction met is drawn as a range. [-]"""

_MEAN_OVER = 10.0  # [m]; cleaning work is drawn as a moving mean, or slip cycles hide the trend


@dataclass(frozen=True, eq=False)
class Conditioning:
    """One stop, and the rail as each axle met and left it.

    Attributes
    ----------
    stop : Stop
    place : (n_cells,) float64        middle of each cell, from the train's front at the start [m]
    work_after : (n_axles, n_cells)   W once an axle has left a cell; NaN where it was not [J/m]
    friction_met : (n_axles, n_cells) friction as an axle first found it in a cell; NaN likewise [-]
    friction : (n_axles,) float64     friction met, mean over the way [-]
    friction_range : (2, n_axles)     ... between the shares `RANGE` of the way [-]
    used : (n_axles,) float64         rail force over load at rest, mean over the way [-]
    """

    stop: Stop
    place: Floats
    work_after: Floats
    friction_met: Floats
    friction: Floats
    friction_range: Floats
    used: Floats


def run_conditioning(
    scenario: Scenario, controller: Controller, seed: int = 0, *, compiled: bool = True
) -> Conditioning:
    """Run a stop and note the cleaning work on the rail behind every axle.

    Parameters
    ----------
    scenario : Scenario
    controller : Controller
    seed : int        as in `slipbench.simulate`
    compiled : bool   False calls the strategy as plain Python

    Returns
    -------
    Conditioning

    Raises
    ------
    InputError   if the strategy gives a command its equipment cannot follow

    Notes
    -----
    The stop is that of `slipbench.simulate`, looked at between the controllers' samples. From one
    look to the next an axle moves less than the distance to the axle behind, so what lies in a
    cell it has just left is what it left there, exactly.
    """
    world = pack(scenario, controller, seed)
    cells: Any = world.axle_states["i_cell"].copy()
    first = int(cells.min())
    work_after = np.full((len(cells), len(world.rail_work)), np.nan)
    friction_met = np.full_like(work_after, np.nan)
    friction_met[np.arange(len(cells)), cells] = world.axle_states["friction"]
    memory = np.zeros((len(world.axles) + len(world.groups), controller.n_memory))
    update: Any = compile_update(controller.update) if compiled else controller.update
    for _ in run_sample_by_sample(world, controller, update, memory):
        reached = world.axle_states["i_cell"]
        for i_axle in np.flatnonzero(reached > cells):
            left = slice(cells[i_axle], reached[i_axle])
            work_after[i_axle, left] = world.rail_work[left]
            entered = slice(cells[i_axle] + 1, reached[i_axle] + 1)
            friction_met[i_axle, entered] = world.axle_states["friction"][i_axle]
            cells[i_axle] = reached[i_axle]
    everyone = np.arange(len(cells))
    work_after[everyone, cells] = world.rail_work[cells]
    seen = slice(first, int(cells.max()) + 1)
    stop = make_stop(scenario, controller, seed, world)
    loads = 2.0 * np.asarray(world.axles["wheel_load"])
    return Conditioning(
        stop=stop,
        place=stop.rail_after.distance[seen],
        work_after=work_after[:, seen],
        friction_met=friction_met[:, seen],
        **_means(stop, loads),
    )


def _means(stop: Stop, loads: Floats) -> dict[str, Floats]:
    """Return friction met and adhesion used, means over the braked way, axle by axle."""
    traces = stop.traces
    way = np.diff(traces["distance"], prepend=0.0)
    way[(traces["demand"] <= 0.0) | (traces["train_speed"] < SLOWEST)] = 0.0
    if not way.any():
        way[:] = 1.0
    way = way / way.sum()
    friction = traces["friction"]
    ranges = np.array([_quantiles(friction[:, i], way) for i in range(friction.shape[1])]).T
    return {
        "friction": way @ friction,
        "friction_range": ranges,
        "used": way @ traces["rail_force"] / loads,
    }


def _quantiles(values: Floats, weights: Floats) -> tuple[float, float]:
    order = np.argsort(values)
    shares = np.cumsum(weights[order])
    low, high = (values[order][np.searchsorted(shares, share)] for share in RANGE)
    return float(low), float(high)


def shown_axles(n_axles: int) -> list[int]:
    """Return which axles, counted from 1, get a line of their own: powers of two and the last."""
    powers = [2**i for i in range(12) if 2**i < n_axles]
    if len(powers) > 1 and n_axles < 1.5 * powers[-1]:
        powers.pop()
    return [*powers, n_axles]


def draw_conditioning(conditioning: Conditioning) -> Figure:
    """Draw friction met and adhesion used by each axle, and W along the track behind axles.

    Above: axle by axle, mean friction met (dot) with the range of the middle 80 % of the way, mean
    adhesion used (cross), and the adhesion the handle demands (dotted). Below: cleaning work left
    on each metre of one rail once axle 1, 2, 4 ... have passed, as a moving mean over 10 m.

    Parameters
    ----------
    conditioning : Conditioning

    Returns
    -------
    Figure
    """
    height = 5.4
    stop = conditioning.stop
    with style.styled():
        figure = style.new_figure(height)
        above, below = figure.subplots(2, 1, height_ratios=(1.0, 1.15))
        figure.subplots_adjust(left=0.085, right=0.825, top=0.94, bottom=0.125, hspace=0.36)
        _draw_axles(above, conditioning)
        _draw_work(below, conditioning)
        figure.text(0.085, 0.985, style.account(stop), va="top")
        style.write_caution(figure)
    return figure


def _draw_axles(axes: Axes, found: Conditioning) -> None:
    numbers = np.arange(1, len(found.friction) + 1)
    axes.vlines(numbers, *found.friction_range, color=style.SKY, linewidth=4.0)
    friction = {"color": style.BLUE, "marker": "o", "markersize": 5.0, "linewidth": 0.8}
    axes.plot(numbers, found.friction, **friction)  # type: ignore[arg-type]
    used = {"color": style.VERMILION, "marker": "x", "markersize": 5.0, "linewidth": 0.8}
    axes.plot(numbers, found.used, linestyle="--", **used)  # type: ignore[arg-type]
    brake = found.stop.scenario.brake
    demanded = float(found.stop.traces["demand"].max()) * brake.emergency / GRAVITY
    axes.axhline(demanded, color=style.QUIET, linestyle=":", linewidth=1.2)
    _vehicle_borders(axes, found.stop.scenario)
    top = max(demanded, float(found.friction_range.max()), float(found.used.max()))
    axes.set_ylim(0.0, 1.12 * top)
    axes.set_xlim(0.5, len(numbers) + 0.5)
    axes.set_xticks(numbers if len(numbers) <= 24 else numbers[3::4])
    axes.set_xlabel("axle, from the front")
    axes.set_ylabel("adhesion coefficient [-]")
    axes.grid(axis="y")
    said = sorted(
        [
            (demanded, "demanded", style.QUIET),
            (float(found.friction[-1]), "friction met: mean,\nbar: 10 to 90 %", style.BLUE),
            (float(found.used[-1]), "used: mean", style.VERMILION),
        ]
    )
    places = spread([height for height, _, _ in said], 0.13 * axes.get_ylim()[1])
    for place, (_, text, colour) in zip(places, said, strict=True):
        _say_at_end(axes, place, text, colour)


def _say_at_end(axes: Axes, height: float, text: str, colour: str) -> None:
    axes.annotate(
        text,
        (1.0, height),
        xycoords=("axes fraction", "data"),
        xytext=(6, 0),
        textcoords="offset points",
        va="center",
        fontsize=8.0,
        color=colour,
        annotation_clip=False,
    )


def _vehicle_borders(axes: Axes, scenario: Scenario) -> None:
    place = 0.5
    for vehicle in scenario.train.vehicles[:-1]:
        place += vehicle.n_axles
        axes.axvline(place, color=style.FAINT, linewidth=0.8, zorder=0, gid=style.CONTEXT)


def _draw_work(axes: Axes, found: Conditioning) -> None:
    shown = shown_axles(len(found.work_after))
    shades = np.linspace(0.52, 0.0, len(shown))
    cell = found.stop.rail_after.cell_length
    for number, shade, width in zip(shown, shades, np.linspace(1.0, 2.0, len(shown)), strict=True):
        work = moving_mean(found.work_after[number - 1], round(_MEAN_OVER / cell)) / 1e3
        axes.plot(found.place, work, color=str(shade), linewidth=width, label=f"axle {number}")
    scales = {section.cleaning_work / 1e3 for section in found.stop.scenario.rail.sections}
    top = float(np.nanmax(found.work_after)) / 1e3
    for scale in scales:
        if scale < 1.05 * top:
            axes.axhline(scale, color=style.QUIET, linestyle=":", linewidth=1.2)
            axes.annotate(
                "W0",
                (0.005, scale),
                xycoords=("axes fraction", "data"),
                xytext=(0, 2),
                textcoords="offset points",
                fontsize=8.0,
                color=style.QUIET,
            )
    axes.set_xlim(float(found.place[0]), float(found.place[-1]))
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel("place along the track, from the train's front at the start [m]")
    axes.set_ylabel("W left on one rail [kJ/m]")
    axes.grid(axis="y")
    handles, labels = axes.get_legend_handles_labels()
    axes.legend(
        handles[::-1],
        labels[::-1],
        title="after",
        loc="upper left",
        bbox_to_anchor=(1.0, 0.92),
        fontsize=8.0,
        title_fontsize=8.0,
        handlelength=1.4,
    )


def moving_mean(values: Floats, n_cells: int) -> Floats:
    """Return means over n_cells, of those that are there; NaN where none is."""
    window = np.ones(max(n_cells, 1))
    is_there = np.isfinite(values)
    sums = np.convolve(np.where(is_there, values, 0.0), window, mode="same")
    counts = np.convolve(is_there, window, mode="same")
    means: Floats = np.where(is_there, sums / np.maximum(counts, 1.0), np.nan)
    return means

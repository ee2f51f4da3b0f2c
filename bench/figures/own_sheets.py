"""A rail and a driver's programme, each on one picture, for who has just written a file of them."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter

from slipbench.contract import Floats
from slipbench.figures import style
from slipbench.figures.creep_curves import CREEPAGES, adhesion_curve, world_of
from slipbench.kernel.rail import conditioned_friction
from slipbench.kernel.records import World
from slipbench.scenario import Scenario
from slipbench.stop.stop import Stop

SPEEDS = (5.0, 15.0, 30.0)
"""Train speeds of the creep curves. [m/s]"""

LEAST, BEYOND = 300.0, 150.0
"""A rail is drawn over at least so much, and so far beyond where it last changes. [m]"""

_DRAWN_AHEAD = 1000.0  # of a rail whose friction is drawn [m]
_LINES = ((style.BLACK, "-"), (style.BLUE, "--"), (style.VERMILION, "-."))
_MPH = 0.44704


def draw_rail_sheet(scenario: Scenario) -> Figure:
    """Draw what a rail file lays: friction over place, the line, creep curves, cleaning.

    Above: static friction as laid and wholly cleaned; where there are gradients or curves, below
    it what they resist. At the bottom: the creep law at three speeds on the rail at the start, and
    how friction grows with the work that cleans.

    Parameters
    ----------
    scenario : Scenario   its rail, creep law, gradients and curves count, and the axle load

    Returns
    -------
    Figure
    """
    world = world_of(scenario)
    has_line = bool(scenario.gradient or scenario.curves)
    with style.styled():
        height = 7.0 if has_line else 5.2
        figure = style.new_figure(height)
        rows = figure.add_gridspec(
            3 if has_line else 2, 2, height_ratios=(1.0, 0.6, 1.15) if has_line else (1.0, 1.15),
            left=0.085, right=0.98, top=1.0 - 0.4 / height, bottom=0.74 / height,
            hspace=0.5, wspace=0.28,
        )  # fmt: skip
        above = figure.add_subplot(rows[0, :])
        _draw_friction(above, scenario, world)
        if has_line:
            _draw_line(figure.add_subplot(rows[1, :], sharex=above), scenario)
        _draw_creep(figure.add_subplot(rows[-1, 0]), scenario, world)
        _draw_cleaning(figure.add_subplot(rows[-1, 1]), scenario, world)
        said = f"creep law {scenario.contact.law}, cleaning law {scenario.rail.cleaning_law}"
        figure.text(0.085, 1.0 - 0.13 / height, said.replace("_", " "), va="top")
        style.write_caution(figure)
    return figure


def _reach(scenario: Scenario) -> float:
    """Return how far the rail is drawn. [m]"""
    rail = scenario.rail
    lists: tuple[Any, ...] = (rail.sections, scenario.gradient, scenario.curves)
    last = max((one.from_distance for own in lists for one in own), default=0.0)
    is_long = rail.random is not None or rail.profile is not None
    wanted = max(LEAST, last + BEYOND, _DRAWN_AHEAD if is_long else 0.0)
    return min(wanted, scenario.run.maximum_distance)


def _draw_friction(axes: Axes, scenario: Scenario, world: World) -> None:
    start, cell = float(world.train["rail_start"][0]), scenario.rail.cell_length
    reach = _reach(scenario)
    first, last = int(-start / cell), int((reach - start) / cell) + 1
    edges = start + cell * np.arange(first, last + 1)
    cells = world.cells[first:last]
    axes.stairs(cells["friction"], edges, color=style.BLACK, linewidth=1.4, label="as laid",
                baseline=None)  # fmt: skip
    if (cells["recovered_friction"] > cells["friction"]).any():
        axes.stairs(
            cells["recovered_friction"], edges, color=style.BLUE, linestyle="--", linewidth=1.4,
            label="wholly cleaned", baseline=None,
        )  # fmt: skip
    axes.set_xlim(0.0, reach)
    axes.set_ylim(0.0, 1.3 * float(cells["recovered_friction"].max()))
    axes.set_xlabel("distance from the train's front at the start [m]")
    axes.set_ylabel("static friction [-]")
    axes.grid(axis="y")
    axes.legend(loc="upper right", ncols=2, fontsize=8.0)


def _draw_line(axes: Axes, scenario: Scenario) -> None:
    """Draw what gradient and curves resist, both in newtons a kilonewton of weight."""
    reach = _reach(scenario)
    for label, sections, values, (colour, line) in (
        ("gradient", scenario.gradient, [1e3 * one.rise for one in scenario.gradient], _LINES[0]),
        ("curves", scenario.curves, [1e3 * one.resistance for one in scenario.curves], _LINES[1]),
    ):
        if not sections:
            continue
        places = np.array([-1e5, *(one.from_distance for one in sections), 1e7])
        axes.stairs(
            [0.0, *values], places, color=colour, linestyle=line, label=label, baseline=None
        )
    axes.axhline(0.0, color=style.FAINT, linewidth=0.8, zorder=0)
    axes.margins(y=0.2)
    axes.set_xlim(0.0, reach)
    axes.set_xlabel("distance [m]")
    axes.set_ylabel("resists [N/kN]")
    axes.legend(loc="upper right", ncols=2, fontsize=8.0)


def _draw_creep(axes: Axes, scenario: Scenario, world: World) -> None:
    for speed, (colour, line) in zip(SPEEDS, _LINES, strict=True):
        adhesion = adhesion_curve(world, 0, speed, CREEPAGES)
        label = f"{speed:g} m/s"
        axes.plot(CREEPAGES, adhesion, color=colour, linestyle=line, label=label)
    axes.set_xscale("log")
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _place: f"{value:g}"))
    axes.set_xlim(1e-4, 1.0)
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel("creepage [-]")
    axes.set_ylabel("adhesion of the first axle [-]")
    axes.grid()
    axes.legend(loc="lower right", fontsize=8.0)


def _draw_cleaning(axes: Axes, scenario: Scenario, world: World) -> None:
    cell = world.cells[int(world.axle_states["i_cell"][0])]
    most = 4.0 * float(cell["cleaning_work"])
    if not float(cell["recovered_friction"]) > float(cell["friction"]):
        axes.set_axis_off()
        axes.text(0.5, 0.5, "no work cleans this rail", ha="center", transform=axes.transAxes)
        return
    work: Floats = np.linspace(0.0, most, 200)
    friction = [float(conditioned_friction(cell, one)) for one in work]
    axes.plot(work / 1e3, friction, color=style.BLACK)
    axes.axhline(float(cell["recovered_friction"]), color=style.BLUE, linestyle="--", linewidth=1.0)
    axes.set_xlim(0.0, most / 1e3)
    axes.set_ylim(0.0, 1.15 * float(cell["recovered_friction"]))
    axes.set_xlabel("work W on a metre of one rail [kJ/m]")
    axes.set_ylabel("static friction where it starts [-]")
    axes.grid()


def draw_driver_sheet(stop: Stop) -> Figure:
    """Draw what a driver does in a stop on dry rail: handle, demand, speed over time and place.

    Parameters
    ----------
    stop : Stop   with traces

    Returns
    -------
    Figure
    """
    traces, scenario = stop.traces, stop.scenario
    with style.styled():
        height = 4.8
        figure = style.new_figure(height)
        above, below = figure.subplots(2, 1, sharex=True)
        figure.subplots_adjust(
            left=0.13, right=0.9, top=1.0 - 0.45 / height, bottom=0.74 / height, hspace=0.14
        )
        time = traces["time"]
        _draw_handle(above, stop)
        below.plot(time, traces["train_speed"] / _MPH, color=style.BLACK)
        below.set_ylabel("speed [mph]")
        below.set_ylim(bottom=0.0)
        below.grid(axis="y")
        beside = below.twinx()
        beside.plot(time, traces["distance"], color=style.BLUE, linestyle="--")
        beside.set_ylabel("distance, dashed [m]")
        beside.set_ylim(bottom=0.0)
        beside.spines["right"].set_visible(True)
        below.set_xlabel("time [s]")
        below.set_xlim(0.0, float(time[-1]))
        said = f"{scenario.train.name}, dry rail, from {scenario.initial_speed / _MPH:.0f} mph"
        figure.text(0.13, 1.0 - 0.15 / height, said, va="top")
        style.write_caution(figure)
    return figure


def _draw_handle(axes: Axes, stop: Stop) -> None:
    """Draw the handle's positions by name, and the deceleration demanded once it has come."""
    brake, traces = stop.scenario.brake, stop.traces
    time, n = traces["time"], brake.emergency_position
    axes.step(time, traces["handle"], where="post", color=style.BLACK, label="handle")
    names = ["release", *(f"step {i}" for i in range(1, n)), "emergency"]
    every = max(1, -(-n // 8))
    ticks = [*range(0, n, every), n]
    axes.set_yticks(ticks, [names[i] for i in ticks])
    axes.set_ylim(-0.3, n + 0.3)
    axes.grid(axis="y")
    beside = axes.twinx()
    beside.plot(time, traces["demand"] * brake.emergency, color=style.BLUE, linestyle="--")
    beside.set_ylabel("demand, dashed [m/s2]")
    beside.set_ylim(-0.3 / n * brake.emergency_demand, (1.0 + 0.3 / n) * brake.emergency_demand)
    beside.spines["right"].set_visible(True)

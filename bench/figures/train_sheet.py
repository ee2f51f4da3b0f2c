"""What a train can do, on one picture: adhesion its axles need, distances, brake build-up."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from slipbench.figures import style
from slipbench.figures.adhesion_speed import spread
from slipbench.kernel.train import GRAVITY
from slipbench.stop.abilities import Abilities, StepAbility

MOST_STEPS = 6
"""Steps with a line of their own; of more, evenly chosen ones and always the last."""

_LINES = ("-", "--", "-.", ":")
_MPH = 0.44704


def shown_steps(abilities: Abilities) -> list[StepAbility]:
    """Return the steps that are drawn: all, or some of many, emergency always."""
    steps = abilities.steps
    if len(steps) <= MOST_STEPS:
        return list(steps)
    chosen = np.linspace(0, len(steps) - 1, MOST_STEPS).round().astype(int)
    return [steps[i] for i in chosen]


def draw_train_sheet(abilities: Abilities) -> Figure:
    """Draw what a train can do on dry level rail, step by step.

    Above: adhesion each axle needs, and the deceleration demanded and reached. Below: stopping
    distance over speed, and mean cylinder pressure after the handle is moved.

    Parameters
    ----------
    abilities : Abilities

    Returns
    -------
    Figure
    """
    steps = shown_steps(abilities)
    with style.styled():
        figure = style.new_figure(6.2)
        axes = figure.subplots(2, 2)
        figure.subplots_adjust(
            left=0.085, right=0.905, top=0.93, bottom=0.12, hspace=0.36, wspace=0.5
        )
        _draw_adhesion(axes[0, 0], abilities, steps)
        _draw_decelerations(axes[0, 1], steps)
        _draw_distances(axes[1, 0], abilities, steps)
        _draw_pressures(axes[1, 1], steps)
        train = abilities.scenario.train
        said = f"{train.name}: {train.n_axles} axles, {train.mass / 1e3:.0f} t; dry level rail, "
        figure.text(0.085, 0.975, f"{said}equipment as designed", va="top")
        style.write_caution(figure)
    return figure


def _look(i: int) -> dict[str, Any]:
    return {"color": style.COLOURS[i % len(style.COLOURS)], "linestyle": _LINES[i % len(_LINES)]}


def _say(axes: Axes, places: list[float], steps: list[StepAbility]) -> None:
    """Name each step at the right end of its line, none over another."""
    low, high = axes.get_ylim()
    order = sorted(range(len(steps)), key=lambda i: places[i])
    apart = spread([places[i] for i in order], 0.075 * (high - low))
    for i, place in zip(order, apart, strict=True):
        axes.annotate(
            steps[i].name,
            (1.0, place),
            xycoords=("axes fraction", "data"),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            fontsize=8.0,
            color=_look(i)["color"],
            annotation_clip=False,
        )


def _draw_adhesion(axes: Axes, abilities: Abilities, steps: list[StepAbility]) -> None:
    numbers = np.arange(1, len(steps[0].adhesion) + 1)
    for i, step in enumerate(steps):
        axes.plot(numbers, step.adhesion, marker=".", markersize=4.0, linewidth=0.9, **_look(i))
    border = 0.5
    for vehicle in abilities.scenario.train.vehicles[:-1]:
        border += vehicle.n_axles
        axes.axvline(border, color=style.FAINT, linewidth=0.8, zorder=0)
    axes.set_ylim(0.0, 1.12 * max(float(step.adhesion.max()) for step in steps))
    axes.set_xlim(0.5, len(numbers) + 0.5)
    axes.xaxis.set_major_locator(MaxNLocator(8, integer=True))
    axes.set_xlabel("axle, from the front")
    axes.set_ylabel("adhesion needed [-]")
    axes.grid(axis="y")
    _say(axes, [float(step.adhesion[-1]) for step in steps], steps)


def _draw_decelerations(axes: Axes, steps: list[StepAbility]) -> None:
    places = np.arange(len(steps))
    for i, step in enumerate(steps):
        axes.plot([step.demand], [places[i]], "o", color=_look(i)["color"], markersize=6.0)
        axes.plot([step.reached], [places[i]], "|", color=style.INK, markersize=12.0)
        axes.annotate(
            f"{step.demand:g} m/s2 ({100 * step.demand / GRAVITY:.1f} %g)",
            (step.demand, places[i]),
            xytext=(0, 8),
            textcoords="offset points",
            ha="center" if step.demand > 0.5 * steps[-1].demand else "left",
            fontsize=8.0,
            color=style.QUIET,
        )
    axes.set_yticks(places, [step.name for step in steps])
    axes.set_ylim(-0.6, len(steps) - 0.2)
    axes.set_xlim(0.0, 1.3 * max(max(step.demand, step.reached) for step in steps))
    axes.set_xlabel("deceleration: demanded (dot), reached (bar) [m/s2]")
    axes.grid(axis="x")


def _draw_distances(axes: Axes, abilities: Abilities, steps: list[StepAbility]) -> None:
    speeds = np.array(abilities.speeds) / _MPH
    for i, step in enumerate(steps):
        axes.plot(speeds, step.distances, marker=".", markersize=4.0, **_look(i))
    known = [
        float(np.nanmax(step.distances)) for step in steps if np.isfinite(step.distances).any()
    ]
    axes.set_ylim(0.0, 1.05 * max(known, default=1.0))
    axes.set_xlim(0.0, float(speeds.max()))
    axes.set_xlabel("speed braking begins from [mph]")
    axes.set_ylabel("stopping distance [m]")
    axes.grid(axis="y")
    ends = [float(step.distances[-1]) for step in steps]
    _say(axes, [end if np.isfinite(end) else axes.get_ylim()[1] for end in ends], steps)


def _draw_pressures(axes: Axes, steps: list[StepAbility]) -> None:
    longest = max((step.built_up for step in steps if np.isfinite(step.built_up)), default=1.0)
    window = 2.0 * longest
    for i, step in enumerate(steps):
        seen = step.time <= window
        axes.plot(step.time[seen], step.pressure[seen] / 1e5, **_look(i))
    axes.set_xlim(0.0, window)
    axes.set_ylim(0.0, 1.12 * max(float(step.pressure.max()) for step in steps) / 1e5)
    axes.set_xlabel("time from the handle's movement [s]")
    axes.set_ylabel("mean cylinder pressure [bar]")
    axes.grid(axis="y")
    ends = [float(np.interp(window, step.time, step.pressure)) / 1e5 for step in steps]
    _say(axes, ends, steps)

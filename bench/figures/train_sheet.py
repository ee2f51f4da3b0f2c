"""What a train can do, on one picture: adhesion, distances, build-up, forces of its drives."""

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
from slipbench.stop.envelopes import Envelopes, find_envelopes

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
    distance over speed, and mean cylinder pressure after the handle is moved. At the bottom, where
    there are such brakes: what dynamic and track brakes give over speed beside what is demanded,
    and the share of each step's demand the drives can carry.

    Parameters
    ----------
    abilities : Abilities

    Returns
    -------
    Figure
    """
    steps = shown_steps(abilities)
    own = find_envelopes(abilities.scenario, max(abilities.speeds))
    n_rows = 3 if own.has_dynamic or own.has_track else 2
    with style.styled():
        height = 3.1 * n_rows
        figure = style.new_figure(height)
        axes = figure.subplots(n_rows, 2)
        figure.subplots_adjust(
            left=0.085,
            right=0.905,
            top=1.0 - 0.434 / height,
            bottom=0.744 / height,
            hspace=0.36,
            wspace=0.5,
        )
        _draw_adhesion(axes[0, 0], abilities, steps)
        _draw_decelerations(axes[0, 1], steps)
        _draw_distances(axes[1, 0], abilities, steps)
        _draw_pressures(axes[1, 1], steps)
        if n_rows == 3:
            _draw_forces(axes[2, 0], own, steps, abilities)
            _draw_carried(axes[2, 1], own, steps, abilities)
        train = abilities.scenario.train
        said = f"{train.name}: {train.n_axles} axles, {train.mass / 1e3:.0f} t; dry level rail, "
        figure.text(0.085, 1.0 - 0.155 / height, f"{said}equipment as designed", va="top")
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
    least = min(0.0, 1.2 * min(float(step.adhesion.min()) for step in steps))
    axes.set_ylim(least, 1.12 * max(float(step.adhesion.max()) for step in steps))
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


def _position(step: StepAbility, abilities: Abilities) -> int:
    """Return the place of a step among all handle positions, from the first step on."""
    return [one.name for one in abilities.steps].index(step.name)


def _draw_forces(
    axes: Axes, own: Envelopes, steps: list[StepAbility], abilities: Abilities
) -> None:
    """Draw the greatest forces over speed, and as level lines what each step asks for."""
    speeds = own.speed / _MPH
    places = []
    for i, step in enumerate(steps):
        asked = float(own.demanded[_position(step, abilities)].sum()) / 1e3
        axes.axhline(asked, linewidth=0.9, **_look(i))
        places.append(asked)
    forces: list[tuple[str, Any, Any]] = []
    if own.has_dynamic:
        forces.append(("dynamic brake", own.dynamic.sum(axis=0), "-"))
    if own.has_track:
        forces.append(("track brakes, clean rail", own.track, "--"))
        if (own.track_on_film != own.track).any():
            forces.append(("... on a film", own.track_on_film, ":"))
    for label, force, line in forces:
        axes.plot(speeds, force / 1e3, color=style.INK, linestyle=line, linewidth=2.0, label=label)
    axes.set_ylim(0.0, 1.45 * max([*places, *(float(f.max()) / 1e3 for _, f, _ in forces)]))
    axes.set_xlim(0.0, float(speeds[-1]))
    axes.set_xlabel("speed [mph]")
    axes.set_ylabel("force of the train [kN]")
    axes.legend(loc="upper right", fontsize=8.0, handlelength=2.6)
    _say(axes, places, steps)


def _draw_carried(
    axes: Axes, own: Envelopes, steps: list[StepAbility], abilities: Abilities
) -> None:
    """Draw the share of each step's demand that the drives can carry."""
    if not own.has_dynamic:
        axes.set_axis_off()
        return
    ends = []
    for i, step in enumerate(steps):
        share = 100.0 * own.carried(_position(step, abilities))
        axes.plot(own.speed / _MPH, share, **_look(i))
        ends.append(float(share[-1]))
    axes.set_ylim(0.0, 105.0)
    axes.set_xlim(0.0, float(own.speed[-1]) / _MPH)
    axes.set_xlabel("speed [mph]")
    axes.set_ylabel("carried by dynamic brake [%]")
    axes.grid(axis="y")
    _say(axes, ends, steps)

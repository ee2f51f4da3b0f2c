"""Creep curves of every law on one rail, as a stop meets them: by the kernel's own functions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter

from slipbench.contact import table_error
from slipbench.contract import Controller, Floats
from slipbench.figures import style
from slipbench.kernel.codes import TRACTION_TABLE
from slipbench.kernel.creep import creep_force, find_peak
from slipbench.kernel.rail import conditioned_friction
from slipbench.kernel.records import World
from slipbench.packing import pack
from slipbench.packing.contact import creep_table
from slipbench.scenario import Scenario

LAWS = ("polach", "vermeulen_johnson", "shen_hedrick_elkins", "carter", "strip", "measured")
CREEPAGES: Floats = np.geomspace(1e-5, 1.0, 500)
CLEANED = (0.0, 0.5, 1.0, 2.0, np.inf)
"""Cleaning work over W0 at which the scenario's own law is drawn."""

_LINES: dict[str, dict[str, Any]] = {
    "polach": {"color": style.BLACK, "linestyle": "-", "linewidth": 1.8},
    "vermeulen_johnson": {"color": style.SKY, "linestyle": "-", "linewidth": 4.5},
    "shen_hedrick_elkins": {"color": style.BLUE, "linestyle": (0, (4, 2)), "linewidth": 1.6},
    "carter": {"color": style.VERMILION, "linestyle": "-.", "linewidth": 1.4},
    "strip": {"color": style.INK, "linestyle": (0, (1, 1.6)), "linewidth": 1.6},
    "measured": {
        "color": style.GREEN,
        "linestyle": "-",
        "marker": "s",
        "markersize": 3.5,
        "markevery": 30,
    },
}


def _ignore(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Stand in for a strategy: nothing moves here."""


_NOBODY = Controller(name="nobody", title="no strategy", update=_ignore, observes=())


def world_of(scenario: Scenario) -> World:
    """Return a scenario packed for the kernel, about to begin, under no strategy."""
    return pack(scenario, _NOBODY, 0, False)


@dataclass(frozen=True, eq=False)
class CreepCurve:
    """One law's curve for the first axle of a scenario, at its starting speed, rail untouched.

    Attributes
    ----------
    law : str
    adhesion : (n,) float64      rail force over load, at `CREEPAGES` [-]
    peak_creepage : float        [-]
    peak_adhesion : float        [-]
    stiffness : float            slope of the adhesion at no creepage [-]
    table_error : float or None  largest error of the kernel's table against the law, over mu N;
                                 None where the kernel computes the law or reads a curve [-]
    """

    law: str
    adhesion: Floats
    peak_creepage: float
    peak_adhesion: float
    stiffness: float
    table_error: float | None


def laws_of(scenario: Scenario) -> tuple[str, ...]:
    """Return the laws that can be drawn: a measured curve only where the scenario has one."""
    return LAWS if scenario.contact.law == "measured" else LAWS[:-1]


def under_law(scenario: Scenario, law: str) -> Scenario:
    """Return the scenario under another creep law; lateral creepage and spin only in `strip`."""
    changes: dict[str, Any] = {"contact.law": law}
    if law != "measured":
        changes["contact.measured_curve"] = None
    if law != "strip":
        changes |= {"contact.lateral_creepage": 0.0, "contact.spin": 0.0}
    return scenario.replace(changes)


def creep_curve(scenario: Scenario, law: str) -> CreepCurve:
    """Return the creep curve of a law on a scenario's rail.

    Parameters
    ----------
    scenario : Scenario   its first axle's load, first section's friction and starting speed count
    law : str             one of `laws_of(scenario)`

    Returns
    -------
    CreepCurve

    Raises
    ------
    InputError   if the law does not fit the scenario
    """
    changed = under_law(scenario, law)
    world = world_of(changed)
    speed = scenario.initial_speed
    axle, state, packed = world.axles[0], world.axle_states[0], world.law[0]
    is_table = int(packed["kind"]) == TRACTION_TABLE
    error = table_error(creep_table(changed, world.axles)) if is_table else None
    load = 2.0 * float(state["wheel_load"])
    peak_creepage, peak_force = find_peak(speed, axle, state, packed)
    return CreepCurve(
        law=law,
        adhesion=adhesion_curve(world, 0, speed, CREEPAGES),
        peak_creepage=float(peak_creepage),
        peak_adhesion=float(peak_force) / load,
        stiffness=float(creep_force(1e-12 * speed, speed, axle, state, packed)[0]) / load / 1e-12,
        table_error=error,
    )


def adhesion_curve(world: World, i_axle: int, speed: float, creepages: Floats) -> Floats:
    """Return rail force over load of an axle of a world, on the friction it stands on. [-]

    Parameters
    ----------
    world : World
    i_axle : int               from 0
    speed : float              of the train [m/s]
    creepages : (n,) float64   [-]

    Returns
    -------
    (n,) float64
    """
    axle, state, law = world.axles[i_axle], world.axle_states[i_axle], world.law[0]
    load = 2.0 * float(state["wheel_load"])
    forces = [creep_force(creepage * speed, speed, axle, state, law)[0] for creepage in creepages]
    return np.array(forces) / load


def draw_creep_curves(scenario: Scenario) -> Figure:
    """Draw every law on a scenario's rail, and its own law as the rail is cleaned.

    Left: adhesion over creepage (logarithmic) under each law, peaks marked. Right: the scenario's
    own law after ever more cleaning work: friction falls with slip speed, and rises again with the
    energy of sliding.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    Figure
    """
    height = 3.6
    with style.styled():
        figure = style.new_figure(height)
        left, right = figure.subplots(1, 2)
        figure.subplots_adjust(left=0.08, right=0.985, top=0.83, bottom=0.19, wspace=0.27)
        for law in laws_of(scenario):
            _draw_law(left, creep_curve(scenario, law))
        _draw_cleaned(right, scenario)
        for axes in (left, right):
            _scale(axes)
            axes.set_ylabel("adhesion, force over load [-]")
        left.legend(loc="upper left", fontsize=8.0, handlelength=3.2, borderaxespad=0.2)
        right.legend(loc="upper left", fontsize=8.0, handlelength=3.2, borderaxespad=0.2)
        figure.text(0.08, 0.895, _conditions(scenario), fontsize=8.5, va="bottom")
        style.write_caution(figure)
    return figure


def _draw_law(axes: Axes, curve: CreepCurve) -> None:
    look = _LINES[curve.law]
    axes.plot(CREEPAGES, curve.adhesion, label=curve.law.replace("_", "-"), **look)
    if curve.peak_creepage >= 1.0:
        return  # the curve does not fall: there is no peak to mark
    size = 6.0 if curve.law == "vermeulen_johnson" else 4.0
    axes.plot(
        [curve.peak_creepage],
        [curve.peak_adhesion],
        marker="o",
        markersize=size,
        color=look["color"],
        markeredgecolor=style.PAPER,
        markeredgewidth=0.5,
        linestyle="none",
        zorder=5,
    )


def _draw_cleaned(axes: Axes, scenario: Scenario) -> None:
    section = scenario.rail.sections[0]
    world = world_of(scenario)
    does_clean = section.recovered_friction > section.friction
    cleaned = CLEANED if does_clean else (0.0,)
    greys = np.linspace(0.52 if does_clean else 0.0, 0.0, len(cleaned))
    widths = np.linspace(1.0 if does_clean else 1.8, 2.2, len(cleaned))
    for share, grey, width in zip(cleaned, greys, widths, strict=True):
        work = share * section.cleaning_work if np.isfinite(share) else 1e9 * section.cleaning_work
        friction = float(conditioned_friction(world.cells[0], work))
        world.axle_states[0]["friction"] = friction
        how = f"W = {share:g} W0" if share > 0.0 else "untouched" if does_clean else "never cleans"
        how = "fully cleaned" if np.isinf(share) else how
        axes.plot(
            CREEPAGES,
            adhesion_curve(world, 0, scenario.initial_speed, CREEPAGES),
            color=str(grey),
            linewidth=width,
            label=f"{how}: friction {friction:.3f}",
        )


def _scale(axes: Axes) -> None:
    axes.set_xscale("log")
    axes.set_xlim(CREEPAGES[0], 1.0)
    axes.set_ylim(0.0, 1.75 * axes.dataLim.y1)  # room for the legend
    axes.set_xlabel("creepage [%], logarithmic scale")
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{100.0 * x:g}"))
    axes.grid(axis="y")


def _conditions(scenario: Scenario) -> str:
    section = scenario.rail.sections[0]
    load = float(world_of(scenario).axle_states["wheel_load"][0])
    falling = f" falling to {section.friction * section.friction_ratio:.3g} with slip speed"
    own = scenario.contact.law.replace("_", "-")
    does_clean = section.recovered_friction > section.friction
    cleaning = f" as sliding cleans it, W0 = {section.cleaning_work / 1e3:.3g} kJ/m"
    return (
        f"{scenario.name}: {load / 1e3:.1f} kN a wheel, {scenario.initial_speed:.1f} m/s, "
        f"friction {section.friction:.3g}{falling if section.friction_ratio < 1.0 else ''}\n"
        f"left: every law on the untouched rail; right: the scenario's own ({own})"
        f"{cleaning if does_clean else ''}"
    )

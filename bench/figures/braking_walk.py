"""Why a poor rail takes longer: one stop on it beside one on good rail, phase by phase."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench.figures import style
from slipbench.figures.stop_sheet import creepage
from slipbench.guidance.points import MPH, YARD, Place, Question, scenario_at
from slipbench.guidance.spread import nominal, situation
from slipbench.guidance.states import GOOD
from slipbench.kernel.train import GRAVITY
from slipbench.running.candidate import controller_of
from slipbench.stop.simulation import simulate
from slipbench.stop.stop import Stop


@dataclass(frozen=True)
class Walk:
    """A stop's phases, in metres from the braking point; NaN where a phase did not come.

    Attributes
    ----------
    state : str            the poor rail
    stop, good : Stop      on it, and on good rail
    handle : float         the brake is selected
    built_up : float       it is fully demanded
    slide : float          the first wheel slides
    cleaned : float        the last axle first meets the friction that the brake needs
    """

    state: str
    stop: Stop
    good: Stop
    handle: float
    built_up: float
    slide: float
    cleaned: float


def walk_of(question: Question, state: str, speed: float) -> Walk:
    """Run the two stops, everything as designed, and find where each phase begins.

    Parameters
    ----------
    question : Question
    state : str      the poor rail
    speed : float    [m/s]
    """
    controller = controller_of(question.candidate).controller
    draw = nominal(question.spread)
    stop, good = (
        simulate(
            situation(scenario_at(question, Place(rail, speed, 0.0)), draw), controller, draw.seed
        )
        for rail in (state, GOOD)
    )
    traces, run = stop.traces, stop.scenario.run
    demand = traces["demand"]
    needed = demanded(stop) / GRAVITY
    slip = creepage(stop)
    is_sliding = (slip > run.sliding_creepage) & (
        slip * traces["train_speed"][:, None] > run.sliding_slip_speed
    )
    is_clean = traces["friction"][:, -1] >= needed
    return Walk(
        state=state,
        stop=stop,
        good=good,
        handle=_first(traces["distance"], traces["handle"] > 0),
        built_up=_first(traces["distance"], demand >= 0.999 * demand.max()),
        slide=_first(traces["distance"], is_sliding.any(axis=1)),
        cleaned=_first(traces["distance"], is_clean & is_sliding.any(axis=1).cumsum().astype(bool)),
    )


def _first(distance: Any, holds: Any) -> float:
    return float(distance[int(np.argmax(holds))]) if holds.any() else float("nan")


def demanded(stop: Stop) -> float:
    """Return the largest deceleration the handle asked for. [m/s2]"""
    brake = stop.scenario.brake
    levels = (0.0, *brake.steps, brake.emergency)
    return max(levels[int(position)] for position in np.unique(stop.traces["handle"]))


def draw_walk(walk: Walk) -> Figure:
    """Draw speed over the way from the braking point, and what first and last axle meet there."""
    with style.styled():
        figure = style.new_figure(6.2)
        panels: Any = figure.subplots(2, 1, sharex=True, height_ratios=(1.5, 1.0))
        figure.subplots_adjust(left=0.09, right=0.97, top=0.93, bottom=0.12, hspace=0.1)
        _draw_speed(panels[0], walk)
        _draw_friction(panels[1], walk)
        end = float(walk.stop.traces["distance"][-1]) / YARD
        panels[0].set_xlim(0.0, 1.12 * end)
        panels[1].set_xlabel("distance from the braking point [yd]")
        figure.text(
            0.012, 0.965, f"{walk.stop.scenario.train.name}; {walk.stop.controller.name}; "
            "equipment as designed, median reaction", fontsize=8.5,
        )  # fmt: skip
        style.write_caution(figure)
    return figure


def _draw_speed(axes: Axes, walk: Walk) -> None:
    for stop, colour, line, text, shift, side, up in (
        (walk.good, style.BLACK, "--", "good rail", (-6, -4), "right", "top"),
        (walk.stop, style.VERMILION, "-", f"{walk.state} rail", (6, 4), "left", "bottom"),
    ):
        way = stop.traces["distance"] / YARD
        axes.plot(way, stop.traces["train_speed"] / MPH, color=colour, linestyle=line, linewidth=2)
        speed = stop.traces["train_speed"]
        half = int(np.argmax(speed < 0.42 * speed[0]))
        axes.annotate(
            f"{text}:\nstops after {way[-1]:.0f} yd", (way[half], speed[half] / MPH), shift,
            ha=side, va=up, textcoords="offset points", fontsize=8.5, color=colour,
        )  # fmt: skip
    shorter = float(walk.good.traces["distance"][-1]) / YARD
    longer = float(walk.stop.traces["distance"][-1]) / YARD
    axes.annotate(
        "", (longer, 1.5), (shorter, 1.5), arrowprops={"arrowstyle": "<->", "linewidth": 1.2}
    )
    axes.text(
        0.5 * (shorter + longer), 2.5, f"{longer - shorter:.0f} yd", ha="center", fontsize=9,
        fontweight="bold",
    )  # fmt: skip
    _mark_phases(axes, walk)
    axes.set_ylim(0.0, 1.3 * float(walk.stop.traces["train_speed"][0]) / MPH)
    axes.set_ylabel("speed [mph]")
    axes.grid(axis="y")


def _mark_phases(axes: Axes, walk: Walk) -> None:
    """Number the phases where each begins, and say in the free corner what they are."""
    top = 1.3 * float(walk.stop.traces["train_speed"][0]) / MPH
    end = float(walk.stop.traces["distance"][-1])
    phases = (
        (0.0, "braking point: the driver reacts"),
        (walk.handle, "brake selected: it builds up, nothing slides"),
        (walk.slide, "first wheel slides: slip control works"),
        (walk.cleaned, "the last axle meets rail cleaned by those before it"),
        (end, "stop"),
    )
    came = [(place, text) for place, text in phases if np.isfinite(place)]
    for number, (place, text) in enumerate(came, start=1):
        x = max(place, 0.012 * end) / YARD
        axes.axvline(x, color=style.QUIET, linewidth=0.8, linestyle=":")
        badge = {"boxstyle": "circle,pad=0.2", "facecolor": style.INK, "edgecolor": "none"}
        axes.text(
            x, 0.93 * top, str(number), fontsize=8, color=style.PAPER, ha="center", bbox=badge
        )
        axes.text(
            0.5, 0.88 - 0.056 * number, f"{number}   {text}", transform=axes.transAxes, fontsize=8.5
        )


def _draw_friction(axes: Axes, walk: Walk) -> None:
    traces = walk.stop.traces
    way = traces["distance"] / YARD
    needed = demanded(walk.stop) / GRAVITY
    for i, colour, line, text in (
        (0, style.BLUE, "-", "first axle"),
        (-1, style.GREEN, "-", "last axle"),
    ):
        axes.plot(way, traces["friction"][:, i], color=colour, linestyle=line, linewidth=1.6)
        axes.annotate(
            text, (way[-1], traces["friction"][-1, i]), (5, 0), textcoords="offset points",
            fontsize=8, color=colour, va="center",
        )  # fmt: skip
    axes.axhline(needed, color=style.BLACK, linewidth=1.0, linestyle="--")
    axes.text(0.4 * way[-1], 0.985 * needed, "needed by the step selected", va="top", fontsize=8)
    for place in (walk.handle, walk.slide, walk.cleaned):
        if np.isfinite(place):
            axes.axvline(place / YARD, color=style.QUIET, linewidth=0.8, linestyle=":")
    axes.set_ylim(0.0, 1.25 * max(needed, float(traces["friction"].max())))
    axes.set_ylabel("static friction of the rail met [-]")
    axes.grid(axis="y")

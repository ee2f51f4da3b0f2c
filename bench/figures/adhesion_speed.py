"""The bench's own largest adhesion over train speed, beside the classical formulas."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench.contact import ADHESION_FORMULAS, adhesion_at_speed
from slipbench.contract import Floats
from slipbench.figures import style
from slipbench.figures.creep_curves import world_of
from slipbench.kernel.creep import find_peak
from slipbench.kernel.rail import conditioned_friction
from slipbench.scenario import Scenario

SPEEDS: Floats = np.concatenate([[0.5], np.arange(5.0, 201.0, 5.0)]) / 3.6
"""From walking pace to 200 km/h. [m/s]"""

_WHO = {
    "curtius_kniffler_dry": "Curtius-Kniffler, dry",
    "curtius_kniffler_wet": "Curtius-Kniffler, wet",
    "kother": "Kother",
    "koffman_dry": "Koffman, dry",
    "jr_braking": "JR, braking",
    "shinkansen": "Shinkansen, planning",
    "tsi_braking_cap": "TSI, cap on demand",
}
_DASHES: tuple[Any, ...] = (
    "-",
    (0, (7, 2)),
    (0, (3, 1.5)),
    (0, (1, 1)),
    (0, (8, 1.5, 1, 1.5)),
    (0, (14, 3)),
    (0, (2, 3)),
)
_KOFFMAN_TO = 80.0  # [km/h]


class _Label(NamedTuple):
    height: float
    text: str
    colour: str
    is_bold: bool


def largest_adhesion(scenario: Scenario, cleaned: float = 0.0) -> Floats:
    """Return the peak of the creep curve of the first axle over its load, at `SPEEDS`. [-]

    Parameters
    ----------
    scenario : Scenario
    cleaned : float   cleaning work so far over W0, infinity for the fully cleaned rail. [-]

    Returns
    -------
    (n_speeds,) float64
    """
    world = world_of(scenario)
    axle, state, law = world.axles[0], world.axle_states[0], world.law[0]
    work = min(cleaned, 1e9) * scenario.rail.sections[0].cleaning_work
    state["friction"] = conditioned_friction(world.cells[0], work)
    load = 2.0 * float(state["wheel_load"])
    return np.array([find_peak(speed, axle, state, law)[1] for speed in SPEEDS]) / load


def draw_adhesion_speed(scenarios: Sequence[Scenario]) -> Figure:
    """Draw the largest adhesion of scenarios over speed, with formulas as reference lines.

    A scenario has a line for its untouched and one for its fully cleaned rail, or a single one if
    it does not clean. The formulas were made for traction or planning, most of them for rail far
    better than the films here.

    Parameters
    ----------
    scenarios : sequence of Scenario   at most as many as there are colours

    Returns
    -------
    Figure
    """
    height = 4.4
    with style.styled():
        figure = style.new_figure(height)
        axes = figure.add_subplot()
        figure.subplots_adjust(left=0.075, right=0.72, top=0.97, bottom=0.16)
        labels = _draw_formulas(axes)
        for i, scenario in enumerate(scenarios):
            colour = style.COLOURS[(i + 1) % len(style.COLOURS)]
            marker = style.MARKERS[(i + 1) % len(style.MARKERS)]
            labels += _draw_scenario(axes, scenario, colour, marker, is_shaded=len(scenarios) < 3)
        axes.set_xlim(0.0, 200.0)
        axes.set_ylim(0.0, max(0.36, 1.05 * axes.dataLim.y1))
        axes.set_xlabel("train speed [km/h]")
        axes.set_ylabel("largest adhesion, force over load [-]")
        axes.grid(axis="y")
        _write_labels(axes, labels)
        style.write_caution(figure)
    return figure


def _draw_formulas(axes: Axes) -> list[_Label]:
    labels = []
    for (name, who), dashes in zip(_WHO.items(), _DASHES, strict=True):
        is_short = name == "koffman_dry"
        speeds = SPEEDS[SPEEDS <= _KOFFMAN_TO / 3.6] if is_short else SPEEDS
        values = adhesion_at_speed(name, speeds)
        axes.plot(speeds * 3.6, values, color=style.QUIET, linestyle=dashes, linewidth=1.0)
        text = f"{who} [{ADHESION_FORMULAS[name].mark}]"
        if is_short:
            place = (_KOFFMAN_TO, float(values[-1]) + 0.002)
            axes.text(*place, text, fontsize=8.0, color=style.QUIET, ha="right", va="bottom")
        else:
            labels.append(_Label(float(values[-1]), text, style.QUIET, False))
    return labels


def _draw_scenario(
    axes: Axes, scenario: Scenario, colour: str, marker: str, *, is_shaded: bool
) -> list[_Label]:
    section = scenario.rail.sections[0]
    low = largest_adhesion(scenario)
    look: dict[str, Any] = {"color": colour, "marker": marker, "markersize": 4.5, "markevery": 6}
    axes.plot(SPEEDS * 3.6, low, **look, linewidth=1.8)
    name = scenario.name
    if section.recovered_friction <= section.friction:
        return [_Label(float(low[-1]), name, colour, True)]
    high = largest_adhesion(scenario, np.inf)
    axes.plot(SPEEDS * 3.6, high, **look, linewidth=1.2, markerfacecolor=style.PAPER)
    if is_shaded:
        axes.fill_between(
            SPEEDS * 3.6, low, high, color=colour, alpha=0.08, linewidth=0, gid=style.CONTEXT
        )
    return [
        _Label(float(low[-1]), f"{name}, untouched", colour, True),
        _Label(float(high[-1]), f"{name}, cleaned", colour, True),
    ]


def spread(heights: Sequence[float], gap: float) -> list[float]:
    """Return ascending heights moved apart, as little as can be, until neighbours keep a gap."""
    places = list(heights)
    for _ in range(200):
        for i in range(len(places) - 1):
            overlap = gap - (places[i + 1] - places[i])
            if overlap > 0.0:
                places[i] -= 0.5 * overlap
                places[i + 1] += 0.5 * overlap
    return places


def _write_labels(axes: Axes, labels: Sequence[_Label]) -> None:
    """Write labels at the right end of their lines, moved apart where they would overlap."""
    ordered = sorted(labels)
    places = spread([label.height for label in ordered], 0.035 * axes.get_ylim()[1])
    for place, label in zip(places, ordered, strict=True):
        axes.annotate(
            label.text,
            (200.0, label.height),
            xytext=(208.0, place),
            textcoords="data",
            fontsize=8.0,
            color=label.colour,
            fontweight="bold" if label.is_bold else "normal",
            va="center",
            annotation_clip=False,
            arrowprops={
                "arrowstyle": "-",
                "color": label.colour,
                "linewidth": 0.5,
                "relpos": (0.0, 0.5),
                "shrinkA": 0,
                "shrinkB": 0,
            },
        )

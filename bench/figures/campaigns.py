"""Pictures of many stops: what matters, how strategies spread over rails, the worst rail found."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench.campaign.analysis import Collected
from slipbench.campaign.objectives import OBJECTIVES
from slipbench.campaign.sensitivity import Sensitivity
from slipbench.campaign.worst import WorstRail
from slipbench.figures import style
from slipbench.figures.style import Look
from slipbench.results.shown import METRIC, Shown
from slipbench.scenario import Scenario
from slipbench.statistics.intervals import bootstrap_mean, wilson
from slipbench.stop.stop import Stop

BAR, HEAD, FOOT = 0.27, 0.45, 0.8
"""Height of a bar, and the room above and below. [inch]"""

MOST_BARS = 18
"""Factors drawn of each objective, those that matter most."""


def draw_sensitivity(found: Sensitivity) -> Figure:
    """Draw what matters as bars with their 95 % intervals, a panel an objective, largest first.

    Elementary effects are drawn in the objective's unit, over a factor's whole range; indices as
    shares of the variance: the bar is the total one, the mark what a factor does by itself.
    """
    names = list(found.effects or found.indices)
    n_bars = min(MOST_BARS, len(found.space))
    height = HEAD + FOOT + n_bars * BAR
    with style.styled():
        figure = style.new_figure(height, style.WIDTH * max(1.0, 0.5 * len(names)))
        panels: Any = figure.subplots(1, len(names), squeeze=False)[0]
        for axes, name in zip(panels, names, strict=True):
            if found.effects:
                effect = found.effects[name]
                label = f"moves {name} by [{OBJECTIVES[name].unit}]"
                _bars(axes, found, effect.size, effect.size_interval, label)
            else:
                index = found.indices[name]
                label = f"share in the variance of {name} [-]"
                rows = _bars(axes, found, index.total, index.total_interval, label)
                axes.plot(index.first[rows], range(len(rows)), "D", color=style.VERMILION,
                          markersize=4.5, label="by itself")  # fmt: skip
        said = f"{found.n_stops} stops; line: 95 % interval"
        said += "" if found.effects else "; bar: with others, mark: by itself"
        figure.tight_layout(rect=(0.0, 0.25 / height, 1.0, 1.0 - 0.3 / height))
        figure.text(0.09 / figure.get_figwidth(), 1.0 - 0.1 / height, said, va="top")
        style.write_caution(figure)
    return figure


def _bars(axes: Axes, found: Sensitivity, sizes: Any, intervals: Any, label: str) -> list[int]:
    """Draw a bar a factor, the largest above; return the rows drawn."""
    rows = [int(i) for i in np.argsort(-np.nan_to_num(sizes))[:MOST_BARS]]
    for place, i in enumerate(rows):
        axes.barh(place, max(float(sizes[i]), 0.0), height=0.62, color=style.SKY)
        low, high = (float(end) for end in intervals[i])
        if math.isfinite(low) and math.isfinite(high):
            axes.plot([low, high], [place, place], color=style.INK, linewidth=1.4)
    axes.set_yticks(range(len(rows)), [found.space[i].name.replace("_", " ") for i in rows])
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_xlim(left=0.0)
    axes.set_xlabel(label)
    axes.grid(axis="x")
    style.bare(axes)
    return rows


def draw_campaign(collected: Collected, looks: Mapping[str, Look]) -> Figure:
    """Draw the distances of every candidate over the rails, and its probability of an overrun.

    Left: every rail a dot, the mark the mean with its bootstrap interval; rails it did not stop on
    have no dot and are counted. Right: share of rails overrun, with Wilson's interval.

    Parameters
    ----------
    collected : Collected   with the objective `distance`
    looks : mapping         of every candidate's label, see `style.looks`
    """
    names = list(collected.candidates)
    height = HEAD + FOOT + max(3, len(names)) * 0.34
    with style.styled():
        figure = style.new_figure(height)
        panels: Any = figure.subplots(1, 2, sharey=True, width_ratios=(2.0, 1.0))
        for i, name in enumerate(names):
            _draw_candidate(panels[0], i, collected.table["distance"][name], looks[name])
            n, n_all = collected.n_overruns[name], len(collected.rails)
            chance = wilson(n, n_all)
            panels[1].plot(
                [chance.low, chance.high], [i, i], color=looks[name].colour, linewidth=2.0
            )
            _mark(panels[1], chance.estimate, i, looks[name])
        panels[0].set_yticks(range(len(names)), [name.replace("_", " ")[:34] for name in names])
        panels[0].set_ylim(len(names) - 0.4, -0.6)
        panels[0].set_xlabel("stopping distance, a dot a rail [m]")
        panels[1].set_xlabel("probability of an overrun [-]")
        panels[1].set_xlim(-0.03, 1.03)
        for axes in panels:
            axes.grid(axis="x")
            style.bare(axes)
        said = (
            f"{len(collected.rails)} rails, {collected.n_seeds} stops each; lines: 95 % intervals"
        )
        figure.tight_layout(rect=(0.0, 0.25 / height, 1.0, 1.0 - 0.3 / height))
        figure.text(0.012, 1.0 - 0.1 / height, said, va="top")
        style.write_caution(figure)
    return figure


def _draw_candidate(axes: Axes, y: int, distances: Any, look: Look) -> None:
    there = np.asarray(distances, dtype=float)
    there = there[np.isfinite(there)]
    if not len(there):
        axes.annotate("stopped on no rail", (0.02, y), xycoords=("axes fraction", "data"),
                      va="center")  # fmt: skip
        return
    spread = 0.24 * np.linspace(-1.0, 1.0, len(there)) if len(there) > 1 else np.zeros(1)
    axes.plot(there, y + spread, ".", color=look.colour, markersize=3.5, markeredgewidth=0)
    mean = bootstrap_mean(there)
    if math.isfinite(mean.low):
        axes.plot([mean.low, mean.high], [y, y], color=look.colour, linewidth=2.6)
    _mark(axes, mean.estimate, y, look)


def _mark(axes: Axes, x: float, y: float, look: Look) -> None:
    mark: dict[str, Any] = {"marker": look.marker, "markersize": look.size(6.5)}
    axes.plot([x], [y], color=look.colour, markeredgecolor=style.PAPER, markeredgewidth=0.5,
              linestyle="none", zorder=4, clip_on=False, **mark)  # fmt: skip


def draw_worst_rail(
    found: WorstRail, before: Scenario, stops: Sequence[Stop], shown: Shown = METRIC
) -> Figure:
    """Draw the worst rail found over place, and the stop on it beside that on the rail before.

    Above: static friction of the untouched rail, section by section. Below: speed over place.

    Parameters
    ----------
    found : WorstRail
    before : Scenario   it was searched from
    stops : sequence    on the rail before, then on the worst, with traces
    shown : Shown       units
    """
    names = ("rail it was searched from", "worst rail found")
    reach = max(float(stop.traces["distance"][-1]) for stop in stops) / shown.per_length
    with style.styled():
        figure = style.new_figure(4.6)
        above, below = figure.subplots(2, 1, sharex=True)
        figure.subplots_adjust(left=0.1, right=0.97, top=0.86, bottom=0.16, hspace=0.14)
        for scenario, stop, name, colour, line in zip(
            (before, found.scenario), stops, names, (style.GREY, style.VERMILION), ("--", "-"),
            strict=True,
        ):  # fmt: skip
            place, friction = _profile(scenario, reach * shown.per_length)
            look: dict[str, Any] = {"color": colour, "linestyle": line, "linewidth": 1.8}
            above.plot(
                place / shown.per_length, friction, label=name, drawstyle="steps-post", **look
            )
            way = stop.traces["distance"] / shown.per_length
            below.plot(way, stop.traces["train_speed"] / shown.per_speed, **look)
            below.plot([way[-1]], [0.0], "o", color=colour, markersize=6, clip_on=False)
        above.set_ylim(bottom=0.0)
        above.set_ylabel("friction of the\nuntouched rail [-]")
        above.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.1)
        below.set_ylim(bottom=0.0)
        below.set_xlim(0.0, 1.02 * reach)
        below.set_ylabel(f"train speed [{shown.speed}]")
        below.set_xlabel(f"place, from the train's front at the start [{shown.length}]")
        for axes in (above, below):
            axes.grid(axis="y")
        figure.text(0.1, 0.985, _said(found), va="top")
        style.write_caution(figure)
    return figure


def _said(found: WorstRail) -> str:
    before, worst = f"{found.harm_before:.4g}", f"{found.harm:.4g}"
    return (
        f"{found.strategy.replace('_', ' ')}: {found.harm_name} {worst} on the worst of "
        f"{found.n_rails} rails, {before} before"
    )


def _profile(scenario: Scenario, reach: float) -> tuple[Any, Any]:
    """Return where sections begin [m] and their friction [-], to the end of the picture."""
    sections = scenario.rail.sections
    starts = np.array([max(0.0, float(section.from_distance)) for section in sections])
    friction = np.array([float(section.friction) for section in sections])
    seen = starts < reach
    starts, friction = starts[seen], friction[seen]
    return np.append(starts, reach), np.append(friction, friction[-1])

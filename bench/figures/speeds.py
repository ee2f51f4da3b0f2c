"""Several speeds compared: stopping distance over the starting speed, a panel a rail."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from slipbench.comparison.compare import Comparison
from slipbench.figures import style
from slipbench.figures.compare import dot_style, strategy_legend
from slipbench.figures.panels import rail_panels
from slipbench.figures.style import Look
from slipbench.results.shown import METRIC, Shown
from slipbench.scenario import Scenario


def draw_speeds(comparison: Comparison, looks: Mapping[str, Look], shown: Shown = METRIC) -> Figure:
    """Draw mean stopping distance over starting speed, a line a strategy, with the floor.

    What did not stop in every run has no distance: its mark stands hollow at the top. Bars run from
    the least to the greatest of the seeds.

    Parameters
    ----------
    comparison : Comparison   of scenarios named `RAIL at SPEED`
    looks : mapping           of every strategy, see `style.looks`
    shown : Shown             unit of speed
    """
    rails = rails_of(comparison.scenarios)
    truth = {s.controller.name: s.controller.uses_truth for s in comparison.strategies}
    names = sorted(truth, key=lambda name: truth[name])
    floor = Line2D([], [], label="cannot be shorter than", color=style.INK, linewidth=2.2)
    legend = [*strategy_legend(names, truth, looks), [floor]]
    with rail_panels(len(rails), legend) as (figure, panels):
        for axes, (rail, scenarios) in zip(panels, rails.items(), strict=True):
            for name in names:
                _draw_strategy(axes, comparison, scenarios, name, looks[name], shown)
            _finish(axes, comparison, rail, scenarios, shown)
    return figure


def rails_of(scenarios: Sequence[Scenario]) -> dict[str, list[Scenario]]:
    """Return the scenarios of each rail, slowest first; a name ends in ` at SPEED`."""
    found: dict[str, list[Scenario]] = {}
    for scenario in scenarios:
        found.setdefault(scenario.name.rsplit(" at ", 1)[0], []).append(scenario)
    return {
        rail: sorted(own, key=lambda scenario: scenario.initial_speed)
        for rail, own in found.items()
    }


def _draw_strategy(
    axes: Axes,
    comparison: Comparison,
    scenarios: Sequence[Scenario],
    name: str,
    look: Look,
    shown: Shown,
) -> None:
    scores = [
        next(s for s in comparison.scores(scenario.name) if s.controller == name)
        for scenario in scenarios
    ]
    speeds = [scenario.initial_speed / shown.per_speed for scenario in scenarios]
    marks = dot_style(look, scores[0].uses_truth)
    marks["linestyle"] = "--" if scores[0].uses_truth else "-"
    there = [math.isfinite(score.distance) for score in scores]
    means = [score.distance if math.isfinite(score.distance) else math.nan for score in scores]
    axes.plot(speeds, means, **marks, color=look.colour, linewidth=1.1)
    for speed, score, is_there in zip(speeds, scores, there, strict=True):
        if is_there and score.n_runs > 1:
            ends = [score.shortest_run, score.longest_run]
            axes.plot([speed, speed], ends, color=look.colour, linewidth=1.0)
        elif not is_there:
            over = {**dot_style(look, True), "transform": axes.get_xaxis_transform()}
            axes.plot([speed], [1.0], **over, clip_on=False)


def _finish(
    axes: Axes, comparison: Comparison, rail: str, scenarios: Sequence[Scenario], shown: Shown
) -> None:
    speeds = [scenario.initial_speed / shown.per_speed for scenario in scenarios]
    floors = [comparison.yardsticks[scenario.name].shortest_possible for scenario in scenarios]
    axes.plot(speeds, floors, color=style.INK, linewidth=2.2, zorder=1)
    axes.set_xticks(speeds, [f"{speed:.0f}" for speed in speeds])
    axes.margins(x=0.06)
    axes.set_ylim(bottom=0.0, top=1.08 * max(axes.dataLim.y1, 1.0))
    axes.set_xlabel(f"starting speed [{shown.speed}]")
    axes.set_ylabel("stopping distance [m]")
    axes.annotate(
        rail.replace("_", " "), (0.0, 1.0), xycoords="axes fraction", xytext=(0, 5),
        textcoords="offset points", fontweight="bold",
    )  # fmt: skip
    axes.grid(axis="y")

"""Where to start braking: how much earlier on a poor rail, from which speed, on which gradient?

Question: a driver who begins to brake where the train would stop on good rail passes the stopping
point on a poor one. How much earlier must the brake be on? What if it is always the same 300 yards?
And what does it cost in time?
Source: 300 yards earlier from 75 mph in autumn is common practice (no source), and the friction of
the rail `autumn_guide` was calibrated to it; all other numbers are the model's own. How friction
scatters along the track is assumed: patches of 300 m on the mean, log-normal about the film's.
Scenario: the Elderwick unit (invented), step 3 held, strategy `slip_band`; the films of the
rails `frost`, `autumn_guide` and `wet_leaf` drawn at random along the track, one draw a seed, the
same draws for every speed and gradient. Against it: the same stop on dry rail without slip control.
Run: `python -m slipbench.experiments.where_to_start_braking`
"""

import math
import sys
from collections.abc import Mapping, Sequence
from statistics import fmean, median
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench.experiments.asked import named, own_rails, own_scenario, own_strategy
from slipbench.experiments.notebook import (
    MPH,
    YARD,
    Answer,
    Column,
    Experiment,
    Options,
    Row,
    Run,
    distance_of,
    drawing,
    summaries,
)
from slipbench.figures import style
from slipbench.scenario import DRY_RAIL, GradientSection, Scenario
from slipbench.scenario.rail import RandomFriction
from slipbench.statistics.intervals import wilson
from slipbench.strategies.registry import DRY_STRATEGY

RULE = 300 * YARD
"""How much earlier than on dry rail the driver begins to brake by the rule. [m]"""

SPREAD = 0.3
"""Standard deviation of the logarithm of the friction along the track (assumed). [-]"""

RAILS, QUICK_RAILS = ("frost", "autumn_guide", "wet_leaf"), ("autumn_guide",)
SPEEDS, QUICK_SPEEDS = (30, 45, 60, 75), (30, 75)
"""[mph]"""

LEVEL = "level"
GRADIENTS: Mapping[str, float] = {"1 in 100 down": -0.01, LEVEL: 0.0, "1 in 100 up": 0.01}
COLUMNS = (
    Column("rail"),
    Column("gradient"),
    Column("speed_in_mph", "mph", 0),
    Column("speed_in_km/h", "km/h", 0),
    Column("dry_yards", "yd", 0),
    Column("dry_metres", "m", 0),
    Column("earlier_yards", "yd", 0),
    Column("earlier_metres", "m", 0),
    Column("most_yards", "yd", 0),
    Column("most_metres", "m", 0),
    Column("passes", "-", 2),
    Column("at_least", "-", 2),
    Column("at_most", "-", 2),
    Column("time_lost", "s", 0),
)


def scenario_with(rail: str, gradient: str, mph: float, seed: int | None) -> Scenario:
    """Return a stop on a rail drawn with the seed; on the rail as it is without one."""
    scenario = own_scenario(rail, keeps_rail=rail == DRY_RAIL)
    changes: dict[str, Any] = {"initial_speed": mph * MPH}
    if GRADIENTS[gradient] != 0.0:
        section = GradientSection(from_distance=-1000.0, rise=GRADIENTS[gradient])
        changes["gradient"] = (section,)
    if seed is not None:
        middle = scenario.rail.sections[0].friction
        changes["rail.random"] = RandomFriction(
            seed=seed,
            median_friction=middle,
            spread=SPREAD,
            lowest_friction=0.3 * middle,
            highest_friction=3.0 * middle,
        )
    return scenario.replace(changes)


def investigate(options: Options) -> Answer:
    """Run every speed and gradient on dry rail once, and on every poor rail with every seed."""
    speeds = QUICK_SPEEDS if options.is_quick else SPEEDS
    gradients = (LEVEL,) if options.is_quick else tuple(GRADIENTS)
    n_draws = max(2, options.n_seeds)
    places = [(gradient, mph) for gradient in gradients for mph in speeds]
    rails = own_rails(QUICK_RAILS if options.is_quick else RAILS)
    cases = [(rail, *place) for rail in rails for place in places]
    dry_strategy, strategy = (named(DRY_STRATEGY), own_strategy("slip_band"))
    runs = [Run(scenario_with(DRY_RAIL, *place, None), dry_strategy) for place in places]
    runs += [
        Run(scenario_with(*case, seed), strategy, seed) for case in cases for seed in range(n_draws)
    ]
    found = summaries(runs)
    dry = dict(zip(places, found[: len(places)], strict=True))
    rest = found[len(places) :]
    groups = [rest[i * n_draws : (i + 1) * n_draws] for i in range(len(cases))]
    rows = [_row(case, dry[case[1:]], own) for case, own in zip(cases, groups, strict=True)]
    notes = [
        f"Step 3 held, slip control at work; {n_draws} draws of the rail. Earlier by: half of the "
        "stops need no more.\nPasses: share of stops past the stopping point if braking begins "
        f"{RULE / YARD:.0f} yd ({RULE:.0f} m) earlier than on dry\nrail, with the 95 % interval of "
        "Wilson. Time lost: mean, against running on and stopping as on dry\nrail; a dash where "
        "a train did not stop at all.",
    ]
    return Answer(COLUMNS, rows, sentence(rows), {"where_to_start_braking": draw(rows)}, notes)


def _row(case: tuple[str, str, float], on_dry: Row, own: Sequence[Row]) -> Row:
    rail, gradient, mph = case
    dry = distance_of(on_dry)
    extra = [distance_of(summary) - dry for summary in own]
    normal = [on_dry["stopping_time"] + metres / (mph * MPH) for metres in extra]
    passes = wilson(sum(metres > RULE for metres in extra), len(extra))
    half, most = median(extra), max(extra)
    return {
        "rail": rail,
        "gradient": gradient,
        "speed_in_mph": mph,
        "speed_in_km/h": mph * MPH * 3.6,
        "dry_yards": dry / YARD,
        "dry_metres": dry,
        "earlier_yards": half / YARD,
        "earlier_metres": half,
        "most_yards": most / YARD,
        "most_metres": most,
        "passes": passes.estimate,
        "at_least": passes.low,
        "at_most": passes.high,
        "time_lost": fmean(
            summary["stopping_time"] - time for summary, time in zip(own, normal, strict=True)
        ),
    }


def sentence(rows: Sequence[Row]) -> str:
    """Say for the fastest train on level track what each rail needs and what the rule leaves."""
    fastest = max(row["speed_in_mph"] for row in rows)
    parts = [
        f"on {row['rail']} {_earlier(row['earlier_yards'])} in half of the stops; if it is "
        f"{_yards(RULE / YARD)}, the train passes the stopping point in {row['passes']:.0%} of "
        f"them ({row['at_least']:.0%} to {row['at_most']:.0%}), losing {row['time_lost']:.0f} s"
        for row in rows
        if row["speed_in_mph"] == fastest and row["gradient"] == LEVEL
    ]
    return (
        f"from {fastest:.0f} mph ({fastest * MPH * 3.6:.0f} km/h) on the level the brake must be "
        f"applied {'; '.join(parts)}."
    )


def _yards(yards: float) -> str:
    if not math.isfinite(yards):
        return "without end"
    return f"{yards:.0f} yd ({yards * YARD:.0f} m)"


def _earlier(yards: float) -> str:
    """Say how much earlier: a poor rail may need nothing, or less than the dry one."""
    if math.isfinite(yards) and yards < 0.5:
        return "no earlier" if yards > -0.5 else f"{_yards(-yards)} later"
    return f"{_yards(yards)} earlier"


_LOOKS = {"1 in 100 down": ("v", "--"), LEVEL: ("o", "-"), "1 in 100 up": ("^", ":")}


def draw(rows: Sequence[Row]) -> Figure:
    """Draw how much earlier over speed, a panel a rail, a line a gradient."""
    rails = list(dict.fromkeys(row["rail"] for row in rows))
    with drawing(3.6, ncols=len(rails), sharey=True, squeeze=False) as (figure, panels):
        for axes, rail in zip(panels[0], rails, strict=True):
            _draw_rail(axes, [row for row in rows if row["rail"] == rail])
            axes.annotate(rail.replace("_", " "), (0.0, 1.0), (0, 5), xycoords="axes fraction",
                          textcoords="offset points", fontweight="bold")  # fmt: skip
        first, last = panels[0][0], panels[0][-1]
        shown = [row["most_yards"] for row in rows if math.isfinite(row["most_yards"])]
        first.set_ylim(0.0, 1.35 * max([RULE / YARD, *shown]))  # room for the legend
        first.set_ylabel("brake on earlier than on dry rail [yd]")
        first.legend(
            loc="upper left",
            title="line: half of the stops\nwhisker: the longest",
        )
        metres = last.secondary_yaxis(
            "right", functions=(lambda yards: yards * YARD, lambda m: m / YARD)
        )
        metres.set_ylabel("the same [m]")
    return figure


def _draw_rail(axes: Axes, rows: Sequence[Row]) -> None:
    for gradient, (marker, line) in _LOOKS.items():
        own = [row for row in rows if row["gradient"] == gradient]
        if not own:
            continue
        speeds = [row["speed_in_mph"] for row in own]
        colour = style.COLOURS[1 + list(GRADIENTS).index(gradient)]
        half = [row["earlier_yards"] for row in own]
        most = [
            row["most_yards"] - row["earlier_yards"] if math.isfinite(row["most_yards"]) else 0.0
            for row in own
        ]
        axes.errorbar(
            speeds, half, yerr=([0.0] * len(own), most), color=colour, marker=marker,
            linestyle=line, markersize=4.5, elinewidth=0.8, capsize=2.0, label=gradient,
        )  # fmt: skip
    axes.axhline(RULE / YARD, color=style.QUIET, linewidth=0.9)
    axes.annotate(
        f"rule: {RULE / YARD:.0f} yd", (1.0, RULE / YARD), (-2, 2), fontsize=8.0, va="bottom",
        ha="right", xycoords=("axes fraction", "data"), textcoords="offset points",
        color=style.QUIET,
    )  # fmt: skip
    axes.set_xticks(sorted({row["speed_in_mph"] for row in rows}))
    axes.set_xlabel("speed [mph]")
    axes.grid(axis="y")


EXPERIMENT = Experiment(
    "where_to_start_braking",
    "How much earlier must braking begin on a poor rail, and what does it cost?",
    investigate,
    n_seeds=10,
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())

"""Who cleans the rail: which axles clean, which profit, and how much is a long train worth?

Question: wheels that slide wear the film away for those behind. How much more adhesion does each
axle find than the one before? How much shorter does a longer train stop? And what if the leading
axles slide deeper on purpose?
Source: that a sliding wheel leaves better rail is known from roller trials; by how much is the
cleaning law of the rail `wet_leaf`, with assumed numbers. Full cleaning up to half slip, and less
beyond, is assumed too (`rail.full_cleaning_slip`).
Scenario: the Elderwick unit (invented) with 2 to 12 cars, `wet_leaf`, step 3 from 75 mph
(`--quick`: 50 mph). Strategy `train_coordinated`: the first four axles slide at the depth named,
all others are held at a slip of 0.04.
Run: `python -m slipbench.experiments.who_cleans_the_rail`
"""

import math
import sys
from collections.abc import Sequence
from statistics import fmean
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench import Controller, controllers, simulate
from slipbench.experiments.asked import own_scenario
from slipbench.experiments.notebook import (
    MPH,
    Answer,
    Column,
    Experiment,
    Options,
    Row,
    Run,
    distance_of,
    drawing,
    in_parallel,
)
from slipbench.figures import style
from slipbench.figures.adhesion_speed import spread
from slipbench.figures.conditioning import moving_mean, shown_axles
from slipbench.figures.rail_map import MEAN_OVER, RailMet, rail_met
from slipbench.results.wording import is_alike, listed, stops
from slipbench.scenario import Scenario

LENGTHS, QUICK_LENGTHS = (2, 4, 6, 8, 10, 12), (2, 4)
GRIP = 0.04
DEPTHS, QUICK_DEPTHS = (GRIP, 0.1, 0.3, 0.5, 0.7), (GRIP, 0.5)
"""Slip of the leading axles; the first is that of all others. [-]"""

N_LEADING, SHOWN_LENGTH = 4, 4
COLUMNS = (
    Column("cars", "", 0),
    Column("leading_slip", "-", 2),
    Column("distance", "m", 0),
    Column("first_axle_adhesion", "-", 4),
    Column("fifth_axle_adhesion", "-", 4),
    Column("last_axle_adhesion", "-", 4),
    Column("last_over_first", "-", 2),
    Column("longest_lock", "s", 1),
)


def train_of(scenario: Scenario, n_cars: int) -> Scenario:
    """Return the stop of a unit with so many cars: motor cars at both ends, trailers between."""
    first, trailer, *_, last = scenario.train.vehicles
    return scenario.replace({"train.vehicles": (first, *[trailer] * (n_cars - 2), last)})


def scenario_with(n_cars: int, *, is_quick: bool) -> Scenario:
    """Return the stop of a train of so many cars."""
    scenario = own_scenario("wet_leaf").replace({"initial_speed": (50 if is_quick else 75) * MPH})
    return train_of(scenario, n_cars)


def strategy_with(n_axles: int, depth: float) -> Controller:
    """Return the strategy whose first axles slide so deep; at the grip's slip none does."""
    share = N_LEADING / n_axles if depth > GRIP else 0.0
    values = {"cleaning_share": share, "grip_slip": GRIP}
    if depth > GRIP:
        values["deep_slip"] = depth
    return controllers.by_name("train_coordinated").with_parameters(**values)


def _by_axle(run: Run) -> tuple[dict[str, Any], list[float]]:
    """Run a stop; return its summary, and each axle's used adhesion."""
    stop = simulate(run.scenario, run.controller, run.seed, with_traces=False)
    return dict(stop.summary), stop.worth.adhesion.used.tolist()


def investigate(options: Options) -> Answer:
    """Run every length and depth; look at the rail behind one train."""
    lengths = QUICK_LENGTHS if options.is_quick else LENGTHS
    depths = QUICK_DEPTHS if options.is_quick else DEPTHS
    n, cases = options.n_seeds, [(cars, depth) for cars in lengths for depth in depths]
    scenarios = {cars: scenario_with(cars, is_quick=options.is_quick) for cars in lengths}
    runs = [
        Run(scenarios[cars], strategy_with(scenarios[cars].train.n_axles, depth), seed)
        for cars, depth in cases
        for seed in range(n)
    ]
    found = in_parallel(_by_axle, runs)
    groups = [found[i * n : (i + 1) * n] for i in range(len(cases))]
    used = {
        case: np.mean([by_axle for _, by_axle in own], axis=0)
        for case, own in zip(cases, groups, strict=True)
    }
    rows = [
        _row(case, [summary for summary, _ in own], used[case])
        for case, own in zip(cases, groups, strict=True)
    ]
    shown = scenarios[SHOWN_LENGTH]
    met = rail_met(simulate(shown, strategy_with(shown.train.n_axles, GRIP)))
    note = (
        f"Means over {n} seed(s). Adhesion is rail force over axle load, mean over the way. The "
        f"first {N_LEADING} axles\nslide at the leading slip, all others at {GRIP:g}."
    )
    picture = {"who_cleans_the_rail": draw(rows, used, met)}
    return Answer(COLUMNS, rows, sentence(rows), picture, [note])


def _row(case: tuple[int, float], own: Sequence[Row], used: Any) -> Row:
    return {
        "cars": case[0],
        "leading_slip": case[1],
        "distance": fmean(map(distance_of, own)),
        "first_axle_adhesion": used[0],
        "fifth_axle_adhesion": used[N_LEADING],
        "last_axle_adhesion": used[-1],
        "last_over_first": used[-1] / used[0],
        "longest_lock": fmean(summary["longest_lock"] for summary in own),
    }


def sentence(rows: Sequence[Row]) -> str:
    """Say what the last axle finds, what length is worth, and what deep leading axles do."""
    alike = [row for row in rows if row["leading_slip"] == GRIP]
    shown = next(row for row in alike if row["cars"] == SHOWN_LENGTH)
    deeper = [row for row in rows if row["cars"] == SHOWN_LENGTH and row["leading_slip"] != GRIP]
    lengths = [f"one of {row['cars']} cars {stops(row['distance'])}" for row in alike]
    said = f"of trains with all axles at a slip of {GRIP:g}, {_last_axle(shown)}"
    return f"{said}; {listed(lengths)}; {_deeper(shown, deeper)}."


def _last_axle(shown: Row) -> str:
    ratio, who = shown["last_over_first"], f"the last axle of {SHOWN_LENGTH} cars"
    if not math.isfinite(ratio):
        return f"what {who} uses cannot be told"
    if is_alike(ratio, 1.0, 0.005):
        return f"{who} uses as much adhesion as the first: none is seen to clean for those behind"
    if ratio < 1.0:
        return f"{who} uses less adhesion than the first, {ratio:.2f} of it"
    return f"{who} uses {ratio:.2f} times the adhesion of the first: those before it cleaned"


def _deeper(shown: Row, deeper: Sequence[Row]) -> str:
    best = min(deeper, key=lambda row: row["distance"], default=shown)
    if is_alike(best["distance"], shown["distance"]) or not best["distance"] < shown["distance"]:
        return "deeper leading axles do not shorten that stop"
    return (
        f"leading axles at a slip of {best['leading_slip']:g} shorten that stop of "
        f"{SHOWN_LENGTH} cars to {best['distance']:.0f} m"
    )


def draw(rows: Sequence[Row], used: Any, met: RailMet) -> Figure:
    """Draw adhesion by axle, distance over slip depth by length, and friction along the track."""
    with drawing(6.6) as (figure, axes):
        axes.remove()
        grid = figure.add_gridspec(2, 2)
        _draw_axles(figure.add_subplot(grid[0, 0]), used)
        _draw_depths(figure.add_subplot(grid[0, 1]), rows)
        _draw_track(figure.add_subplot(grid[1, :]), met)
    return figure


def _draw_axles(axes: Axes, used: Any) -> None:
    lengths = list(dict.fromkeys(cars for cars, _ in used))
    deep = 0.5
    for depth, colour, marker, label in (
        (GRIP, style.BLUE, "o", f"all axles at {GRIP:g}"),
        (deep, style.VERMILION, "s", f"first {N_LEADING} at {deep:g}"),
    ):
        numbers = used[lengths[-1], depth]
        place = np.arange(1, len(numbers) + 1)
        axes.plot(place, numbers, color=colour, marker=marker, markersize=3.5, label=label)
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel(f"axle of a train of {lengths[-1]} cars, from the front")
    axes.set_ylabel("adhesion used [-]")
    axes.grid(axis="y")
    axes.legend(title="slip", loc="lower right")


def _draw_depths(axes: Axes, rows: Sequence[Row]) -> None:
    lengths = list(dict.fromkeys(row["cars"] for row in rows))
    ends = {cars: [r["distance"] for r in rows if r["cars"] == cars][-1] for cars in lengths}
    finite = {cars: end for cars, end in ends.items() if math.isfinite(end)}
    reach = [row["distance"] for row in rows if math.isfinite(row["distance"])] or [0.0, 1.0]
    order = sorted(finite, key=finite.__getitem__)
    gap = 0.075 * max(max(reach) - min(reach), 1.0)
    labels = dict(zip(order, spread([finite[cars] for cars in order], gap), strict=True))
    for i, cars in enumerate(lengths):
        own = [row for row in rows if row["cars"] == cars]
        depths, distances = ([row[k] for row in own] for k in ("leading_slip", "distance"))
        colour, marker = style.COLOURS[i % 8], style.MARKERS[i % 8]
        axes.plot(depths, distances, color=colour, marker=marker, markersize=4.5)
        axes.annotate(
            f"{cars} cars", (depths[-1], labels.get(cars, min(reach))), (6, 0), va="center",
            textcoords="offset points", fontsize=8, color=style.INK,
        )  # fmt: skip
    axes.set_xlim(0.0, max(row["leading_slip"] for row in rows) * 1.25)
    axes.set_xlabel(f"slip of the first {N_LEADING} axles [-]")
    axes.set_ylabel("stopping distance [m]")
    axes.grid(axis="y")


def _draw_track(axes: Axes, met: RailMet) -> None:
    n_axles = len(met.friction) - 1
    shown = [*shown_axles(n_axles), n_axles + 1]
    shades = ("0.5", "0.45", "0.38", "0.28", "0.15", "0.0", "0.0")
    widths = (0.9, 1.0, 1.1, 1.3, 1.5, 1.8, 1.8)
    last = ""
    for i, axle in enumerate(shown):
        friction = moving_mean(met.friction[axle - 1], round(MEAN_OVER / met.cell_length))
        is_left = axle > n_axles
        last = f"axle {axle}" if not is_left else "left behind"
        axes.plot(
            met.place,
            friction,
            color=style.BLUE if is_left else shades[min(i, len(shades) - 1)],
            linestyle="--" if is_left else "-",
            linewidth=widths[min(i, len(widths) - 1)],
            label=last,
        )
    axes.set_xlim(left=0.0)
    axes.set_xlabel(f"place, from where braking began [m]; {SHOWN_LENGTH} cars, slip {GRIP:g}")
    axes.set_ylabel("friction met [-]")
    axes.grid(axis="y")
    axes.legend(
        ncols=len(shown), loc="lower left", bbox_to_anchor=(0.0, 1.0), columnspacing=1.2,
        borderaxespad=0.1,
    )  # fmt: skip


EXPERIMENT = Experiment(
    "who_cleans_the_rail",
    "Which axles clean the rail, which profit, and how much is a long train worth?",
    investigate,
    n_seeds=2,
    sets={"strategy": "the slip of leading axles is its question, held by train_coordinated"},
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())

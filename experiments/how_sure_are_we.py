"""How sure are we: what moves a stopping distance, the computation, chance, or what was assumed?

Question: a distance comes out to the metre. How much of it is the time step, the rail cells, the
phase at which slip control happens to sample, the strategy's settings, the equipment, or the rail,
most of whose numbers are assumed?
Source: the ranges of the rail are `slipbench.campaign.variation` (assumed); the strategy's
parameters go from half to twice their defaults, within their bounds; delays of the valves go over
the 20 to 50 ms known from memory. Importance is the mean size of elementary effects: M. D. Morris,
Technometrics 33 (1991) 161-174 (from memory), as in `slipbench sensitivity`.
Scenario: the Elderwick unit (invented), `wet_leaf`, step 3 from 75 mph (`--quick`: 40 mph, and a
few of the factors); strategy `slip_band`.
Run: `python -m slipbench.experiments.how_sure_are_we`
"""

import math
import sys
from collections.abc import Mapping, Sequence
from statistics import fmean, stdev
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from slipbench import Controller
from slipbench.campaign.variation import (
    FILM,
    RAIL_ASSUMPTIONS,
    parameter_space,
    parameters_at,
    scenario_at,
)
from slipbench.experiments.asked import own_scenario, own_strategy
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
    summaries,
)
from slipbench.figures import style
from slipbench.results.wording import is_alike, listed
from slipbench.scenario import Scenario
from slipbench.statistics.designs import Factor, Space, scaled
from slipbench.statistics.effects import elementary_effects, morris_design
from slipbench.statistics.intervals import bootstrap_mean

COMPUTATION, CHANCE, STRATEGY, EQUIPMENT, RAIL = (
    "computation", "chance", "strategy", "equipment", "rail"
)  # fmt: skip
FINER: Mapping[str, tuple[str, float, str]] = {
    "time step": ("run.maximum_step", 0.0025, "s"),
    "rail cell": ("rail.cell_length", 0.25, "m"),
}
"""What is computed more finely: path, value (a quarter of the shipped one) and unit."""

DELAYS: Space = (Factor("brake.fill_delay", 0.02, 0.05), Factor("brake.vent_delay", 0.02, 0.05))
N_PATHS, QUICK_PATHS = 5, 1
"""Trajectories of the design; each goes through every factor once."""

QUICK_FACTORS = ("vent_slip", "film.friction", "film.cleaning_work")
COLUMNS = (
    Column("kind"),
    Column("what"),
    Column("change"),
    Column("moves_the_distance_by", "m", 2),
    Column("share", "-", 5),
    Column("at_least", "m", 2),
    Column("at_most", "m", 2),
    Column("longer_upwards", "m", 1),
)


def base_scenario(*, is_quick: bool) -> Scenario:
    """Return the stop asked about."""
    scenario = own_scenario("wet_leaf")
    return scenario.replace({"initial_speed": 40 * MPH}) if is_quick else scenario


def space_of(controller: Controller, *, is_quick: bool) -> Space:
    """Return what is varied: the strategy's parameters, the valves' delays, the rail."""
    pairs = zip(controller.parameters, controller.parameter_values.tolist(), strict=True)
    values = {parameter.name: value for parameter, value in pairs}
    own = tuple(
        Factor(f.name, max(f.low, 0.5 * values[f.name]), min(f.high, 2.0 * values[f.name]))
        for f in parameter_space(controller)
    )
    space = (*own, *DELAYS, *RAIL_ASSUMPTIONS)
    return tuple(f for f in space if f.name in QUICK_FACTORS) if is_quick else space


def kind_of(factor: Factor) -> str:
    """Return what kind of thing a factor is."""
    if "." not in factor.name:
        return STRATEGY
    return EQUIPMENT if factor.name.startswith("brake.") else RAIL


def change_of(factor: Factor, controller: Controller) -> str:
    """Return the range of a factor in words: with its unit, or as a multiple of what is shipped."""
    between = f"{factor.low:.3g} to {factor.high:.3g}"
    if factor.name in FILM and FILM[factor.name].doc.startswith("times"):
        return f"{between} times"
    units = {p.name: p.unit for p in controller.parameters}
    units |= {f.name: "s" for f in DELAYS} | {"film.friction_decay": "s/m"}
    return f"{between} {units.get(factor.name, '-')}".removesuffix(" -")


def investigate(options: Options) -> Answer:
    """Run the stop over seeds, computed more finely, and with everything else moved."""
    scenario, strategy = base_scenario(is_quick=options.is_quick), own_strategy("slip_band")
    space, seeds = space_of(strategy, is_quick=options.is_quick), range(max(2, options.n_seeds))
    paths = morris_design(len(space), QUICK_PATHS if options.is_quick else N_PATHS)
    computed = [scenario, *(scenario.replace({path: value}) for path, value, _ in FINER.values())]
    runs = [Run(variant, strategy, seed) for variant in computed for seed in seeds]
    for point in scaled(space, paths.reshape(-1, len(space))).tolist():
        tuned = strategy.with_parameters(**parameters_at(space, point))
        runs.append(Run(scenario_at(scenario, space, point), tuned))
    found, n = summaries(runs), len(seeds)
    base, *finer = (
        np.array([distance_of(s) for s in found[i * n : (i + 1) * n]]) for i in range(len(computed))
    )
    reached = np.array([summary["final_distance"] for summary in found[len(computed) * n :]])
    rows = [
        _computed_row(name, scenario, base, own) for name, own in zip(FINER, finer, strict=True)
    ]
    rows.append(_chance_row(base))
    effects = elementary_effects(paths, reached.reshape(paths.shape[:2]))
    rows += sorted(
        (
            _effect_row(factor, strategy, float(size), float(mean), float(base.mean()))
            for factor, size, mean in zip(space, effects.size, effects.mean, strict=True)
        ),
        key=lambda row: -row["moves_the_distance_by"],
    )
    notes = [
        f"Against {base.mean():.1f} m, the mean of {n} seeds. Computation: difference to the finer "
        "one, paired, with the 95 %\ninterval of its mean. Chance: standard deviation from seed to "
        f"seed. Else: mean size of {len(paths)} effect(s) of the whole\nrange, with interactions "
        "in it; longer upwards: the signed mean. Names: `slipbench.campaign.variation`."
    ]
    return Answer(COLUMNS, rows, sentence(rows), {"how_sure_are_we": draw(rows)}, notes)


def _computed_row(name: str, scenario: Scenario, base: Any, finer: Any) -> Row:
    path, finer_value, unit = FINER[name]
    value: Any = scenario
    for part in path.split("."):
        value = getattr(value, part)
    difference = bootstrap_mean(base - finer)
    return {
        "kind": COMPUTATION,
        "what": name,
        "change": f"{value:g} to {finer_value:g} {unit}",
        "moves_the_distance_by": abs(difference.estimate),
        "share": abs(difference.estimate) / float(base.mean()),
        "at_least": difference.low,
        "at_most": difference.high,
        "longer_upwards": difference.estimate,
    }


def _chance_row(base: Any) -> Row:
    spread = stdev(base.tolist())
    row = {"kind": CHANCE, "what": "seed", "change": f"{len(base)} seeds"}
    row |= {"moves_the_distance_by": spread, "share": spread / fmean(base.tolist())}
    return {**row, "at_least": math.nan, "at_most": math.nan, "longer_upwards": math.nan}


def _effect_row(factor: Factor, strategy: Controller, size: float, mean: float, base: float) -> Row:
    return {
        "kind": kind_of(factor),
        "what": factor.name,
        "change": change_of(factor, strategy),
        "moves_the_distance_by": size,
        "share": size / base,
        "at_least": math.nan,
        "at_most": math.nan,
        "longer_upwards": mean,
    }


def sentence(rows: Sequence[Row]) -> str:
    """Say what moves the distance most of each kind, and which kind decides."""
    largest: dict[str, Row] = {}
    for row in rows:
        known = largest.setdefault(row["kind"], row)
        if row["moves_the_distance_by"] > known["moves_the_distance_by"]:
            largest[row["kind"]] = row
    parts = [
        f"{kind} {_metres(row['moves_the_distance_by'])} ({row['what']})"
        for kind, row in largest.items()
    ]
    return f"the largest movers of the distance, kind by kind: {', '.join(parts)}; " + _decides(
        {kind: float(row["moves_the_distance_by"]) for kind, row in largest.items()}
    )


def _decides(sizes: Mapping[str, float]) -> str:
    """Say which kind decides, against the error of the computation, in metres alone."""
    most = max(sizes.values())
    first = [kind for kind, size in sizes.items() if is_alike(size, most, 0.05)]
    error = sizes.get(COMPUTATION, math.nan)
    if COMPUTATION in first:
        return "the computation itself moves it as much as anything: these numbers decide nothing."
    who = f"the {listed(first)} {'decides' if len(first) == 1 else 'decide alike'}"
    if not math.isfinite(error):
        return f"{who}."
    return f"{who}; what the computation is unsure of is {_metres(error)}."


def _metres(value: float) -> str:
    return f"{value:.0f} m" if value >= 10.0 else f"{value:.2g} m"


_MARKS = {
    COMPUTATION: (style.BLACK, "X"),
    CHANCE: (style.GREY, "D"),
    STRATEGY: (style.BLUE, "o"),
    EQUIPMENT: (style.GREEN, "^"),
    RAIL: (style.VERMILION, "s"),
}


def draw(rows: Sequence[Row]) -> Figure:
    """Draw how far each thing moves the distance, the farthest first, on a logarithmic scale."""
    ordered = sorted(rows, key=lambda row: -row["moves_the_distance_by"])
    sizes = [row["moves_the_distance_by"] for row in ordered if row["moves_the_distance_by"] > 0.0]
    least = 10.0 ** math.floor(math.log10(min(sizes)))
    with drawing(0.24 * len(rows) + 1.6) as (figure, axes):
        for kind, (colour, marker) in _MARKS.items():
            own = [(i, row) for i, row in enumerate(ordered) if row["kind"] == kind]
            places = [i for i, _ in own]
            values = [max(row["moves_the_distance_by"], least) for _, row in own]
            axes.hlines(places, least, values, color=colour, linewidth=1.0)
            axes.plot(values, places, marker, color=colour, label=kind)
            for i, row in own:  # chance comes with an interval of its own
                ends = [max(row["at_least"], least), max(row["at_most"], least)]
                if all(map(math.isfinite, ends)):
                    axes.plot(ends, [i, i], color=colour, linewidth=3.0)
        axes.set_xscale("log")
        axes.set_xlim(left=least)
        axes.xaxis.set_major_formatter("{x:g}")
        axes.set_yticks(range(len(rows)), [_label(row) for row in ordered])
        axes.invert_yaxis()
        axes.set_xlabel("moves the stopping distance by [m], logarithmic scale")
        axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=5, borderaxespad=0.1)
        axes.grid(axis="x")
        style.bare(axes)
    return figure


def _label(row: Row) -> str:
    return f"{row['what'].replace('_', ' ')}, {row['change']}"


EXPERIMENT = Experiment(
    "how_sure_are_we",
    "What moves a stopping distance: the computation, chance, or what was assumed?",
    investigate,
    n_seeds=16,
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())

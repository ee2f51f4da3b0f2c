"""How sure are we? What moves a stopping distance: numerics, chance, and what was assumed.

Question: a distance comes out as 1353.2 m. How many of these figures mean something?
Source: the ranges below are choices: half and double where a value is a guess of magnitude, a fifth
up and down where a magnitude is known (all assumed; `slipbench show wet_leaf` marks each value).
Scenario: the Elderwick unit E4 (invented) on `wet_leaf`, step 3 from 75 mph, strategies `slip_band`
and `cleaning_balance`. `--quick`: `slip_band` from 30 mph.
Run: `python -m experiments.how_sure_are_we` (variance-based: `slipbench sensitivity --help`)
"""

import sys
from collections.abc import Sequence
from statistics import fmean, stdev

from matplotlib.figure import Figure

import controllers
from bench import load_scenario
from bench.contract import Controller
from bench.figures import style
from bench.scenario import Scenario
from experiments.notebook import (
    Answer,
    Column,
    Experiment,
    Options,
    Row,
    Run,
    drawing,
    summaries,
)

MPH = 0.44704
STRATEGIES = ("slip_band", "cleaning_balance")

NUMERICS, CHANCE, ASSUMED = "numerics", "chance", "assumed"
SECTION = "rail.sections.0."

CHANGES: Sequence[tuple[str, str, str, tuple[float, float]]] = (
    (NUMERICS, "time step, half and double", "run.maximum_step", (0.5, 2.0)),
    (NUMERICS, "rail cell, quarter and half", "rail.cell_length", (0.25, 0.5)),
    (ASSUMED, "friction of the film, a fifth", SECTION + "friction", (0.8, 1.2)),
    (ASSUMED, "friction once cleaned, a fifth", SECTION + "recovered_friction", (0.8, 1.2)),
    (ASSUMED, "cleaning work, half and double", SECTION + "cleaning_work", (0.5, 2.0)),
    (ASSUMED, "shape of the creep curve A, a fifth", SECTION + "friction_ratio", (0.8, 1.2)),
    (ASSUMED, "its decay B, half and double", SECTION + "friction_decay", (0.5, 2.0)),
    (ASSUMED, "slip of full cleaning, a fifth", "rail.full_cleaning_slip", (0.8, 1.2)),
    (ASSUMED, "cleaning by locked wheels, none and 4x", "rail.locked_cleaning_share", (0.0, 4.0)),
    (ASSUMED, "rail crown radius, a fifth", "rail.crown_radius", (0.8, 1.2)),
)
"""Kind, label, key, and the factors tried."""

COLUMNS = (
    Column("strategy"),
    Column("kind"),
    Column("what"),
    Column("lower", "%", 2),
    Column("upper", "%", 2),
    Column("half_width", "%", 2),
)


def changed(scenario: Scenario, key: str, factor: float) -> Scenario:
    """Return the scenario with one value multiplied."""
    value = scenario
    for part in key.split("."):
        value = value[int(part)] if part.isdigit() else getattr(value, part)  # type: ignore[index]
    return scenario.replace({key: factor * float(value)})  # type: ignore[arg-type]


def investigate(options: Options) -> Answer:
    """Run every change with the same seeds, and tell how far each moves the mean distance."""
    scenario = load_scenario("wet_leaf")
    if options.is_quick:
        scenario = scenario.replace(initial_speed=30 * MPH)
    n_seeds = max(options.n_seeds, 2)
    rows: list[Row] = []
    for name in STRATEGIES[:1] if options.is_quick else STRATEGIES:
        rows += _rows(scenario, controllers.by_name(name), n_seeds)
    notes = [
        f"Change of the mean distance over {n_seeds} seeds, low and high value each, in per cent; "
        "chance: half-width of the 95 % range of single seeds. The assumed ones are choices of "
        "range: they say what matters, not how likely it is."
    ]
    return Answer(COLUMNS, rows, sentence(rows), {"how_sure_are_we": draw(rows)}, notes)


def _rows(scenario: Scenario, strategy: Controller, n_seeds: int) -> list[Row]:
    variants = [scenario]
    for _, _, key, factors in CHANGES:
        variants += [changed(scenario, key, factor) for factor in factors]
    runs = [Run(own, strategy, seed) for own in variants for seed in range(n_seeds)]
    found = [float(stop["stopping_distance"]) for stop in summaries(runs)]
    groups = [found[i * n_seeds : (i + 1) * n_seeds] for i in range(len(variants))]
    base = fmean(groups[0])
    spread = 100.0 * 1.96 * stdev(groups[0]) / base
    name = strategy.name
    rows: list[Row] = [_row(name, CHANCE, "sensor phases, one seed to the next", -spread, spread)]
    for i, (kind, what, _, _) in enumerate(CHANGES):
        pair = [100.0 * (fmean(groups[1 + 2 * i + k]) / base - 1.0) for k in (0, 1)]
        rows.append(_row(name, kind, what, min(pair), max(pair)))
    return rows


def _row(strategy: str, kind: str, what: str, lower: float, upper: float) -> Row:
    width = max(abs(lower), abs(upper))
    row = {"strategy": strategy, "kind": kind, "what": what}
    return {**row, "lower": lower, "upper": upper, "half_width": width}


def sentence(rows: Sequence[Row]) -> str:
    """Compare the largest of each kind, for the first strategy."""
    own = [row for row in rows if row["strategy"] == rows[0]["strategy"]]
    largest = {
        kind: max((row for row in own if row["kind"] == kind), key=lambda row: row["half_width"])
        for kind in (NUMERICS, CHANCE, ASSUMED)
    }
    worst = largest[ASSUMED]
    return (
        f"with {rows[0]['strategy']}, step and cell move the mean distance by up to "
        f"{largest[NUMERICS]['half_width']:.2f} %, one seed to the next by "
        f"{largest[CHANCE]['half_width']:.1f} %, and what was assumed by up to "
        f"{worst['half_width']:.0f} % ({worst['what']}): the rail decides, not the arithmetic."
        if worst["half_width"] > 3.0 * largest[NUMERICS]["half_width"]
        else f"with {rows[0]['strategy']}, step and cell move the mean distance by up to "
        f"{largest[NUMERICS]['half_width']:.2f} %, as much as a third of what was assumed "
        f"({worst['half_width']:.2f} %): the arithmetic is not fine enough here."
    )


def draw(rows: Sequence[Row]) -> Figure:
    """Draw one bar a cause, both ways from no change, a panel a strategy."""
    names = list(dict.fromkeys(str(row["strategy"]) for row in rows))
    colours = {NUMERICS: style.COLOURS[1], CHANCE: style.COLOURS[2], ASSUMED: style.QUIET}
    widest = 1.25 * max(row["half_width"] for row in rows)
    with drawing(3.9, ncols=len(names), squeeze=False, sharey=True) as (figure, (panels,)):
        for axes, name in zip(panels, names, strict=True):
            own = [row for row in rows if row["strategy"] == name]
            for i, row in enumerate(own):
                axes.barh(
                    i,
                    row["upper"] - row["lower"],
                    0.6,
                    row["lower"],
                    color=colours[str(row["kind"])],
                )
                axes.annotate(
                    f" {row['half_width']:.2g} %",
                    (max(row["upper"], 0.0), i),
                    va="center",
                    fontsize=7.5,
                )
            axes.axvline(0.0, color=style.INK, linewidth=1.0)
            axes.set_yticks(range(len(own)), [f"{row['what']}" for row in own], fontsize=8)
            axes.set_xlim(-widest, widest)
            axes.set_xlabel(f"change of the distance, {name} [%]")
            axes.grid(axis="x")
        panels[0].invert_yaxis()
        handles = [
            panels[0].barh(0, 0, color=colour, label=kind) for kind, colour in colours.items()
        ]
        panels[0].legend(handles=handles, loc="lower left", fontsize=7.5)
    return figure


EXPERIMENT = Experiment(
    "how_sure_are_we", "How sure are we of a stopping distance?", investigate, n_seeds=8
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())

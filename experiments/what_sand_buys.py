"""What does sand buy, how many metres for one sander or two, fixed or variable?

Question: a published trial gives the stopping distance of a unit with no, one and two sanders, at a
fixed rate and at one that follows speed. What does the model say beside it? And what of other
rails and speeds, where nothing was published?
Source: RSSB T1107 sanding trial as reported in Rail Engineer, 12 February 2018. The model's sand
law was calibrated to these very distances: its two free numbers to the four with sand, and the
film's cleaning work to "more than 1200 m" without. So the rows of the trial validate nothing: they
show how closely the law can be made to follow. The other rows are the model's own predictions.
Scenario: the Elderwick unit (invented), step 3, strategy `slip_band`: the presets `tough_film`
and `_tough_film_one_fixed` to `_two_variable` from 55 mph; the same sanders from 75 mph and, from
55 mph, on the film of `wet_leaf`.
Run: `python -m slipbench.experiments.what_sand_buys`
"""

import math
import sys
from collections.abc import Mapping, Sequence
from statistics import fmean
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench import load_scenario
from slipbench.experiments.asked import own_scenario, own_strategy
from slipbench.experiments.notebook import (
    MPH,
    Answer,
    Column,
    Experiment,
    Options,
    Row,
    distance_of,
    drawing,
    over_seeds,
)
from slipbench.figures import style
from slipbench.results.wording import compared, stops
from slipbench.scenario import Scenario

NO_SAND = "no sand"
PRESETS: Mapping[str, tuple[str, float]] = {
    NO_SAND: ("tough_film", 1200.0),
    "one fixed": ("_tough_film_one_fixed", 800.0),
    "two fixed": ("_tough_film_two_fixed", 650.0),
    "one variable": ("_tough_film_one_variable", 600.0),
    "two variable": ("_tough_film_two_variable", 400.0),
}
"""Preset, and the published distance [m]; without sand it is "more than"."""

TRIAL, FASTER, LEAF = "trial, 55 mph", "tough_film, 75 mph", "wet_leaf, 55 mph"
COLUMNS = (
    Column("rail"),
    Column("sanders"),
    Column("published", "m", 0),
    Column("model", "m", 0),
    Column("model_over_published", "-", 2),
    Column("shorter_than_no_sand", "m", 0),
    Column("sand_per_rail", "kg", 2),
    Column("metres_per_kg", "m/kg", 0),
    Column("longest_lock", "s", 1),
)


def scenario_with(rail: str, sanders: str) -> Scenario:
    """Return the stop of a unit with these sanders."""
    scenario = own_scenario(PRESETS[sanders][0])
    changes: dict[str, Any] = {}
    if rail == FASTER:
        changes["initial_speed"] = 75 * MPH
    if rail == LEAF:
        changes["rail.sections"] = load_scenario("wet_leaf").rail.sections
    return scenario.replace(changes)


def investigate(options: Options) -> Answer:
    """Run the trial's five rows, and the same sanders elsewhere."""
    rails = (TRIAL,) if options.is_quick else (TRIAL, FASTER, LEAF)
    strategy = own_strategy("slip_band")
    cases = [(rail, sanders) for rail in rails for sanders in PRESETS]
    found = over_seeds([(scenario_with(*case), strategy) for case in cases], options.n_seeds)
    without: dict[str, float] = {}
    rows = []
    for (rail, sanders), own in zip(cases, found, strict=True):
        distance = fmean(map(distance_of, own))
        without.setdefault(rail, distance)
        published = PRESETS[sanders][1] if rail == TRIAL else math.nan
        shorter, used = without[rail] - distance, fmean(sum(s["sand_used"]) for s in own)
        row = {"rail": rail, "sanders": sanders, "published": published, "model": distance}
        row["model_over_published"] = distance / published
        row |= {"shorter_than_no_sand": shorter, "sand_per_rail": used}
        row["metres_per_kg"] = shorter / used if used else math.nan
        rows.append({**row, "longest_lock": fmean(s["longest_lock"] for s in own)})
    note = (
        f"Means over {options.n_seeds} seed(s). Published: RSSB T1107 as reported in Rail Engineer"
        ", 12 Feb 2018;\nwithout sand it says more than 1200 m. The sand law was calibrated to "
        "these distances: the rows\nof the trial are no test of it. Sand is that of one rail."
    )
    return Answer(COLUMNS, rows, sentence(rows), {"what_sand_buys": draw(rows)}, [note])


def sentence(rows: Sequence[Row]) -> str:
    """Say what the sanders save, how far the calibrated model is off, and what it predicts."""
    trial = {row["sanders"]: row for row in rows if row["rail"] == TRIAL}
    sanded = [row for name, row in trial.items() if name != NO_SAND]
    worst = max(sanded, key=lambda row: abs(row["model_over_published"] - 1.0))
    others = [
        f"on {rail} {_saved(rows, rail)}"
        for rail in dict.fromkeys(row["rail"] for row in rows)
        if rail != TRIAL
    ]
    more = f"; the model predicts {', '.join(others)}" if others else ""
    return (
        f"in the model, without sand the trial's train {stops(trial[NO_SAND]['model'])}, with sand "
        f"{_saved(rows, TRIAL)}; calibrated to the published distances it is off by up to "
        f"{abs(worst['model_over_published'] - 1.0):.0%} ({worst['sanders']}){more}."
    )


def _saved(rows: Sequence[Row], rail: str) -> str:
    """Say from the least to the most by how much sand shortens a stop, or lengthens it."""
    own = [r for r in rows if r["rail"] == rail and r["sanders"] != NO_SAND]
    ends = [choose(own, key=lambda row: row["shorter_than_no_sand"]) for choose in (min, max)]
    said = [
        compared(row["shorter_than_no_sand"], "m", 0, "shorter", "longer", "as long")
        + f" ({row['sanders']})"
        for row in ends
    ]
    base = own[0]["model"] + own[0]["shorter_than_no_sand"]
    against = f", against {base:.0f} m" if rail != TRIAL and math.isfinite(base) else ""
    return " to ".join(dict.fromkeys(said)) + against


def draw(rows: Sequence[Row]) -> Figure:
    """Draw published and modelled distances side by side, other rails to the right."""
    rails = list(dict.fromkeys(row["rail"] for row in rows))
    widths = [1.5, *[1.0] * (len(rails) - 1)]
    with drawing(3.2, ncols=len(rails), sharey=True, width_ratios=widths, squeeze=False) as (
        figure,
        panels,
    ):
        for axes, rail in zip(panels[0], rails, strict=True):
            _draw_rail(axes, [row for row in rows if row["rail"] == rail])
            axes.set_xlabel(
                f"stopping distance [m]\n{rail}" + ("" if rail == TRIAL else ", model only")
            )
        first = panels[0][0]
        first.set_yticks(range(len(PRESETS)), [f"{name}" for name in PRESETS])
        first.set_ylim(len(PRESETS) - 0.4, -1.3)
        first.legend(loc="upper left", ncols=2, columnspacing=1.0, handletextpad=0.4)
    return figure


def _draw_rail(axes: Axes, rows: Sequence[Row]) -> None:
    places = range(len(rows))
    axes.hlines(places, 0.0, [row["model"] for row in rows], color=style.BLUE, linewidth=1.4)
    axes.plot(
        [row["model"] for row in rows], places, "o", color=style.BLUE, label="model (calibrated)"
    )
    if math.isfinite(rows[0]["published"]):
        published = [row["published"] for row in rows]
        axes.plot(
            published, places, "D", markerfacecolor="none", color=style.VERMILION, markersize=8,
            label="published",
        )  # fmt: skip
        axes.annotate(
            "", (published[0] + 130.0, 0.0), (published[0], 0.0),
            arrowprops={"arrowstyle": "->", "color": style.VERMILION},
        )  # fmt: skip
        axes.text(published[0] + 140.0, 0.0, "or more", va="center", fontsize=8.0)
    for place, row in zip(places, rows, strict=True):
        axes.annotate(
            f"{row['model']:.0f}", (row["model"], place), (0, 6), fontsize=8.0, ha="center",
            textcoords="offset points",
        )  # fmt: skip
    axes.set_xlim(0.0, 1.3 * max(row["model"] for row in rows))
    axes.grid(axis="x")
    style.bare(axes)


EXPERIMENT = Experiment(
    "what_sand_buys",
    "What does sand buy, and how close does the model come to the published trial?",
    investigate,
    n_seeds=4,
    sets={"rail": "it is that of the published trial"},
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())

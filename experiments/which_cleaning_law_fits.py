"""Which published trials does each cleaning law fit, and which does it not?

Question: the rail may remember what wheels before cleaned (`rail_memory`, the default), a contact
may clean for itself alone (`contact_only`), or both, each joule spent once (`rail_and_contact`).
Which of the trials on record comes out under which?
Source: RSSB T1107 sanding trial as reported in Rail Engineer, 12 February 2018 (distances); RAIB
report 18/2011 (a slide of 5.18 km); abstracts without numbers: four wheelsets on the same rollers,
where leading ones raise the adhesion of trailing ones (Politecnico di Torino), and the degraded and
recovered adhesion model held against tests at Velim, where the contacts of one coach recover by
their own sliding (Allotta, Meli and others, 2014).
Scenario: tough film and its sanded variants, wet leaf, detergent; `slip_band`; equipment `clean`.
Calibrated to the sanding trial under `rail_memory`, film and sand alike, so those rows favour it.
Run: `python -m slipbench.experiments.which_cleaning_law_fits`
"""

import math
import sys
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from matplotlib.figure import Figure

from slipbench import simulate
from slipbench.experiments.asked import own_scenario, own_strategy
from slipbench.experiments.notebook import (
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
from slipbench.scenario import Driver, HandleEntry, Scenario

LAWS = ("rail_memory", "contact_only", "rail_and_contact")
TOLERANCE = 0.15
"""A distance fits within this share: what the sanding trial was calibrated to."""

TOLD_APART = 1.1
"""A friction counts as raised from this ratio on (assumed: the sources give no number). [-]"""

COLUMNS = (
    Column("trial"),
    Column("published"),
    *(column for law in LAWS for column in (Column(law, "m or -", 2), Column(f"{law}_fits"))),
)


class Trial(NamedTuple):
    """A published finding and what of a stop is to be held against it."""

    name: str
    published: str
    rail: str
    quantity: str
    low: float
    high: float


def _distance(name: str, rail: str, distance: float) -> Trial:
    low, high = distance * (1.0 - TOLERANCE), distance * (1.0 + TOLERANCE)
    return Trial(name, f"{distance:.0f} m", rail, "distance", low, high)


TRIALS = (
    Trial("55 mph, no sand", "over 1200 m", "tough_film", "distance", 1200.0, math.inf),
    _distance("one fixed sander", "_tough_film_one_fixed", 800.0),
    _distance("two fixed", "_tough_film_two_fixed", 650.0),
    _distance("one variable", "_tough_film_one_variable", 600.0),
    _distance("two variable", "_tough_film_two_variable", 400.0),
    _distance("long slide, 64 mph", "long_slide", 5180.0),
    Trial(
        "leading wheels clean for trailing", "yes", "detergent", "along_train", TOLD_APART, math.inf
    ),
    Trial("a contact cleans for itself", "yes", "detergent", "own_contact", TOLD_APART, math.inf),
)


def scenario_of(rail: str, law: str) -> Scenario:
    """Return the scenario of a trial under a cleaning law."""
    if rail == "long_slide":  # friction 0.008, leaf values else, emergency brake, no sand
        leaf = own_scenario("wet_leaf")
        emergency = HandleEntry(at_time=0.0, position=leaf.brake.emergency_position)
        scenario = leaf.replace(
            {
                "initial_speed": 64 * 0.44704,
                "driver": Driver(programme=(emergency,)),
                "rail.sections.0.friction": 0.008,
            }
        )
    else:
        scenario = own_scenario(rail)
    return scenario.replace({"rail.cleaning_law": law, "equipment.grade": "clean"})


def _measure(run: Run) -> dict[str, float]:
    """Return distance [m] and what friction the axles met above 5 m/s, as ratios. [-]"""
    stop = simulate(run.scenario, run.controller, run.seed)
    is_fast = stop.traces["train_speed"] > 5.0
    means: Any = stop.traces["friction"][is_fast].mean(axis=0)
    untouched = run.scenario.rail.sections[0].friction
    return {
        "distance": distance_of(stop.summary),
        "along_train": float(means[-1] / means[0]),
        "own_contact": float(np.quantile(stop.traces["friction"][is_fast][:, 0], 0.9) / untouched),
    }


def investigate(options: Options) -> Answer:
    """Run every trial's stop under every law."""
    trials = (TRIALS[0], *TRIALS[-2:]) if options.is_quick else TRIALS
    rails = list(dict.fromkeys(trial.rail for trial in trials))
    pairs = [(rail, law) for rail in rails for law in LAWS]
    slip_band = own_strategy("slip_band")
    runs = [
        Run(scenario_of(rail, law), slip_band, seed)
        for rail, law in pairs
        for seed in range(options.n_seeds)
    ]
    measured = in_parallel(_measure, runs)
    means = {
        pair: _mean(measured[i * options.n_seeds : (i + 1) * options.n_seeds])
        for i, pair in enumerate(pairs)
    }
    rows: list[Row] = []
    for trial in trials:
        row: dict[str, Any] = {"trial": trial.name, "published": trial.published}
        for law in LAWS:
            found = means[trial.rail, law][trial.quantity]
            row |= {law: found, f"{law}_fits": bool(trial.low <= found <= trial.high)}
        rows.append(row)
    notes = (
        f"Distances fit within {100 * TOLERANCE:.0f} %. The two last rows are ratios of friction: "
        "of the last axle's over the first's, and of the first\naxle's (upper tenth) over the film "
        f"untouched; they fit from {TOLD_APART:g} on (assumed: the sources give no number).",
    )
    return Answer(COLUMNS, rows, sentence(rows), {"which_cleaning_law_fits": draw(rows)}, notes)


def _mean(measured: Sequence[dict[str, float]]) -> dict[str, float]:
    return {name: sum(own[name] for own in measured) / len(measured) for name in measured[0]}


def sentence(rows: list[Row]) -> str:
    """Say how many trials each law fits, and which none does."""
    counts = [f"{law} fits {sum(bool(r[f'{law}_fits']) for r in rows)}" for law in LAWS]
    missed = [str(r["trial"]) for r in rows if not any(r[f"{law}_fits"] for law in LAWS)]
    none = f"none fits {', '.join(missed)}" if missed else "each trial is fitted by one of them"
    return f"of {len(rows)} trials {', '.join(counts)}; {none}."


def draw(rows: list[Row]) -> Figure:
    """Draw what each law gives over what it would have to be at least, a line a trial."""
    bounds = {trial.name: trial for trial in TRIALS}
    with drawing(3.4) as (figure, axes):
        for i, law in enumerate(LAWS):
            places = [k + 0.22 * (i - 1) for k in range(len(rows))]
            wanted = []
            for row in rows:
                trial = bounds[str(row["trial"])]
                middle = 0.5 * (trial.low + trial.high)
                wanted.append(trial.low if math.isinf(middle) else middle)
            shares = [float(row[law]) / want for row, want in zip(rows, wanted, strict=True)]
            axes.plot(
                shares,
                places,
                color=style.COLOURS[i + 1],
                marker=style.MARKERS[i + 1],
                linestyle="",
                label=law,
            )
        axes.axvline(1.0, color=style.QUIET, linewidth=0.8)
        axes.set_yticks(range(len(rows)), [str(row["trial"]) for row in rows])
        axes.invert_yaxis()
        axes.set_xlabel("found over published, or over the least that would fit [-]")
        axes.legend()
    return figure


EXPERIMENT = Experiment(
    "which_cleaning_law_fits",
    "Which published trials does each cleaning law fit, and which does it not?",
    investigate,
    sets={"rail": "they are those of the published trials"},
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())

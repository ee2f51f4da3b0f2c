"""Which strategy stops shortest, and what does it cost the wheels?

Question: every shipped strategy on every rail that is poor, from two speeds: who stops shortest, at
which risk of flats, and is there one that nobody beats?
Source: the strategies' own files name theirs; the yardstick is `slipbench.shortest_possible`, which
no strategy can beat with the same equipment, handle and rail. Flat risk is a first index, 0 to 1.
Scenario: the Elderwick unit (invented), step 3, the shipped rails on which wheels slide, from 50
and 75 mph (`--quick`: `wet_leaf` and `grease` from 30 mph, five strategies). The same numbers case
by case: `slipbench compare --speed 50mph,75mph --seeds 2`.
Run: `python -m slipbench.experiments.which_strategy`
"""

import math
import sys
from collections.abc import Sequence
from statistics import fmean
from typing import Any

from matplotlib.figure import Figure

from slipbench.comparison.compare import ComparedStop, Comparison, compare
from slipbench.comparison.standing import SAME_DISTANCE, SAME_RISK, cases, runs_of
from slipbench.experiments import notebook
from slipbench.experiments.asked import asked_now, own_rails, own_scenario, own_strategies
from slipbench.experiments.notebook import (
    MPH,
    Answer,
    Column,
    Experiment,
    Options,
    distance_of,
    drawing,
)
from slipbench.figures import style
from slipbench.results.wording import is_alike, listed
from slipbench.scenario import Scenario
from slipbench.strategies.registry import Known, find_controller, known_controllers

RAILS = ("frost", "damp_oxide", "detergent", "autumn_guide", "grease", "wet_leaf", "tough_film")
SPEEDS = (50, 75)
"""[mph]"""

QUICK_RAILS, QUICK_SPEEDS = ("wet_leaf", "grease"), (30,)
QUICK_STRATEGIES = ("none", "slip_band", "deep_slip", "cleaning_balance", "peak_follower")
YES = "sees truth"


def columns(rails: Sequence[str]) -> tuple[Column, ...]:
    """Return the columns of the table: one a rail in the middle."""
    return (
        Column("strategy"),
        Column("ranked"),
        *(Column(rail, "-", 2) for rail in rails),
        Column("mean_over_shortest", "-", 2),
        Column("worst_over_shortest", "-", 2),
        Column("flat_risk", "-", 3),
        Column("longest_lock", "s", 1),
        Column("cases_ahead"),
        Column("of_cases"),
    )


def investigate(options: Options) -> Answer:
    """Compare all strategies on all rails from all speeds."""
    rails = own_rails(QUICK_RAILS if options.is_quick else RAILS)
    speeds = QUICK_SPEEDS if options.is_quick else SPEEDS
    strategies = (
        [find_controller(name) for name in own_strategies(QUICK_STRATEGIES)]
        if options.is_quick or asked_now().strategy is not None
        else [known for known in known_controllers().values() if known.is_shipped]
    )
    scenarios = [scenario_with(rail, mph) for rail in rails for mph in speeds]
    n_workers = 1 if options.is_quick else None
    comparison = compare(scenarios, strategies, options.n_seeds, n_workers=n_workers)
    rows = [_row(comparison, known, rails) for known in strategies]
    rows.sort(key=lambda row: (row["ranked"] == YES, row["mean_over_shortest"]))
    notes = [
        f"Distance over the shortest possible one; means over {len(speeds)} speed(s) and "
        f"{options.n_seeds} seed(s) of each rail.\nA dash: some train did not stop. Cases ahead: "
        "rails and speeds on which it stops shorter than every\nother strategy, by more than "
        f"{SAME_DISTANCE:.1%}, at equal or lower flat risk (within {SAME_RISK:g}); the one that "
        "sees\ntruth is left out."
    ]
    picture = {"which_strategy": draw(comparison, rows)}
    return Answer(columns(rails), rows, sentence(rows), picture, notes)


def scenario_with(rail: str, mph: int) -> Scenario:
    """Return the stop on a rail from a speed."""
    return own_scenario(rail).replace({"initial_speed": mph * MPH, "name": f"{rail} at {mph} mph"})


def _over_shortest(row: ComparedStop) -> float:
    ratio = distance_of(row.summary) / row.yardsticks.shortest_possible
    return math.inf if math.isnan(ratio) else ratio


def _row(comparison: Comparison, known: Known, rails: Sequence[str]) -> notebook.Row:
    name, truth = known.controller.name, known.controller.uses_truth
    by_case = {s.name: runs_of(comparison, s.name, name) for s in comparison.scenarios}
    ratios = {case: fmean(map(_over_shortest, runs)) for case, runs in by_case.items()}
    runs = [run.summary for own in by_case.values() for run in own]
    row: dict[str, Any] = {"strategy": name, "ranked": YES if truth else "yes"}
    for rail in rails:
        row[rail] = fmean(r for case, r in ratios.items() if case.startswith(f"{rail} at "))
    row["mean_over_shortest"] = fmean(ratios.values())
    row["worst_over_shortest"] = max(ratios.values())
    row["flat_risk"] = fmean(summary["flat_risk"] for summary in runs)
    row["longest_lock"] = max(summary["longest_lock"] for summary in runs)
    ahead = 0 if truth else sum(case.is_best for case in cases(comparison, name))
    return {**row, "cases_ahead": ahead, "of_cases": len(by_case)}


def frontier(rows: Sequence[notebook.Row]) -> list[str]:
    """Return the strategies no other beats in both mean distance and flat risk, shortest first."""
    ranked = [row for row in rows if row["ranked"] != YES]

    def is_beaten(row: notebook.Row) -> bool:
        return any(
            other["mean_over_shortest"] <= row["mean_over_shortest"]
            and other["flat_risk"] <= row["flat_risk"] + SAME_RISK
            and (
                other["mean_over_shortest"] < (1.0 - SAME_DISTANCE) * row["mean_over_shortest"]
                or other["flat_risk"] < row["flat_risk"] - SAME_RISK
            )
            for other in ranked
        )

    return [row["strategy"] for row in ranked if not is_beaten(row)]


def sentence(rows: Sequence[notebook.Row]) -> str:
    """Say who stops shortest on the mean, in how many cases it is ahead, and who is unbeaten."""
    ranked = [row for row in rows if row["ranked"] != YES]
    least = min(row["mean_over_shortest"] for row in ranked)
    if not math.isfinite(least):
        return "no strategy stops in every case, so none is shortest on the mean."
    firsts = [row for row in ranked if is_alike(row["mean_over_shortest"], least)]
    first = firsts[0]
    verb = "stops" if len(firsts) == 1 else "stop alike and"
    names = listed([row["strategy"] for row in firsts])
    risk = listed([f"{row['flat_risk']:.3f}" for row in firsts])
    unbeaten = frontier(rows)
    only = (
        "it alone is"
        if unbeaten == [first["strategy"]]
        else (f"{', '.join(unbeaten)} {'is' if len(unbeaten) == 1 else 'are'}")
    )
    return (
        f"{names} {verb} shortest on the mean ({least:.2f} times the shortest possible, flat risk "
        f"{risk}); {_ahead(ranked, first)}; on the means of distance and flat risk {only} beaten "
        f"by none."
    )


def _ahead(ranked: Sequence[notebook.Row], first: notebook.Row) -> str:
    n_cases = first["of_cases"]
    counts = [(row["strategy"], row["cases_ahead"]) for row in ranked if row["cases_ahead"]]
    counts.sort(key=lambda item: (item[0] != first["strategy"], -item[1]))
    if not counts:
        return "no strategy is ahead of all others at equal or lower flat risk in any case"
    said = [f"{counts[0][0]} in {counts[0][1]} of {n_cases} cases"]
    said += [f"{name} in {count}" for name, count in counts[1:]]
    more = "" if counts[0][1] == n_cases else ", so no strategy is best everywhere"
    return f"ahead of all others at equal or lower flat risk is {', '.join(said)}{more}"


def draw(comparison: Comparison, rows: Sequence[notebook.Row]) -> Figure:
    """Draw every case's distance over the shortest possible, and flat risk, a line a strategy."""
    unbeaten = frontier(rows)
    places = range(len(rows))
    with drawing(0.27 * len(rows) + 1.3, ncols=2, sharey=True, width_ratios=(2.2, 1.0)) as (
        figure,
        (left, right),
    ):
        for place, row in zip(places, rows, strict=True):
            ratios = [
                ratio
                for run in comparison.rows
                if run.controller == row["strategy"] and math.isfinite(ratio := _over_shortest(run))
            ]
            colour = style.VERMILION if row["strategy"] in unbeaten else style.BLUE
            face = style.PAPER if row["ranked"] == YES else colour
            left.plot(ratios, [place] * len(ratios), "|", color=style.GREY, markersize=7)
            for axes, key in ((left, "mean_over_shortest"), (right, "flat_risk")):
                if math.isfinite(row[key]):
                    axes.plot(row[key], place, "o", color=colour, markerfacecolor=face)
        left.set_xscale("log")
        left.set_xticks((1.0, 1.5, 2.0, 3.0, 4.0), ("1", "1.5", "2", "3", "4"))
        left.minorticks_off()
        left.set_xlabel("distance over the shortest possible [-]; | a stop, o mean")
        right.set_xlabel("flat risk, mean [-]")
        right.set_xlim(-0.06, 1.06)
        left.set_yticks(places, [_label(row) for row in rows])
        left.set_ylim(len(rows) - 0.4, -0.6)
        for axes in (left, right):
            axes.grid(axis="x")
            style.bare(axes)
        for label, row in zip(left.get_yticklabels(), rows, strict=True):
            if row["strategy"] in unbeaten:
                label.set_fontweight("bold")
    return figure


def _label(row: notebook.Row) -> str:
    words = str(row["strategy"]).replace("_", " ")
    return f"{words} ({YES})" if row["ranked"] == YES else words


EXPERIMENT = Experiment(
    "which_strategy",
    "Which strategy stops shortest, and what does it cost the wheels?",
    investigate,
    n_seeds=2,
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())

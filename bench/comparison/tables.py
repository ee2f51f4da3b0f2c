"""A comparison as a table for a terminal."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Collection, Sequence

from slipbench.comparison.compare import Comparison, Score, Yardsticks
from slipbench.comparison.overview import ONE_SEED, ends, is_many, overview_tables
from slipbench.comparison.quiet import quiet_rails
from slipbench.results.tables import UNKNOWN, number, plain_table
from slipbench.running.task import FAILED
from slipbench.scenario import Scenario
from slipbench.strategies.effort import is_set_by_hand

FAILURES_NAMED = 5
"""Failed stops a table names."""


def comparison_table(comparison: Comparison, is_full: bool = False) -> str:
    """Return a comparison as a table for a terminal, with the notes that explain it.

    A table grouped by rail, the shortest and the longest stop marked; rails on which nothing slides
    have one line together. Of many strategies on many rails an overview, a column a rail. In full:
    every rail with its table.
    """
    quiet = [] if is_full else quiet_rails(comparison.rows)
    told = {rail for group in quiet for rail in group.rails}
    rails = [scenario for scenario in comparison.rails() if scenario.name not in told]
    parts = [f"{group.line}, no wheel locks" for group in quiet]
    if rails and not is_full and is_many(comparison, rails):
        parts += overview_tables(comparison, rails)
        notes = [_OVERVIEW, *_notes(comparison)[1:]]
    else:
        parts += [_rail_tables(comparison, rails)] if rails else []
        notes = _notes(comparison)
    lines = [line for note in notes for line in textwrap.wrap(note, 100)]
    return "\n\n".join([*parts, "\n".join(lines)])


_OVERVIEW = (
    "< shortest and > longest on a rail, by the mean, within 0.1 % alike; those that see truth "
    "left out. --full: every rail with its floor, intervals, flats and vents."
)


def _rail_tables(comparison: Comparison, rails: Sequence[Scenario]) -> str:
    is_spread = comparison.n_seeds > 1
    by_hand = {known.controller.name for known in comparison.strategies if is_set_by_hand(known)}
    rows: list[Sequence[str] | str] = []
    for scenario in rails:
        if rows:
            rows.append("")
        rows += _heading(scenario, comparison.yardsticks[scenario.name])
        scores = comparison.scores(scenario.name)
        marks = ends(scores)
        rows += [
            [*_cells(score, is_spread, by_hand), marks.get(score.controller, "")]
            for score in scores
            if not score.uses_truth
        ]
        apart = [[*_cells(score, is_spread), ""] for score in scores if score.uses_truth]
        if apart:
            rows += ["    sees truth, ranked apart:", *apart]
    return plain_table([*_headers(is_spread), ""], rows)


def _headers(is_spread: bool) -> list[str]:
    headers = ["\n\n    strategy", "\ndistance\n[m]"]
    headers += ["95 %\ninterval\n[m]", "\nleast to greatest\n[m]"] if is_spread else []
    headers += ["over\ndry\n[-]", "\nover the\nfloor [-]", "longest\nlock\n[s]"]
    headers += ["greatest\nof all\n[s]"] if is_spread else []
    return [*headers, "flat\nrisk\n[-]", "vent\ncommands\n[-]"]


def _heading(scenario: Scenario, marks: Yardsticks) -> list[str]:
    return [
        f"{scenario.name}: {scenario.title}",
        f"  from {scenario.initial_speed:.2f} m/s; "
        f"on dry rail {number(marks.dry_distance, 1, 'm')}; "
        f"cannot be shorter than {number(marks.shortest_possible, 1, 'm')}, "
        f"best found {number(marks.best_found, 1, 'm')}",
    ]


def _cells(score: Score, is_spread: bool, by_hand: Collection[str] = ()) -> list[str]:
    n_over = score.n_runs - score.n_stopped
    over = "not stopped" if score.n_runs == 1 else f"{n_over} of {score.n_runs} not stopped"
    hand = "*" if score.controller in by_hand else ""
    cells = [f"    {score.controller}{hand}", over if n_over else f"{score.distance:.1f}"]
    if is_spread:
        cells.append(f"±{score.half_width:.1f}" if math.isfinite(score.half_width) else UNKNOWN)
        least, greatest = score.shortest_run, score.longest_run
        high = f"{greatest:.1f}" if math.isfinite(greatest) else "overrun"
        cells.append(UNKNOWN if math.isinf(least) else f"{least:.1f} to {high}")
    cells += [number(score.over_dry, 2), number(score.over_shortest, 2)]
    cells.append(number(score.longest_lock, 2))
    if is_spread:
        cells.append(number(score.worst_lock, 2))
    return [*cells, number(score.flat_risk, 2), number(score.vents, 0)]


def _notes(comparison: Comparison) -> list[str]:
    notes = [
        "over dry: over the same stop on dry rail without slip control; over the floor: over what "
        "no strategy can beat on this rail. Best found: planned with all known. Flat risk: index "
        "of the longest flat, 0 to 1."
    ]
    if comparison.n_seeds > 1:
        notes.append(
            f"Means over {comparison.n_seeds} seeds, each a train of its own (equipment as its "
            "grade has it, sampling phases, tooth angles), with the half-width of the 95 % "
            "interval by Student's t, and the least and the greatest run. All strategies brake "
            "the same trains; the rails are no sample."
        )
    else:
        notes.append(ONE_SEED)
    if any(map(is_set_by_hand, comparison.strategies)):
        notes.append(
            "* defaults set by hand, not the outcome of one effort for all (slipbench tune-all)."
        )
    n_over = sum(not row.summary["is_stopped"] for row in comparison.rows)
    if n_over:
        notes.append(
            f"{n_over} of {len(comparison.rows)} runs did not stop. They count as overruns: a mean "
            "distance with one in it does not exist, and none is left out."
        )
    failures = [row.summary[FAILED] for row in comparison.rows if row.summary.get(FAILED)]
    notes += [f"Failed: {reason}" for reason in failures[:FAILURES_NAMED]]
    if len(failures) > FAILURES_NAMED:
        notes.append(f"... and {len(failures) - FAILURES_NAMED} more failed; compare.csv has all.")
    for name, marks in comparison.yardsticks.items():
        if marks.reason:
            notes.append(f"No floor for {name}: {marks.reason}")
    return notes

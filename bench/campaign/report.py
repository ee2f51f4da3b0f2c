"""Campaigns, tunings and sensitivities as text for a terminal."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

from slipbench.campaign.analysis import Collected, Verdict, overruns
from slipbench.campaign.campaign import Counts
from slipbench.campaign.objectives import OBJECTIVES, Objective
from slipbench.campaign.sensitivity import Sensitivity
from slipbench.contract import Floats
from slipbench.results.tables import plain_table
from slipbench.statistics.effects import Effects
from slipbench.statistics.intervals import Interval, Paired, fewest_rails

WIDTH = 100

FAILURES_NAMED = 5
"""Failed stops a text names; all of them are in the export."""

SENSITIVITY_NOTE = (
    "Listed by the estimates; factors whose intervals overlap are not told apart, and without an "
    "interval none are."
)


def counts_line(counts: Counts) -> str:
    """Say what was run."""
    found = f", {counts.n_found} found stored" if counts.n_found else ""
    return "\n".join([f"{counts.n_stops} stops: {counts.n_run} run now{found}", *counts.notes])


def verdict_text(verdict: Verdict, collected: Collected, baseline: str) -> str:
    """Return one objective: means, differences from the baseline, the ranking if there is one."""
    objective = verdict.objective
    rows: list[Sequence[str] | str] = []
    for label, mean in verdict.means.items():
        cells = [label, _interval(mean, objective.decimals)]
        if label == baseline:
            cells += ["baseline", "", "", ""]
        else:
            cells += difference_cells(verdict.against[label], objective)
        rows.append([*cells, _rank_text(verdict, label)])
    head = f"{objective.name} [{objective.unit}]: {objective.doc}; {len(collected.rails)} rails"
    table = plain_table(
        [
            "candidate",
            "mean [95 %]",
            "mean difference",
            "median difference",
            "better\n/worse",
            "rails\nneeded",
            "rank",
        ],
        rows,
    )
    return "\n".join([head, table, *_wrapped(ranking_note(verdict, len(collected.rails)))])


def ranking_note(verdict: Verdict, n_rails: int) -> str:
    """Say what the intervals support: a ranking, a part of one, or none."""
    if len(verdict.means) < 2:
        return ""
    if not verdict.ranking.is_supported:
        needed = fewest_rails(len(verdict.means))
        hint = f" {n_rails} rails are too few for it; at least {needed} are needed."
        none = "No ranking: the intervals tell no two candidates apart."
        return none + (hint if n_rails < needed else "")
    if verdict.ranking.is_full:
        return "Every pair is told apart at 95 % for all pairs together."
    return "Ranks are ranges: pairs whose interval includes zero are not told apart."


def _rank_text(verdict: Verdict, label: str) -> str:
    if not verdict.ranking.is_supported:
        return "-"
    best, worst = verdict.ranking.ranks[label]
    return str(best) if best == worst else f"{best}-{worst}"


def difference_cells(difference: Paired, objective: Objective) -> list[str]:
    """Return mean and median difference, rails better and worse, rails needed, as text."""
    needed = difference.n_needed
    return [
        _interval(difference.mean, objective.decimals),
        _interval(difference.median, objective.decimals),
        f"{difference.n_better}/{difference.n_worse}",
        f"{needed:.0f}" if math.isfinite(needed) else "-",
    ]


def _interval(interval: Interval, decimals: int) -> str:
    if math.isnan(interval.estimate):
        return "-"
    if math.isinf(interval.estimate):
        return "overrun"
    if math.isnan(interval.low):
        return f"{interval.estimate:.{decimals}f}"
    return interval.written(decimals)


def campaign_text(collected: Collected, verdicts: Sequence[Verdict], baseline: str) -> str:
    """Return all objectives of a campaign and the probabilities of overrun."""
    parts = [verdict_text(verdict, collected, baseline) for verdict in verdicts]
    chances = overruns(collected)
    n_rails = len(collected.rails)
    rows: list[Sequence[str] | str] = [
        [label, f"{collected.n_overruns[label]} of {n_rails}", chances[label].written(3)]
        for label in collected.candidates
    ]
    parts.append(plain_table(["overrun", "rails", "probability [95 %, Wilson]"], rows))
    notes = [
        "Means and differences: bootstrap over rails. Median difference: rank-based "
        "(Hodges-Lehmann), which an overrun does not spoil. Rails needed: to tell a difference of "
        "this size from none, 80 times in 100. Seeds of a rail are averaged first."
    ]
    if collected.n_left_out:
        notes.append(f"{collected.n_left_out} rails left out: some candidate has not met them yet.")
    notes += failure_notes(collected.failures)
    return "\n\n".join([*parts, "\n".join(line for note in notes for line in _wrapped(note))])


def failure_notes(
    failures: Sequence[str], taken: str = "they count as overruns and have no other number"
) -> list[str]:
    """Say how many stops came to no end and how they are taken; name the first, with reasons."""
    if not failures:
        return []
    n_more = len(failures) - FAILURES_NAMED
    more = [f"... and {n_more} more."] if n_more > 0 else []
    head = f"{len(failures)} stops failed; {taken}:"
    return [head, *failures[:FAILURES_NAMED], *more]


def sensitivity_text(found: Sensitivity) -> str:
    """Return effects or indices, the most important factor first."""
    parts = []
    for name, effects in found.effects.items():
        rows: list[Sequence[str] | str] = [
            [
                found.space[i].name,
                _interval(_size(effects, i), OBJECTIVES[name].decimals),
                *_numbers(name, effects.mean[i], effects.spread[i]),
            ]
            for i in _order(effects.size)
        ]
        heads = ["factor", "size [95 %]", "mean", "spread"]
        unit = OBJECTIVES[name].unit
        parts.append(f"{name} [{unit} over a factor's range]\n{plain_table(heads, rows)}")
    for name, indices in found.indices.items():
        rows = [
            [
                found.space[i].name,
                f"{indices.first[i]:.2f} {_range(indices.first_interval[i])}",
                f"{indices.total[i]:.2f} {_range(indices.total_interval[i])}",
            ]
            for i in _order(indices.total)
        ]
        heads = ["factor", "first order [95 %]", "total [95 %]"]
        parts.append(f"{name}: shares of variance\n{plain_table(heads, rows)}")
    notes = [f"{found.n_stops} stops. {SENSITIVITY_NOTE}"]
    if found.n_overruns:
        notes.append(
            f"{found.n_overruns} did not end; their distance is how far they got, so it is too low."
        )
    return "\n\n".join([*parts, "\n".join(_wrapped(" ".join(notes)))])


def _size(effects: Effects, i: int) -> Interval:
    low, high = effects.size_interval[i].tolist()
    return Interval(float(effects.size[i]), low, high)


def _numbers(name: str, *values: float) -> list[str]:
    decimals = OBJECTIVES[name].decimals
    return [f"{value:.{decimals}f}" for value in values]


def _range(interval: Floats) -> str:
    return f"[{interval[0]:.2f}, {interval[1]:.2f}]"


def _order(sizes: Floats) -> list[int]:
    order: list[int] = (-sizes).argsort(kind="stable").tolist()
    return order


def _wrapped(note: str) -> list[str]:
    return textwrap.wrap(note, WIDTH)

"""Campaigns, tunings and sensitivities as text for a terminal."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

from bench.campaign.analysis import Collected, Verdict, overruns
from bench.campaign.campaign import Counts
from bench.campaign.effects import Effects
from bench.campaign.objectives import OBJECTIVES, Objective
from bench.campaign.sensitivity import Sensitivity
from bench.campaign.statistics import Interval, Paired, fewest_rails
from bench.campaign.tuning import HeldOut, Tuned
from bench.contract import Floats
from bench.tables import plain_table

WIDTH = 100

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
            cells += _difference_cells(verdict.against[label], objective)
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


def _difference_cells(difference: Paired, objective: Objective) -> list[str]:
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
    return "\n\n".join([*parts, "\n".join(line for note in notes for line in _wrapped(note))])


def tuned_text(tuned: Tuned) -> str:
    """Return a tuning: what matters, the chosen setting, how it does on held-out rails."""
    objectives = tuned.goal.objectives
    names = [o.name for o in objectives]
    before = tuned.candidate.parameters()
    after = before | tuned.chosen.values
    rows: list[Sequence[str] | str] = [
        [name, f"{before[name]:.4g}", f"{after[name]:.4g}", *(f"{r:+.2f}" for r in influence)]
        for name, influence in tuned.influence.items()
    ]
    heads = ["parameter", "start", "tuned", *(f"{name}\n(rank corr.)" for name in names)]
    held = tuned.held_out
    shown = [OBJECTIVES[name] for name in held.differences]
    results: list[Sequence[str] | str] = [
        [
            f"{o.name} [{o.unit}]",
            *_difference_cells(held.differences[o.name], o),
            _tells(held.differences[o.name]),
        ]
        for o in shown
    ]
    if len(held.by_family) > 1:
        results += [
            row for family in held.by_family for row in _family_rows(family, held, objectives)
        ]
    training = ", ".join(
        f"{o.name} {a:.{o.decimals}f} -> {b:.{o.decimals}f} {o.unit}"
        for o, a, b in zip(objectives, tuned.default.scores, tuned.chosen.scores, strict=True)
    )
    safe = "nowhere worse than the start there" if tuned.is_chosen_safe else "a trade: not all"
    return "\n\n".join(
        [
            f"Start: {tuned.start}.\n" + plain_table(heads, rows),
            f"{tuned.n_settings} settings, {tuned.n_stops} stops, {len(tuned.front)} non-dominated."
            f"\nTraining rails: {training} ({safe}).",
            _front_text(tuned),
            f"Held-out rails ({held.n_rails}), tuned - start:\n"
            + plain_table(
                ["objective", "mean difference", "median difference", "better\n/worse",
                 "rails\nneeded", ""],
                results,
            ),
            f"Overrun on held-out rails: start {held.overrun_default.written(3)}, "
            f"tuned {held.overrun_tuned.written(3)}.\n"
            f"Longest lock there: start {held.default.longest_lock:.2f} s, "
            f"tuned {held.tuned.longest_lock:.2f} s."
            + (" The tuned setting breaks a constraint there." if held.tuned.violation else ""),
        ]
    )  # fmt: skip


def _family_rows(
    family: str, held: HeldOut, objectives: Sequence[Objective]
) -> list[Sequence[str] | str]:
    """Return the traded objectives on the held-out rails of one scenario."""
    found = held.by_family[family]
    return [
        f"{family} alone:",
        *(
            [f"  {o.name}", *_difference_cells(found[o.name], o), _tells(found[o.name])]
            for o in objectives
        ),
    ]


def _front_text(tuned: Tuned) -> str:
    """Return the non-dominated settings on the training rails, in the order of the written file."""
    objectives = tuned.goal.objectives
    rows: list[Sequence[str] | str] = []
    for i, setting in enumerate(tuned.front, start=1):
        marks = (("chosen", tuned.chosen), ("knee", tuned.knee), ("start", tuned.default))
        rows.append(
            [
                f"{i}",
                *(f"{x:.{o.decimals}f}" for o, x in zip(objectives, setting.scores, strict=True)),
                ", ".join(mark for mark, one in marks if one is setting),
            ]
        )
    heads = ["non-dominated,\ntraining rails", *(f"{o.name}\n[{o.unit}]" for o in objectives), ""]
    return plain_table(heads, rows)


def _tells(difference: Paired) -> str:
    """Say what the two intervals together support; one that holds zero says nothing."""
    said = {
        "better" if interval.high < 0.0 else "worse"
        for interval in (difference.mean, difference.median)
        if interval.excludes_zero
    }
    if len(said) == 2:
        return "mean and median disagree"
    return said.pop() if said else "not told apart"


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

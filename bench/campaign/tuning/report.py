"""What tuning found, as text."""

from __future__ import annotations

from collections.abc import Sequence

from slipbench.campaign.objectives import OBJECTIVES, Objective
from slipbench.campaign.report import difference_cells
from slipbench.campaign.tuning.flags import flags_text
from slipbench.campaign.tuning.tuning import HeldOut, Tuned
from slipbench.results.tables import plain_table
from slipbench.statistics.intervals import Paired


def tuned_text(tuned: Tuned) -> str:
    """Return a tuning: what matters, the chosen setting, how it does on held-out rails."""
    objectives, held = tuned.goal.objectives, tuned.held_out
    training = ", ".join(
        f"{o.name} {a:.{o.decimals}f} -> {b:.{o.decimals}f} {o.unit}"
        for o, a, b in zip(objectives, tuned.default.scores, tuned.chosen.scores, strict=True)
    )
    safe = "nowhere worse than the start there" if tuned.is_chosen_safe else "a trade: not all"
    broken = " The tuned setting breaks a constraint there." if held.tuned.violation else ""
    return "\n\n".join(
        [
            f"Start: {tuned.start}.\n{_influence_table(tuned)}",
            f"{tuned.n_settings} settings, {tuned.n_stops} stops, {len(tuned.front)} non-dominated."
            f"\nTraining rails: {training} ({safe}).",
            _front_text(tuned),
            f"Held-out rails ({held.n_rails}), tuned - start:\n{_held_out_table(tuned)}",
            f"Overrun on held-out rails: start {held.overrun_default.written(3)}, "
            f"tuned {held.overrun_tuned.written(3)}.\n"
            f"Longest lock there: start {held.default.longest_lock:.2f} s, "
            f"tuned {held.tuned.longest_lock:.2f} s.{broken}",
            flags_text(tuned),
        ]
    )


def _influence_table(tuned: Tuned) -> str:
    """Return each parameter before and after, and its rank correlation with the objectives."""
    before = tuned.candidate.parameters()
    after = before | tuned.chosen.values
    rows: list[Sequence[str] | str] = [
        [name, f"{before[name]:.4g}", f"{after[name]:.4g}", *(f"{r:+.2f}" for r in influence)]
        for name, influence in tuned.influence.items()
    ]
    names = [f"{o.name}\n(rank corr.)" for o in tuned.goal.objectives]
    return plain_table(["parameter", "start", "tuned", *names], rows)


def _held_out_table(tuned: Tuned) -> str:
    """Return how the tuned setting differs on rails the search never saw."""
    held = tuned.held_out
    shown = [OBJECTIVES[name] for name in held.differences]
    rows: list[Sequence[str] | str] = [
        _difference_row(f"{o.name} [{o.unit}]", held.differences[o.name], o) for o in shown
    ]
    if not tuned.is_from_shipped:
        rows.append("against the shipped defaults:")
        rows += [_difference_row(f"  {o.name}", held.from_shipped[o.name], o) for o in shown]
    if len(held.by_family) > 1:
        for family in held.by_family:
            rows += _family_rows(family, held, tuned.goal.objectives)
    heads = ["objective", "mean difference", "median difference", "better\n/worse"]
    return plain_table([*heads, "rails\nneeded", ""], rows)


def _difference_row(name: str, difference: Paired, objective: Objective) -> list[str]:
    return [name, *difference_cells(difference, objective), _tells(difference)]


def _family_rows(
    family: str, held: HeldOut, objectives: Sequence[Objective]
) -> list[Sequence[str] | str]:
    """Return the traded objectives on the held-out rails of one scenario."""
    found = held.by_family[family]
    return [
        f"{family} alone:",
        *(_difference_row(f"  {o.name}", found[o.name], o) for o in objectives),
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

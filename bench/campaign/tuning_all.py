"""The same tuning effort for every strategy, and whether its result is worth adopting."""

from __future__ import annotations

from collections.abc import Sequence

from bench.campaign.objectives import OBJECTIVES
from bench.campaign.statistics import Paired
from bench.campaign.tuning import Tuned
from bench.registry import Known
from bench.tables import plain_table

LEADING = "distance"
"""Objective an adopted setting must better on held-out rails."""


def tunable(strategies: Sequence[Known]) -> list[Known]:
    """Return the strategies that have parameters to tune and do not see the truth."""
    return [
        known
        for known in strategies
        if not known.controller.uses_truth
        and any(not parameter.is_data for parameter in known.controller.parameters)
    ]


def objections(tuned: Tuned) -> list[str]:
    """Return what speaks against adopting a tuned setting, by held-out rails alone.

    It must stop shorter, its median difference's interval below zero; no other objective, and no
    longest lock, may be told worse; nor may it overrun more often.
    """
    held = tuned.held_out
    found = []
    if not held.differences[LEADING].median.high < 0.0:
        found.append("not told shorter")
    for name, difference in held.differences.items():
        if name != LEADING and is_worse(difference):
            found.append(f"{name} worse")
    if held.tuned.n_overruns > held.default.n_overruns:
        found.append("more overruns")
    return found


def is_worse(difference: Paired) -> bool:
    """Return whether either interval of tuned less default lies above zero."""
    return difference.mean.low > 0.0 or difference.median.low > 0.0


def all_tuned_text(found: Sequence[Tuned]) -> str:
    """Return every tuning as one table: held-out differences, and what follows."""
    rows: list[Sequence[str] | str] = []
    names = list(found[0].held_out.differences)
    for tuned in found:
        against = objections(tuned)
        rows.append(
            [
                tuned.candidate.controller,
                ", ".join(f"{k}={v:.3g}" for k, v in tuned.chosen.values.items()) or "default",
                "adopt" if not against else f"keep ({'; '.join(against)})",
            ]
        )
        for name in names:
            objective = OBJECTIVES[name]
            unit = "" if objective.unit == "-" else f" {objective.unit}"
            median = tuned.held_out.differences[name].median.written(objective.decimals)
            mean = tuned.held_out.differences[name].mean.written(objective.decimals)
            rows.append(f"    {name}: median {median}{unit}, mean {mean}{unit}")
    n_rails = found[0].held_out.n_rails
    head = f"Tuned less default on {n_rails} held-out rails, 95 % intervals."
    return f"{head}\n{plain_table(['strategy', 'setting', 'verdict'], rows, n_left=3)}"

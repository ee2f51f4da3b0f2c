"""The same tuning effort for every strategy, and whether its result is worth adopting."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from slipbench.campaign.objectives import OBJECTIVES
from slipbench.comparison.compare import DRY_STRATEGY
from slipbench.contract import Controller
from slipbench.results.tables import plain_table
from slipbench.scenario import load_scenario
from slipbench.scenario.dry import DRY_RAIL
from slipbench.statistics.intervals import Paired
from slipbench.stop.simulation import simulate
from slipbench.strategies.registry import Known, find_controller
from slipbench.tuning.tuning import Tuned

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


DRY_ALLOWED = 1.001
"""How much longer than without slip control an adopted setting may stop on dry rail. [-]"""


def dry_extension(controller: Controller, n_seeds: int = 4) -> float:
    """Return the distance on the shipped dry rail over that without slip control. [-]"""
    dry = load_scenario(DRY_RAIL)
    without, with_it = (
        np.mean(
            [
                simulate(dry, one, seed, with_traces=False).summary["final_distance"]
                for seed in range(n_seeds)
            ]
        )
        for one in (find_controller(DRY_STRATEGY).controller, controller)
    )
    return float(with_it / without)


def objections(tuned: Tuned, on_dry: float) -> list[str]:
    """Return what speaks against adopting a tuned setting.

    By held-out rails: it must stop shorter, its median difference's interval below zero; no other
    objective, and no longest lock, may be told worse; nor may it overrun more often. And on dry
    rail, where there is nothing to control, it must leave the stop alone.

    Parameters
    ----------
    tuned : Tuned
    on_dry : float   its `dry_extension`
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
    if not on_dry <= DRY_ALLOWED:
        found.append(f"{1e2 * (on_dry - 1.0):.1f} % longer on dry rail")
    return found


def is_worse(difference: Paired) -> bool:
    """Return whether either interval of tuned less default lies above zero."""
    return difference.mean.low > 0.0 or difference.median.low > 0.0


def all_tuned_text(found: Sequence[tuple[Tuned, float]]) -> str:
    """Return every tuning, with its `dry_extension`, as one table: differences and verdict."""
    rows: list[Sequence[str] | str] = []
    names = list(found[0][0].held_out.differences)
    for tuned, on_dry in found:
        against = objections(tuned, on_dry)
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
    n_rails = found[0][0].held_out.n_rails
    head = f"Tuned less default on {n_rails} held-out rails, 95 % intervals."
    return f"{head}\n{plain_table(['strategy', 'setting', 'verdict'], rows, n_left=3)}"

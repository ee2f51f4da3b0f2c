"""One effort for every strategy: same starts file, rails, trains, budget and search seeds."""

from __future__ import annotations

import statistics
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from slipbench.campaign.objectives import OBJECTIVES
from slipbench.campaign.tuning.flags import flags
from slipbench.campaign.tuning.tuning import Tuned
from slipbench.results.tables import plain_table
from slipbench.running.runner import run_stop
from slipbench.scenario import load_scenario
from slipbench.scenario.dry import DRY_RAIL
from slipbench.strategies.registry import DRY_STRATEGY, Known, find_controller

LEADING = "distance"
"""Objective an adopted setting must better on held-out rails."""

DRY_ALLOWED = 1.001
"""How much longer than without slip control an adopted setting may stop on dry rail. [-]"""


@dataclass(frozen=True)
class Effort:
    """One strategy tuned once for each search seed, on the same rails.

    Attributes
    ----------
    known : Known             the strategy as shipped
    runs : tuple of Tuned     one a search seed
    on_dry : float            `dry_extension` of the chosen setting
    """

    known: Known
    runs: tuple[Tuned, ...]
    on_dry: float

    @property
    def chosen(self) -> Tuned:
        """The run whose setting does best on the training rails; held-out rails have no say."""
        return self.runs[best_run(self.runs)]

    def spread(self, name: str) -> list[float]:
        """Return the held-out mean difference from the shipped defaults, a number a search seed."""
        return [run.held_out.from_shipped[name].mean.estimate for run in self.runs]


def best_run(runs: Sequence[Tuned]) -> int:
    """Return which run's setting does best on the training rails.

    By the weighed sum, or, where nothing is weighed, by the mean of the objectives over those of
    the start.
    """
    goal, start = runs[0].goal, np.array(runs[0].default.scores)
    scores = np.array([run.chosen.scores for run in runs])
    if goal.weights:
        return int(goal.ranked(scores).argmin())
    return int((scores / np.maximum(start, 1e-9)).mean(axis=1).argmin())


def tunable(strategies: Sequence[Known]) -> list[Known]:
    """Return the strategies that have parameters to tune and do not see the truth."""
    return [
        known
        for known in strategies
        if not known.controller.uses_truth
        and any(not parameter.is_data for parameter in known.controller.parameters)
    ]


def dry_extension(known: Known, n_seeds: int = 4) -> float:
    """Return the distance on the shipped dry rail over that without slip control. [-]"""
    dry = load_scenario(DRY_RAIL)
    without, with_it = (
        np.mean([run_stop(dry, one, seed).summary["final_distance"] for seed in range(n_seeds)])
        for one in (find_controller(DRY_STRATEGY), known)
    )
    return float(with_it / without)


def objections(tuned: Tuned, on_dry: float) -> list[str]:
    """Return what speaks against adopting a tuned setting instead of the shipped defaults.

    By held-out rails: it must stop shorter than they do, its median difference's interval below
    zero, and no objective, and no longest lock, may be told worse over all rails or on any family;
    nor may it overrun more often. And on dry rail, where there is nothing to control, it must leave
    the stop alone.

    Parameters
    ----------
    tuned : Tuned
    on_dry : float   its `dry_extension`
    """
    base = "start" if tuned.is_from_shipped else "shipped defaults"
    found = []
    if not tuned.held_out.from_shipped[LEADING].median.high < 0.0:
        found.append("not told shorter")
    for flag in flags(tuned):
        if flag.against == base:
            where = f" on {flag.family}" if flag.family else ""
            found.append(f"{flag.objective} worse{where}")
    if not on_dry <= DRY_ALLOWED:
        found.append(f"{1e2 * (on_dry - 1.0):.1f} % longer on dry rail")
    return found


def all_tuned_text(efforts: Sequence[Effort]) -> str:
    """Return every effort as one table: differences, spread over search seeds, verdict."""
    rows: list[Sequence[str] | str] = []
    first = efforts[0].chosen
    n_seeds = len(efforts[0].runs)
    for effort in efforts:
        tuned = effort.chosen
        against = objections(tuned, effort.on_dry)
        rows.append(f"{effort.known.controller.name}: {_verdict(against)}")
        rows += [f"    from {tuned.start}", f"    to {_setting(tuned)}"]
        for name, difference in tuned.held_out.from_shipped.items():
            objective = OBJECTIVES[name]
            unit = "" if objective.unit == "-" else f" {objective.unit}"
            values = effort.spread(name)
            sd = statistics.stdev(values) if n_seeds > 1 else float("nan")
            rows.append(
                [
                    f"    {name}{f' [{unit.strip()}]' if unit else ''}",
                    difference.mean.written(objective.decimals),
                    difference.median.written(objective.decimals),
                    f"{min(values):.{objective.decimals}f} to {max(values):.{objective.decimals}f}",
                    f"{sd:.{objective.decimals}f}",
                ]
            )
    head = (
        f"Tuned less shipped defaults on {first.held_out.n_rails} held-out rails, every rail with "
        f"a train of its own; 95 % intervals over the rails. Beside them the same mean difference "
        f"by {n_seeds} search seeds. Same budget, rails and trains for every strategy. "
        "The setting shown is that of the seed which does best on the training rails."
    )
    heads = [
        "",
        "mean\n(over rails)",
        "median\n(over rails)",
        "mean, least to greatest\n(search seeds)",
        "standard\ndeviation",
    ]
    return f"{textwrap.fill(head, 100)}\n\n{plain_table(heads, rows)}"


def _verdict(against: Sequence[str]) -> str:
    return "adopt" if not against else f"keep the defaults, set by hand ({'; '.join(against)})"


def _setting(tuned: Tuned) -> str:
    values = tuned.candidate.parameters() | tuned.chosen.values
    own = {name: values[name] for name in tuned.influence}
    return ", ".join(f"{name}={value:.3g}" for name, value in own.items())


def outcome_text(efforts: Sequence[Effort], command: str) -> str:
    """Return what the effort gave as TOML, in the form of `strategies/one_effort.toml`."""
    lines = [f"# {command}"]
    for effort in efforts:
        tuned, name = effort.chosen, effort.known.controller.name
        against = objections(tuned, effort.on_dry)
        values = tuned.candidate.parameters() | tuned.chosen.values
        lines += ["", f"[{name}]"]
        if against:
            lines.append(f"# {_verdict(against)}")
        lines += [f"{key} = {float(values[key])!r}" for key in tuned.influence]
    return "\n".join(lines) + "\n"

"""What a campaign says about its candidates, and how sure it is."""

from __future__ import annotations

import math
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from slipbench.campaign.objectives import Objective
from slipbench.campaign.store import Store, StoredStop
from slipbench.contract import Floats
from slipbench.ground.errors import InputError
from slipbench.running.task import FAILED
from slipbench.statistics.intervals import (
    CONFIDENCE,
    Interval,
    Paired,
    Ranking,
    bootstrap_mean,
    paired,
    rank,
    wilson,
)

Table = Mapping[str, Mapping[str, Floats]]
"""Objective, then candidate, to one number a rail, in the same order everywhere."""


@dataclass(frozen=True)
class Collected:
    """Numbers of a campaign, means over the seeds, on the rails every candidate has met.

    Attributes
    ----------
    rails : tuple of str
    candidates : tuple of str
    table : Table
    n_overruns : mapping   of each candidate: rails on which at least one of its stops overran
    n_left_out : int       rails some candidate has not met with every seed
    n_seeds : int          stops a rail and candidate
    failures : tuple       a line for each stop that came to no end: which, and why; it counts as an
                           overrun, and has no other number
    """

    rails: tuple[str, ...]
    candidates: tuple[str, ...]
    table: Table
    n_overruns: Mapping[str, int]
    n_left_out: int
    n_seeds: int
    failures: tuple[str, ...] = ()


def collect(
    store: Store,
    objectives: Sequence[Objective],
    limit: float = math.inf,
    candidates: Iterable[str] | None = None,
    rails: Iterable[str] | None = None,
    seeds: Container[int] | None = None,
) -> Collected:
    """Read a branch into numbers that pair; memory grows with rails, not with stops.

    Parameters
    ----------
    limit : float            a stop longer than this counts as an overrun, as one without end [m]
    candidates : iterable    labels in the order wanted; None: all
    rails : iterable         names of the scenarios wanted; None: all
    seeds : container        seeds wanted; None: all

    Raises
    ------
    InputError   if nothing is left to compare
    """
    wanted = None if candidates is None else list(candidates)
    chosen = _Chosen(wanted, None if rails is None else set(rails), seeds)
    sums, failures = _summed(filter(chosen.holds, store.stops()), objectives, limit)
    seen = dict.fromkeys(label for row in sums.values() for label in row)
    labels = tuple(seen if wanted is None else [label for label in wanted if label in seen])
    n_seeds = max((cell[-1] for row in sums.values() for cell in row.values()), default=0.0)
    met = tuple(
        rail
        for rail, row in sums.items()
        if len(row) == len(labels) and all(cell[-1] == n_seeds for cell in row.values())
    )
    if not met:
        raise InputError(f"campaign {store.path}: no rail that every candidate has met in full")

    def column(label: str, i: int) -> Floats:
        return np.array([sums[rail][label][i] for rail in met])

    return Collected(
        rails=met,
        candidates=labels,
        table={
            objective.name: {label: column(label, i) / n_seeds for label in labels}
            for i, objective in enumerate(objectives)
        },
        n_overruns={label: int((column(label, OVERRAN) > 0.0).sum()) for label in labels},
        n_left_out=len(sums) - len(met),
        n_seeds=int(n_seeds),
        failures=tuple(failures),
    )


class _Chosen(NamedTuple):
    """Which stops of a branch are wanted; None: whatever there is."""

    candidates: Container[str] | None
    rails: Container[str] | None
    seeds: Container[int] | None

    def holds(self, stop: StoredStop) -> bool:
        """Say whether a stop is wanted; a shortest possible is no stop."""
        return "is_stopped" in stop.summary and all(
            wanted is None or value in wanted
            for value, wanted in (
                (stop.candidate, self.candidates),
                (stop.scenario, self.rails),
                (stop.seed, self.seeds),
            )
        )


OVERRAN = -2
"""Place of the number of overruns in a cell of `_summed`; behind it stands that of all stops."""


def _summed(
    stops: Iterable[StoredStop], objectives: Sequence[Objective], limit: float
) -> tuple[dict[str, dict[str, Floats]], list[str]]:
    """Return sums by rail and candidate, (n_objectives + 2,), and what is told of failures."""
    sums: dict[str, dict[str, Floats]] = {}
    failures = []
    for stop in stops:
        numbers = [objective.of(stop.summary) for objective in objectives]
        is_overrun = not stop.summary["is_stopped"] or stop.summary["final_distance"] > limit
        if FAILED in stop.summary:
            failures.append(str(stop.summary[FAILED]))
        row = sums.setdefault(stop.scenario, {})
        cell = row.setdefault(stop.candidate, np.zeros(len(objectives) + 2))
        cell += np.array([*numbers, float(is_overrun), 1.0])
    return sums, failures


@dataclass(frozen=True)
class Verdict:
    """One objective over all candidates.

    Attributes
    ----------
    objective : Objective
    means : mapping      label to mean over the rails
    against : mapping    label to paired difference from the baseline
    ranking : Ranking
    """

    objective: Objective
    means: Mapping[str, Interval]
    against: Mapping[str, Paired]
    ranking: Ranking


def verdict_on(
    collected: Collected, objective: Objective, baseline: str, confidence: float = CONFIDENCE
) -> Verdict:
    """Return means, paired differences from a baseline, and the ranking the intervals support."""
    if baseline not in collected.candidates:
        raise InputError(
            f"baseline {baseline!r}: no such candidate; there are: "
            f"{', '.join(collected.candidates)}"
        )
    numbers = collected.table[objective.name]
    base = numbers[baseline]
    return Verdict(
        objective,
        {label: bootstrap_mean(values, confidence) for label, values in numbers.items()},
        {
            label: paired(base, values, confidence)
            for label, values in numbers.items()
            if label != baseline
        },
        rank({label: values.tolist() for label, values in numbers.items()}, confidence),
    )


def overruns(collected: Collected, confidence: float = CONFIDENCE) -> dict[str, Interval]:
    """Return each candidate's probability of overrun on a rail, with Wilson's interval.

    A rail counts as one trial, and as an overrun if any of its stops overran.
    """
    n_rails = len(collected.rails)
    return {
        label: wilson(collected.n_overruns[label], n_rails, confidence)
        for label in collected.candidates
    }

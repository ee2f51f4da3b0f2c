"""One stop of a campaign: what goes to a worker and what comes back. Plain data both ways."""

from __future__ import annotations

import json
import math
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from slipbench.ground.errors import InputError, StopFailed
from slipbench.results.canonical import as_json, scenario_hash, short_hash
from slipbench.results.identity import differing, machine_text, versions, versions_text
from slipbench.running.candidate import FLOOR, Candidate, controller_of
from slipbench.scenario import Scenario
from slipbench.strategies.registry import one_line


@dataclass(frozen=True)
class Task:
    """One stop to be run.

    Attributes
    ----------
    scenario : Scenario
    candidate : Candidate
    seed : int               of sampling phases and tooth angles
    key : str                hash of all that decides its summary, versions and machine apart
    versions : str           canonical text of the versions it must be run with
    """

    scenario: Scenario
    candidate: Candidate
    seed: int
    scenario_hash: str
    key: str
    versions: str


@dataclass(frozen=True)
class Outcome:
    """What a stop gave: its summary as canonical text, the machine type, the time it took [s]."""

    key: str
    summary: str
    machine: str
    duration: float


Result = tuple[Task, Outcome]
"""What a runner hands back."""

IN_FLIGHT = 2
"""Stops waiting or running for each worker."""


def make_task(scenario: Scenario, candidate: Candidate, seed: int, hashed: str = "") -> Task:
    """Return the task of a stop; `hashed` is the scenario's hash, if it is known already."""
    hashed = hashed or scenario_hash(scenario)
    content = [hashed, candidate.source_hash, list(candidate.values), seed]
    key = short_hash(as_json(content))
    return Task(scenario, candidate, seed, hashed, key, versions_text())


FAILED = "failed"
"""What the summary of a stop that came to no end holds besides `is_stopped`: why."""


def failed_outcome(
    task: Task, reason: str, duration: float = 0.0, machine: str | None = None
) -> Outcome:
    """Return what a stop that came to no end gives: its reason, and no number.

    Parameters
    ----------
    machine : str or None   the machine type; None: this one's
    """
    text = summary_text(failed_summary(reason))
    return Outcome(task.key, text, machine or machine_text(), duration)


def failed_summary(reason: str) -> dict[str, Any]:
    """Return all that is known of a stop that came to no end."""
    return {"is_stopped": False, FAILED: " ".join(reason.split())}


def run_task(task: Task, stop_limit: float = math.inf) -> Outcome:
    """Run a stop, in whatever process this is; no traces are kept.

    A stop that comes to no end (`StopFailed`), within `stop_limit` [s] by the clock or at all, is
    an outcome like any other: its summary is the reason alone.

    Raises
    ------
    InputError   if this process has other sources or libraries than the campaign, or the strategy
                 cannot be found or fails
    """
    if task.versions != versions_text():
        changes = differing(json.loads(task.versions), versions())
        raise InputError(
            f"this worker has other versions than the campaign ({changes}); "
            "stops of different versions are not mixed"
        )
    where = f"scenario {task.scenario.name}, strategy {task.candidate.label}, seed {task.seed}"
    if task.scenario_hash != scenario_hash(task.scenario):
        raise InputError(f"{where}: a file the scenario names is another one here")
    start = time.perf_counter()
    try:
        summary = _summary(task, stop_limit)
    except StopFailed as problem:
        return failed_outcome(task, str(problem), time.perf_counter() - start)
    except InputError as problem:
        raise InputError(f"{where}: {one_line(problem)}") from problem
    duration = time.perf_counter() - start
    return Outcome(task.key, summary_text(summary), machine_text(), duration)


def _summary(task: Task, stop_limit: float) -> Mapping[str, Any]:
    # imported here: it compiles the physics, and other versions should be refused before that
    from slipbench.running.runner import run_stop
    from slipbench.stop.shortest import shortest_possible

    if task.candidate.reference == FLOOR:
        return {"shortest_possible": shortest_possible(task.scenario, seed=task.seed)}
    known = controller_of(task.candidate)
    return run_stop(task.scenario, known, task.seed, stop_limit=stop_limit).summary


def summary_text(summary: Mapping[str, Any]) -> str:
    """Return a summary as canonical text: every bit of a number kept, what is not finite null."""
    return as_json({name: _plain(value) for name, value in summary.items()})


def _plain(value: Any) -> Any:
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, np.ndarray):
        value = value.tolist()
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, dict):
        return {name: _plain(item) for name, item in value.items()}
    if isinstance(value, float) and not np.isfinite(value):
        return None
    return value

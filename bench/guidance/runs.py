"""Stops for guidance: asked for in lists, run in a pool, stored, and found again."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple, Protocol

import numpy as np

from slipbench.campaign.campaign import evaluate
from slipbench.campaign.rig import Rig
from slipbench.ground.arrays import Floats
from slipbench.ground.errors import InputError
from slipbench.results.canonical import scenario_hash
from slipbench.running.candidate import Candidate, controller_of
from slipbench.running.runner import run_way
from slipbench.running.task import FAILED, Task, make_task
from slipbench.scenario import Scenario

FARTHEST_STOP = 8000.0
"""A train that has not stopped by then does not stop, for a driver: five miles (a choice). [m]"""

_NAME = "guidance"


class Asked(NamedTuple):
    """One stop asked for."""

    scenario: Scenario
    candidate: Candidate
    seed: int


class Distances(Protocol):
    """Whatever gives the distances of stops."""

    def distances(self, asked: Sequence[Asked]) -> Floats:
        """Return the stopping distances, infinite for a train that did not stop. (n,) [m]"""


class Here:
    """Stops run at once in this process, for their way alone; none is kept."""

    def distances(self, asked: Sequence[Asked]) -> Floats:
        """Return the stopping distances, infinite for a train that did not stop. (n,) [m]"""
        return np.array([self._distance(one) for one in asked])

    def _distance(self, asked: Asked) -> float:
        scenario = asked.scenario.replace({"run.maximum_distance": FARTHEST_STOP})
        return run_way(scenario, controller_of(asked.candidate), asked.seed).distance


class Runs:
    """Where stops come from.

    Parameters
    ----------
    rig : Rig
    """

    def __init__(self, rig: Rig) -> None:
        self._rig = rig

    def summaries(self, asked: Sequence[Asked]) -> list[dict[str, Any]]:
        """Return the summaries in order.

        Raises
        ------
        InputError   for a stop that failed
        """
        found = evaluate([_task(one) for one in asked], self._rig)
        for summary in found:
            if FAILED in summary:
                raise InputError(f"{summary[FAILED]}; guidance needs the numbers of every stop")
        return found

    def distances(self, asked: Sequence[Asked]) -> Floats:
        """Return the stopping distances, infinite for a train that did not stop. (n,) [m]"""
        return np.array([distance_of(summary) for summary in self.summaries(asked)])


def distance_of(summary: dict[str, Any]) -> float:
    """Return a stop's distance, infinite if it has none. [m]"""
    return float(summary["stopping_distance"]) if summary["is_stopped"] else math.inf


def _task(asked: Asked) -> Task:
    """Return the task, its scenario named by its content: one name never stands for two."""
    plain = asked.scenario.replace(
        {"name": _NAME, "title": _NAME, "run.maximum_distance": FARTHEST_STOP}
    )
    named = plain.replace(name=f"{_NAME}~{scenario_hash(plain)[:16]}")
    return make_task(named, asked.candidate, asked.seed)

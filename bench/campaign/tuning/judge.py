"""Settings of a strategy run on rails and scored: what tuning decides by."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from slipbench.campaign.campaign import compare_once, evaluate, run_missing
from slipbench.campaign.objectives import OBJECTIVES, Objective
from slipbench.campaign.rig import Rig
from slipbench.campaign.tuning.rails import Rails
from slipbench.contract import Floats
from slipbench.results.canonical import as_json, scenario_hash, short_hash
from slipbench.running.candidate import Candidate, candidate_of
from slipbench.running.task import Task, make_task
from slipbench.scenario import DRY_RAIL, Scenario, on_dry_rail
from slipbench.strategies.registry import Known, find_controller


@dataclass(frozen=True)
class Goal:
    """What is traded, and what must hold.

    Attributes
    ----------
    objectives : tuple of Objective
    lock_limit : float        no lock longer than this on any rail [s]
    extension_limit : float   no stop longer than this times the same stop on dry rail [-]
    is_knee_wanted : bool     choose the knee of all non-dominated settings; False: of those nowhere
                              worse than the start, if there are any
    weights : tuple of float  of each objective in one sum, which then decides alone: the least sum
                              is chosen; empty: nothing is weighed
    """

    objectives: tuple[Objective, ...]
    lock_limit: float = math.inf
    extension_limit: float = math.inf
    is_knee_wanted: bool = False
    weights: tuple[float, ...] = ()

    def ranked(self, scores: Floats) -> Floats:
        """Return scores (n, n_objectives) as they are ranked by: weighed into one, if they are."""
        return scores @ np.array(self.weights)[:, None] if self.weights else scores


@dataclass(frozen=True)
class Setting:
    """Parameter values, their mean objectives on rails, and by how much they break constraints."""

    values: dict[str, float]
    scores: tuple[float, ...]
    violation: float
    n_overruns: int
    longest_lock: float
    longest_extension: float


class Judge:
    """Runs settings on rails and scores them; every setting of a call meets the same rails."""

    def __init__(self, known: Known, goal: Goal, rails: Rails, rig: Rig) -> None:
        self.candidate = candidate_of(known)
        self.controller = known.controller
        self.goal, self.rails, self.rig = goal, rails, rig
        self._asked: set[str] = set()
        self._dry: dict[str, float] = {}

    def run(
        self, points: Sequence[dict[str, float]], rails: Sequence[Scenario]
    ) -> list[list[dict[str, Any]]]:
        """Return a list of summaries, rail by rail and seed by seed, for each setting."""
        tasks: list[list[Task]] = [[] for _ in points]
        candidates = [self._candidate(point) for point in points]
        for scenario in rails:
            hashed = scenario_hash(scenario)
            for seed in self.rails.seeds_of(scenario):
                for own, candidate in zip(tasks, candidates, strict=True):
                    own.append(make_task(scenario, candidate, seed, hashed))
        by_rail = {task.key: task for group in zip(*tasks, strict=True) for task in group}
        new = [task for key, task in by_rail.items() if key not in self._asked]
        self._asked.update(task.key for task in new)
        compare_once(new, self.rig.store, self.rig.runner)
        run_missing(new, len(new), self.rig)
        summaries = {key: self.rig.store.summary(key) or {} for key in by_rail}
        return [[summaries[task.key] for task in own] for own in tasks]

    @property
    def n_stops(self) -> int:
        """Stops asked for so far, each counted once."""
        return len(self._asked)

    def score(self, points: Sequence[dict[str, float]], rails: Sequence[Scenario]) -> list[Setting]:
        """Return the settings with their means over the rails."""
        return self.settings(points, self.run(points, rails), rails)

    def settings(
        self,
        points: Sequence[dict[str, float]],
        summaries: Sequence[list[dict[str, Any]]],
        rails: Sequence[Scenario],
    ) -> list[Setting]:
        """Return the settings with their means over summaries that `run` gave."""
        dry = self._dry_distances(rails)
        return [self._setting(p, own, dry) for p, own in zip(points, summaries, strict=True)]

    def _candidate(self, values: dict[str, float]) -> Candidate:
        self.controller.with_parameters(**values)  # refuses what the strategy does not allow
        name = short_hash(as_json(values))[:10] if values else "default"
        return self.candidate.with_values(values, f"{self.candidate.controller}#{name}")

    def _setting(
        self, values: dict[str, float], summaries: list[dict[str, Any]], dry: list[float]
    ) -> Setting:
        scores = tuple(
            float(np.mean([_finite(objective, s) for s in summaries]))
            for objective in self.goal.objectives
        )
        n_overruns = sum(not s["is_stopped"] for s in summaries)
        lock = max(OBJECTIVES["lock"].of(s) for s in summaries)
        ways = [s.get("final_distance", math.inf) for s in summaries]
        ratios = [way / d for way, d in zip(ways, dry, strict=True)]
        extension = max(ratios)
        violation = float(n_overruns)
        violation += _excess(lock, self.goal.lock_limit)
        violation += 0.0 if math.isnan(extension) else _excess(extension, self.goal.extension_limit)
        return Setting(values, scores, violation, n_overruns, lock, extension)

    def _dry_distances(self, rails: Sequence[Scenario]) -> list[float]:
        """Return the dry stop of each rail and seed; NaN unless a constraint needs it. [m]"""
        if math.isinf(self.goal.extension_limit):
            return [math.nan] * (len(rails) * len(self.rails.seeds))
        nobody = candidate_of(find_controller("none"))
        distances: list[float] = []
        for scenario in rails:
            dry = on_dry_rail(scenario).replace(name=DRY_RAIL, title=DRY_RAIL)
            hashed = scenario_hash(dry)
            if hashed not in self._dry:
                task = make_task(dry.replace(name=f"dry~{hashed[:10]}"), nobody, 0)
                self._asked.add(task.key)  # the budget pays for it
                found = evaluate([task], self.rig)[0]
                self._dry[hashed] = float(found["final_distance"])
            distances += [self._dry[hashed]] * len(self.rails.seeds)
        return distances


def _finite(objective: Objective, summary: dict[str, Any]) -> float:
    """Return an objective; of a train that did not stop, how far it got; of a failed stop, none."""
    value = objective.of(summary)
    return value if math.isfinite(value) else float(summary.get("final_distance", math.inf))


def _excess(value: float, limit: float) -> float:
    return 0.0 if value <= limit else (value - limit) / max(limit, 0.1)

"""How much parameters and rail assumptions matter: indices over simulated stops."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from slipbench.campaign.campaign import evaluate
from slipbench.campaign.objectives import Objective
from slipbench.campaign.rig import Rig
from slipbench.campaign.variation import parameters_at, scenario_at
from slipbench.contract import Floats
from slipbench.ground.errors import InputError
from slipbench.results.canonical import as_json, scenario_hash, short_hash
from slipbench.running.candidate import Candidate, candidate_of
from slipbench.running.task import FAILED, Task, make_task
from slipbench.scenario import Scenario
from slipbench.statistics.designs import Space, scaled
from slipbench.statistics.effects import (
    Effects,
    Indices,
    elementary_effects,
    morris_design,
    saltelli_design,
    sobol_indices,
)
from slipbench.strategies.registry import Known

CHUNK = 256
"""Points whose summaries are held at once."""


@dataclass(frozen=True)
class Sensitivity:
    """Effects or indices of each objective.

    Attributes
    ----------
    space : Space
    effects : dict        objective name to `Effects`; empty after an analysis by variance
    indices : dict        objective name to `Indices`; empty after one by elementary effects
    n_stops : int
    n_overruns : int      stops that did not end; their distance is how far they got
    """

    space: Space
    effects: dict[str, Effects]
    indices: dict[str, Indices]
    n_stops: int
    n_overruns: int


@dataclass(frozen=True)
class Study:
    """What is analysed: a strategy on scenarios, averaged over them and the seeds."""

    known: Known
    scenarios: Sequence[Scenario]
    space: Space
    objectives: tuple[Objective, ...]
    seeds: range


def n_points(method: str, space: Space, size: int) -> int:
    """Return the points a method needs: `effects` with trajectories, `indices` with base points."""
    return size * (len(space) + (1 if method == "effects" else 2))


def analyse(
    study: Study,
    method: str,
    size: int,
    rig: Rig,
    seed: int = 0,
) -> Sensitivity:
    """Run a design and estimate what matters.

    Parameters
    ----------
    method : str   `effects` (Morris; cheap, a ranking) or `indices` (Sobol; shares of variance)
    size : int     trajectories, or base points (a power of two)

    Raises
    ------
    InputError   for a size that is not allowed, or a factor that does not fit
    """
    for scenario in study.scenarios:
        rig.store.claim("base", scenario.name, scenario_hash(scenario))
    n_factors = len(study.space)
    effects: dict[str, Effects] = {}
    indices: dict[str, Indices] = {}
    if method == "effects":
        paths = morris_design(n_factors, size, seed)
        cube = paths.reshape(-1, n_factors)
        values, n_overruns = _run(study, cube, rig)
        for objective, column in zip(study.objectives, values.T, strict=True):
            effects[objective.name] = elementary_effects(paths, column.reshape(size, -1))
    else:
        design = saltelli_design(n_factors, size, seed)
        cube = design.points
        values, n_overruns = _run(study, cube, rig)
        for objective, column in zip(study.objectives, values.T, strict=True):
            indices[objective.name] = sobol_indices(design, column, seed=seed)
    n_stops = len(cube) * len(study.scenarios) * len(study.seeds)
    return Sensitivity(study.space, effects, indices, n_stops, n_overruns)


def _run(study: Study, cube: Floats, rig: Rig) -> tuple[Floats, int]:
    """Return the objectives at points of the unit cube, (n, n_objectives), and the overruns."""
    candidate = candidate_of(study.known)
    points = scaled(study.space, cube)
    values = np.empty((len(points), len(study.objectives)))
    n_overruns = 0
    for start in range(0, len(points), CHUNK):
        chunk = points[start : start + CHUNK]
        tasks = [task for point in chunk for task in _tasks(study, candidate, point.tolist())]
        summaries = evaluate(tasks, rig)
        n_each = len(tasks) // len(chunk)
        for i in range(len(chunk)):
            own = summaries[i * n_each : (i + 1) * n_each]
            failed = [summary[FAILED] for summary in own if FAILED in summary]
            if failed:
                raise InputError(f"{failed[0]}; a sensitivity needs the numbers of every stop")
            n_overruns += sum(not summary["is_stopped"] for summary in own)
            for k, objective in enumerate(study.objectives):
                numbers = [objective.of(summary) for summary in own]
                reached = [float(summary["final_distance"]) for summary in own]
                values[start + i, k] = np.mean(
                    [x if math.isfinite(x) else y for x, y in zip(numbers, reached, strict=True)]
                )
    return values, n_overruns


def _tasks(study: Study, candidate: Candidate, point: list[float]) -> list[Task]:
    """Return the stops of one point; names carry the hash of what was changed."""
    parameters = parameters_at(study.space, point)
    mark = short_hash(as_json(point))[:10]
    own = candidate
    if parameters:
        study.known.controller.with_parameters(**parameters)
        label = f"{candidate.controller}~{short_hash(as_json(parameters))[:10]}"
        own = candidate.with_values(parameters, label)
    tasks = []
    for base in study.scenarios:
        scenario = scenario_at(base, study.space, point)
        if scenario is not base:
            scenario = scenario.replace(name=f"{base.name}~{mark}")
        hashed = scenario_hash(scenario)
        tasks += [make_task(scenario, own, seed, hashed) for seed in study.seeds]
    return tasks

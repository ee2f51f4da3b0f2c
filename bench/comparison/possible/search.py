"""Search for the shortest stop: which axles slide deep where, then every depth by itself."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from slipbench.comparison.possible.plan import Plan
from slipbench.contract import Floats
from slipbench.running.pool import map_in_pool
from slipbench.scenario import Scenario
from slipbench.stop.simulation import simulate

_DIFFERENCE = 0.06
"""Step of depth for a difference quotient: well above what events do to a distance. [-]"""


@dataclass(frozen=True)
class Found:
    """The shortest planned stop of a search.

    Attributes
    ----------
    plan : Plan
    distance : float   with the equipment of the seed searched with [m]
    n_tried : int      stops simulated
    """

    plan: Plan
    distance: float
    n_tried: int


def distance_of(scenario: Scenario, plan: Plan, seed: int = 0) -> float:
    """Return the stopping distance of a planned stop, infinity where it does not stop. [m]"""
    summary = simulate(scenario, plan.controller, seed, with_traces=False).summary
    return float(summary["stopping_distance"]) if summary["is_stopped"] else math.inf


def _distance_of(item: tuple[Scenario, Plan, int]) -> float:
    return distance_of(*item)


class _Search:
    def __init__(self, scenario: Scenario, seed: int, budget: int, n_workers: int) -> None:
        self.scenario, self.seed = scenario, seed
        self.budget, self.n_workers = budget, n_workers
        self.n_tried = 0
        self.best: tuple[float, Plan | None] = (math.inf, None)

    def distances(self, plans: Sequence[Plan]) -> list[float]:
        items = [(self.scenario, plan, self.seed) for plan in plans]
        if self.n_workers > 1 and len(items) > 8:
            found = map_in_pool(_distance_of, items, self.n_workers)
        else:
            found = [_distance_of(item) for item in items]
        self.n_tried += len(items)
        for distance, plan in zip(found, plans, strict=True):
            if distance < self.best[0]:
                self.best = (distance, plan)
        return found

    def descend(self, start: Plan, tell: Callable[[str], None]) -> None:
        """Go down from a plan until its gradient, or the budget, is used up."""
        from scipy.optimize import minimize

        longest = 2.0 * self.scenario.run.maximum_distance

        def value_and_slope(depths: Floats) -> tuple[float, Floats]:
            if self.n_tried >= self.budget:
                raise StopIteration
            steps = np.where(depths + _DIFFERENCE <= 1.0, _DIFFERENCE, -_DIFFERENCE)
            moved = [start.with_depths(depths)]
            for k, step in enumerate(steps):
                there = depths.copy()
                there[k] += step
                moved.append(start.with_depths(there))
            found = np.minimum(self.distances(moved), longest)
            tell(f"{self.scenario.name}: {self.n_tried} stops, best {self.best[0]:.1f} m")
            return float(found[0]), np.asarray((found[1:] - found[0]) / steps)

        first = np.array(start.depths, dtype=np.float64).ravel()
        bounds = [(0.0, 1.0)] * len(first)
        options: dict[str, Any] = {"maxiter": 40, "ftol": 1e-6}
        try:
            minimize(
                value_and_slope, first, jac=True, bounds=bounds, method="L-BFGS-B", options=options
            )
        except StopIteration:
            return


def plan_of_numbers(n_axles: int, places: Sequence[float], numbers: Sequence[float]) -> Plan:
    """Return the plan in which so many leading axles slide deep at each place.

    Parameters
    ----------
    n_axles : int
    places : (n_places,) floats    [m]
    numbers : (n_places,) floats   of axles; what is left of a whole one is the next one's depth
    """
    depths = tuple(
        tuple(float(min(max(number - i, 0.0), 1.0)) for number in numbers) for i in range(n_axles)
    )
    return Plan(tuple(float(place) for place in places), depths)


def planned_places(distance: float, length: float, n_places: int) -> list[float]:
    """Return places for a plan: even over most of the way, the last ones near its end.

    There cleaning stops paying, since no more than part of the train comes by. [m]
    """
    ends = [distance - share * length for share in (1.5, 0.8, 0.3)]
    ends = [place for place in ends if place > 0.1 * distance]
    most = np.linspace(0.0, (ends[0] if ends else distance), max(n_places - len(ends), 1) + 1)
    return [*most[:-1].tolist(), *ends]


def search(
    scenario: Scenario,
    seed: int = 0,
    budget: int = 600,
    n_places: int = 6,
    n_workers: int = 1,
    tell: Callable[[str], None] = lambda _: None,
) -> Found:
    """Return the shortest stop that a search over depth by axle and place finds.

    Parameters
    ----------
    scenario : Scenario
    seed : int             of the equipment drawn
    budget : int           stops simulated, about
    n_places : int         places between which depths run linearly, >= 1
    n_workers : int        processes
    tell : function        called with a line as the search goes on

    Notes
    -----
    First so many leading axles slide deep, the same everywhere; then that number is moved place by
    place, in steps that get smaller; then L-BFGS-B follows difference quotients of every depth.
    Nothing says that what it finds is the shortest there is.
    """
    own = _Search(scenario, seed, budget, n_workers)
    n_axles, length = scenario.train.n_axles, scenario.train.length
    numbers = sorted({*range(0, n_axles + 1, max(1, n_axles // 16))})
    own.distances([plan_of_numbers(n_axles, [0.0], [number]) for number in numbers])
    distance, best = own.best
    if best is None or not math.isfinite(distance):
        return Found(Plan.of_axles([0.0] * n_axles), math.inf, own.n_tried)
    tell(f"{scenario.name}: {own.n_tried} stops, best {distance:.1f} m")
    deep = float(sum(depths[0] for depths in best.depths))
    places = planned_places(distance, length, n_places)
    _move_numbers(own, places, [deep] * len(places), 0.5 * budget, tell)
    distance, best = own.best
    assert best is not None
    own.descend(best, tell)
    distance, best = own.best
    assert best is not None
    return Found(best, distance, own.n_tried)


def _move_numbers(
    own: _Search,
    places: Sequence[float],
    numbers: list[float],
    until: float,
    tell: Callable[[str], None],
) -> None:
    """Move the number of deep axles at each place up and down while that shortens the stop."""
    n_axles, size = own.scenario.train.n_axles, max(1.0, own.scenario.train.n_axles / 4.0)
    here = own.distances([plan_of_numbers(n_axles, places, numbers)])[0]
    while size >= 0.5 and own.n_tried < until:
        has_moved = False
        for k in range(len(places)):
            tried = []
            for step in (size, -size):
                moved = list(numbers)
                moved[k] = min(max(moved[k] + step, 0.0), float(n_axles))
                tried.append(moved)
            found = own.distances([plan_of_numbers(n_axles, places, one) for one in tried])
            i = int(np.argmin(found))
            if found[i] < here:
                here, numbers, has_moved = found[i], tried[i], True
        tell(f"{own.scenario.name}: {own.n_tried} stops, best {own.best[0]:.1f} m")
        if not has_moved:
            size *= 0.5

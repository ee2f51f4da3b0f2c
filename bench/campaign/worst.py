"""Search, within stated bounds, for the rail that hurts a strategy most."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import differential_evolution
from scipy.stats import qmc

from slipbench.campaign.campaign import evaluate
from slipbench.campaign.rails import HIGHEST, LOWEST
from slipbench.campaign.rig import Rig
from slipbench.campaign.variation import scenario_at
from slipbench.contract import Floats
from slipbench.ground.errors import InputError
from slipbench.results.canonical import as_json, scenario_hash, short_hash
from slipbench.results.scenario_file import scenario_file
from slipbench.running.candidate import FLOOR_CANDIDATE, candidate_of
from slipbench.running.task import FAILED, Task, make_task
from slipbench.scenario import Scenario
from slipbench.scenario.provenance import Provenance
from slipbench.statistics.designs import Factor, Space, scaled
from slipbench.strategies.registry import Known

FEWEST_POINTS = 6
"""Rails a generation of the search has at least."""

MOST_PATCHES, SHORTEST, LONGEST = 100, 1.0, 1e4
"""What the search can be asked for: patches, and their lengths [m]; a cell of rail is 1 m."""


@dataclass(frozen=True)
class Bounds:
    """Bounds of the search, all assumed; defaults are those random rails are drawn within.

    Attributes
    ----------
    n_patches : int                       patches of film, one after the other; the last goes on
    friction_low, friction_high : float   of each patch [-]
    length_low, length_high : float       of each patch but the last [m]
    cleaning_low, cleaning_high : float   times the film's cleaning work, the same for all [-]
    """

    n_patches: int = 4
    friction_low: float = 0.008
    friction_high: float = 0.15
    length_low: float = 20.0
    length_high: float = 1000.0
    cleaning_low: float = 0.5
    cleaning_high: float = 2.0

    def written(self) -> str:
        """Return the bounds in words."""
        return (
            f"patches {self.n_patches}, friction {self.friction_low:g} to {self.friction_high:g}, "
            f"each but the last {self.length_low:g} to {self.length_high:g} m long, cleaning work "
            f"{self.cleaning_low:g} to {self.cleaning_high:g} times the film's; all assumed"
        )

    def space(self) -> Space:
        """Return the factors of the search."""
        if not 1 <= self.n_patches <= MOST_PATCHES:
            raise InputError(
                f"worst rail of {self.n_patches} patches; allowed: 1 to {MOST_PATCHES}"
            )
        if not LOWEST <= self.friction_low <= self.friction_high <= HIGHEST:
            raise InputError(
                f"worst rail with friction {self.friction_low:g} to {self.friction_high:g}; "
                f"allowed: {LOWEST:g} to {HIGHEST:g}, the lower one first"
            )
        if not SHORTEST <= self.length_low <= self.length_high <= LONGEST:
            raise InputError(
                f"worst rail with patches of {self.length_low:g} to {self.length_high:g} m; "
                f"allowed: {SHORTEST:g} to {LONGEST:g} m, the lower one first"
            )
        return (
            *(
                Factor(f"friction {i}", self.friction_low, self.friction_high, is_log=True)
                for i in range(self.n_patches)
            ),
            *(
                Factor(f"length {i}", self.length_low, self.length_high, is_log=True)
                for i in range(self.n_patches - 1)
            ),
            Factor("film.cleaning_work", self.cleaning_low, self.cleaning_high, is_log=True),
        )


FLOOR_HARM = "over-shortest"
"""The harm for which the shortest possible stop is computed on every rail, too."""

Harm = Callable[[Mapping[str, Any], float], float]


def _over_shortest(summary: Mapping[str, Any], shortest: float) -> float:
    """Return distance over the shortest possible; 0 where no strategy could stop."""
    return float(summary["final_distance"]) / shortest if math.isfinite(shortest) else 0.0


HARMS: Mapping[str, tuple[str, Harm]] = {
    FLOOR_HARM: ("distance over the shortest possible on that rail [-]", _over_shortest),
    "distance": ("distance [m]", lambda summary, _: float(summary["final_distance"])),
    "lock": ("longest lock [s]", lambda summary, _: float(summary["longest_lock"])),
    "flats": ("flat risk [-]", lambda summary, _: float(summary["flat_risk"])),
}
"""What hurting may mean, by name. Only the first asks what the rail had to give: the others are
greatest where friction is least, whatever the strategy."""


@dataclass(frozen=True)
class WorstRail:
    """What the search found.

    Attributes
    ----------
    scenario : Scenario
    harm, harm_before : float   there, and on the rail it was started from
    harm_name, strategy : str
    n_rails, n_stops : int      tried
    failures : tuple of str     stops that came to no end, and why: the search passed them over
    bounds : Bounds             it was searched within
    """

    scenario: Scenario
    harm: float
    harm_before: float
    harm_name: str
    strategy: str
    n_rails: int
    n_stops: int
    bounds: Bounds
    failures: tuple[str, ...] = ()

    def file(self) -> str:
        """Return the rail as a scenario file that `load_scenario` reads."""
        meaning = HARMS[self.harm_name][0]
        return scenario_file(
            self.scenario,
            [
                f"The rail that hurts {self.strategy} most, of {self.n_rails} searched.",
                f"Bounds: {self.bounds.written()}.",
                f"{meaning}: {self.harm:.4g} here, {self.harm_before:.4g} on the rail it began as.",
                "A search finds a bad rail, not certainly the worst.",
            ],
        )


class _Search:
    def __init__(
        self, base: Scenario, known: Known, bounds: Bounds, harm: str, seeds: range, rig: Rig
    ) -> None:
        self.base, self.bounds, self.space = base, bounds, bounds.space()
        self.candidate = candidate_of(known)
        self.harm = HARMS[harm][1]
        self.needs_floor = harm == FLOOR_HARM
        self.seeds, self.rig = seeds, rig
        self.n_rails = self.n_stops = 0
        self.failures: list[str] = []
        self.why = f"found by a search for the rail that hurts {self.candidate.controller} most"

    def rail(self, point: list[float]) -> Scenario:
        """Return the scenario of a point of the space."""
        n = self.bounds.n_patches
        frictions, lengths = point[:n], point[n : 2 * n - 1]
        starts = np.concatenate([[0.0], np.cumsum(lengths)]).tolist()
        film = self.base.rail.sections[0]
        sections = tuple(
            dataclasses.replace(
                film,
                from_distance=start,
                friction=friction,
                recovered_friction=max(film.recovered_friction, friction),
            )
            for start, friction in zip(starts, frictions, strict=True)
        )
        mark = short_hash(as_json(point))[:10]
        made = self.base.replace(
            {
                "name": f"{self.base.name}~worst-{mark}",
                "title": f"{self.base.title}; rail {self.why}",
                "rail.sections": sections,
                "rail.random": None,
                "rail.profile": None,
            }
        )
        made = scenario_at(made, self.space[-1:], point[-1:])
        found = Provenance("derived", f"{self.why}, within assumed bounds")
        marks = {
            f"rail.sections.{i}.{field}": found
            for i in range(n)
            for field in ("from_distance", "friction", "cleaning_work")
        }
        kept = {
            f"rail.sections.{i}.{path.rpartition('.')[2]}": origin
            for path, origin in self.base.provenance.items()
            if path.startswith("rail.sections.0.")
            for i in range(n)
        }
        return dataclasses.replace(made, provenance={**made.provenance, **kept, **marks})

    def harms(self, scenarios: list[Scenario]) -> Floats:
        """Return the harm of each rail, mean over the seeds."""
        tasks: list[Task] = []
        for scenario in scenarios:
            hashed = scenario_hash(scenario)
            tasks += [make_task(scenario, self.candidate, seed, hashed) for seed in self.seeds]
            if self.needs_floor:
                tasks.append(make_task(scenario, FLOOR_CANDIDATE, 0, hashed))
        summaries = evaluate(tasks, self.rig)
        self.n_rails += len(scenarios)
        self.n_stops += len(scenarios) * len(self.seeds)
        n_each = len(tasks) // len(scenarios)
        values = []
        for i in range(len(scenarios)):
            own = summaries[i * n_each : (i + 1) * n_each]
            shortest = math.nan
            if self.needs_floor:
                found = own.pop()["shortest_possible"]
                shortest = math.inf if found is None else float(found)
            self.failures += [str(summary[FAILED]) for summary in own if FAILED in summary]
            ended = [self.harm(summary, shortest) for summary in own if FAILED not in summary]
            values.append(float(np.mean(ended)) if ended else 0.0)
        return np.array(values, dtype=np.float64)

    def __call__(self, cube: Floats) -> Floats:
        """Return minus the harm at points of the unit cube, (n_factors, n), as scipy asks."""
        points = scaled(self.space, np.clip(cube.T, 0.0, 1.0))
        return -self.harms([self.rail(point) for point in points.tolist()])


def refuse_search(harm: str, budget: int) -> None:
    """Refuse an unknown harm and a budget too small, before anything is opened."""
    if harm not in HARMS:
        raise InputError(f"harm {harm!r}; allowed: {', '.join(HARMS)}")
    least = 1 + 2 * FEWEST_POINTS  # where it starts from, and two generations
    if budget < least:
        raise InputError(f"budget of {budget} rails; allowed: at least {least}")


def worst_rail(
    base: Scenario,
    known: Known,
    budget: int,
    rig: Rig,
    *,
    bounds: Bounds | None = None,
    harm: str = FLOOR_HARM,
    seeds: range = range(1),
    seed: int = 0,
) -> WorstRail:
    """Search for the rail on which a strategy does worst, by differential evolution.

    Parameters
    ----------
    base : Scenario    train, equipment, driver and film other than friction and cleaning work
    budget : int       rails tried at most; with `over-shortest` the floor is computed on each too
    harm : str         see `HARMS`

    Raises
    ------
    InputError   for a budget too small, an unknown harm or bounds that cannot be
    """
    refuse_search(harm, budget)
    rig.store.claim("base", base.name, scenario_hash(base))
    search = _Search(base, known, bounds or Bounds(), harm, seeds, rig)
    n_factors = len(search.space)
    size = min(max(FEWEST_POINTS, budget // 8), 4 * n_factors)
    sampler = qmc.Sobol(n_factors, scramble=True, seed=np.random.default_rng(seed))
    start = sampler.random_base2(math.ceil(math.log2(size)))[:size]
    before = float(search.harms([base])[0])
    try:
        found = differential_evolution(
            search,
            [(0.0, 1.0)] * n_factors,
            init=start,
            maxiter=max(1, (budget - 1) // size - 1),
            mutation=(0.4, 0.9),
            tol=0.0,
            atol=0.0,
            polish=False,
            updating="deferred",
            vectorized=True,
            seed=np.random.default_rng(seed),
        )
    except RuntimeError as problem:  # scipy hides what a stop raised behind words of its own
        if isinstance(problem.__cause__, InputError):
            raise problem.__cause__ from None
        raise
    point = scaled(search.space, np.clip(found.x, 0.0, 1.0)[None, :])[0].tolist()
    return WorstRail(
        scenario=search.rail(point),
        harm=-float(found.fun),
        harm_before=before,
        harm_name=harm,
        strategy=search.candidate.controller,
        n_rails=search.n_rails,
        n_stops=search.n_stops,
        bounds=search.bounds,
        failures=tuple(search.failures),
    )

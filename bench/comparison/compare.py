"""Many strategies on many rails: run every pair on all cores and put the numbers side by side.

The numbers of a run depend on its scenario, strategy and seed only, so neither the number of
worker processes nor the order in which they finish changes anything.
"""

from __future__ import annotations

import csv
import io
import math
import statistics
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from slipbench.comparison.possible.store import best_found
from slipbench.ground.errors import InputError, StopFailed
from slipbench.results.cells import cell
from slipbench.results.quantities import head
from slipbench.running.pool import map_in_pool, n_cores
from slipbench.running.runner import finite_or_none, prepare, run_stop
from slipbench.running.task import FAILED
from slipbench.scenario import Scenario, on_dry_rail
from slipbench.stop.shortest import shortest_possible
from slipbench.strategies.registry import (
    DRY_STRATEGY,
    Known,
    find_controller,
    one_line,
    refuse_twice,
)

CONFIDENCE = 0.95


@dataclass(frozen=True)
class Yardsticks:
    """What the distances on one rail are held against: of one seed, or means over the seeds.

    Attributes
    ----------
    dry_distance : float        the same stop on the rail of scenario `dry`, strategy `none` [m];
                                NaN if it does not stop
    shortest_possible : float   no strategy can be shorter with this seed's equipment [m]; NaN if it
                                cannot be told
    reason : str                why it cannot be told; empty if it can
    best_found : float          the shortest stop a search that knows all has found, made with this
                                seed's equipment [m]; NaN if none is kept for this scenario
    """

    dry_distance: float
    shortest_possible: float
    reason: str = ""
    best_found: float = math.nan

    @classmethod
    def mean(cls, marks: Sequence[Yardsticks]) -> Yardsticks:
        """Return the means over seeds; NaN where one of them is."""
        return cls(
            statistics.fmean(own.dry_distance for own in marks),
            statistics.fmean(own.shortest_possible for own in marks),
            next((own.reason for own in marks if own.reason), ""),
            statistics.fmean(own.best_found for own in marks),
        )


@dataclass(frozen=True)
class ComparedStop:
    """One run: its scenario's name and start, its strategy, and the numbers of its summary."""

    scenario: str
    initial_speed: float
    controller: str
    uses_truth: bool
    seed: int
    yardsticks: Yardsticks
    summary: dict[str, Any]
    findings: tuple[str, ...] = ()

    def as_record(self) -> dict[str, Any]:
        """Return the row flat, for JSON and CSV; numbers that are not finite become None."""
        flat = {
            "scenario": self.scenario,
            "strategy": self.controller,
            "seed": self.seed,
            "uses_truth": self.uses_truth,
            "initial_speed": self.initial_speed,
            "shortest_possible": self.yardsticks.shortest_possible,
            "best_found": self.yardsticks.best_found,
            "dry_distance": self.yardsticks.dry_distance,
            **self.summary,
        }
        return {name: finite_or_none(value) for name, value in flat.items()}

    @classmethod
    def from_record(cls, record: Mapping[str, Any], findings: Sequence[str] = ()) -> ComparedStop:
        """Return the row that gave a record of `as_record`; numbers that were None become NaN.

        Raises
        ------
        KeyError   if the record lacks one of the names
        """
        summary: dict[str, Any] = {n: math.nan if v is None else v for n, v in record.items()}
        dry, shortest = summary.pop("dry_distance"), summary.pop("shortest_possible")
        marks = Yardsticks(dry, shortest, best_found=summary.pop("best_found", math.nan))
        heads = ("scenario", "initial_speed", "uses_truth", "seed")
        values = {name: summary.pop(name) for name in heads}
        values["controller"] = summary.pop("strategy")
        return cls(**values, yardsticks=marks, summary=summary, findings=tuple(findings))


@dataclass(frozen=True)
class Score:
    """One strategy on one rail over all seeds.

    A run that did not stop counts as an overrun of infinite distance, so it can neither drop out of
    a mean nor shorten it: with one such run `distance` is infinite.

    Attributes
    ----------
    distance, shortest_run, longest_run : float   mean, least and greatest stopping distance [m]
    half_width : float                            of the mean's 95 % interval over the seeds, by
                                                  Student's t [m]; NaN for one seed, or an overrun
    over_dry, over_shortest : float               mean distance over the yardstick [-]; NaN without
    longest_lock : float                          longest lock of a run, mean over the seeds [s]
    least_lock, worst_lock : float                its least and greatest over the seeds [s]
    flat_risk, vents : float                      means [-]
    """

    controller: str
    uses_truth: bool
    n_runs: int
    n_stopped: int
    distance: float
    half_width: float
    shortest_run: float
    longest_run: float
    over_dry: float
    over_shortest: float
    longest_lock: float
    least_lock: float
    worst_lock: float
    flat_risk: float
    vents: float


@dataclass(frozen=True)
class Comparison:
    """Every run of a comparison, by scenario, then strategy, then seed, as asked for.

    `yardsticks` are the means over the seeds; a row holds those of its own seed.
    """

    scenarios: tuple[Scenario, ...]
    strategies: tuple[Known, ...]
    n_seeds: int
    yardsticks: dict[str, Yardsticks]
    rows: tuple[ComparedStop, ...]

    def rails(self) -> list[Scenario]:
        """Return the scenarios, that with the shortest stop of a strategy without truth first."""

        return sorted(self.scenarios, key=lambda s: shortest_stop(self.scores(s.name)))

    def scores(self, scenario: str) -> list[Score]:
        """Return a score a strategy on one rail: fewest overruns, then shortest distance first."""
        return scores_on(scenario, self.rows)


def scores_on(scenario: str, rows: Sequence[ComparedStop]) -> list[Score]:
    """Return a score a strategy on one rail: fewest overruns, then shortest distance first."""
    runs: dict[str, list[ComparedStop]] = {}
    for row in rows:
        if row.scenario == scenario:
            runs.setdefault(row.controller, []).append(row)
    scores = [_score(own) for own in runs.values()]
    return sorted(scores, key=lambda s: (s.n_runs - s.n_stopped, s.distance, s.longest_lock))


def shortest_stop(scores: Sequence[Score]) -> float:
    """Return the least mean distance of a strategy that does not see truth, or of any. [m]"""
    return min((s.distance for s in scores if not s.uses_truth), default=scores[0].distance)


@dataclass(frozen=True)
class Part:
    """One piece of work for a worker; without a reference it finds the scenario's yardsticks."""

    scenario: Scenario
    reference: str
    seed: int = 0
    compile_file: bool = False
    stop_limit: float = math.inf


def compare(
    scenarios: Sequence[Scenario],
    strategies: Sequence[Known],
    n_seeds: int = 1,
    *,
    n_workers: int | None = None,
    tell: Callable[[], None] = lambda: None,
    meanwhile: Callable[[], None] = lambda: None,
    stop_limit: float = math.inf,
) -> Comparison:
    """Run every strategy on every scenario with seeds 0 to n_seeds - 1.

    Parameters
    ----------
    scenarios : sequence of Scenario   with different names
    strategies : sequence of Known     with different names
    n_seeds : int                      >= 1
    n_workers : int or None            processes; None is one a core, 1 runs in this process
    tell : function                    called each time a part is done
    meanwhile : function               called once, while other processes work, if there are any
    stop_limit : float                 what a stop may take by the clock before it has failed [s]

    Returns
    -------
    Comparison

    Raises
    ------
    InputError   for names given twice, and whatever a run refuses

    Notes
    -----
    A stop that comes to no end (`StopFailed`) is a row with its reason, `failed`, and NaN for all
    numbers; it counts as an overrun.
    """
    refuse_twice("scenarios", [(s.name, s.title) for s in scenarios])
    refuse_twice("strategies", [(k.controller.name, k.origin) for k in strategies])
    for known in strategies:
        prepare(known)
    parts = [replace(part, stop_limit=stop_limit) for part in plan(scenarios, strategies, n_seeds)]
    n_workers = min(n_workers or n_cores(), len(parts))
    if n_workers == 1:
        results = _run_here(parts, strategies, tell)
    else:
        results = map_in_pool(_run_in_worker, parts, n_workers, tell, meanwhile, _given_up)
    marks = {(s.name, seed): results.pop(0) for s in scenarios for seed in range(n_seeds)}
    summaries = iter(_completed(results))
    rows = tuple(
        ComparedStop(
            scenario=scenario.name,
            initial_speed=scenario.initial_speed,
            controller=known.controller.name,
            uses_truth=known.controller.uses_truth,
            seed=seed,
            yardsticks=marks[scenario.name, seed],
            **next(summaries),
        )
        for scenario in scenarios
        for known in strategies
        for seed in range(n_seeds)
    )
    yardsticks = {
        s.name: Yardsticks.mean([marks[s.name, seed] for seed in range(n_seeds)]) for s in scenarios
    }
    return Comparison(tuple(scenarios), tuple(strategies), n_seeds, yardsticks, rows)


def plan(scenarios: Sequence[Scenario], strategies: Sequence[Known], n_seeds: int) -> list[Part]:
    """Return the parts of a comparison: yardsticks first, then scenario by strategy by seed."""
    parts = [Part(scenario, "", seed) for scenario in scenarios for seed in range(n_seeds)]
    for scenario in scenarios:
        for known in strategies:
            for seed in range(n_seeds):
                parts.append(Part(scenario, known.reference, seed, known.runs_compiled))
    return parts


def as_csv(rows: Sequence[ComparedStop]) -> str:
    """Return the rows as CSV: `as_record`, units in the heads, a list joined by `;`."""
    stream = io.StringIO()
    records = [row.as_record() for row in rows]
    writer = csv.DictWriter(stream, fieldnames=list(records[0]), lineterminator="\n")
    writer.writerow({name: head(name) for name in records[0]})
    for record in records:
        writer.writerow({name: cell(_csv_cell(value)) for name, value in record.items()})
    return stream.getvalue()


def _csv_cell(value: Any) -> Any:
    if isinstance(value, list):
        return ";".join("" if item is None else repr(item) for item in value)
    return str(value).lower() if isinstance(value, bool) else value


def find_yardsticks(scenario: Scenario, seed: int = 0) -> Yardsticks:
    """Return what distances of a seed are held against: dry rail, the floor, the best found."""
    dry = run_stop(on_dry_rail(scenario), _found(DRY_STRATEGY, False), seed=seed)
    dry_distance = float(dry.summary["stopping_distance"])
    best = best_found(scenario, seed)
    try:
        shortest = float(shortest_possible(scenario, seed=seed))
    except InputError as problem:
        return Yardsticks(dry_distance, math.nan, one_line(problem), best)
    if math.isinf(shortest):
        reason = "no stop within the scenario's limits is possible"
        return Yardsticks(dry_distance, math.nan, reason, best)
    return Yardsticks(dry_distance, shortest, best_found=best)


def half_width(values: Sequence[float]) -> float:
    """Return the half-width of the 95 % interval of a mean, by Student's t; NaN below 2 values."""
    if len(values) < 2 or not all(map(math.isfinite, values)):
        return math.nan
    from scipy.special import stdtrit

    factor = float(stdtrit(len(values) - 1, 0.5 + 0.5 * CONFIDENCE))
    return factor * statistics.stdev(values) / math.sqrt(len(values))


def _over(distance: float, yardstick: float) -> float:
    """Return the ratio of a distance to a yardstick, NaN unless both are finite. [-]"""
    ratio = distance / yardstick
    return ratio if math.isfinite(ratio) else math.nan


def _score(runs: Sequence[ComparedStop]) -> Score:
    n_stopped = sum(run.summary["is_stopped"] for run in runs)
    distances = [
        run.summary["stopping_distance"] if run.summary["is_stopped"] else math.inf for run in runs
    ]
    mean = statistics.fmean(distances)
    marks = Yardsticks.mean([run.yardsticks for run in runs])
    locks = [run.summary["longest_lock"] for run in runs]
    return Score(
        controller=runs[0].controller,
        uses_truth=runs[0].uses_truth,
        n_runs=len(runs),
        n_stopped=n_stopped,
        distance=mean,
        half_width=half_width(distances),
        shortest_run=min(distances),
        longest_run=max(distances),
        over_dry=_over(mean, marks.dry_distance),
        over_shortest=_over(mean, marks.shortest_possible),
        longest_lock=statistics.fmean(locks),
        least_lock=min(locks),
        worst_lock=max(locks),
        flat_risk=statistics.fmean(run.summary["flat_risk"] for run in runs),
        vents=statistics.fmean(run.summary["vent_count"] for run in runs),
    )


def _run_part(part: Part, known: Known | None) -> Any:
    if known is None:
        return find_yardsticks(part.scenario, part.seed)
    try:
        stop = run_stop(part.scenario, known, part.seed, stop_limit=part.stop_limit)
    except StopFailed as problem:
        return _given_up(part, str(problem))
    except InputError as problem:
        where = f"scenario {part.scenario.name}, seed {part.seed}"
        raise InputError(f"{where}: {one_line(problem)}") from problem
    return {"summary": dict(stop.summary), "findings": tuple(own.text for own in stop.findings)}


def _given_up(part: Part, reason: str) -> Any:
    return {"summary": {"is_stopped": False, FAILED: reason}, "findings": ()}


_NEEDED = ("stopping_distance", "longest_lock", "flat_risk", "vent_count", "energy_residual")
"""What a comparison shows of a stop, should every one of them fail."""


def _completed(runs: Sequence[dict[str, Any]]) -> Sequence[dict[str, Any]]:
    """Give failed stops the names of the others, without numbers, and the others no reason."""
    failed = [run for run in runs if FAILED in run["summary"]]
    if not failed:
        return runs
    ended = next((run["summary"] for run in runs if FAILED not in run["summary"]), None)
    empty = dict.fromkeys(_NEEDED, math.nan) if ended is None else _emptied(ended)
    return [{**run, "summary": {FAILED: "", **empty, **run["summary"]}} for run in runs]


def _emptied(summary: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: [math.nan] * len(value) if isinstance(value, list) else math.nan
        for name, value in summary.items()
    }


def _run_here(
    parts: Sequence[Part], strategies: Sequence[Known], tell: Callable[[], None]
) -> list[Any]:
    by_reference = {known.reference: known for known in strategies}
    results = []
    for part in parts:
        results.append(_run_part(part, by_reference.get(part.reference)))
        tell()
    return results


@lru_cache(maxsize=64)
def _found(reference: str, compile_file: bool) -> Known:
    return find_controller(reference, compile_file=compile_file)


def _run_in_worker(part: Part) -> Any:
    return _run_part(part, _found(part.reference, part.compile_file) if part.reference else None)

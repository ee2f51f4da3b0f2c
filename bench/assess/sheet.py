"""The programme of an assessment, its stops, and the judgement of each limit."""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from slipbench.assess.limits import Limit
from slipbench.ground.errors import InputError, StopFailed
from slipbench.running.runner import run_stop
from slipbench.running.task import FAILED as FAILED_STOP
from slipbench.running.task import failed_summary
from slipbench.scenario import Scenario, on_dry_rail
from slipbench.strategies.registry import Known, refuse_twice

EXTENSION = "extension_over_dry"
SPEED_SHARES = (0.5, 0.75, 1.0)
"""Starting speeds, as shares of the scenario's own (assumed)."""

LOADS = (("tare", 0.0), ("laden", 1.0))
PASSED, FAILED, NOT_JUDGED, MET, NOT_MET = "pass", "fail", "not judged", "met", "not met"


@dataclass(frozen=True)
class Case:
    """One condition of the programme, run once a seed.

    Attributes
    ----------
    rail : str               name of the scenario
    is_dry : bool            the dry reference of that scenario
    load : str               "tare" or "laden"
    scenario : Scenario      as run
    """

    rail: str
    is_dry: bool
    load: str
    scenario: Scenario

    @property
    def key(self) -> tuple[str, str, float]:
        """What a stop and its dry reference share."""
        return self.rail, self.load, self.scenario.initial_speed


@dataclass(frozen=True)
class Result:
    """One stop of the programme: its case, seed and numbers."""

    case: Case
    seed: int
    summary: Mapping[str, Any]
    extension_over_dry: float

    def value(self, measure: str, badness: Callable[[float], float] | None = None) -> float:
        """Return a measure; the largest of a list; NaN where the stop has no such number.

        Parameters
        ----------
        measure : str
        badness : function   where given, the number of a list for which it is greatest is taken

        Raises
        ------
        InputError   if the summary has no such number
        """
        if measure == EXTENSION:
            return self.extension_over_dry
        if self.failure:
            return math.nan
        if measure not in self.summary:
            raise InputError(f"measure {measure!r}: no number of a stop's summary")
        value = self.summary[measure]
        known = [x for x in (value if isinstance(value, list) else [value]) if x is not None]
        return float(max(known, key=badness, default=math.nan))

    @property
    def failure(self) -> str:
        """Why the stop came to no end; empty if it did."""
        return str(self.summary.get(FAILED_STOP, ""))

    @property
    def where(self) -> str:
        """Speed, load and seed, in words."""
        speed = self.case.scenario.initial_speed
        return f"{speed:.1f} m/s, {self.case.load}, seed {self.seed}"


def worst_value(result: Result, limit: Limit) -> float:
    """Return the number of a stop that a limit is judged by: of a list the farthest out of it."""
    return result.value(limit.measure, limit.excess)


@dataclass(frozen=True)
class Line:
    """One limit on one rail, judged.

    Attributes
    ----------
    limit : Limit
    rail : str
    verdict : str     "pass", "fail", "not judged"; of a condition "met" or "not met"
    mean, worst : float   over the stops judged; NaN without any
    worst_where : str
    n_judged, n_stops : int
    reason : str      why not judged, else empty
    """

    limit: Limit
    rail: str
    verdict: str
    mean: float
    worst: float
    worst_where: str
    n_judged: int
    n_stops: int
    reason: str = ""


@dataclass(frozen=True)
class Sheet:
    """An acceptance sheet.

    Attributes
    ----------
    controller : str
    n_seeds : int
    limits : tuple of Limit
    results : tuple of Result
    lines : tuple of Line
    """

    controller: str
    n_seeds: int
    limits: tuple[Limit, ...]
    results: tuple[Result, ...]
    lines: tuple[Line, ...]


def programme(scenarios: Sequence[Scenario], is_quick: bool = False) -> list[Case]:
    """Return the cases: of each scenario the dry reference stops first, then its own rail.

    Parameters
    ----------
    scenarios : sequence of Scenario   with different names
    is_quick : bool                    the full speed only
    """
    cases = []
    for scenario in scenarios:
        for is_dry in (True, False):
            for load, share in LOADS:
                for factor in SPEED_SHARES[-1:] if is_quick else SPEED_SHARES:
                    changes: dict[str, Any] = {
                        "initial_speed": factor * scenario.initial_speed,
                        "train.load": share,
                    }
                    own = scenario.replace(changes)
                    own = on_dry_rail(own) if is_dry else own
                    cases.append(Case(scenario.name, is_dry, load, own))
    return cases


def assess(
    scenarios: Sequence[Scenario],
    known: Known,
    limits: tuple[Limit, ...],
    n_seeds: int = 3,
    *,
    is_quick: bool = False,
    tell: Callable[[], None] = lambda: None,
    stop_limit: float = math.inf,
) -> Sheet:
    """Run the programme and judge every limit on every rail.

    Parameters
    ----------
    scenarios : sequence of Scenario   with different names; three rails make a programme
    known : Known                      the strategy
    limits : tuple of Limit
    n_seeds : int                      stops of each case, seeds 0 to n_seeds - 1
    is_quick : bool                    one speed only
    tell : function                    called when a stop is done
    stop_limit : float                 what a stop may take by the clock [s]

    Returns
    -------
    Sheet

    Raises
    ------
    InputError   for names given twice, a measure no stop has, and whatever a run refuses; a stop
                 that comes to no end is a result that fails
    """
    refuse_twice("scenarios", [(s.name, s.title) for s in scenarios])
    dry: dict[tuple[str, str, float], list[float]] = {}
    results = []
    for case in programme(scenarios, is_quick):
        for seed in range(n_seeds):
            try:
                summary = run_stop(case.scenario, known, seed, stop_limit=stop_limit).summary
            except StopFailed as problem:  # an outcome like any other, and it fails every limit
                summary = failed_summary(str(problem))
            distance = summary["stopping_distance"] if summary["is_stopped"] else math.inf
            if case.is_dry:
                dry.setdefault(case.key, []).append(distance)
            extension = distance / statistics.fmean(dry[case.key]) - 1.0
            results.append(Result(case, seed, summary, extension))
            tell()
    lines = [
        judge(limit, rail, results, limits)
        for limit in limits
        for rail in (scenario.name for scenario in scenarios)
    ]
    return Sheet(known.controller.name, n_seeds, limits, tuple(results), tuple(lines))


def judge(limit: Limit, rail: str, results: Sequence[Result], limits: Sequence[Limit]) -> Line:
    """Judge one limit on one rail, by the worst stop.

    Notes
    -----
    Of a measure with a number an axle the farthest out counts: the least under a limit from below.
    A train that does not stop counts with an infinite extension; a stop that came to no end fails
    every limit. A number that is not there is not
    judged, and so is a stop that does not meet the condition the limit requires.
    """
    own = [
        r
        for r in results
        if r.case.rail == rail and (limit.rails == "all" or (limit.rails == "dry") == r.case.is_dry)
    ]
    words = (MET, NOT_MET) if limit.is_condition else (PASSED, FAILED)
    failed = [r for r in own if r.failure]
    if failed:
        reason = f"{len(failed)} stops came to no end, the first: {failed[0].failure}"
        return Line(limit, rail, words[1], math.nan, math.nan, "", 0, len(own), reason)
    required = next((other for other in limits if other.name == limit.requires), None)
    fit = [r for r in own if required is None or required.holds(worst_value(r, required))]
    judged = [r for r in fit if not math.isnan(worst_value(r, limit))]
    if not judged:
        reason = "no such number in these stops"
        if required is not None and not fit:
            reason = f"{required.name} outside {required.range_text} in every stop"
        return Line(limit, rail, NOT_JUDGED, math.nan, math.nan, "", 0, len(own), reason)
    worst = max(judged, key=lambda r: limit.excess(worst_value(r, limit)))
    value = worst_value(worst, limit)
    return Line(
        limit=limit,
        rail=rail,
        verdict=words[0] if limit.holds(value) else words[1],
        mean=statistics.fmean(worst_value(r, limit) for r in judged),
        worst=value,
        worst_where=worst.where,
        n_judged=len(judged),
        n_stops=len(own),
        reason="" if len(judged) == len(own) else f"{len(own) - len(judged)} stops not judged",
    )

"""Tune a strategy's parameters: screening, search with successive halving, held-out rails."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import stats

from slipbench.campaign.objectives import OBJECTIVES, Objective
from slipbench.campaign.rig import Rig
from slipbench.campaign.tuning.judge import Goal, Judge, Setting
from slipbench.campaign.tuning.rails import Rails
from slipbench.campaign.tuning.search import (
    FEWEST,
    arrays,
    cost,
    halved,
    offspring,
    points_of,
    rungs,
    screening_size,
    search_budget,
    shares_of,
)
from slipbench.contract import Controller, Floats
from slipbench.ground.errors import InputError
from slipbench.running.candidate import Candidate
from slipbench.scenario import Scenario
from slipbench.statistics.designs import Space, sobol_design
from slipbench.statistics.intervals import Interval, Paired, paired, wilson
from slipbench.statistics.trade_off import knee, non_dominated, recommended
from slipbench.strategies.registry import Known

SHIPPED = "the strategy's defaults"
MIDPOINTS = "midpoints"
Pairs = dict[str, tuple[Floats, Floats]]
Summaries = list[dict[str, Any]]
_SERIES = re.compile(r"\.\d+\.\d+$")  # what random rails add to the name of their scenario


def started(known: Known, text: str | None) -> tuple[Known, str]:
    """Return a strategy set to what tuning is to start from and be compared with, and its name.

    Parameters
    ----------
    text : str or None   `midpoints` of the parameters' bounds; `name=value,...`, the rest staying
                         at its default; None: the values it has

    Raises
    ------
    InputError   for what is neither, an unknown parameter, or a value it does not allow
    """
    if text is None:
        return known, SHIPPED
    controller = known.controller
    values: dict[str, float] = {}
    if text == MIDPOINTS:
        return midpoints(known), "the midpoints of its bounds"
    for pair in text.split(","):
        name, _, number = pair.partition("=")
        try:
            values[name.strip()] = float(number)
        except ValueError:
            raise InputError(
                f"--start {text!r}; write {MIDPOINTS} or name=value,name=value (SI)"
            ) from None
    changed = replace(known, controller=controller.with_parameters(**values))
    return changed, f"{text}, the rest its defaults"


def midpoints(known: Known) -> Known:
    """Return a strategy with its own parameters in the middle of their bounds."""
    own = [p for p in known.controller.parameters if not p.is_data]
    values = {p.name: 0.5 * (p.low + p.high) for p in own}
    return replace(known, controller=known.controller.with_parameters(**values))


class NoSetting(InputError):
    """No setting that was tried keeps the constraints."""


@dataclass(frozen=True)
class HeldOut:
    """Start, tuned and shipped settings on rails the search never saw.

    `differences` are tuned - start, `from_shipped` tuned - the strategy's own defaults: the same
    where it was started from those. `by_family` and `shipped_by_family` have them for the rails of
    each scenario alone: a mean over all may hide that one family gains what another loses.
    """

    n_rails: int
    default: Setting
    tuned: Setting
    differences: dict[str, Paired]
    overrun_default: Interval
    overrun_tuned: Interval
    by_family: dict[str, dict[str, Paired]]
    shipped: Setting
    from_shipped: dict[str, Paired]
    shipped_by_family: dict[str, dict[str, Paired]]


@dataclass(frozen=True)
class Tuned:
    """What tuning found.

    Attributes
    ----------
    candidate : Candidate            the strategy with the values it was started from
    goal : Goal
    default, chosen : Setting        on the training rails; the first is what it started from
    knee : Setting                   of the whole front, which the chosen one need not be
    is_chosen_safe : bool            the chosen one is nowhere worse than the start there
    front : tuple of Setting         non-dominated, constraints kept
    tried : tuple of Setting         all that met every training rail
    influence : dict                 parameter to rank correlation with each objective, screening
    held_out : HeldOut
    n_stops, n_settings : int        stops asked for in all, and settings tried
    start : str                      what it started from, in words
    """

    candidate: Candidate
    goal: Goal
    default: Setting
    chosen: Setting
    knee: Setting
    is_chosen_safe: bool
    front: tuple[Setting, ...]
    tried: tuple[Setting, ...]
    influence: dict[str, list[float]]
    held_out: HeldOut
    n_stops: int
    n_settings: int
    start: str = SHIPPED

    @property
    def is_from_shipped(self) -> bool:
        """Whether it was started from the strategy's own defaults."""
        return self.held_out.from_shipped is self.held_out.differences


def shipped_values(controller: Controller) -> dict[str, float]:
    """Return the defaults of a strategy's parameters, facts of the vehicle left out."""
    return {p.name: p.default for p in controller.parameters if not p.is_data}


def _is_shipped(controller: Controller) -> bool:
    names = [p.name for p in controller.parameters]
    now = dict(zip(names, controller.parameter_values.tolist(), strict=True))
    return all(now[name] == value for name, value in shipped_values(controller).items())


def n_held_out(known: Known) -> int:
    """Return how many settings meet the held-out rails: start, tuned, and the shipped defaults."""
    return 2 if _is_shipped(known.controller) else 3


def tune(
    known: Known,
    space: Space,
    goal: Goal,
    rails: Rails,
    budget: int,
    rig: Rig,
    seed: int = 0,
) -> Tuned:
    """Find settings that trade the goal's objectives, and try the chosen one on held-out rails.

    Screening: a Sobol design over all parameters, the default among it. Then generations of new
    settings, made from the best so far by differential evolution. Both go through successive
    halving: all settings meet a quarter of the rails, the better half a second quarter, the better
    quarter the rest. The same arguments ask for the same stops, so a tuning that was broken off
    resumes from its store.

    Parameters
    ----------
    budget : int   stops in all, those on held-out rails included
    seed : int     of the search: of its design and its new settings

    Raises
    ------
    InputError   if the budget is too small, or no setting keeps the constraints
    """
    if not len(rails.training) or not len(rails.held_out):
        raise InputError("tuning needs rails to tune on and others to hold out; at least 1 of each")
    judge = Judge(known, goal, rails, rig)
    ladder = rungs(len(rails.training))
    n_held = n_held_out(known)
    size = screening_size(budget, rails, ladder, n_held)
    generator = np.random.default_rng(seed)
    points: list[dict[str, float]] = [{}, *points_of(space, sobol_design(space, size - 1, seed))]
    tried, first_rung = halved(judge, points, ladder)
    influence = _influence(space, known, first_rung)
    default = tried[0]
    left = search_budget(budget, rails, n_held) - judge.n_stops
    n_settings, n_seeds = size, len(rails.seeds)
    n_children = max(FEWEST, size // 2)
    while n_children >= FEWEST:
        if left >= cost(n_children, ladder, n_seeds):
            points = offspring(space, known, tried, n_children, generator, goal)
            tried += halved(judge, points, ladder)[0]
            n_settings += n_children
            left = search_budget(budget, rails, n_held) - judge.n_stops
        else:
            n_children -= 1
    return _concluded(judge, default, tried, influence, n_settings)


def _influence(space: Space, known: Known, screened: Sequence[Setting]) -> dict[str, list[float]]:
    cube = np.array([shares_of(space, known, setting.values) for setting in screened])
    scores = arrays(screened)[0]
    found: dict[str, list[float]] = {}
    for i, factor in enumerate(space):
        found[factor.name] = []
        for column in scores.T:
            is_flat = (column == column[0]).all() or np.ptp(cube[:, i]) == 0.0
            rho = 0.0 if is_flat else float(stats.spearmanr(cube[:, i], column).statistic)
            found[factor.name].append(rho)
    return found


def _concluded(
    judge: Judge,
    default: Setting,
    tried: list[Setting],
    influence: dict[str, list[float]],
    n_settings: int,
) -> Tuned:
    scores, violations = arrays(tried)
    front = non_dominated(scores, violations)
    if not front:
        nearest = tried[int(violations.argmin())]
        raise NoSetting(
            f"tuning {judge.candidate.controller}: no setting tried keeps the constraints on every "
            f"training rail; nearest: {nearest.n_overruns} overruns, longest lock "
            f"{nearest.longest_lock:.2f} s, extension {nearest.longest_extension:.2f}"
        )
    i_knee = front[knee(scores[front])]
    i_chosen = i_knee
    if judge.goal.weights:
        i_chosen = front[int(judge.goal.ranked(scores[front]).argmin())]
    elif not judge.goal.is_knee_wanted:
        i_chosen = front[recommended(scores[front], scores[0])]
    return Tuned(
        candidate=judge.candidate,
        goal=judge.goal,
        default=default,
        chosen=tried[i_chosen],
        knee=tried[i_knee],
        is_chosen_safe=bool((scores[i_chosen] <= scores[0]).all()),
        front=tuple(tried[i] for i in front),
        tried=tuple(tried),
        influence=influence,
        held_out=_held_out(judge, tried[i_chosen].values),
        n_stops=judge.n_stops,
        n_settings=n_settings,
    )


def _held_out(judge: Judge, values: dict[str, float]) -> HeldOut:
    """Run start, tuned and shipped settings there; seeds of a rail are averaged first."""
    rails = judge.rails.held_out
    points: list[dict[str, float]] = [{}, values]
    is_shipped = _is_shipped(judge.controller)
    if not is_shipped:
        points.append(shipped_values(judge.controller))
    found = judge.run(points, rails)
    settings = judge.settings(points, found, rails)
    shipped = 0 if is_shipped else 2
    of_start = _per_rail(judge, found[0], found[1])
    of_shipped = of_start if is_shipped else _per_rail(judge, found[shipped], found[1])
    differences, by_family = _of_all(of_start), _of_families(rails, of_start)
    return HeldOut(
        n_rails=len(rails),
        default=settings[0],
        tuned=settings[1],
        differences=differences,
        overrun_default=_overruns(judge, found[0]),
        overrun_tuned=_overruns(judge, found[1]),
        by_family=by_family,
        shipped=settings[shipped],
        from_shipped=differences if is_shipped else _of_all(of_shipped),
        shipped_by_family=by_family if is_shipped else _of_families(rails, of_shipped),
    )


def _per_rail(judge: Judge, before: Summaries, after: Summaries) -> Pairs:
    """Return each objective before and after, a mean over the seeds of each held-out rail."""
    shape = len(judge.rails.held_out), len(judge.rails.seeds)

    def means(objective: Objective, summaries: Summaries) -> Floats:
        values = np.array([objective.of(s) for s in summaries], dtype=np.float64)
        return np.asarray(values.reshape(shape).mean(axis=1))

    objectives = (*judge.goal.objectives, OBJECTIVES["lock"])
    return {o.name: (means(o, before), means(o, after)) for o in objectives}


def _of_all(numbers: Pairs) -> dict[str, Paired]:
    return {name: paired(*both) for name, both in numbers.items()}


def _of_families(rails: Sequence[Scenario], numbers: Pairs) -> dict[str, dict[str, Paired]]:
    """Return the differences on the rails of each scenario alone."""
    families = [_SERIES.sub("", rail.name) for rail in rails]
    own = {f: np.array([name == f for name in families]) for f in dict.fromkeys(families)}
    return {
        f: {
            name: paired(first[is_own], second[is_own]) for name, (first, second) in numbers.items()
        }
        for f, is_own in own.items()
    }


def _overruns(judge: Judge, summaries: Summaries) -> Interval:
    """Return the share of held-out rails with a stop that overran."""
    n_rails = len(judge.rails.held_out)
    is_over = np.array([not s["is_stopped"] for s in summaries]).reshape(n_rails, -1)
    return wilson(int(is_over.any(axis=1).sum()), n_rails)

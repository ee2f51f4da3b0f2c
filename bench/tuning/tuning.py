"""Tune a strategy's parameters: screening, search with successive halving, held-out rails."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import stats

from slipbench.campaign.objectives import OBJECTIVES, Objective
from slipbench.campaign.store import Store
from slipbench.contract import Floats
from slipbench.ground.errors import InputError
from slipbench.running.candidate import Candidate
from slipbench.running.progress import Bar
from slipbench.running.runners import Runner
from slipbench.statistics.designs import Space, sobol_design
from slipbench.statistics.intervals import Interval, Paired, paired, wilson
from slipbench.statistics.trade_off import knee, non_dominated, recommended
from slipbench.strategies.registry import Known
from slipbench.tuning.judge import Goal, Judge, Setting
from slipbench.tuning.rails import Rails
from slipbench.tuning.search import (
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

SHIPPED = "the strategy's defaults"
MIDPOINTS = "midpoints"
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
        own = [p for p in controller.parameters if not p.is_data]
        values = {p.name: 0.5 * (p.low + p.high) for p in own}
    else:
        for pair in text.split(","):
            name, _, number = pair.partition("=")
            try:
                values[name.strip()] = float(number)
            except ValueError:
                raise InputError(
                    f"--start {text!r}; write {MIDPOINTS} or name=value,name=value (SI)"
                ) from None
    changed = replace(known, controller=controller.with_parameters(**values))
    name = "the midpoints of its bounds" if text == MIDPOINTS else f"{text}, the rest its defaults"
    return changed, name


@dataclass(frozen=True)
class HeldOut:
    """Start and tuned settings on rails the search never saw; differences are tuned - start.

    `by_family` has the same differences for the rails of each scenario alone: a mean over all may
    hide that one family gains what another loses.
    """

    n_rails: int
    default: Setting
    tuned: Setting
    differences: dict[str, Paired]
    overrun_default: Interval
    overrun_tuned: Interval
    by_family: dict[str, dict[str, Paired]]


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


def tune(
    known: Known,
    space: Space,
    goal: Goal,
    rails: Rails,
    budget: int,
    store: Store,
    runner: Runner,
    seed: int = 0,
    bar: Bar | None = None,
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

    Raises
    ------
    InputError   if the budget is too small, or no setting keeps the constraints
    """
    if not len(rails.training) or not len(rails.held_out):
        raise InputError("tuning needs rails to tune on and others to hold out; at least 1 of each")
    judge = Judge(known, goal, rails, store, runner, bar)
    ladder = rungs(len(rails.training))
    size = screening_size(budget, rails, ladder)
    generator = np.random.default_rng(seed)
    points: list[dict[str, float]] = [{}, *points_of(space, sobol_design(space, size - 1, seed))]
    tried, first_rung = halved(judge, points, ladder)
    influence = _influence(space, known, first_rung)
    default = tried[0]
    left = search_budget(budget, rails) - judge.n_stops
    n_settings, n_seeds = size, len(rails.seeds)
    n_children = max(FEWEST, size // 2)
    while n_children >= FEWEST:
        if left >= cost(n_children, ladder, n_seeds):
            points = offspring(space, known, tried, n_children, generator)
            tried += halved(judge, points, ladder)[0]
            n_settings += n_children
            left = search_budget(budget, rails) - judge.n_stops
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
        raise InputError(
            f"tuning {judge.candidate.controller}: no setting tried keeps the constraints on every "
            f"training rail; nearest: {nearest.n_overruns} overruns, longest lock "
            f"{nearest.longest_lock:.2f} s, extension {nearest.longest_extension:.2f}"
        )
    i_knee = front[knee(scores[front])]
    is_plain = judge.goal.is_knee_wanted
    i_chosen = i_knee if is_plain else front[recommended(scores[front], scores[0])]
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
    """Run default and tuned settings on the held-out rails; seeds of a rail are averaged first."""
    rails, n_seeds = judge.rails.held_out, len(judge.rails.seeds)
    points: list[dict[str, float]] = [{}, values]
    before, after = judge.run(points, rails)
    default, tuned = judge.settings(points, [before, after], rails)
    objectives = {o.name: o for o in (*judge.goal.objectives, OBJECTIVES["lock"])}

    def per_rail(objective: Objective, summaries: list[dict[str, Any]]) -> Floats:
        values = np.array([objective.of(s) for s in summaries], dtype=np.float64)
        return np.asarray(values.reshape(len(rails), n_seeds).mean(axis=1))

    families = [_SERIES.sub("", rail.name) for rail in rails]
    numbers = {name: (per_rail(o, before), per_rail(o, after)) for name, o in objectives.items()}

    def of_family(family: str) -> dict[str, Paired]:
        own = np.array([name == family for name in families])
        return {name: paired(first[own], second[own]) for name, (first, second) in numbers.items()}

    def overrun(summaries: list[dict[str, Any]]) -> Interval:
        is_over = np.array([not s["is_stopped"] for s in summaries]).reshape(len(rails), n_seeds)
        return wilson(int(is_over.any(axis=1).sum()), len(rails))

    return HeldOut(
        n_rails=len(rails),
        default=default,
        tuned=tuned,
        differences={name: paired(*both) for name, both in numbers.items()},
        overrun_default=overrun(before),
        overrun_tuned=overrun(after),
        by_family={family: of_family(family) for family in dict.fromkeys(families)},
    )

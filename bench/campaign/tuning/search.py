"""How settings are searched: successive halving across rails, new settings from the best so far."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from slipbench.campaign.tuning.judge import Goal, Judge, Setting
from slipbench.campaign.tuning.rails import Rails
from slipbench.campaign.variation import parameters_at
from slipbench.contract import Floats
from slipbench.ground.errors import InputError
from slipbench.statistics.designs import Space, scaled
from slipbench.statistics.trade_off import best_first
from slipbench.strategies.registry import Known

SCREENING_SHARE = 0.4
"""Share of the search's stops that the screening gets."""

FEWEST = 4
"""Settings a screening or a generation has at least."""

DIFFERENCE, JITTER, CROSSOVER = 0.7, 0.05, 0.7
"""Of a new setting: weight of the difference of two others, added noise over a factor's range, and
the share of parameters that change."""


def rungs(n_rails: int) -> list[int]:
    """Return how many rails are met by the end of each rung: a quarter, a half, all."""
    return sorted({max(1, n_rails // 4), max(1, n_rails // 2), n_rails})


def cost(n_settings: int, ladder: Sequence[int], n_seeds: int) -> int:
    """Return the stops that halving a number of settings asks for, at most."""
    total, before = 0, 0
    for n_rails in ladder:
        total += n_settings * (n_rails - before) * n_seeds
        n_settings, before = max(FEWEST // 2, math.ceil(n_settings / 2)) + 1, n_rails
    return total


def search_budget(budget: int, rails: Rails, n_held: int = 2) -> int:
    """Return what is left for the search once `n_held` settings on the held-out rails are paid."""
    return budget - n_held * len(rails.held_out) * len(rails.seeds)


def screening_size(budget: int, rails: Rails, ladder: Sequence[int], n_held: int = 2) -> int:
    """Return the settings of the screening, the greatest power of two that its share pays."""
    n_seeds = len(rails.seeds)
    share = SCREENING_SHARE * search_budget(budget, rails, n_held)
    size = FEWEST
    needed = cost(FEWEST, ladder, n_seeds)
    if share < needed:
        least = math.ceil(needed / SCREENING_SHARE) + n_held * len(rails.held_out) * n_seeds
        raise InputError(
            f"budget of {budget} stops: too small for {len(rails.training)} training and "
            f"{len(rails.held_out)} held-out rails with {n_seeds} seed(s); at least {least}"
        )
    while cost(2 * size, ladder, n_seeds) <= share:
        size *= 2
    return size


def halved(
    judge: Judge, points: Sequence[dict[str, float]], ladder: Sequence[int]
) -> tuple[list[Setting], list[Setting]]:
    """Return the settings that met every training rail, the default first, and all on rung one.

    The default (no values) is never dropped.
    """
    training = judge.rails.training
    first: list[Setting] = []
    settings: list[Setting] = []
    for n_rails in ladder:
        settings = judge.score(points, training[:n_rails])
        first = first or settings
        if n_rails == ladder[-1]:
            break
        scores, violations = arrays(settings)
        order = best_first(judge.goal.ranked(scores), violations)[
            : max(FEWEST // 2, math.ceil(len(points) / 2))
        ]
        defaults = [i for i, point in enumerate(points) if not point]
        points = [points[i] for i in (*defaults, *(i for i in order if i not in defaults))]
    return settings, first


def arrays(settings: Sequence[Setting]) -> tuple[Floats, Floats]:
    """Return scores (n, n_objectives) and violations (n,)."""
    return (
        np.array([s.scores for s in settings], dtype=np.float64),
        np.array([s.violation for s in settings], dtype=np.float64),
    )


def points_of(space: Space, design: Floats) -> list[dict[str, float]]:
    """Return a design's points as parameter values."""
    return [parameters_at(space, point) for point in design.tolist()]


def shares_of(space: Space, known: Known, values: dict[str, float]) -> Floats:
    """Return where values lie in the unit cube; what a setting leaves alone is the default."""
    names = [p.name for p in known.controller.parameters]
    now = dict(zip(names, known.controller.parameter_values.tolist(), strict=True)) | values
    return np.array([np.clip(f.share(now[f.name]), 0.0, 1.0) for f in space], dtype=np.float64)


def offspring(
    space: Space,
    known: Known,
    tried: Sequence[Setting],
    n_points: int,
    generator: np.random.Generator,
    goal: Goal | None = None,
) -> list[dict[str, float]]:
    """Return new settings around the better half of those tried."""
    scores, violations = arrays(tried)
    order = best_first(goal.ranked(scores) if goal else scores, violations)
    parents = [tried[i] for i in order[: max(3, len(order) // 2)]]
    cube = np.array([shares_of(space, known, parent.values) for parent in parents])
    children = np.empty((n_points, len(space)))
    for i, child in enumerate(children):
        base = cube[i % len(cube)]
        a, b = cube[generator.integers(0, len(cube), 2)]
        moved = base + DIFFERENCE * (a - b) + JITTER * generator.standard_normal(len(space))
        changes = generator.random(len(space)) < CROSSOVER
        changes[generator.integers(len(space))] = True
        child[:] = np.where(changes, moved, base)
    return points_of(space, scaled(space, np.abs(1.0 - np.abs(1.0 - np.clip(children, -1, 2)))))

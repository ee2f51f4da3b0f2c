"""Where a verdict turns: how often one way of braking beats another on a rail that is not known.

Every stop has a situation: a rail of those named, its assumptions and the equipment's wear drawn
from stated bounds, and a seed. Both sides meet the same situations, so what is judged is the sign
of a paired difference. Which assumption the sign hangs on is told by first-order and total effects
of that sign, and where it turns by a plane of two assumptions.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from slipbench.campaign.campaign import evaluate
from slipbench.campaign.rig import Rig
from slipbench.campaign.variation import FILM, WEAR, is_parameter, scenario_at
from slipbench.contract import Floats
from slipbench.ground.errors import InputError
from slipbench.results.canonical import as_json, scenario_hash, short_hash
from slipbench.running.candidate import Candidate, candidate_of
from slipbench.running.task import FAILED, Task, make_task
from slipbench.scenario import Easing, Scenario
from slipbench.statistics.designs import Factor, Space, scaled
from slipbench.statistics.effects import Indices, SaltelliDesign, saltelli_design, sobol_indices
from slipbench.statistics.intervals import Interval, bootstrap_mean, wilson
from slipbench.strategies.registry import Known

RAIL, DRAW = "rail", "draw"
"""Names of what is no number: which rail, and the seed (equipment drawn, sampling, teeth)."""

ASSUMPTIONS: Space = (
    Factor("film.friction", 0.5, 2.0, is_log=True),
    Factor("film.recovery", 0.5, 2.0, is_log=True),
    Factor("film.cleaning_work", 0.1, 10.0, is_log=True),
    Factor("film.friction_ratio", 0.4, 1.0),
    Factor("film.friction_decay", 0.05, 0.6),
    Factor("film.own_contact", 0.0, 1.0),
    Factor("rail.locked_cleaning_share", 0.0, 0.3),
    Factor(WEAR, 0.0, 2.0),
)
"""What is not known about rail and equipment. Bounds assumed: cleaning work over two decades, since
a published long slide suggests ten times the shipped; the rest see `variation.FILM`."""

MEANINGS: Mapping[str, str] = {
    **{name: film.doc for name, film in FILM.items()},
    "rail.locked_cleaning_share": "share of its work with which a locked wheel cleans",
    WEAR: "wear of the equipment: 0 clean, 1 in service, 2 worn",
    RAIL: "which rail",
    DRAW: "equipment drawn and sampling (seed)",
}
"""What each factor is, for tables and axes."""

ALIKE = 0.005
"""Distances within this share of each other count as alike; a choice. [-]"""

CHUNK = 128
"""Situations whose summaries are held at once."""

SLIPPERY = ("wet_leaf", "tough_film", "detergent", "grease", "frost", "damp_oxide", "autumn_guide")
"""Shipped rails on which wheels slide, judged unless others are named."""


@dataclass(frozen=True)
class Side:
    """One of what is compared: a strategy, and what its driver does differently.

    Attributes
    ----------
    label : str
    candidate : Candidate
    easing : int or None   handle position eased to when slip control works; None: held
    """

    label: str
    candidate: Candidate
    easing: int | None = None

    def task(self, scenario: Scenario, seed: int) -> Task:
        """Return the stop of this side in a situation."""
        if self.easing is not None:
            scenario = scenario.replace(
                {"driver.easing": Easing(position=self.easing)},
                name=f"{scenario.name}~eased{self.easing}",
            )
        return make_task(scenario, self.candidate, seed, scenario_hash(scenario))


def strategy_side(known: Known) -> Side:
    """Return a strategy under the driver of each scenario."""
    return Side(known.controller.name, candidate_of(known))


def driver_sides(known: Known, eased_to: int) -> tuple[Side, Side]:
    """Return holding, and easing to a step when slip control works, under one strategy."""
    candidate = candidate_of(known)
    return Side("held", candidate), Side(f"eased to step {eased_to}", candidate, eased_to)


@dataclass(frozen=True)
class Situations:
    """Where situations come from.

    Attributes
    ----------
    rails : sequence of Scenario
    space : Space    assumptions varied; `RAIL` (if there are several) and `DRAW` come after them
    """

    rails: Sequence[Scenario]
    space: Space = ASSUMPTIONS

    def __post_init__(self) -> None:
        """Refuse parameters: both sides meet the same situations."""
        for factor in self.space:
            if is_parameter(factor):
                raise InputError(
                    f"factor {factor.name}: a strategy's parameter; a verdict varies assumptions, "
                    "such as film.friction or brake.fill_delay"
                )

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all factors, in the order of a point's columns."""
        rail = (RAIL,) if len(self.rails) > 1 else ()
        return (*(factor.name for factor in self.space), *rail, DRAW)

    def at(self, point: Floats) -> tuple[Scenario, int]:
        """Return scenario and seed at a point of the unit cube. (n_names,)"""
        n = len(self.space)
        i_rail = min(int(point[n] * len(self.rails)), len(self.rails) - 1)
        base = self.rails[i_rail if len(self.rails) > 1 else 0]
        values = scaled(self.space, point[None, :n])[0].tolist()
        mark = short_hash(as_json([base.name, values]))[:12]
        scenario = scenario_at(base, self.space, values).replace(name=f"{base.name}~{mark}")
        return scenario, int(point[-1] * 2**31)

    def rail_of(self, points: Floats) -> Any:
        """Return the number of each point's rail. (n,) int"""
        if len(self.rails) == 1:
            return np.zeros(len(points), dtype=int)
        shares = points[:, len(self.space)]
        return np.minimum((shares * len(self.rails)).astype(int), len(self.rails) - 1)


@dataclass(frozen=True)
class Shares:
    """How often each side stops shorter. Wilson's intervals over independent situations.

    Attributes
    ----------
    first : Interval      share in which the first is shorter, however little
    clearly_first, clearly_second : float   shares in which one is shorter by more than `ALIKE`
    n : int               situations
    """

    first: Interval
    clearly_first: float
    clearly_second: float
    n: int


@dataclass(frozen=True)
class Plane:
    """Mean differences over a plane of two assumptions, the others drawn: the same at every node.

    Attributes
    ----------
    names : (str, str)        of the axes
    x, y : (n,), (m,)         values along them
    mean, low, high : (m, n)  second's distance less the first's, with 95 % interval [m]
    n_each : (m, n) int       situations at each node
    """

    names: tuple[str, str]
    x: Floats
    y: Floats
    mean: Floats
    low: Floats
    high: Floats
    n_each: Any


@dataclass(frozen=True)
class Verdict:
    """What was found about two sides.

    Attributes
    ----------
    sides : (str, str)
    names : tuple of str      factors
    shares : Shares           over all rails
    by_rail : mapping         rail to shares
    by_third : mapping        factor to the share of the first in the low, middle and high third
    effects : Indices         of the sign: first-order and total, with intervals
    plane : Plane or None
    n_stops : int
    """

    sides: tuple[str, str]
    names: tuple[str, ...]
    shares: Shares
    by_rail: Mapping[str, Shares]
    by_third: Mapping[str, tuple[float, float, float]]
    effects: Indices
    plane: Plane | None
    n_stops: int

    def ranked(self) -> list[int]:
        """Return factor numbers, the largest total effect first."""
        return [int(i) for i in np.argsort(-self.effects.total, kind="stable")]


def n_stops(situations: Situations, size: int, n_nodes: int, n_each: int) -> int:
    """Return the most stops that judging two sides takes."""
    return 2 * (size * (len(situations.names) + 2) + n_nodes * n_nodes * 2 * n_each)


def distances(
    situations: Situations,
    sides: Sequence[Side],
    points: Floats,
    rig: Rig,
) -> Floats:
    """Return the stopping distance of every side at points of the unit cube. (n_sides, n) [m]

    Infinite where the train did not stop.

    Raises
    ------
    InputError   for a stop that failed
    """
    found = np.empty((len(sides), len(points)))
    for start in range(0, len(points), CHUNK):
        places = [situations.at(point) for point in points[start : start + CHUNK]]
        tasks = [side.task(scenario, seed) for side in sides for scenario, seed in places]
        summaries = evaluate(tasks, rig)
        failed = [summary[FAILED] for summary in summaries if FAILED in summary]
        if failed:
            raise InputError(f"{failed[0]}; a verdict needs the numbers of every stop")
        reached = [float(s["final_distance"]) if s["is_stopped"] else math.inf for s in summaries]
        found[:, start : start + len(places)] = np.reshape(reached, (len(sides), -1))
    return found


def gains(first: Floats, second: Floats) -> Floats:
    """Return by how much the first stops shorter; 0 where neither stops. [m]"""
    with np.errstate(invalid="ignore"):
        return np.where(first == second, 0.0, second - first)


def shares_of(first: Floats, second: Floats) -> Shares:
    """Return how often each of two is shorter."""
    gain, least = gains(first, second), ALIKE * np.minimum(first, second)
    return Shares(
        wilson(int((gain > 0.0).sum()), len(gain)),
        float((gain > least).mean()),
        float((gain < -least).mean()),
        len(gain),
    )


def sign_effects(design: SaltelliDesign, gain: Floats, seed: int = 0) -> Indices:
    """Return first-order and total effects of the sign of a gain.

    Notes
    -----
    The total effect is the chance that the sign flips when one factor alone is drawn anew, over
    2 p (1 - p); its interval is Wilson's for the flips, since a factor that flipped none of n may
    still flip some. For a sign of a sum a.x of standard normals, |a| = 1, the effects are
    (2 / pi) asin(a_i^2) and (2 / pi) acos(1 - a_i^2): derived, and tested.
    """
    sign = (gain > 0.0).astype(np.float64)
    found = sobol_indices(design, sign, seed=seed)
    n, n_factors = design.first.shape
    p = float(sign[: 2 * n].mean())
    if not 0.0 < p < 1.0:
        return found
    flips = (sign[2 * n :].reshape(n_factors, n) != sign[:n]).sum(axis=1)
    bounds = np.array([[w.low, w.high] for w in (wilson(int(k), n) for k in flips)])
    total_interval = np.minimum(bounds / (2.0 * p * (1.0 - p)), 1.0)
    first_interval = found.first_interval.copy()
    first_interval[flips == 0] = np.stack([0.0 * flips, total_interval[:, 1]], axis=1)[flips == 0]
    return Indices(found.first, flips / n / (2.0 * p * (1.0 - p)), first_interval, total_interval)


def judge_pair(
    situations: Situations,
    sides: tuple[Side, Side],
    design: SaltelliDesign,
    found: Floats,
    seed: int = 0,
) -> Verdict:
    """Return the verdict on two sides from their distances at a design's points, without a plane.

    Parameters
    ----------
    found : (2, n_points)   as `distances` gives them at `design.points`
    """
    first, second = found
    points = design.points
    n_base = 2 * len(design.first)  # independent situations: the rest repeat their columns
    gain, i_rail = gains(first, second), situations.rail_of(points)
    names = situations.names
    by_rail = {}
    for i, rail in enumerate(situations.rails):
        own = i_rail[:n_base] == i
        if own.any():
            by_rail[rail.name] = shares_of(first[:n_base][own], second[:n_base][own])
    thirds = np.minimum((3.0 * points).astype(int), 2)
    by_third = {
        name: (_share(gain, third == 0), _share(gain, third == 1), _share(gain, third == 2))
        for name, third in zip(names, thirds.T, strict=True)
        if name not in (RAIL, DRAW)
    }
    return Verdict(
        (sides[0].label, sides[1].label),
        names,
        shares_of(first[:n_base], second[:n_base]),
        by_rail,
        by_third,
        sign_effects(design, gain, seed),
        None,
        found.size,
    )


def _share(gain: Floats, is_in: Any) -> float:
    return float((gain[is_in] > 0.0).mean()) if is_in.any() else math.nan


def make_design(situations: Situations, size: int, seed: int = 0) -> SaltelliDesign:
    """Return the design of situations: size (n_names + 2) points; `size` a power of two."""
    return saltelli_design(len(situations.names), size, seed)


def plane_names(verdict: Verdict, space: Space) -> tuple[str, str]:
    """Return the two numbers with the largest total effects."""
    numbers = {factor.name for factor in space}
    first, second = [verdict.names[i] for i in verdict.ranked() if verdict.names[i] in numbers][:2]
    return first, second


def map_plane(
    situations: Situations,
    sides: tuple[Side, Side],
    names: tuple[str, str],
    n_nodes: int,
    n_each: int,
    rig: Rig,
    seed: int = 0,
) -> Plane:
    """Return mean differences on a grid of two assumptions, refined where the sign is not told.

    Parameters
    ----------
    n_nodes : int   along each axis
    n_each : int    situations at a node: the same draws of all else at every node, so that nodes
                    differ by the plane alone; twice as many where the mean is below three times its
                    standard error
    """
    columns = [situations.names.index(name) for name in names]
    factors = {factor.name: factor for factor in situations.space}
    steps = np.linspace(0.0, 1.0, n_nodes)
    others = saltelli_design(len(situations.names), _power(2 * n_each), seed + 1).first[
        : 2 * n_each
    ]
    gain = np.full((n_nodes, n_nodes, 2 * n_each), np.nan)

    def run(nodes: list[tuple[int, int]], draws: slice) -> None:
        points = np.concatenate([_moved(others[draws], columns, steps, node) for node in nodes])
        first, second = distances(situations, sides, points, rig)
        values = gains(first, second).reshape(len(nodes), -1)
        for (i, k), row in zip(nodes, values, strict=True):
            gain[i, k, draws] = row

    everywhere = [(i, k) for i in range(n_nodes) for k in range(n_nodes)]
    run(everywhere, slice(0, n_each))
    undecided = [node for node in everywhere if _is_undecided(gain[node][:n_each])]
    if undecided:
        run(undecided, slice(n_each, 2 * n_each))
    means = [[bootstrap_mean(cell[~np.isnan(cell)]) for cell in row] for row in gain]
    mean, low, high = (
        np.array([[getattr(m, part) for m in row] for row in means])
        for part in ("estimate", "low", "high")
    )
    x, y = (factors[name].at(steps) for name in names)
    return Plane(names, x, y, mean, low, high, (~np.isnan(gain)).sum(axis=2))


def _power(n: int) -> int:
    return 1 << max(1, (n - 1).bit_length())


def _moved(draws: Floats, columns: list[int], steps: Floats, node: tuple[int, int]) -> Floats:
    """Return draws with the two columns of a plane set to a node's place."""
    points = draws.copy()
    points[:, columns[0]], points[:, columns[1]] = steps[node[1]], steps[node[0]]
    return points


def _is_undecided(gain: Floats) -> bool:
    """Return whether the mean of a node's gains is below three standard errors."""
    if not np.isfinite(gain).all():
        return True
    error = gain.std(ddof=1) / math.sqrt(len(gain))
    return bool(abs(gain.mean()) < 3.0 * error)

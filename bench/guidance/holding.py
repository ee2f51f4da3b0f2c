"""Holding or easing the brake when slip control works, as advice with its proof."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from slipbench.campaign.verdict import SLIPPERY
from slipbench.ground.arrays import Floats
from slipbench.guidance.runs import Asked, Runs, distance_of
from slipbench.guidance.spread import Draw, Spread, draws, holding, situation
from slipbench.running.candidate import Candidate
from slipbench.scenario import Driver, Easing, Routine, Scenario
from slipbench.statistics.intervals import Interval, bootstrap_mean

HELD, PUMPED = "held", "pumped"

CLOSE = 0.01
"""Stops within this share of the held one count as alike (a choice). [-]"""

DEEP = 3
"""First creepage band of `time_by_slide_depth` that is deep: from 0.2."""

MOST_TOLD = 6
"""Exceptions a sentence names; the table has them all."""

N_LEADING = 5
N_SERVICE = 4
"""Trains in service over which strategies are compared to find the leading ones."""

RAILS = SLIPPERY
"""Shipped rails on which wheels slide."""


def ways_of(n_steps: int) -> list[str]:
    """Return the ways of braking, holding full service first."""
    eased = [f"eased to step {step}" for step in range(n_steps - 1, 0, -1)]
    return [HELD, *eased, "eased to release", PUMPED]


def driver_of(way: str, n_steps: int, reaction: float) -> Driver:
    """Return the driver of a way in full service; who eases needs the reaction time to do it.

    Parameters
    ----------
    way : str          of `ways_of`
    n_steps : int      of the brake
    reaction : float   from noticing slip control to the handle [s]
    """
    held = holding(n_steps)
    if way == HELD:
        return held
    if way == PUMPED:
        routine = Routine(kind="release_and_reapply", position=n_steps, n_repeats=400)
        return Driver(programme=(), routine=routine, log=None, easing=None)
    to = 0 if way == "eased to release" else int(way.rsplit(" ", 1)[1])
    return replace(held, easing=Easing(position=to, reaction_time=min(reaction, 30.0)))


@dataclass(frozen=True)
class Row:
    """What one way of braking costs against holding, on one rail under one strategy.

    Attributes
    ----------
    rail, strategy, way : str   the rail with its train behind a comma, where there are several
    held : float            mean distance of the held stops [m]
    longer : Interval       by how much it is longer, mean of the paired differences [m]
    n_longer, n_shorter : int   stops longer or shorter than held by more than `CLOSE`
    n : int                 pairs
    deep_held, deep : float share of the time of sliding spent deeper than creepage .2 [-]
    used_held, used : float adhesion used, mean [-]
    """

    rail: str
    strategy: str
    way: str
    held: float
    longer: Interval
    n_longer: int
    n_shorter: int
    n: int
    deep_held: float
    deep: float
    used_held: float
    used: float

    @property
    def share(self) -> float:
        """Mean difference over the held distance. [-]"""
        return self.longer.estimate / self.held

    @property
    def is_shorter(self) -> bool:
        """Whether this way stops clearly shorter than holding, beyond what counts as alike."""
        return self.longer.high < 0.0 and self.share < -CLOSE

    @property
    def is_too_deep(self) -> bool:
        """Whether the numbers say that held slip is too deep for the film.

        Held wheels spend more of their time deep, and use less adhesion than eased ones.
        """
        return self.deep_held > self.deep and self.used_held < self.used


@dataclass(frozen=True)
class Proof:
    """Every row, of the leading strategies on every rail.

    Attributes
    ----------
    rows : tuple of Row
    ways : tuple of str
    trains : tuple of str
    spread : Spread
    n_draws : int
    leading : tuple of (str, float)   leading strategies and their mean distance in service [m]
    """

    rows: tuple[Row, ...]
    ways: tuple[str, ...]
    trains: tuple[str, ...]
    spread: Spread
    n_draws: int
    leading: tuple[tuple[str, float], ...]

    def of(self, way: str) -> list[Row]:
        """Return the rows of a way."""
        return [row for row in self.rows if row.way == way]


def leading(
    rails: Sequence[Scenario],
    candidates: Sequence[Candidate],
    runs: Runs,
    all_of: bool = False,
) -> list[tuple[Candidate, float]]:
    """Return the leading strategies: shortest mean over the rails in service, none sees the truth.

    A train that does not stop counts as infinite. `all_of` keeps every one, in that order.
    """
    fair = [candidate for candidate in candidates if all_of or not candidate.uses_truth]
    asked = [
        Asked(
            rail.replace({"driver": holding(rail.brake.n_steps), "equipment.grade": "service"}),
            candidate,
            seed,
        )
        for candidate in fair
        for rail in rails
        for seed in range(N_SERVICE)
    ]
    found = np.reshape(runs.distances(asked), (len(fair), -1)).mean(axis=1)
    order = np.argsort(found, kind="stable")[: len(fair) if all_of else N_LEADING]
    return [(fair[i], float(found[i])) for i in order]


def prove(
    rails: Sequence[Scenario],
    candidates: Sequence[tuple[Candidate, float]],
    spread: Spread,
    n_draws: int,
    seed: int,
    runs: Runs,
) -> Proof:
    """Run every way of braking on every rail under every strategy, over the same draws.

    Parameters
    ----------
    rails : sequence of Scenario   with the train; their drivers play no part
    candidates : sequence of (Candidate, mean in service)
    """
    drawn = draws(spread, n_draws, seed)
    n_steps = rails[0].brake.n_steps
    ways = ways_of(n_steps)
    rows: list[Row] = []
    for rail in rails:
        for candidate, _ in candidates:
            found = {way: _stops(rail, candidate, way, drawn, runs) for way in ways}
            rows += [
                compared(rail.name, candidate.label, way, found[HELD], found[way])
                for way in ways[1:]
            ]
    led = tuple((candidate.label, mean) for candidate, mean in candidates)
    trains = tuple(dict.fromkeys(rail.train.name for rail in rails))
    return Proof(tuple(rows), tuple(ways), trains, spread, n_draws, led)


def _stops(
    rail: Scenario, candidate: Candidate, way: str, drawn: Sequence[Draw], runs: Runs
) -> list[dict[str, Any]]:
    n_steps = rail.brake.n_steps
    asked = [
        Asked(
            situation(rail.replace({"driver": driver_of(way, n_steps, draw.reaction)}), draw),
            candidate,
            draw.seed,
        )
        for draw in drawn
    ]
    return runs.summaries(asked)


def compared(
    rail: str,
    strategy: str,
    way: str,
    held: Sequence[Mapping[str, Any]],
    other: Sequence[Mapping[str, Any]],
) -> Row:
    """Return the row of a way, its stops paired with the held ones."""
    base = np.array([distance_of(dict(summary)) for summary in held])
    found = np.array([distance_of(dict(summary)) for summary in other])
    with np.errstate(invalid="ignore"):
        difference: Floats = np.where(found == base, 0.0, found - base)
    return Row(
        rail=rail,
        strategy=strategy,
        way=way,
        held=float(base.mean()),
        longer=bootstrap_mean(difference),
        n_longer=int((difference > CLOSE * base).sum()),
        n_shorter=int((difference < -CLOSE * base).sum()),
        n=len(base),
        deep_held=deep_share(held),
        deep=deep_share(other),
        used_held=float(np.mean([summary["used_adhesion"] for summary in held])),
        used=float(np.mean([summary["used_adhesion"] for summary in other])),
    )


def deep_share(summaries: Sequence[Mapping[str, Any]]) -> float:
    """Return the share of the time of sliding, beyond creepage .05, spent deeper than .2. [-]"""
    times = np.sum([summary["time_by_slide_depth"] for summary in summaries], axis=0)
    sliding = float(times[1:].sum())
    return float(times[DEEP:].sum()) / sliding if sliding > 0.0 else 0.0


def sentence(proof: Proof) -> str:
    """Say to the trainer what the table says, and what a driver cannot know in the cab."""
    parts = []
    for way in proof.ways[1:]:
        rows = proof.of(way)
        n = sum(row.n for row in rows)
        longer, shorter = (sum(getattr(row, key) for row in rows) for key in
                           ("n_longer", "n_shorter"))  # fmt: skip
        mean = float(np.mean([row.longer.estimate for row in rows]))
        more = f"{mean:+.0f} m on the mean" if math.isfinite(mean) else "some never stop"
        parts.append(f"{way} is longer in {longer / n:.0%} of {n} stops, shorter in "
                     f"{shorter / n:.0%} ({more})")  # fmt: skip
    costs = [way for way in proof.ways[1:] if _mean_of(proof, way) > 0.0]
    advice = "hold" if len(costs) == len(proof.ways) - 1 else f"do not {_verbs(costs)}"
    return f"Against holding, {'; '.join(parts)}. {exceptions(proof)} So, for the cab: {advice}."


def _mean_of(proof: Proof, way: str) -> float:
    return float(np.mean([row.longer.estimate for row in proof.of(way)]))


def _verbs(ways: Sequence[str]) -> str:
    return (
        " or ".join("pump" if way == PUMPED else way.replace("eased", "ease") for way in ways)
        or "choose by the handle alone"
    )


def exceptions(proof: Proof) -> str:
    """Say where easing one step is shorter, why as far as the numbers tell, and what hides it."""
    one_step = proof.ways[1]
    found = [row for row in proof.of(one_step) if row.is_shorter]
    if not found:
        return f"Nowhere is {one_step} clearly shorter."
    deep = [row for row in found if row.is_too_deep]
    told = "; ".join(
        f"{row.rail} under {row.strategy} ({row.longer.estimate:+.0f} m, {row.share:+.0%})"
        for row in sorted(found, key=lambda row: row.share)[:MOST_TOLD]
    )
    if len(found) > MOST_TOLD:
        told += f"; and {len(found) - MOST_TOLD} more of {len(proof.of(one_step))}"
    reason = (
        f"In {len(deep)} of these {len(found)} slip is held too deep for that film: eased wheels "
        "spend less of their sliding deeper than a fifth and use more adhesion"
    )
    if len(deep) < len(found):
        reason += "; of the others these numbers do not tell why"
    return (
        f"{one_step.capitalize()} is clearly shorter on {told}. {reason}. A driver in the cab "
        "knows neither the film nor the strategy."
    )


def most_stops(n_rails: int, n_strategies: int, n_ways: int, n_draws: int, n_tried: int) -> int:
    """Return how many stops a proof takes, with those that find the leading strategies."""
    return n_rails * (n_strategies * n_ways * n_draws + n_tried * N_SERVICE)

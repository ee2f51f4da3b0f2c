"""How probable it is to pass a marker, where rail, equipment, sensors and driver are not known.

The situations are those of a verdict (`slipbench.campaign.verdict`): assumptions drawn from stated
bounds, and a seed that draws the equipment. The driver reacts late by a time drawn as well.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from slipbench.campaign.rig import Rig
from slipbench.campaign.verdict import DRAW, RAIL, Side, Situations, distances
from slipbench.contract import Floats
from slipbench.ground.errors import InputError
from slipbench.results.tables import plain_table
from slipbench.statistics.intervals import Interval
from slipbench.statistics.rare import count_plainly, repeated, subset_simulation

REACTION = (0.0, 1.5)
"""How late the driver moves the handle, evenly between these; assumed. [s]"""

LARGEST_SHARE = np.nextafter(1.0, 0.0)


@dataclass(frozen=True)
class Question:
    """What is asked.

    Attributes
    ----------
    situations : Situations
    marker : float               from where the driver should act [m]
    reaction : (float, float)    bounds of how late that happens [s]
    """

    situations: Situations
    marker: float
    reaction: tuple[float, float] = REACTION

    @property
    def n_dims(self) -> int:
        """Numbers a situation hangs on; the driver's is the last."""
        return len(self.situations.names) + 1

    @property
    def unordered(self) -> tuple[int, ...]:
        """Columns in which near points are not alike: which rail, which seed."""
        return tuple(i for i, name in enumerate(self.situations.names) if name in (RAIL, DRAW))


@dataclass(frozen=True)
class Overrun:
    """What was found for one strategy.

    Attributes
    ----------
    label : str
    plain, subset : Interval or None   probability by either way, None where it was not asked
    thresholds : tuple of tuples       how far short of the marker each level of each repeat ended;
                                       below zero [m]
    n_stops : int
    """

    label: str
    plain: Interval | None
    subset: Interval | None
    thresholds: tuple[tuple[float, ...], ...]
    n_stops: int


def find_overrun(
    question: Question,
    side: Side,
    rig: Rig,
    *,
    n_plain: int = 0,
    n_each: int = 0,
    n_repeats: int = 5,
    seed: int = 0,
) -> Overrun:
    """Return how probable it is that a side passes the marker.

    Parameters
    ----------
    n_plain : int     independent stops counted; 0: none
    n_each : int      points a level of subset simulation, a multiple of ten; 0: none
    n_repeats : int   of subset simulation, for its interval
    seed : int        of the draws

    Raises
    ------
    InputError   for a stop that failed, or numbers out of range
    """
    if n_each and n_repeats < 2:
        raise InputError(f"{n_repeats} repeats; allowed: 2 or more, an interval needs them")
    n_asked = 0

    def past(points: Floats) -> Floats:
        nonlocal n_asked
        n_asked += len(points)
        return past_marker(question, side, points, rig)

    plain = count_plainly(past, question.n_dims, n_plain, seed) if n_plain else None
    found = [
        subset_simulation(past, question.n_dims, n_each, seed + i, question.unordered)
        for i in range(n_repeats if n_each else 0)
    ]
    return Overrun(
        side.label,
        plain,
        repeated(np.array([own.probability for own in found])) if found else None,
        tuple(own.thresholds for own in found),
        n_asked,
    )


def past_marker(question: Question, side: Side, normals: Floats, rig: Rig) -> Floats:
    """Return how far past the marker each situation ends; infinite where the train runs on. [m]

    Parameters
    ----------
    normals : (n, n_dims)   independent standard normals; each becomes a share by their distribution
    """
    shares = np.minimum(ndtr(normals), LARGEST_SHARE)
    stopped = distances(question.situations, [side], shares[:, :-1], rig)[0]
    early, late = question.reaction
    speeds = np.array([rail.initial_speed for rail in question.situations.rails])
    speed = speeds[question.situations.rail_of(shares)]
    reacting = (early + (late - early) * shares[:, -1]) * speed
    return np.asarray(stopped + reacting - question.marker)


def overrun_rows(found: Sequence[Overrun]) -> list[list[str]]:
    """Return a table's rows: strategy, either probability with its interval, levels, stops."""
    return [
        [
            own.label,
            _told(own.plain),
            _told(own.subset),
            ", ".join(str(len(levels)) for levels in own.thresholds) or "-",
            str(own.n_stops),
        ]
        for own in found
    ]


HEADS = (
    "strategy",
    "probability\nby counting",
    "probability by\nsubset simulation",
    "levels of\neach repeat",
    "stops",
)


def overrun_text(question: Question, found: Sequence[Overrun]) -> str:
    """Return what was asked, what was found of each strategy, and how it may be taken."""
    early, late = question.reaction
    situations = question.situations
    return "\n".join(
        [
            f"Probability to pass {question.marker:g} m, the driver acting {early:g} to {late:g} s "
            f"late (evenly; assumed), on {', '.join(rail.name for rail in situations.rails)}",
            f"varied: {', '.join(situations.names)}",
            "",
            plain_table(HEADS, overrun_rows(found), 1),
            *filter(None, map(agreement, found)),
            "",
            "The bounds of what is varied are assumed, and so is how often each value comes: a "
            "probability here compares strategies, and is no rate of any railway.",
        ]
    )


def _told(interval: Interval | None) -> str:
    if interval is None:
        return "-"
    if interval.estimate == 0.0 and interval.high > 0.0:
        return f"none seen, under {interval.high:.2g}"
    return f"{interval.estimate:.2g} [{interval.low:.2g}, {interval.high:.2g}]"


def agreement(own: Overrun) -> str:
    """Return whether both ways agree, in a sentence; empty where only one was asked."""
    if own.plain is None or own.subset is None or math.isnan(own.subset.estimate):
        return ""
    apart = own.plain.low > own.subset.high or own.subset.low > own.plain.high
    said = "do not overlap: take more stops" if apart else "overlap"
    return f"{own.label}: the intervals of counting and of subset simulation {said}."

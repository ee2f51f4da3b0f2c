"""How far a braking point moves with what is assumed about the creep curve and the cleaning law.

Each shape is calibrated to the same one number, what half of the stops need from one speed, and
then asked for the rest: whoever knows a site from one speed knows no more than that range.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from slipbench.campaign.variation import FILM
from slipbench.ground.arrays import Floats
from slipbench.guidance.points import (
    MPH,
    YARD,
    Place,
    Point,
    Question,
    bound,
    good_distance,
    needed,
    summed_up,
)
from slipbench.guidance.runs import Distances
from slipbench.guidance.spread import Draw
from slipbench.scenario import Rail

ANCHOR = 75 * MPH
"""Speed at which shapes are calibrated. [m/s]"""

RULE_AT_ANCHOR = 300 * YARD
"""Common practice, no source: from 75 mph some 300 yards earlier in autumn. Calibrated to. [m]"""

RULE_BEYOND = (90 * MPH, 500 * YARD)
"""Common practice, no source: from 90 mph as much as 500 yards. Compared with, never used."""

CLOSE_TO_RULE = 0.15
"""A prediction within this share of common practice counts as agreeing. [-]"""

LEAST = 20.0
"""Rails on which half of the stops need less than this at the anchor have no shape to tell. [m]"""

FEW = 16
"""Draws a calibration looks at."""

CLOSE = 0.01
"""Share of its target by which a calibration may miss. [-]"""

_MOST_TRIES, _FIRST_STEP = 9, 0.35
_REACH = (0.25, 4.0)
"""Factors of friction within which a shape is calibrated."""


def _set(**changes: float) -> Callable[[Rail], Rail]:
    def act(rail: Rail) -> Rail:
        sections = tuple(replace(section, **changes) for section in rail.sections)
        return replace(rail, sections=sections)

    return act


SHAPES: Mapping[str, Callable[[Rail], Rail]] = {
    "flat creep curve": _set(friction_ratio=1.0),
    "steep creep curve": _set(friction_ratio=0.4),
    "curve that falls fast": _set(friction_decay=0.6),
    "each contact cleans itself": lambda rail: replace(rail, cleaning_law="contact_only"),
    "contact and rail both cleaned": lambda rail: replace(rail, cleaning_law="rail_and_contact"),
    "film of two layers": _set(cleaning_exponent=2.0),
}
"""What else the curve and the law might be; every one assumed, none measured."""


@dataclass(frozen=True)
class Shaped:
    """A rail of one shape, calibrated.

    Attributes
    ----------
    shape : str
    rail : Rail or None   None where no friction gives the number it was to be calibrated to
    factor : float        of the friction that does [-]
    """

    shape: str
    rail: Rail | None
    factor: float


def scaled(rail: Rail, factor: float) -> Rail:
    """Return a rail with the friction of its film multiplied."""
    return FILM["film.friction"].act(rail, factor)


def median_earlier(question: Question, rail: Rail, speed: float, runs: Distances) -> float:
    """Return what half of the stops of a few draws need on a rail, on the level. [m]"""
    asked = replace(question, rails={**question.rails, "asked": rail})
    drawn = question.draws()[:FEW]
    distances = needed(asked, Place("asked", speed, 0.0), runs, drawn)
    return float(np.median(distances)) - good_distance(question, speed, 0.0, runs)


def calibrated(
    question: Question,
    rail: Rail,
    target: float,
    speed: float,
    runs: Distances,
    close: float = CLOSE,
) -> tuple[Rail | None, float]:
    """Return the rail with its friction moved so that half of the stops need the target.

    Parameters
    ----------
    close : float   share of the target by which it may be missed

    Returns
    -------
    Rail or None   None where no factor within `_REACH` reaches it
    float          the factor of friction [-]

    Notes
    -----
    The need falls with friction. From a factor of one the search goes where the target lies, in
    growing steps of its logarithm, until it is bracketed; then by false position with the Illinois
    rule.
    """

    def miss(log_factor: float) -> float:
        found = median_earlier(question, scaled(rail, math.exp(log_factor)), speed, runs)
        return min(found, 1e6) / target - 1.0

    low, at_low, high, at_high = _bracketed(miss, close)
    if low < high and not at_low >= 0.0 >= at_high:
        return None, math.nan
    middle, at = (low, at_low) if abs(at_low) <= abs(at_high) else (high, at_high)
    for _ in range(_MOST_TRIES):
        if abs(at) <= close:
            break
        share = min(max(at_low / (at_low - at_high), 0.1), 0.9)
        middle = low + share * (high - low)
        at = miss(middle)
        if at > 0.0:
            low, at_low, at_high = middle, at, 0.5 * at_high
        else:
            high, at_high, at_low = middle, at, 0.5 * at_low
    return scaled(rail, math.exp(middle)), math.exp(middle)


def _bracketed(miss: Callable[[float], float], close: float) -> tuple[float, float, float, float]:
    """Return two logarithms of factors and their misses: too much is needed at the first."""
    here, at, step = 0.0, miss(0.0), _FIRST_STEP
    before, at_before = here, at
    while abs(at) > close and (at > 0.0) == (at_before > 0.0):
        limit = math.log(_REACH[1] if at > 0.0 else _REACH[0])
        if here == limit:
            break
        before, at_before = here, at
        here = min(here + step, limit) if at > 0.0 else max(here - step, limit)
        at, step = miss(here), 2.0 * step
    ends = sorted([(before, at_before), (here, at)])
    if abs(at) <= close:
        return here, at, here, at
    return (*ends[0], *ends[1])


def shaped_rails(
    question: Question, state: str, runs: Distances, shapes: Sequence[str] = tuple(SHAPES)
) -> list[Shaped]:
    """Return a state's rail in every shape, each calibrated at the anchor to what its own needs.

    Empty where the rail costs so little that there is nothing to calibrate to, or holds no train.
    """
    rail = question.rails[state]
    target = median_earlier(question, rail, ANCHOR, runs)
    if not LEAST <= target < math.inf:
        return []
    found = []
    for shape in shapes:
        moved, factor = calibrated(question, SHAPES[shape](rail), target, ANCHOR, runs)
        found.append(Shaped(shape, moved, factor))
    return found


def widened(
    question: Question,
    point: Point,
    distances: Floats,
    shaped: Sequence[Shaped],
    drawn: Sequence[Draw],
    runs: Distances,
) -> Point:
    """Return a point with the range that the shapes give it.

    Notes
    -----
    Every shape runs the draws that decide the point, those next to it in the order of need, and
    moves it by the mean of what they need more or less: a part of the draws, since the rest of
    them is far from the point on every shape.
    """
    if not math.isfinite(point.earlier) or not shaped:
        return point
    chosen = deciding(distances, question.confidence)
    places = [point.earlier]
    for one in shaped:
        if one.rail is None:
            continue
        asked = replace(question, rails={**question.rails, "shaped": one.rail})
        place = point.place._replace(state="shaped")
        other = needed(asked, place, runs, [drawn[i] for i in chosen])
        places.append(point.earlier + float(np.mean(other - distances[chosen])))
    return replace(point, low=min(places), high=max(places))


def deciding(distances: Floats, confidence: float) -> list[int]:
    """Return the numbers of the draws around the point: eight, where there are so many."""
    order = np.argsort(distances, kind="stable")
    at = int(np.searchsorted(distances[order], bound(distances, confidence)))
    half = max(1, min(4, (len(distances) - 1) - at))
    chosen = order[max(0, at - half) : at + half + 1]
    return [int(i) for i in chosen if math.isfinite(distances[i])]


def table(
    question: Question,
    places: Sequence[Place],
    runs: Distances,
    shaped: Mapping[str, Sequence[Shaped]],
) -> list[Point]:
    """Return the point of every place, with its range.

    Parameters
    ----------
    question : Question
    places : sequence of Place
    runs : Distances
    shaped : mapping   state to its rail in other shapes; of a state not in it no range is known
    """
    drawn = question.draws()
    found = []
    for place in places:
        good = good_distance(question, place.speed, place.rise, runs)
        distances = needed(question, place, runs, drawn)
        point = summed_up(question, place, good, distances)
        found.append(widened(question, point, distances, shaped.get(place.state, ()), drawn, runs))
    return found

"""The whole answer to a question of braking points: the points, their range, the rule of thumb."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from slipbench.guidance.points import (
    MPH,
    Place,
    Point,
    Question,
    good_distance,
    needed,
)
from slipbench.guidance.runs import Runs
from slipbench.guidance.shapes import (
    ANCHOR,
    CLOSE_TO_RULE,
    RULE_AT_ANCHOR,
    RULE_BEYOND,
    SHAPES,
    Shaped,
    calibrated,
    median_earlier,
    shaped_rails,
    table,
)
from slipbench.guidance.states import AUTUMN, GOOD
from slipbench.scenario import Rail
from slipbench.statistics.intervals import Interval, wilson

FAR = 125 * MPH
"""Speed far from the anchor, for which the range of shapes is told. [m/s]"""

SPEEDS = tuple(mph * MPH for mph in (20, 40, 60, 75, 90, 110, 125))
RISES = (-0.02, -0.01, 0.0, 0.01, 0.02)
"""Asked for unless told otherwise. [m/s], [-]"""


@dataclass(frozen=True)
class Rule:
    """What the autumn rail, calibrated at the anchor to common practice, says of other speeds.

    Attributes
    ----------
    factor : float       of the friction of the shipped film that calibrates it [-]
    friction : float     that is used [-]
    medians : mapping    speed [m/s] to what half of the stops need [m]
    ranges : mapping     speed to the least and most of that over the shapes [m]; empty if not asked
    passes : Interval    share of stops past the platform end if the rule is kept at the anchor
    shapes : tuple       of the calibrated rails
    """

    factor: float
    friction: float
    medians: Mapping[float, float]
    ranges: Mapping[float, tuple[float, float]]
    passes: Interval
    shapes: tuple[Shaped, ...]

    @property
    def departs(self) -> float:
        """How far the prediction beyond the anchor lies from common practice. [-]"""
        speed, rule = RULE_BEYOND
        return self.medians[speed] / rule - 1.0

    @property
    def agrees(self) -> bool:
        """Whether it counts as agreeing."""
        return abs(self.departs) <= CLOSE_TO_RULE


@dataclass(frozen=True)
class Answer:
    """Braking points for one train.

    Attributes
    ----------
    question : Question      with the rails that were used
    points : tuple of Point
    rule : Rule or None      None where the autumn rail was taken as it is
    shaped : mapping         state to its rail in other shapes
    """

    question: Question
    points: tuple[Point, ...]
    rule: Rule | None
    shaped: Mapping[str, Sequence[Shaped]]

    def at(self, state: str, speed: float, rise: float = 0.0) -> Point | None:
        """Return the point of a place, None if it was not asked for."""
        return next((p for p in self.points if p.place == Place(state, speed, rise)), None)

    @property
    def states(self) -> list[str]:
        """States in words, in order."""
        return list(dict.fromkeys(point.place.state for point in self.points))

    @property
    def speeds(self) -> list[float]:
        """Speeds, slow ones first. [m/s]"""
        return sorted({point.place.speed for point in self.points})

    @property
    def rises(self) -> list[float]:
        """Gradients, falling ones first. [-]"""
        return sorted({point.place.rise for point in self.points})


def rule_of(reference: Question, rail: Rail, runs: Runs, with_shapes: bool) -> Rule | None:
    """Calibrate the autumn rail at the anchor to common practice, and ask it for other speeds.

    Parameters
    ----------
    reference : Question   the train the rule is told of: the shipped unit in full service
    rail : Rail            the autumn rail as shipped
    with_shapes : bool     range over creep curves and cleaning laws as well

    Returns
    -------
    Rule or None   None where no friction gives the rule
    """
    moved, factor = calibrated(reference, rail, RULE_AT_ANCHOR, ANCHOR, runs)
    if moved is None:
        return None
    speeds = (ANCHOR, RULE_BEYOND[0], FAR)
    own = replace(reference, rails={**reference.rails, AUTUMN: moved})
    shapes = tuple(shaped_rails(own, AUTUMN, runs, tuple(SHAPES))) if with_shapes else ()
    medians = {speed: median_earlier(own, moved, speed, runs) for speed in speeds}
    ranges = {}
    for speed in speeds if shapes else ():
        others = [
            median_earlier(own, one.rail, speed, runs) for one in shapes if one.rail is not None
        ]
        ranges[speed] = (min([medians[speed], *others]), max([medians[speed], *others]))
    distances = needed(own, Place(AUTUMN, ANCHOR, 0.0), runs, own.draws())
    earlier = distances - good_distance(own, ANCHOR, 0.0, runs)
    n_passed = int(np.count_nonzero(earlier > RULE_AT_ANCHOR))
    friction = moved.sections[0].friction
    return Rule(factor, friction, medians, ranges, wilson(n_passed, len(earlier)), shapes)


def answer(
    question: Question,
    reference: Question | None,
    speeds: Sequence[float],
    rises: Sequence[float],
    runs: Runs,
    with_shapes: bool = True,
    tell: Callable[[str], None] = lambda text: None,
) -> Answer:
    """Return the braking points of a train at all speeds and gradients, on all rails.

    Parameters
    ----------
    question : Question
    reference : Question or None   of the train the rule of thumb is told of; None takes the autumn
                                   rail as it is
    speeds, rises : sequence of float   [m/s], [-]
    runs : Runs
    with_shapes : bool   with the range over creep curves and cleaning laws
    tell : function      told what is being done
    """
    rule = None
    shaped: dict[str, Sequence[Shaped]] = {}
    if reference is not None and AUTUMN in question.rails:
        tell("calibrating the autumn rail to common practice at 75 mph")
        rule = rule_of(reference, question.rails[AUTUMN], runs, with_shapes)
    if rule is not None and reference is not None:
        film = question.rails[AUTUMN].sections[0]
        moved = replace(film, friction=rule.friction)
        moved_rail = replace(question.rails[AUTUMN], sections=(moved,))
        question = replace(question, rails={**question.rails, AUTUMN: moved_rail})
        shaped[AUTUMN] = rule.shapes
    others = [state for state in question.rails if state not in (GOOD, *shaped)]
    for state in others if with_shapes else []:
        tell(f"other shapes of the creep curve, calibrated at 75 mph: {state}")
        base = reference or question
        asked = replace(base, rails={**base.rails, state: question.rails[state]})
        shaped[state] = shaped_rails(asked, state, runs)
    tell("braking points")
    places = [
        Place(state, speed, rise) for state in question.rails for speed in speeds for rise in rises
    ]
    return Answer(question, tuple(table(question, places, runs, shaped)), rule, shaped)


def most_stops(question: Question, n_places: int, with_shapes: bool) -> int:
    """Return about how many stops an answer takes, for a progress bar."""
    n_calibrated = len(question.rails) - 1 if with_shapes else 0
    calibration = 16 * 6 * (1 + n_calibrated * len(SHAPES))
    return n_places * (question.n_draws + 1 + 9 * len(SHAPES) * with_shapes) + calibration


def is_beyond(value: float) -> bool:
    """Say whether a distance is none: the train does not stop."""
    return not math.isfinite(value)

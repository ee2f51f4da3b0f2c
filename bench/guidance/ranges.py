"""How far the braking points of a route move with the creep curve and the cleaning law."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from slipbench.guidance.leads import Asked, Braking, Travel, ways_of
from slipbench.guidance.line import FILMS
from slipbench.guidance.points import Question, rank_of
from slipbench.guidance.runs import Here
from slipbench.guidance.shapes import ANCHOR, LEAST, SHAPES, calibrated, median_earlier
from slipbench.guidance.spread import Draw, holding
from slipbench.guidance.states import GOOD
from slipbench.scenario import Rail

N_CALIBRATED = 5
"""Draws by which a film is calibrated; every shape meets the same ones."""

CLOSE = 0.03
"""Share of its target by which such a calibration may miss: 10 m of 300 yards. [-]"""

N_DECIDING = 4
"""Draws about the one that decides, on which a shape is compared with the film as it is."""


class Lead(NamedTuple):
    """The lead that meets the confidence, and its range over the shapes; infinite: none. [m]"""

    needed: float
    low: float
    high: float


class Film(NamedTuple):
    """One film to be given one shape."""

    travel: Travel
    name: str
    shape: str


def shape_film(film: Film) -> Rail | None:
    """Return a film in another shape, calibrated to what half of the stops need from 75 mph.

    Full service on the level, by the route's own train. A film that costs less than `LEAST` has no
    shape to tell and stays as it is. None where no friction gives the same.
    """
    travel, rail = film.travel, film.travel.films[film.name]
    driver = holding(travel.scenario.brake.n_steps)
    question = Question(
        travel.scenario.replace({"driver": driver}), travel.candidate,
        {GOOD: travel.films[FILMS[GOOD]["open"]], film.name: rail}, travel.spread,
        confidence=0.5, n_draws=N_CALIBRATED, seed=travel.seed,
    )  # fmt: skip
    runs = Here()
    target = median_earlier(question, rail, ANCHOR, runs)
    if target < LEAST:
        return rail
    moved, _ = calibrated(question, SHAPES[film.shape](rail), target, ANCHOR, runs, CLOSE)
    return moved


def films_to_shape(travel: Travel) -> list[Film]:
    """Return every film of poor rail in every shape."""
    names = {name for state, lying in FILMS.items() if state != GOOD for name in lying.values()}
    return [Film(travel, name, shape) for shape in SHAPES for name in sorted(names)]


def with_shapes(travel: Travel, films: Sequence[Film], rails: Sequence[Rail | None]) -> Travel:
    """Return the travel with the films of every shape; what could not be calibrated is left out."""
    shapes: dict[str, dict[str, Rail]] = {shape: {} for shape in SHAPES}
    for film, rail in zip(films, rails, strict=True):
        if rail is not None:
            shapes[film.shape][film.name] = rail
    return replace(travel, shapes=shapes)


def ranged(asked: Asked, braking: Braking, about: Sequence[Draw]) -> Lead:
    """Return a lead with the range that the shapes give it.

    Parameters
    ----------
    braking : Braking
    about : sequence of Draw   in the order of their ways, up to the longest

    Notes
    -----
    A shape moves the lead by the mean of what the draws about the deciding one run more or less
    from the same braking point.
    """
    travel, lead = asked.travel, braking.lead
    lying = {name for name in FILMS[asked.state].values() if asked.state != GOOD}
    own = [
        films for films in travel.shapes.values()
        if lying <= films.keys() and any(films[name] != travel.films[name] for name in lying)
    ]  # fmt: skip
    if not own:
        return Lead(lead, lead, lead)
    at = len(about) - 1 - (travel.n_draws - rank_of(travel.confidence, travel.n_draws))
    first = min(max(0, at - N_DECIDING // 2), max(0, len(about) - N_DECIDING))
    deciding = about[first : first + N_DECIDING]
    base = ways_of(asked, braking, deciding)
    moves = [0.0]
    for films in own:
        merged: Mapping[str, Rail] = {**travel.films, **films}
        other = ways_of(replace(asked, travel=replace(travel, films=merged)), braking, deciding)
        moves.append(float(np.mean(other - base)))
    return Lead(lead, lead + min(moves), lead + max(moves))

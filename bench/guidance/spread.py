"""The stated spread: how rail, equipment and reaction differ from one stop to the next."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from scipy.stats import norm, qmc

from slipbench.campaign.variation import FILM, WEAR, scenario_at
from slipbench.ground.errors import InputError
from slipbench.ground.telling import nearest_text, shown
from slipbench.scenario import Driver, HandleEntry, Rail, Scenario
from slipbench.scenario.equipment import FARTHEST
from slipbench.scenario.units import parse_value
from slipbench.statistics.designs import Factor

_FILM = (Factor("film.friction", 0.01, 100.0, True), Factor("film.recovery", 0.01, 100.0, True))
_SPACE = (*_FILM, Factor(WEAR, 0.0, 2.0))
"""What a draw moves besides the seed and the handle; values are given, bounds play no part."""


class Meaning(NamedTuple):
    """What a value of the spread is, its unit, bounds, and where the default comes from."""

    unit: str
    low: float
    high: float
    mark: str
    doc: str


MEANINGS: Mapping[str, Meaning] = {
    "friction": Meaning(
        "-", 0.0, 1.0, "assumed", "standard deviation of the logarithm of the film's friction over "
        "a stop (patches of 300 m that scatter by 0.3, averaged over two or three of them)",
    ),
    "recovery": Meaning(
        "-", 0.0, 1.0, "assumed", "standard deviation of the logarithm of what cleaning adds"
    ),
    "wear": Meaning(
        "-", 0.0, 2.0, "assumed", "most wear of the equipment, even from 0: 1 in service, 2 worn"
    ),
    "reaction": Meaning(
        "s", 0.05, 10.0, "secondary", "mean time from the braking point to the handle (road "
        "drivers in traffic, a textbook on Ergonomics 1993, 391; of train drivers none was found)",
    ),
    "reaction_scatter": Meaning(
        "s", 0.0, 10.0, "secondary", "its standard deviation, log-normal (same source)"
    ),
}  # fmt: skip
"""Values of the spread. Friction and recovery are cut at 2.5 standard deviations."""


@dataclass(frozen=True)
class Spread:
    """How stops differ from each other; see `MEANINGS` for each value."""

    friction: float = 0.2
    recovery: float = 0.2
    wear: float = 2.0
    reaction: float = 1.25
    reaction_scatter: float = 0.46

    @property
    def median_reaction(self) -> float:
        """Median of the log-normal reaction time. [s]"""
        return self.reaction / math.sqrt(1.0 + (self.reaction_scatter / self.reaction) ** 2)

    def reaction_at(self, shares: Any) -> Any:
        """Return the reaction times below which these shares lie. [s]"""
        scatter = math.sqrt(math.log1p((self.reaction_scatter / self.reaction) ** 2))
        return self.median_reaction * np.exp(scatter * norm.ppf(shares))

    def text(self) -> str:
        """Return the spread as one line."""
        return (
            f"film's friction x/: {math.exp(self.friction):.2f} and gain by cleaning x/: "
            f"{math.exp(self.recovery):.2f} (one standard deviation), wear of the equipment 0 to "
            f"{self.wear:g}, reaction {self.reaction:g} +- {self.reaction_scatter:g} s"
        )


def read_spread(texts: Sequence[str]) -> Spread:
    """Return the spread with values written `KEY=VALUE` in place of its own.

    Raises
    ------
    InputError   for an unknown key, or a value out of its bounds
    """
    spread = Spread()
    for text in texts:
        key, is_given, value = text.partition("=")
        key = key.strip()
        if not is_given or key not in MEANINGS:
            raise InputError(f"--spread {shown(text)}: write KEY=VALUE; {_near(key)}")
        meaning = MEANINGS[key]
        try:
            number = parse_value(value.strip(), meaning.unit)
        except InputError as problem:
            raise InputError(f"--spread {key} = {problem}") from None
        if not meaning.low <= number <= meaning.high:
            raise InputError(
                f"--spread {key} = {number:g}; allowed: {meaning.low:g} to {meaning.high:g} "
                f"{meaning.unit.strip('-')}".rstrip()
            )
        spread = replace(spread, **{key: number})
    return spread


def _near(key: str) -> str:
    return nearest_text(key, MEANINGS)


class Draw(NamedTuple):
    """One stop's circumstances.

    Attributes
    ----------
    friction, recovery : float   times the film's own [-]
    wear : float                 of the equipment, 0 clean to 2 worn
    reaction : float             from the braking point to the handle [s]
    seed : int                   of the equipment drawn, sampling and teeth
    """

    friction: float
    recovery: float
    wear: float
    reaction: float
    seed: int


def draws(spread: Spread, n_draws: int, seed: int = 0) -> list[Draw]:
    """Return circumstances spread as evenly as they can be: a scrambled Sobol sequence.

    Parameters
    ----------
    spread : Spread
    n_draws : int   most even where it is a power of two
    seed : int      of the scrambling; another seed gives draws that share nothing with these

    Returns
    -------
    list of Draw, (n_draws,)
    """
    sampler = qmc.Sobol(5, scramble=True, seed=np.random.default_rng([seed, 18]))
    power = max(0, math.ceil(math.log2(max(1, n_draws))))
    shares = np.clip(sampler.random_base2(power)[:n_draws], 1e-9, 1.0 - 1e-9)
    far = np.clip(norm.ppf(shares[:, :2]), -FARTHEST, FARTHEST)
    reactions = spread.reaction_at(shares[:, 3])
    return [
        Draw(
            friction=float(math.exp(spread.friction * far[i, 0])),
            recovery=float(math.exp(spread.recovery * far[i, 1])),
            wear=float(spread.wear * shares[i, 2]),
            reaction=float(reactions[i]),
            seed=int(shares[i, 4] * 2**31),
        )
        for i in range(n_draws)
    ]


def nominal(spread: Spread) -> Draw:
    """Return the circumstances of a stop as designed: clean equipment, the median reaction."""
    return Draw(1.0, 1.0, 0.0, spread.median_reaction, 0)


def situation(scenario: Scenario, draw: Draw) -> Scenario:
    """Return a stop under the circumstances of a draw; its distance counts from the braking point.

    The driver's whole programme is moved by the reaction time, entries at a distance excepted.

    Raises
    ------
    InputError   where the rail or the equipment does not allow what was drawn
    """
    moved = scenario_at(scenario, _SPACE, (draw.friction, draw.recovery, draw.wear))
    return moved.replace({"driver": reacting(scenario.driver, draw.reaction)})


def drawn_rail(rail: Rail, draw: Draw) -> Rail:
    """Return a rail with the film of a draw."""
    factors = {"film.friction": draw.friction, "film.recovery": draw.recovery}
    for name, factor in factors.items():
        rail = FILM[name].act(rail, factor)
    return rail


def reacting(driver: Driver, reaction: float) -> Driver:
    """Return a driver who moves the handle later by the reaction time. [s]"""
    entries = tuple(
        entry if entry.at_time is None else replace(entry, at_time=entry.at_time + reaction)
        for entry in driver.programme
    )
    return replace(driver, programme=entries)


def holding(step: int) -> Driver:
    """Return a driver who selects a step at once and leaves it."""
    at_once = (HandleEntry(at_time=0.0, position=step),)
    return Driver(programme=at_once, routine=None, log=None, easing=None)

"""What may be varied besides a strategy's parameters: assumptions about film and rail.

A factor's name says what it acts on:

- a name without a dot: a parameter of the strategy;
- `film.friction` and the other names of `FILM`: the film of every section at once;
- `equipment.wear`: 0 clean, 1 as in service, 2 worn, and between;
- any other name with a dot: a value of the scenario by its path, such as `brake.fill_delay`.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from slipbench.campaign.rails import HIGHEST, LOWEST
from slipbench.contract import Controller
from slipbench.ground.errors import InputError
from slipbench.ground.telling import nearest_text
from slipbench.scenario import GRADES, Equipment, Rail, RailSection, Scenario
from slipbench.scenario.assemble import field_at
from slipbench.scenario.rail import MONOTONE_LIMIT
from slipbench.statistics.designs import LOG_RATIO, Factor, Space

Change = Callable[[Rail, float], Rail]

MOST_WORK, LEAST_STIFFNESS = 1e9, 0.02
"""What the scenario layer allows for cleaning work [J/m] and the reduction where it sticks [-]."""


@dataclass(frozen=True)
class FilmFactor:
    """One assumption about the film, with the bounds within which it is varied (assumed)."""

    low: float
    high: float
    is_log: bool
    act: Change
    doc: str


def _each(rail: Rail, change: Callable[[RailSection], RailSection]) -> Rail:
    return dataclasses.replace(rail, sections=tuple(map(change, rail.sections)))


def _checked(what: str, value: float, low: float, high: float) -> float:
    """Return a value, or refuse one that leaves the physical range."""
    if not low * (1.0 - 1e-12) <= value <= high * (1.0 + 1e-12):
        raise InputError(f"{what} = {value:g} leaves its range; allowed: {low:g} to {high:g}")
    return min(max(value, low), high)  # by the rounding of a product alone


def _scale_friction(rail: Rail, factor: float) -> Rail:
    def scaled(film: RailSection) -> RailSection:
        what = f"film.friction: {film.friction:g} times {factor:g}"
        friction = _checked(what, film.friction * factor, LOWEST, HIGHEST)
        recovered = max(film.recovered_friction, friction)
        return dataclasses.replace(film, friction=friction, recovered_friction=recovered)

    rail = _each(rail, scaled)
    if rail.random is None:
        return rail
    frictions: dict[str, Any] = {
        name: _checked(
            f"film.friction: {name}", getattr(rail.random, name) * factor, LOWEST, HIGHEST
        )
        for name in ("median_friction", "lowest_friction", "highest_friction")
    }
    return dataclasses.replace(rail, random=dataclasses.replace(rail.random, **frictions))


def _scale_recovery(rail: Rail, factor: float) -> Rail:
    def scaled(film: RailSection) -> RailSection:
        gain = factor * (film.recovered_friction - film.friction)
        what = f"film.recovery: {film.friction:g} and {factor:g} times what cleaning adds"
        recovered = _checked(what, film.friction + gain, film.friction, HIGHEST)
        return dataclasses.replace(film, recovered_friction=recovered)

    return _each(rail, scaled)


def _scale_cleaning(rail: Rail, factor: float) -> Rail:
    def scaled(film: RailSection) -> RailSection:
        what = f"film.cleaning_work: {film.cleaning_work:g} J/m times {factor:g}"
        work = _checked(what, film.cleaning_work * factor, 0.0, MOST_WORK)
        return dataclasses.replace(film, cleaning_work=work)

    return _each(rail, scaled)


def _set_ratio(rail: Rail, value: float) -> Rail:
    return _each(rail, lambda film: dataclasses.replace(film, friction_ratio=value))


def _set_decay(rail: Rail, value: float) -> Rail:
    return _each(rail, lambda film: dataclasses.replace(film, friction_decay=value))


def _scale_stiffness(rail: Rail, factor: float) -> Rail:
    def scaled(film: RailSection) -> RailSection:
        what = f"film.stiffness: {film.adhesion_reduction:g} times {factor:g}"
        adhesion = _checked(what, film.adhesion_reduction * factor, LEAST_STIFFNESS, 1.0)
        slip = _checked(f"{what}, where it slips", film.slip_reduction * factor, LOWEST, adhesion)
        slip = max(slip, MONOTONE_LIMIT * adhesion)  # by rounding alone: both are scaled alike
        return dataclasses.replace(film, adhesion_reduction=adhesion, slip_reduction=slip)

    return _each(rail, scaled)


def _own_contact(rail: Rail, share: float) -> Rail:
    return dataclasses.replace(rail, cleaning_law="rail_and_contact", contact_share=share)


SCENARIO_VALUES = ("initial_speed",)
"""Values of a scenario whose names have no dot."""

WEAR = "equipment.wear"
"""Factor that moves the equipment between its grades."""


def worn(scenario: Scenario, wear: float) -> Scenario:
    """Return a scenario with its equipment between two grades, see `equipment_at`."""
    return scenario.replace({"equipment": equipment_at(wear)})


@lru_cache(maxsize=4096)
def equipment_at(wear: float) -> Equipment:
    """Return equipment between two grades: 0 clean, 1 service, 2 worn.

    Raises
    ------
    InputError   for a wear out of that range
    """
    if not 0.0 <= wear <= len(GRADES) - 1:
        raise InputError(
            f"factor {WEAR} = {wear:g}; allowed: 0 (clean) to {len(GRADES) - 1} (worn)"
        )
    below = min(int(wear), len(GRADES) - 2)
    one, other = (Equipment(grade=GRADES[i]).condition for i in (below, below + 1))
    values: dict[str, Any] = {
        name: a + (wear - below) * (b - a)
        for name, a, b in zip(one._fields, one, other, strict=True)
    }
    values["dropout_burst"] = round(values["dropout_burst"])
    return Equipment(**values)


FILM: Mapping[str, FilmFactor] = {
    "film.friction": FilmFactor(
        0.5, 2.0, True, _scale_friction, "times the friction of the untouched film"
    ),
    "film.recovery": FilmFactor(
        0.5, 2.0, True, _scale_recovery, "times what cleaning adds to friction"
    ),
    "film.cleaning_work": FilmFactor(
        0.2, 5.0, True, _scale_cleaning, "times the energy scale of cleaning"
    ),
    "film.friction_ratio": FilmFactor(
        0.4, 1.0, False, _set_ratio, "friction at infinite slip speed over static"
    ),
    "film.friction_decay": FilmFactor(
        0.05, 0.6, False, _set_decay, "decay of friction with slip speed [s/m]"
    ),
    "film.stiffness": FilmFactor(
        0.5, 2.0, True, _scale_stiffness, "times both reductions of contact stiffness"
    ),
    "film.own_contact": FilmFactor(
        0.0, 1.0, False, _own_contact, "share of a pass's work that recovers its own contact"
    ),
}
"""Assumptions about the film; their bounds are assumed too."""

RAIL_ASSUMPTIONS: Space = (
    *(
        Factor(name, film.low, film.high, film.is_log)
        for name, film in FILM.items()
        if name != "film.own_contact"  # which is another law of cleaning
    ),
    Factor("rail.locked_cleaning_share", 0.0, 0.3),
    Factor("rail.full_cleaning_slip", 0.3, 0.9),
)
"""What a sensitivity analysis varies besides the parameters unless told otherwise."""


def _differing(before: Rail, after: Rail) -> dict[str, Any]:
    """Return the values of a rail that changed, singly, so that the others keep their source."""
    changes: dict[str, Any] = {}
    for name, value in vars(after).items():
        if name == "sections":
            for i, (old, new) in enumerate(zip(before.sections, after.sections, strict=True)):
                changes |= _changed_fields(old, new, f"rail.sections.{i}")
                if after.random is not None:  # which draws it: the section's own is not read
                    changes.pop(f"rail.sections.{i}.friction", None)
        elif name == "random" and value is not None:
            changes |= _changed_fields(before.random, value, "rail.random")
        elif value != getattr(before, name):
            changes[f"rail.{name}"] = value
    return changes


def _changed_fields(before: Any, after: Any, path: str) -> dict[str, Any]:
    return {
        f"{path}.{name}": value
        for name, value in vars(after).items()
        if value != getattr(before, name)
    }


def is_parameter(factor: Factor) -> bool:
    """Return whether a factor is a strategy's parameter, not an assumption about the scenario."""
    return "." not in factor.name and factor.name not in SCENARIO_VALUES


def parameters_at(space: Space, point: Sequence[float]) -> dict[str, float]:
    """Return the strategy's parameters among the factors of a space, at a point of it."""
    pairs = zip(space, point, strict=True)
    return {factor.name: float(value) for factor, value in pairs if is_parameter(factor)}


def scenario_at(scenario: Scenario, space: Space, point: Sequence[float]) -> Scenario:
    """Return a scenario with its factors of a space at a point; parameters are passed over.

    Raises
    ------
    InputError   for a factor the scenario does not have, or a value it does not allow
    """
    changes: dict[str, Any] = {}
    rail = scenario.rail
    for factor, value in zip(space, point, strict=True):
        if is_parameter(factor):
            continue
        if factor.name in FILM:
            if FILM[factor.name].is_log and not value > 0.0:
                raise InputError(f"factor {factor.name} = {value:g} times; allowed: above 0")
            rail = FILM[factor.name].act(rail, float(value))
        elif factor.name == WEAR:
            scenario = worn(scenario, float(value))
        elif factor.name.startswith("film."):
            raise InputError(f"factor {factor.name}: {nearest_text(factor.name, FILM)}")
        else:
            changes[factor.name] = _as_field(factor.name, float(value))
    if rail is not scenario.rail:
        scenario = scenario.replace(_differing(scenario.rail, rail))
    return scenario.replace(changes) if changes else scenario


def fitted(space: Space, scenarios: Sequence[Scenario]) -> Space:
    """Return a space with the multipliers of the film kept where every scenario allows them.

    For bounds that nobody chose for these scenarios: twice the friction of a dry rail may be more
    than there is.
    """
    return tuple(_fitted(factor, scenarios) for factor in space)


def _fitted(factor: Factor, scenarios: Sequence[Scenario]) -> Factor:
    low, high = factor.low, factor.high
    for scenario in scenarios:
        for film in scenario.rail.sections:
            lows, highs = _limits(factor.name, film)
            low, high = max(low, lows), min(high, highs)
    if (low, high) == (factor.low, factor.high) or low > high:
        return factor
    return dataclasses.replace(factor, low=low, high=high)


def _limits(name: str, film: RailSection) -> tuple[float, float]:
    """Return between which multipliers a film stays in its physical range."""
    if name == "film.friction":
        return LOWEST / film.friction, HIGHEST / film.friction
    if name == "film.recovery" and film.recovered_friction > film.friction:
        return 0.0, (HIGHEST - film.friction) / (film.recovered_friction - film.friction)
    if name == "film.cleaning_work":
        return 0.0, MOST_WORK / film.cleaning_work
    if name == "film.stiffness":
        least = max(LEAST_STIFFNESS / film.adhesion_reduction, LOWEST / film.slip_reduction)
        return least, 1.0 / film.adhesion_reduction
    return -math.inf, math.inf


def _as_field(path: str, value: float) -> float | int:
    """Return a value as its field takes it: a whole number where that holds whole numbers."""
    try:
        _, spec = field_at(path)
    except InputError:
        return value  # which `replace` will refuse in its own words
    return value if spec.kind == "quantity" else round(value)


def default_space(controller: Controller, with_rail: bool = True) -> Space:
    """Return a strategy's parameters and, unless told not to, the assumptions about the rail."""
    own = parameter_space(controller) if controller.parameters else ()
    return (*own, *(RAIL_ASSUMPTIONS if with_rail else ()))


def parameter_space(controller: Controller, names: Sequence[str] | None = None) -> Space:
    """Return the box of a strategy's parameters, facts of the vehicle apart, or of those named.

    Raises
    ------
    InputError   for a name it does not have, or if nothing is left to vary
    """
    known = {p.name: p for p in controller.parameters}
    for name in names or ():
        if name not in known:
            raise InputError(
                f"strategy {controller.name}: no parameter {name!r}; "
                f"it has: {', '.join(known) or 'none'}"
            )
    tunable = [p.name for p in controller.parameters if not p.is_data]
    chosen = [known[name] for name in (names if names is not None else tunable)]
    if not chosen:
        raise InputError(f"strategy {controller.name}: it has no parameters to vary")
    return tuple(
        Factor(p.name, p.low, p.high, is_log=p.low > 0.0 and p.high / p.low >= LOG_RATIO)
        for p in chosen
    )

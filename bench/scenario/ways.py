"""Ways of driving the same stop, laid over a scenario: from where its driver first brakes."""

from __future__ import annotations

import dataclasses

from slipbench.ground.errors import InputError
from slipbench.ground.telling import quoted
from slipbench.scenario.brake import RELEASE
from slipbench.scenario.driver import Easing, HandleEntry
from slipbench.scenario.scenario import Scenario

WAYS = ("held", "eased", "eased-to-N", "pumped", "own")
"""`held`: the largest service step, left there. `eased`: held until slip control works, then one
step less until it is calm (`eased-to-N`: step N). `pumped`: applied 4 s, released 2 s, again and
again. `own`: as the scenario has it."""

_APPLY, _RELEASE, _MOST_PUMPED = 4.0, 2.0, 400  # assumed, as in `Routine`


def driven(scenario: Scenario, way: str) -> Scenario:
    """Return a scenario with another driver, who begins to brake where its own first does.

    Parameters
    ----------
    scenario : Scenario
    way : str   one of `WAYS`, N a handle position from 0 to the step before the largest

    Raises
    ------
    InputError   for an unknown way, a position out of range, or a driver who never brakes
    """
    if way == "own":
        return scenario
    largest = scenario.brake.n_steps
    before = _until_braking(scenario, largest)
    programme, easing = before, None
    if way == "pumped":
        release = HandleEntry(after=_APPLY, position=RELEASE)
        again = HandleEntry(after=_RELEASE, position=largest)
        programme = (*before, *(release, again) * _MOST_PUMPED)
    elif way == "eased" or way.startswith("eased-to-"):
        easing = Easing(position=_eased_position(way, largest))
    elif way != "held":
        raise InputError(f"driver {quoted(way)!r}; known: {', '.join(WAYS)}")
    driver = dataclasses.replace(scenario.driver, programme=programme, easing=easing, presses=())
    return scenario.replace(driver=driver)


def first_braking(scenario: Scenario) -> int | None:
    """Return which entry of the handle programme first brakes; None if none does."""
    entries = enumerate(scenario.driver.programme)
    return next((i for i, entry in entries if entry.position > RELEASE), None)


def _until_braking(scenario: Scenario, position: int) -> tuple[HandleEntry, ...]:
    """Return the programme up to its first braking, which selects this position."""
    first = first_braking(scenario)
    if first is None:
        raise InputError(f"scenario {scenario.name}: its driver never brakes")
    entries = scenario.driver.programme
    begins = dataclasses.replace(entries[first], position=position, level=None)
    return (*entries[:first], begins)


def _eased_position(way: str, largest: int) -> int:
    if way == "eased":
        return largest - 1
    word = way.removeprefix("eased-to-")
    if not (word.isascii() and word.isdigit() and len(word) < 4 and int(word) < largest):
        raise InputError(f"driver {quoted(way)!r}; eased-to-N takes N from 0 to {largest - 1}")
    return int(word)

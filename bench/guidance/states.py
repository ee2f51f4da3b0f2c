"""Rail states in words, as a driver says them, and the shipped rails that stand for them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from slipbench.ground.errors import InputError
from slipbench.ground.telling import shown
from slipbench.scenario import DRY_RAIL, Rail, load_scenario

GOOD, WET, AUTUMN, VERY_POOR = "good", "wet", "autumn", "very poor"

STATES: Mapping[str, str] = {
    GOOD: DRY_RAIL,
    WET: "wet",
    AUTUMN: "autumn_guide",
    VERY_POOR: "wet_leaf",
}
"""State in words, from best to worst, and the shipped scenario whose rail it is."""

MOST_STATES = 8
_LONGEST = 24


def read_states(texts: Sequence[str]) -> dict[str, str]:
    """Return the states with those written `WORDS=SCENARIO` added, or in place of their own.

    Raises
    ------
    InputError   for a text that is none, too many states, or `good`, against which all others count
    """
    states = dict(STATES)
    for text in texts:
        words, is_given, scenario = (part.strip() for part in text.partition("="))
        if not is_given or not words or not scenario or len(words) > _LONGEST:
            raise InputError(
                f"--state {shown(text)}: write WORDS=SCENARIO, at most {_LONGEST} letters of words"
            )
        if words == GOOD:
            raise InputError(f"--state {shown(text)}: {GOOD} is what all others are measured from")
        states[words] = scenario
    if len(states) > MOST_STATES:
        raise InputError(f"--state: {len(states)} states; at most {MOST_STATES} fit on a card")
    return states


def rails_of(states: Mapping[str, str]) -> dict[str, Rail]:
    """Return the rail of each state.

    Raises
    ------
    InputError   for a scenario that cannot be read
    """
    found = {}
    for words, name in states.items():
        try:
            found[words] = load_scenario(name).rail
        except InputError as problem:
            raise InputError(f"--state {words}: {problem}") from problem
    return found

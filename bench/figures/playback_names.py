"""What the lanes of a playback are called: by what differs between them, and by nothing else."""

from __future__ import annotations

from collections.abc import Sequence

from slipbench.scenario import Scenario
from slipbench.stop.stop import Stop


def lane_names(stops: Sequence[Stop]) -> list[str]:
    """Return a name for each stop: driving, strategy, rail, start and seed, as far as they differ.

    Parameters
    ----------
    stops : sequence of Stop

    Returns
    -------
    list of str   stops that differ in none of these are named by their strategy
    """
    aspects = [
        [driving(stop.scenario) for stop in stops],
        [stop.controller.name.replace("_", " ") for stop in stops],
        [stop.scenario.name for stop in stops],
        [f"from {stop.scenario.initial_speed / 0.44704:.0f} mph" for stop in stops],
        [f"seed {stop.seed}" for stop in stops],
    ]
    rails = [(stop.scenario.rail, stop.scenario.contact) for stop in stops]
    if all(rail == rails[0] for rail in rails):  # files of one rail have names of their own
        del aspects[2]
    differing = [words for words in aspects if len(set(words)) > 1]
    if not differing:
        named = [stop.scenario.name for stop in stops]
        differing = [named] if len(set(named)) > 1 else [aspects[1]]
    return [", ".join(words) for words in zip(*differing, strict=True)]


def driving(scenario: Scenario) -> str:
    """Return in words what the driver does with the handle."""
    driver, brake = scenario.driver, scenario.brake
    words = [_position(entry.position, brake.n_steps) for entry in driver.programme]
    while len(words) > 1 and words[0] == "release":  # coasting towards the braking point
        words.pop(0)
    if len(words) == 1:
        told = "not braked" if words == ["release"] else f"{words[0]} held"
    elif len(words) <= 4:
        told = ", then ".join(words)
    else:
        told = f"{words[0]}, then {len(words) - 1} movements"
    if driver.easing is not None:
        eased = _position(driver.easing.position, brake.n_steps)
        told = f"{words[-1]}, eased to {eased} when slip control works"
    if driver.presses:
        told += ", slip control isolated"
    return told


def _position(position: int, n_steps: int) -> str:
    if position == 0:
        return "release"
    return "emergency" if position > n_steps else f"step {position}"

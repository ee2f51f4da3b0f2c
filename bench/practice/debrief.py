"""What a run was worth: as driven, beside step 3 held from the same place, rail and seed."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from slipbench.contract import Floats
from slipbench.practice.moments import YARD, Moment, moments, movements
from slipbench.scenario import HandleEntry, Scenario
from slipbench.scenario.ways import first_braking
from slipbench.stop.simulation import simulate
from slipbench.stop.stop import Stop
from slipbench.strategies.registry import Known

NOTHING = 0.01
"""Difference of two stops that counts as none, of their length; at least 5 m (assumed). [-]"""

LEAST_NOTHING = 5.0
"""[m]"""

MEAN_OVER = 10.0
"""Friction along the way is told as a moving mean over this, or slip cycles hide it. [m]"""


@dataclass(frozen=True, eq=False)
class Debrief:
    """A run and the same stop held.

    Attributes
    ----------
    you : Stop
    held : Stop or None      None where the brake was never applied
    headline : str           what happened, and what holding does
    verdict : str            what easing cost, or that it cost nothing
    moments : list of Moment
    """

    you: Stop
    held: Stop | None
    headline: str
    verdict: str
    moments: list[Moment]


def held_instead(driven: Scenario) -> Scenario | None:
    """Return the scenario with the largest service step held from where the driver first braked."""
    first = first_braking(driven)
    if first is None:
        return None
    programme = driven.driver.programme
    brake = HandleEntry(at_time=programme[first].at_time, position=driven.brake.n_steps)
    driver = dataclasses.replace(
        driven.driver, programme=(*programme[:first], brake), presses=(), easing=None
    )
    return driven.replace(driver=driver)


def debrief(driven: Scenario, known: Known, seed: int) -> Debrief:
    """Simulate a run from its log, and the same held, and say what there is to say.

    Parameters
    ----------
    driven : Scenario   its driver is the log of handle and button
    known : Known       the unit's strategy
    seed : int
    """
    you = simulate(driven, known.controller, seed)
    other = held_instead(driven)
    held = None if other is None else simulate(other, known.controller, seed)
    return Debrief(you, held, _headline(you, held), _verdict(you, held), moments(you, held))


def place_words(stop: Stop) -> str:
    """Return where a stop ended, against its marker where there is one."""
    if not stop.summary["is_stopped"]:
        speed = stop.summary["final_speed"] / 0.44704
        return f"did not stop: {speed:.0f} mph left after {_yards(stop.summary['final_distance'])}"
    overrun = float(stop.worth.ride.overrun)
    if not math.isfinite(overrun):
        return f"stopped after {_yards(stop.summary['final_distance'])}"
    if abs(overrun) < 5.0 * YARD:
        return "stopped at the marker"
    side = "past" if overrun > 0.0 else "short of"
    return f"stopped {_yards(abs(overrun))} {side} the marker"


def _yards(length: float) -> str:
    return f"{length / YARD:.0f} yards"


def _headline(you: Stop, held: Stop | None) -> str:
    if held is None:
        return f"You never braked: the train {place_words(you)}."
    mine, other = place_words(you), place_words(held)
    holding = other.replace("stopped", "stops", 1).replace("did not stop", "does not stop", 1)
    if mine == other:
        return f"You {mine}; so does holding step {you.scenario.brake.n_steps}."
    return f"You {mine}; holding step {you.scenario.brake.n_steps} {holding}."


def _verdict(you: Stop, held: Stop | None) -> str:
    """Say what the driving cost against holding; where it cost nothing, say that."""
    if held is None:
        return "There is nothing to compare with: holding begins where the brake is first applied."
    longer = float(you.summary["final_distance"] - held.summary["final_distance"])
    limit = max(LEAST_NOTHING, NOTHING * float(held.summary["final_distance"]))
    has_eased = any(after < before for _, before, after in movements(you))
    what = "easing" if has_eased else "this"
    caution = "One rail, one seed; a driver in the cab knows neither film nor setting."
    if not (you.summary["is_stopped"] and held.summary["is_stopped"]):
        return "One of the two trains did not stop, so their distances do not compare."
    if abs(longer) <= limit:
        same = "you held it too" if not has_eased else "easing cost nothing here"
        return f"The two stops differ by {_yards(abs(longer))}: {same}. {caution}"
    if longer < 0.0:
        gained = f"you stopped {_yards(-longer)} shorter than holding"
        return f"Here {what} cost nothing: {gained}. {caution}"
    why = friction_words(you, held)
    return f"Against holding, {what} cost {_yards(longer)}. {why}"


def friction_words(you: Stop, held: Stop) -> str:
    """Say what rail the last axle met, in the mean over the way, in both."""
    mine, other = (_mean_friction(stop) for stop in (you, held))
    if other > 1.03 * mine:
        return (
            f"The rail under the last axle was better when held: friction {other:.3f} against"
            f" {mine:.3f} on average, since the wheels before it went on cleaning."
        )
    return (
        f"The rail under the last axle was alike (friction {mine:.3f} and {other:.3f} on average):"
        " what was lost is brake effort, not cleaning."
    )


def _mean_friction(stop: Stop) -> float:
    """Return friction under the last axle, averaged over the way from the first braking."""
    way, friction = stop.traces["distance"], stop.traces["friction"][:, -1]
    rows = way >= _first_brake_place(stop)
    step = np.gradient(way[rows]) if rows.sum() > 2 else np.ones(int(rows.sum()))
    return float((friction[rows] * step).sum() / max(step.sum(), 1e-9))


def _first_brake_place(stop: Stop) -> float:
    made = [movement for movement in movements(stop) if movement[2] > 0]
    if not made:
        return 0.0
    return float(np.interp(made[0][0], stop.traces["time"], stop.traces["distance"]))


def along(stop: Stop, values: Floats, mean_over: float = 0.0) -> tuple[Floats, Floats]:
    """Return a trace over distance at every metre: places [m], values, a moving mean if asked."""
    place: Floats = np.arange(0.0, float(stop.traces["distance"][-1]) + 1.0)
    found: Floats = np.interp(place, stop.traces["distance"], values)
    n = round(mean_over)
    if n > 1 and len(found) > n:
        window = np.ones(n)
        count = np.convolve(np.ones(len(found)), window, mode="same")
        found = np.convolve(found, window, mode="same") / count
    return place, found


def table_row(found: Debrief, name: str, lesson: str, strategy: str) -> dict[str, Any]:
    """Return the run's row of the class's table; plain values, None where there is none."""

    def past(stop: Stop | None) -> float | None:
        overrun = math.nan if stop is None else float(stop.worth.ride.overrun)
        return round(overrun, 2) if math.isfinite(overrun) else None

    you, held = found.you, found.held
    return {
        "name": name,
        "lesson": lesson,
        "scenario": you.scenario.name,
        "strategy": strategy,
        "seed": you.seed,
        "distance_m": float(you.summary["final_distance"]),
        "past_marker_m": past(you),
        "held_distance_m": None if held is None else float(held.summary["final_distance"]),
        "held_past_marker_m": past(held),
        "longest_lock_s": float(you.summary["longest_lock"]),
        "longest_flat_mm": 1e3 * float(you.worth.wheels.flat_length.high.max()),
        "movements": len(movements(you)),
        "presses": len(you.scenario.driver.presses),
        "dead_presses": int(you.worth.ride.n_ignored_presses),
    }

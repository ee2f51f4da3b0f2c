"""Checks of what equipment in service has to do, beyond being fit to be run here.

Each tries to refute one claim and returns what is wrong in one line, or None.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from slipbench.conformance.evidence import FULL, LATE, ROLLING_CREEPAGE, Evidence
from slipbench.conformance.inputs import dry_stop
from slipbench.contract import COLUMN, VALVE, VENT, Controller, Floats
from slipbench.scenario import Scenario
from slipbench.stop.simulation import simulate
from slipbench.stop.stop import Stop

EMPTY = 0.05
"""Of full pressure: a cylinder with less above its spring's brakes nothing, as at the limit."""

SHORT_BREAK = 1.0
"""A brake that comes back for less than this has not come back. Assumed. [s]"""

MORE_LOCKED = 2.0
"""Time an axle with a sound sensor may be locked beyond that of the sound stop. Assumed. [s]"""

SILENT = 0.005
"""A stop on dry rail within this of one without slip control is as long. A choice. [-]"""

DRY_SEEDS = 3
"""Dry stops looked at, each with its own draw of the equipment."""


def _held_off(stop: Stop) -> npt.NDArray[np.bool_]:
    """Return when each axle's brake is kept off: vented, held, or asked for less. (n, n_axles)

    While the driver brakes: the wheel rolls, and its brake takes less than `FULL` of what rail and
    driver would give; or the cylinder is too empty to brake at all.
    """
    traces = stop.traces
    speed = traces["train_speed"][:, None]
    is_rolling = traces["wheel_speed"] >= (1.0 - ROLLING_CREEPAGE) * speed
    is_weak = traces["brake_force"] < FULL * traces["usable_force"]
    brake = stop.scenario.brake
    is_empty = traces["pressure"] < brake.spring_pressure + EMPTY * brake.full_pressure
    is_fast = traces["train_speed"] > stop.scenario.run.locked_train_speed
    is_braking = (traces["demand"] > 0.0) & is_fast
    held: npt.NDArray[np.bool_] = ((is_rolling & is_weak) | is_empty) & is_braking[:, None]
    return held


def longest_spell(is_so: npt.NDArray[np.bool_], shortest_break: int = 1) -> int:
    """Return the length of the longest run of True; short breaks do not end it.

    Parameters
    ----------
    is_so : (n,) bool
    shortest_break : int   samples of False that end a run
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[False], is_so, [False]]).astype(np.int8)))
    starts, ends = edges[::2], edges[1::2]
    if not len(starts):
        return 0
    is_break = starts[1:] - ends[:-1] >= shortest_break
    firsts = starts[np.concatenate([[True], is_break])]
    lasts = ends[np.concatenate([is_break, [True]])]
    return int((lasts - firsts).max())


def longest_held_off(stop: Stop) -> Floats:
    """Return the longest time each axle's brake is kept off. (n_axles,) [s]"""
    interval = stop.scenario.run.trace_interval
    shortest = round(SHORT_BREAK / interval)
    spells = [longest_spell(axle, shortest) for axle in _held_off(stop).T]
    return np.array(spells, dtype=np.float64) * interval


def _kept_off(stop: Stop, limit: float) -> str | None:
    spells = longest_held_off(stop)
    if spells.max() <= limit:
        return None
    return (
        f"the brake of axle {int(spells.argmax()) + 1} is kept off for {spells.max():.1f} s "
        f"(limit {limit:g} s) in a stop from {stop.scenario.initial_speed:g} m/s"
    )


def keeps_no_brake_off(evidence: Evidence) -> str | None:
    """Refute: no brake is kept off for longer than the equipment's limit, however it is done.

    The equipment would give it back by itself; a strategy that leaves it to that timer is overruled
    in the middle of its work. Looked at from 12 and from 33 m/s.
    """
    stops = (evidence.recorded.stop, evidence.recorded_fast.stop)
    found = [_kept_off(stop, evidence.held_off_limit) for stop in stops if stop is not None]
    return next((problem for problem in found if problem), None)


def bears_a_dead_sensor(evidence: Evidence) -> str | None:
    """Refute: whichever axle's sensor reads zero, from the start or later, all axles are served.

    The train stops; no brake is kept off beyond the limit, that of the dead sensor's axle least of
    all; and no axle whose sensor is sound locks much longer than any does in the sound stop.
    """
    sound = evidence.recorded_fast.stop
    if sound is None:
        return evidence.recorded_fast.refusal
    allowed = max(sound.summary["locked_time"]) + MORE_LOCKED
    for i_axle in range(sound.scenario.train.n_axles):
        for is_late in (False, True):
            since = f"dead from {LATE:g} m on" if is_late else "dead from the start"
            stop = evidence.stop_with_dead_sensor(i_axle, is_late)
            locked = np.array(stop.summary["locked_time"])
            locked[i_axle] = 0.0  # nobody knows what it does
            problem = _kept_off(stop, evidence.held_off_limit)
            if locked.max() > allowed:
                problem = (
                    f"axle {int(locked.argmax()) + 1} locks for {locked.max():.1f} s "
                    f"(allowed: {allowed:.1f} s)"
                )
            elif not stop.summary["is_stopped"]:
                problem = f"no stop within {stop.scenario.run.maximum_time:g} s"
            if problem:
                return f"{problem} with the sensor of axle {i_axle + 1} {since}"
    return None


def is_silent_on_dry_rail(evidence: Evidence) -> str | None:
    """Refute: on dry rail, with sensors as in service, it vents nothing and lengthens no stop."""
    scenario = dry_stop()
    for seed in range(evidence.seed, evidence.seed + DRY_SEEDS):
        summary = evidence.stop_of(scenario, seed).summary
        free = _free_distance(scenario, seed)
        if summary["vent_count"]:
            return f"{summary['vent_count']} vents on dry rail from {scenario.initial_speed:g} m/s"
        longer = summary["final_distance"] / free - 1.0
        if longer > SILENT or not summary["is_stopped"]:
            return f"stops {longer:.1%} longer than without it (allowed: {SILENT:.1%}) on dry rail"
    return None


def _fill(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    command[:, 0] = 0.0
    command[:, 1] = 1.0


def _free_distance(scenario: Scenario, seed: int) -> float:
    """Return how far the train runs with no slip control. [m]"""
    bare = Controller(name="no slip control", title="-", update=_fill, observes=())
    return float(simulate(scenario, bare, seed, with_traces=False).summary["final_distance"])


def brakes_at_standstill(evidence: Evidence) -> str | None:
    """Refute: with all wheels at rest for as long as the limit after a stop, no valve vents."""
    rest = evidence.recording.observations[-1].copy()
    for name in ("measured_wheel_speed", "train_speed", "wheel_speed", "train_acceleration"):
        if np.isfinite(rest[:, COLUMN[name]]).all():
            rest[:, COLUMN[name]] = 0.0
    n_calls = math.ceil(evidence.held_off_limit / evidence.scenario.slip_control.sample_time)
    seen = np.concatenate([evidence.recording.observations, np.tile(rest, (n_calls, 1, 1))])
    vented = np.flatnonzero(evidence.play(seen).commands[-1, :, VALVE] == VENT) + 1
    if not len(vented):
        return None
    return f"axles {vented.tolist()} are still vented after {evidence.held_off_limit:g} s at rest"

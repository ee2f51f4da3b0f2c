"""Checks of what equipment in service has to do, beyond being fit to be run here.

Each tries to refute one claim and returns what is wrong in one line, or None.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from slipbench.conformance.evidence import FAULT_CALL, ROLLING_CREEPAGE, Evidence
from slipbench.conformance.recording import Recording
from slipbench.contract import COLUMN, DEMAND_FACTOR, FILL, VALVE, VENT, Floats


def _acts(recording: Recording) -> Floats:
    """Return the share of calls after the fault in which each axle's brake is eased. (n_axles,)"""
    late = recording.commands[FAULT_CALL:]
    is_eased = (late[..., VALVE] != FILL) | (late[..., DEMAND_FACTOR] < 1.0)
    share: Floats = is_eased.mean(axis=0)
    return share


def bears_a_dead_sensor(evidence: Evidence) -> str | None:
    """Refute: with one axle reading zero it stays valid and still serves the other axles.

    Served: an axle eased now and then in the sound stop is neither never eased nor always eased.
    """
    faulty, sound = evidence.with_dead_sensor, evidence.recorded.vehicles
    if faulty.refusal:
        return faulty.refusal
    for i_vehicle, own in enumerate(faulty.vehicles):
        problem = evidence.invalid(own)
        if problem:
            return problem
        healthy = _acts(sound[i_vehicle].first(len(own)))
        for i_axle, share in enumerate(_acts(own)[:-1]):
            if share in (0.0, 1.0) and share != healthy[i_axle]:
                state = "never eased" if share == 0.0 else "eased for good"
                return f"axle {i_axle + 1} of vehicle {i_vehicle + 1} is {state} after the fault"
    return None


def _longest_spell(is_so: npt.NDArray[np.bool_]) -> int:
    """Return the length of the longest run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], is_so, [False]]).astype(np.int8)))
    return int((edges[1::2] - edges[::2]).max(initial=0))


def vents_within_the_limit(evidence: Evidence) -> str | None:
    """Refute: it commands no vent without a break for longer than the equipment's limit.

    The equipment would restore the brake by itself; a strategy that leaves it to that timer is
    overruled in the middle of its work. Looked at in the sound stop and with a dead sensor.
    """
    sample_time = evidence.scenario.slip_control.sample_time
    faulty = evidence.with_dead_sensor
    for state, recorded in (("", evidence.recorded), (" with a dead sensor", faulty)):
        for i_vehicle, own in enumerate(recorded.vehicles):
            spells = [_longest_spell(axle) for axle in (own.commands[..., VALVE] == VENT).T]
            longest = max(spells) * sample_time
            if longest > evidence.held_off_limit:
                axle = f"axle {spells.index(max(spells)) + 1} of vehicle {i_vehicle + 1}"
                limit = f"(limit {evidence.held_off_limit:g} s)"
                return f"{axle} is vented for {longest:.1f} s on end{state} {limit}"
    return None


def lets_rolling_wheels_brake(evidence: Evidence) -> str | None:
    """Refute: it keeps no brake vented for longer than the limit while the wheel reads rolling."""
    stop = evidence.recorded.stop
    if stop is None:
        return None
    traces = stop.traces
    rolling = (1.0 - ROLLING_CREEPAGE) * traces["train_speed"][:, None]
    is_held_off = (traces["valve"] == VENT) & (traces["measured_wheel_speed"] >= rolling)
    spells = [_longest_spell(axle) for axle in is_held_off.T]
    longest = max(spells) * evidence.scenario.run.trace_interval
    if longest <= evidence.held_off_limit:
        return None
    return (
        f"axle {spells.index(max(spells)) + 1} rolls vented for {longest:.1f} s "
        f"(limit {evidence.held_off_limit:g} s)"
    )


def gives_up_on_a_dead_sensor(evidence: Evidence) -> str | None:
    """Refute: an axle whose sensor reads zero is not left vented for longer than the limit."""
    sample_time = evidence.scenario.slip_control.sample_time
    for recording in evidence.with_dead_sensor.vehicles:
        is_vented = recording.commands[FAULT_CALL:, -1, VALVE] == VENT
        longest = _longest_spell(is_vented) * sample_time
        if longest > evidence.held_off_limit:
            return (
                f"its axle stays vented for {longest:.1f} s (limit {evidence.held_off_limit:g} s)"
            )
    return None


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

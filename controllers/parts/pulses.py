"""Valve commands from wishes: a duty as pulses, a pressure to be reached, a vent that ends.

A shared part, no strategy.
"""

import math

from slipbench.compiling.helper import helper
from slipbench.contract import FILL, HOLD, PRESSURE, SAMPLE_TIME, VENT, WHEEL_SPEED, Floats
from slipbench.controllers.parts.vehicle_data import (
    FILL_DELAY,
    FILL_RATE,
    FULL_PRESSURE,
    VENT_DELAY,
    VENT_RATE,
)

N_QUEUE = 16
"""Columns of an axle's memory `steer_pressure` needs; it looks so many samples back at most."""

LONGEST_VENT = 8.0
"""A valve is vented no longer than this at a time. [s]

Below the 10 s of a monitoring timer in service (value from memory, not verified, weak)."""

_SHORTEST_APPLICATION = 1.0
_TURNING = 0.5


@helper
def end_vent(valve: int, row: Floats, own: Floats) -> int:
    """Return the valve position, but fill where the vent has lasted too long.

    Parameters
    ----------
    valve : int           as the strategy wants it
    row : (n_observed,)   the axle's observation
    own : (1,)            memory: time vented so far, negative while the brake is given back. [s]

    Notes
    -----
    A dead speed sensor reads as a locked wheel for ever, a wrong reference as an endless slide. The
    brake then comes back for a second, and for as long as the wheel reads below 0.5 m/s.
    """
    if own[0] < 0.0:
        if row[WHEEL_SPEED] > _TURNING:
            own[0] = min(own[0] + row[SAMPLE_TIME], 0.0)
        return FILL
    if valve != VENT:
        own[0] = 0.0
        return valve
    own[0] += row[SAMPLE_TIME]
    if own[0] > LONGEST_VENT:
        own[0] = -_SHORTEST_APPLICATION
        return FILL
    return VENT


@helper
def pulse(duty: float, period: float, sample_time: float, own: Floats) -> int:
    """Return the valve position that gives a duty as one pulse a period.

    Parameters
    ----------
    duty : float          -1 vents all the time, 0 holds, 1 fills all the time. [-]
    period : float        [s]
    sample_time : float   [s]
    own : (1,)            memory: time since the period began. [s]

    Notes
    -----
    The duty may change within a period; the pulse ends when its time is over by the newest duty.
    Pulses are whole samples, rounded.
    """
    valve = HOLD
    if own[0] + 0.5 * sample_time < abs(duty) * period:
        valve = FILL if duty > 0.0 else VENT
    own[0] += sample_time
    if own[0] + 0.5 * sample_time > period:
        own[0] = 0.0
    return valve


@helper
def vent_rate(pressure: float, parameters: Floats) -> float:
    """Return how fast venting lowers a pressure. [Pa/s]

    Air through a choke, roughly: with the square root of the gauge pressure, `VENT_RATE` at full.
    Within a fifth of ISO 6358 flow from 0.2 to 3 bar.
    """
    share = max(pressure, 0.0) / parameters[FULL_PRESSURE]
    return float(parameters[VENT_RATE] * math.sqrt(share))


@helper
def expected_pressure(row: Floats, is_whole: bool, parameters: Floats, queue: Floats) -> float:
    """Return the pressure once every command on its way has acted. [Pa]

    Parameters
    ----------
    row : (n_observed,)   the axle's observation
    is_whole : bool       whether the cylinder has reached what is demanded, so filling adds nothing
    parameters            of the strategy, the last eight being valve and force data
    queue : (N_QUEUE,)    valve positions commanded before, latest first
    """
    sample_time = row[SAMPLE_TIME]
    pressure = row[PRESSURE]
    for i in range(N_QUEUE - 1, -1, -1):
        if queue[i] == FILL and not is_whole:
            pending = min(max(parameters[FILL_DELAY] - i * sample_time, 0.0), sample_time)
            pressure += parameters[FILL_RATE] * pending
        elif queue[i] == VENT:
            pending = min(max(parameters[VENT_DELAY] - i * sample_time, 0.0), sample_time)
            pressure = max(pressure - vent_rate(pressure, parameters) * pending, 0.0)
    return float(pressure)


@helper
def steer_pressure(
    wanted: float, is_whole: bool, row: Floats, parameters: Floats, queue: Floats
) -> int:
    """Return the valve position that brings the cylinder nearest a wanted pressure.

    Parameters
    ----------
    wanted : float   [Pa]; at zero the valve stays in vent
    others           as `expected_pressure`; `queue` is moved on

    Notes
    -----
    The commands on their way are reckoned in (a Smith predictor), so the delay does not make it
    swing. Steps are as coarse as one sample of filling or venting; it moves when more than 0.8 of
    a step is missing, since at half a step it would chatter between two. A delay of more than
    `N_QUEUE` samples is reckoned in part only.
    """
    sample_time = row[SAMPLE_TIME]
    pressure = expected_pressure(row, is_whole, parameters, queue)
    valve = HOLD
    if wanted > pressure + 0.8 * parameters[FILL_RATE] * sample_time or (
        is_whole and wanted >= pressure
    ):
        valve = FILL
    elif wanted <= 0.0 or wanted < pressure - 0.8 * vent_rate(pressure, parameters) * sample_time:
        valve = VENT
    for i in range(N_QUEUE - 1, 0, -1):
        queue[i] = queue[i - 1]
    queue[0] = valve
    return valve


@helper
def has_filled(row: Floats, last_pressure: float, parameters: Floats, queue: Floats) -> bool:
    """Return whether the valve has been filling, yet the pressure no longer rises.

    Parameters
    ----------
    row : (n_observed,)     the axle's observation
    last_pressure : float   a sample ago. [Pa]
    parameters, queue       as `expected_pressure`
    """
    sample_time = row[SAMPLE_TIME]
    if row[PRESSURE] <= 0.0 or row[PRESSURE] - last_pressure > (
        0.1 * parameters[FILL_RATE] * sample_time
    ):
        return False
    for i in range(N_QUEUE):
        if queue[i] != FILL:
            return False
        if i * sample_time > parameters[FILL_DELAY] + 2.0 * sample_time:
            return True
    return True

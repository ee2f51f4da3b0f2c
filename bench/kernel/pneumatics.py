"""Brake cylinder pressure: the valve's commands on their way, and the piece they act on."""

import math

from numba import njit

from bench.kernel.columns import FILL, VENT
from bench.kernel.records import QUEUE_LENGTH

_NO_TIME = 1e-11
"""What happens within so short a time happens now. [s]"""


@njit(error_model="numpy")
def send_command(time, valve, demand_factor, train, state):
    """Put a controller's command on its way to the valve; it acts after the valve's delay.

    A command equal to the last one sent is not sent again. A later command never overtakes an
    earlier one, whatever their delays. [time: s]
    """
    last = (state.queue_head + state.queue_count - 1) % QUEUE_LENGTH
    if state.queue_count > 0:
        last_valve, last_factor = state.queue_valve[last], state.queue_factor[last]
    else:
        last_valve, last_factor = state.valve, state.demand_factor
    if valve == last_valve and demand_factor == last_factor:
        return
    if valve == VENT and last_valve != VENT:
        state.vent_count += 1
    due = time + (train.fill_delay if valve == FILL else train.vent_delay)
    if state.queue_count > 0:
        due = max(due, state.queue_time[last])
    if state.queue_count == QUEUE_LENGTH:  # cannot be: the scenario bounds delay over sample time
        state.queue_count -= 1
    end = (state.queue_head + state.queue_count) % QUEUE_LENGTH
    state.queue_time[end] = due
    state.queue_valve[end] = valve
    state.queue_factor[end] = demand_factor
    state.queue_count += 1


@njit(error_model="numpy")
def apply_due_commands(time, state):
    """Let the commands whose delay has run out act, in order."""
    while state.queue_count > 0 and state.queue_time[state.queue_head] <= time + _NO_TIME:
        state.valve = state.queue_valve[state.queue_head]
        state.demand_factor = state.queue_factor[state.queue_head]
        state.queue_head = (state.queue_head + 1) % QUEUE_LENGTH
        state.queue_count -= 1


@njit(error_model="numpy")
def next_due(state):
    """Return when the next command acts, infinity if none is on its way. [s]"""
    if state.queue_count > 0:
        return state.queue_time[state.queue_head]
    return math.inf


@njit(error_model="numpy")
def pressure_piece(demanded, demanded_rate, is_ideal, train, state):
    """Return how fast the cylinder pressure moves now, and how long it keeps to that.

    Parameters
    ----------
    demanded : float        Pressure asked for at the cylinder, demand factor left out. [Pa]
    demanded_rate : float   Its constant rate of change. [Pa/s]
    is_ideal : int          1: the valve does nothing (the factor acts on the torque itself).
    train : TRAIN           fill and vent rates, delays
    state : AXLE_STATE      its pressure is set to the target where it had reached it

    Returns
    -------
    (float, float)   rate [Pa/s], time until the rate changes [s]

    Notes
    -----
    Filling, the pressure follows its target within the rate limits; holding, it stays; venting, it
    falls to atmosphere. So pressure is piecewise linear and the pieces' ends are known beforehand.
    """
    if state.valve == FILL or is_ideal:
        factor = 1.0 if is_ideal else state.demand_factor
        return _approach(demanded * factor, demanded_rate * factor, train, state)
    if state.valve == VENT:
        if state.pressure > train.vent_rate * _NO_TIME:
            return -train.vent_rate, state.pressure / train.vent_rate
        state.pressure = 0.0
    return 0.0, math.inf


@njit(error_model="numpy")
def _approach(target, target_rate, train, state):
    missing = target - state.pressure
    rate = train.fill_rate if missing > 0.0 else -train.vent_rate
    closing = rate - target_rate
    if abs(missing) > max(abs(closing) * _NO_TIME, 1e-9 * train.full_pressure):
        if missing * closing <= 0.0:
            return rate, math.inf
        return rate, missing / closing
    state.pressure = target
    return min(max(target_rate, -train.vent_rate), train.fill_rate), math.inf

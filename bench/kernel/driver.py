"""The driver's handle, and the demand that follows it through the brake control's delay."""

import math

from numba import njit

from bench.kernel.records import AT_DISTANCE, AT_SPEED, AT_TIME

_SAME_TIME = 1e-10
_SAME_SPEED = 1e-7
_SAME_PLACE = 1e-7


@njit(error_model="numpy")
def _is_due(entry, state):
    if entry.trigger == AT_TIME:
        return state.time >= entry.value - _SAME_TIME
    if entry.trigger == AT_SPEED:
        return state.speed <= entry.value + _SAME_SPEED
    return state.distance >= entry.value - _SAME_PLACE


@njit(error_model="numpy")
def move_handle(handle, effective, train, state):
    """Act on every handle entry that is due, in their order, and start the ramps now effective.

    Parameters
    ----------
    handle : (n_entries,) HANDLE   the programme; an entry is armed when the one before has acted
    effective : (n_entries,)       filled: when each acted entry's delay has run out [s]
    train : TRAIN                  delay, build-up and release times
    state : TRAIN_STATE            demand, its rate and target, are changed

    Notes
    -----
    The demand moves linearly from the old to the new value within the build-up time (or the
    release time, going down), whatever the height of the step; a newer change starts from where
    the demand then is.
    """
    while state.n_handled < handle.shape[0] and _is_due(handle[state.n_handled], state):
        effective[state.n_handled] = state.time + train.demand_delay
        state.handle = handle[state.n_handled].demand
        state.n_handled += 1
    if state.demand_rate != 0.0 and state.time >= state.ramp_end - _SAME_TIME:
        state.demand = state.demand_target
        state.demand_rate = 0.0
    while (
        state.n_effective < state.n_handled
        and effective[state.n_effective] <= state.time + _SAME_TIME
    ):
        state.demand_target = handle[state.n_effective].demand
        state.n_effective += 1
        ramp = train.build_up_time if state.demand_target > state.demand else train.release_time
        if state.demand_target == state.demand or ramp <= 0.0:
            state.demand = state.demand_target
            state.demand_rate = 0.0
        else:
            state.demand_rate = (state.demand_target - state.demand) / ramp
            state.ramp_end = state.time + ramp


@njit(error_model="numpy")
def time_to_handle_event(handle, effective, state):
    """Return how long until the demand's course may next change. [s]"""
    wait = math.inf
    if state.demand_rate != 0.0:
        wait = state.ramp_end - state.time
    if state.n_effective < state.n_handled:
        wait = min(wait, effective[state.n_effective] - state.time)
    if state.n_handled < handle.shape[0]:
        entry = handle[state.n_handled]
        if entry.trigger == AT_TIME:
            wait = min(wait, entry.value - state.time)
        elif entry.trigger == AT_SPEED and state.acceleration < 0.0:
            wait = min(wait, (state.speed - entry.value) / -state.acceleration)
        elif entry.trigger == AT_DISTANCE:
            wait = min(
                wait, time_to_travel(entry.value - state.distance, state.speed, state.acceleration)
            )
    return max(wait, _SAME_TIME)


@njit(error_model="numpy")
def time_to_travel(distance, speed, acceleration):
    """Return the time a body at this speed needs for a distance, infinity if it never gets there.

    Parameters
    ----------
    distance : float       [m]; at or below zero it is reached already
    speed : float          [m/s], >= 0
    acceleration : float   constant, [m/s2]
    """
    if distance <= 0.0:
        return 0.0
    under = speed * speed + 2.0 * acceleration * distance
    if under < 0.0 or speed <= 0.0:
        return math.inf
    return 2.0 * distance / (speed + math.sqrt(under))

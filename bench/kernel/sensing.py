"""Wheel-speed sensing: a toothed wheel, its pulses timed by a clock."""

import math

from numba import njit


@njit(error_model="numpy")
def watch_pulses(time, duration, speed_before, speed_after, axle, state):
    """Move the rim on over a piece of time and note the latest pulse in it.

    Parameters
    ----------
    time, duration : float                 start and length of the piece [s]
    speed_before, speed_after : float      rim speed at its ends, linear between. [m/s], >= 0

    Notes
    -----
    Pulse instants are found inside the piece from the rim travel, quadratic in time.
    """
    start = state.rim_travel
    end = start + 0.5 * (speed_before + speed_after) * duration
    state.rim_travel = end
    if end < state.next_pulse:
        return
    n_more = math.floor((end - state.next_pulse) / axle.pulse_pitch)
    travel = state.next_pulse + n_more * axle.pulse_pitch - start
    rate = (speed_after - speed_before) / duration
    root = math.sqrt(max(speed_before * speed_before + 2.0 * rate * travel, 0.0))
    since = 2.0 * travel / max(speed_before + root, 1e-12)
    state.pulse_time = time + min(since, duration)
    state.n_pulses += int(n_more) + 1
    state.next_pulse += (n_more + 1.0) * axle.pulse_pitch


@njit(error_model="numpy")
def measure_speed(time, train, axle, state):
    """Return the rim speed the equipment makes of the pulses since its last sample. [m/s]

    Period timing: pitch times pulses over the time between the latest pulses known at two samples,
    each rounded down to the clock's tick. Without a new pulse the estimate may not exceed the pitch
    over the time since the last one, and is zero after the timeout.
    """
    if state.n_pulses > 0:
        tick = train.clock_tick
        latest, before = state.pulse_time, state.sampled_pulse_time
        if tick > 0.0:
            latest, before = math.floor(latest / tick) * tick, math.floor(before / tick) * tick
        if latest > before:
            state.measured_speed = state.n_pulses * axle.pulse_pitch / (latest - before)
        state.sampled_pulse_time = state.pulse_time
        state.n_pulses = 0
    waited = time - state.pulse_time
    if waited > train.zero_timeout:
        state.measured_speed = 0.0
    elif waited > 0.0:
        state.measured_speed = min(state.measured_speed, axle.pulse_pitch / waited)
    return state.measured_speed

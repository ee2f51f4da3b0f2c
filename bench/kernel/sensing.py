"""Wheel-speed sensing: a toothed wheel, its pulses timed by a clock."""

import math
from typing import Any

import numpy as np

from bench.kernel.jit import folded, inner, part
from bench.kernel.records import QUEUE_LENGTH, SENSOR_DEAD, SENSOR_STUCK

_NO_TIME = 1e-10
"""A sample so soon after a piece of time sees its end. [s]"""


@folded
def watch_pulses(
    time: float, duration: float, speed: float, acceleration: float, axle: Any, state: Any
) -> None:
    """Move the rim on over a piece of time and note the latest pulse in it.

    Parameters
    ----------
    time, duration : float   start and length of the piece [s]
    speed : float            of the rim at its start. [m/s], >= 0
    acceleration : float     constant. [m/s2]

    Notes
    -----
    Pulse instants are found inside the piece from the rim travel, quadratic in time.
    """
    start = state.rim_travel
    end = start + (speed + 0.5 * acceleration * duration) * duration
    state.rim_travel = end
    if end < state.next_pulse:
        return
    is_plain = axle.pitch_error == 0.0 and axle.jitter + state.noise == 0.0 and axle.dropout == 0.0
    if is_plain:
        n_more = np.floor((end - state.next_pulse) * axle.pulses_per_metre)
        travel = state.next_pulse + n_more * axle.pulse_pitch - start
        state.pulse_time = time + min(_time_for(travel, speed, acceleration), duration)
        state.n_pulses += n_more + 1.0
        state.next_pulse += (n_more + 1.0) * axle.pulse_pitch
        return
    while state.next_pulse <= end:
        travel = state.next_pulse - start
        state.n_teeth_passed += 1
        turn = 2.0 * math.pi * (state.n_teeth_passed % axle.n_teeth) / axle.n_teeth
        error = axle.pitch_error * math.sin(turn)
        error += (axle.jitter + state.noise) * _normal(state)
        shift = error / max(speed + acceleration * duration, 0.5)
        seen = time + min(_time_for(travel, speed, acceleration), duration) + shift
        if _uniform(state) >= axle.dropout and seen > state.pulse_time:
            state.pulse_time = seen
            state.n_pulses += 1.0  # a lost pulse makes the wheel seem slower
        state.next_pulse += axle.pulse_pitch


@inner
def _time_for(travel: float, speed: float, acceleration: float) -> float:
    root = math.sqrt(max(speed * speed + 2.0 * acceleration * travel, 0.0))
    return 2.0 * travel / max(speed + root, 1e-12)


@inner
def _uniform(state: Any) -> float:
    """Return the next number, even between 0 and 1, of an axle's own generator.

    A 31-bit multiplicative congruence (Park and Miller 1988, from memory): small, the same on every
    machine, and good enough for tooth noise.
    """
    state.noise_state = (16807 * state.noise_state) % 2147483647
    return state.noise_state / 2147483647.0


@inner
def _normal(state: Any) -> float:
    size = math.sqrt(-2.0 * math.log(max(_uniform(state), 1e-12)))
    return size * math.cos(2.0 * math.pi * _uniform(state))


@part
def measure_speed(time: float, train: Any, axle: Any, state: Any) -> float:
    """Return the rim speed the equipment makes of the pulses since its last sample. [m/s]

    Period timing: pitch times pulses over the time between the latest pulses known at two samples,
    each rounded down to the clock's tick. Without a new pulse the estimate may not exceed the pitch
    over the time since the last one, and is zero after the timeout.
    """
    if state.sensor_fault == SENSOR_DEAD + 1:
        state.measured_speed = 0.0
        return 0.0
    if state.sensor_fault == SENSOR_STUCK + 1:
        return state.measured_speed
    if state.n_pulses > 0.0:
        latest = state.pulse_time
        if train.clock_tick > 0.0:
            latest = np.floor(latest * train.clock_rate) * train.clock_tick
        if latest > state.sampled_pulse_time:
            span = latest - state.sampled_pulse_time
            state.measured_speed = state.n_pulses * axle.assumed_pitch / span
        state.sampled_pulse_time = latest
        state.n_pulses = 0.0
    waited = time - state.pulse_time
    if waited > train.zero_timeout:
        state.measured_speed = 0.0
    elif state.measured_speed * waited > axle.assumed_pitch:
        state.measured_speed = axle.assumed_pitch / waited
    return state.measured_speed


@folded
def sense(
    time: float,
    duration: float,
    speed: float,
    acceleration: float,
    pressure: float,
    pressure_rate: float,
    group: Any,
    train: Any,
    axle: Any,
    state: Any,
) -> None:
    """Let an axle's sensors follow it through a piece of time, sample by sample.

    What the controller's samples within the piece find is kept until the controller takes them:
    its commands act no sooner than `lookahead` after a sample, so axles may be moved on that far
    before it is asked (bench.kernel.step).

    Parameters
    ----------
    time, duration : float          start and length of the piece [s]
    speed, acceleration : float     of the rim, at the start and throughout [m/s], [m/s2]
    pressure, pressure_rate : float of the cylinder, at the start and throughout [Pa], [Pa/s]
    group : GROUP                   when the controller samples
    """
    done = 0.0
    is_sampled = True
    while is_sampled:
        sample = group.phase + state.n_sensed * group.sample_time
        is_sampled = sample - time <= duration + _NO_TIME
        until = min(sample - time, duration)
        if until > done:
            now = speed + acceleration * done
            watch_pulses(time + done, until - done, now, acceleration, axle, state)
            done = until
        if is_sampled:
            sense_now(sample, pressure + pressure_rate * done, train, axle, state)


@part
def sense_now(time: float, pressure: float, train: Any, axle: Any, state: Any) -> None:
    """Keep what a controller's sample finds at this moment: rim speed and cylinder pressure."""
    place = state.n_sensed % QUEUE_LENGTH
    state.sensed_speed[place] = measure_speed(time, train, axle, state)
    state.sensed_pressure[place] = pressure
    state.n_sensed += 1

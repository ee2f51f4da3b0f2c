"""Wheel-speed sensing: a toothed wheel, its pulses timed by a clock."""

import math
from typing import Any

import numpy as np

from slipbench.compiling.jit import apart, folded, inner, part
from slipbench.kernel.codes import QUEUE_LENGTH, SENSOR_DEAD, SENSOR_STUCK
from slipbench.kernel.pulses import latest_pulse, nearly_normal, pulse_delay, watch_pulses
from slipbench.kernel.records import Axle, AxleState, Group, Lanes, Train

SENSED_AT_ONCE = 1e-10
"""A sample so soon after a piece of time sees its end. [s]"""


@part
def measure_speed(
    time: float, speed: float, train: Train, axle: Axle, axle_state: AxleState
) -> float:
    """Return the rim speed the equipment makes of the pulses since its last sample. [m/s]

    Period timing: pitch times pulses over the time between the latest pulses known at two samples,
    each rounded down to the clock's tick. Without a new pulse the estimate may not exceed the pitch
    over the time since the last one, and is zero after the timeout.

    Parameters
    ----------
    time, speed : float   of the sample [s], and the rim's then [m/s]
    """
    if axle_state.sensor_fault == SENSOR_DEAD + 1:
        axle_state.measured_speed = 0.0
        return 0.0
    if axle_state.sensor_fault == SENSOR_STUCK + 1:
        return axle_state.measured_speed
    jitter = axle.jitter + axle_state.noise
    if axle_state.n_pulses > 0.0:
        axle_state.pulse_shift = pulse_delay(
            axle_state.next_pulse - axle.pulse_pitch,
            speed,
            axle.pitch_error,
            axle.turns_per_metre,
            axle.pitch_phase,
            jitter * axle_state.deviate,
        )
    axle_state.measured_speed, axle_state.sampled_pulse_time = timed_speed(
        time,
        axle_state.n_pulses,
        axle_state.pulse_time,
        axle_state.pulse_shift,
        axle_state.sampled_pulse_time,
        axle_state.measured_speed,
        axle.assumed_pitch,
        train.clock_tick,
        train.clock_rate,
        train.zero_timeout,
    )
    axle_state.n_pulses = 0.0
    if jitter > 0.0:
        axle_state.deviate = nearly_normal(axle_state)
    return axle_state.measured_speed


@folded
def timed_speed(
    time: float,
    n_pulses: float,
    pulse_time: float,
    pulse_shift: float,
    sampled_pulse_time: float,
    measured_speed: float,
    assumed_pitch: float,
    clock_tick: float,
    clock_rate: float,
    zero_timeout: float,
) -> tuple[Any, Any]:
    """Return what a sample makes of the pulses: rim speed, and the latest pulse it knows.

    Parameters
    ----------
    time : float           of the sample. [s]
    n_pulses, pulse_time   since the sample before; when a true tooth gave the latest [s]
    pulse_shift : float    how much later that was seen. [s]
    sampled_pulse_time, measured_speed   of the sample before [s], [m/s]
    others                 as in AXLE and TRAIN

    Notes
    -----
    The wait for the next pulse counts from the true tooth: neighbours are out of place together, so
    a tooth seen early is followed by one seen early.
    """
    seen = pulse_time + pulse_shift
    latest = np.floor(seen * clock_rate) * clock_tick if clock_rate > 0.0 else seen
    span = latest - sampled_pulse_time
    measured = (
        n_pulses * assumed_pitch / span if (n_pulses > 0.0) & (span > 0.0) else measured_speed
    )
    waited = time - pulse_time
    measured = assumed_pitch / waited if measured * waited > assumed_pitch else measured
    sampled = latest if n_pulses > 0.0 else sampled_pulse_time
    return (0.0 if waited > zero_timeout else measured), sampled


@inner
def sense_together(n_lanes: int, train: Train, lanes: Lanes) -> None:
    """Take the sensors of several axles on to their next sample, or to their piece's end before it.

    For axles that lose no pulse meanwhile, in vector instructions: as `sense`, sample by sample.

    Parameters
    ----------
    n_lanes : int   lanes taken
    train : TRAIN   clock and timeout
    lanes : LANES   pieces of time, what the sensors know, and when they are sampled
    """
    tick, rate, timeout = train.clock_tick, train.clock_rate, train.zero_timeout
    for k in range(n_lanes):
        sample = lanes.sample[k]
        is_sampled = sample <= lanes.duration[k] + SENSED_AT_ONCE
        pitch, elapsed = lanes.pulse_pitch[k], min(sample, lanes.duration[k])
        n_new, since = latest_pulse(
            lanes.rim_travel[k],
            lanes.wheel_before[k],
            lanes.wheel_acceleration[k],
            elapsed,
            lanes.next_pulse[k],
            pitch,
            lanes.pulses_per_metre[k],
        )
        pulse_time = lanes.start[k] + since if n_new > 0.0 else lanes.pulse_time[k]
        n_pulses = lanes.n_pulses[k] + n_new
        next_pulse = lanes.next_pulse[k] + n_new * pitch
        delay = pulse_delay(
            next_pulse - pitch,
            lanes.wheel_before[k] + lanes.wheel_acceleration[k] * elapsed,
            lanes.pitch_error[k],
            lanes.turns_per_metre[k],
            lanes.pitch_phase[k],
            lanes.jitter[k] * lanes.deviate[k],
        )
        shift = delay if n_pulses > 0.0 else lanes.pulse_shift[k]
        measured, sampled = timed_speed(
            lanes.start[k] + sample,
            n_pulses,
            pulse_time,
            shift,
            lanes.sampled_pulse_time[k],
            lanes.measured_speed[k],
            lanes.assumed_pitch[k],
            tick,
            rate,
            timeout,
        )
        lanes.pulse_time[k] = pulse_time
        lanes.next_pulse[k] = next_pulse
        lanes.pulse_shift[k] = shift if is_sampled else lanes.pulse_shift[k]
        lanes.n_pulses[k] = 0.0 if is_sampled else n_pulses
        lanes.measured_speed[k] = measured if is_sampled else lanes.measured_speed[k]
        lanes.sampled_pulse_time[k] = sampled if is_sampled else lanes.sampled_pulse_time[k]


@apart
def sense(
    time: float,
    duration: float,
    speed: float,
    acceleration: float,
    pressure: float,
    pressure_rate: float,
    group: Group,
    train: Train,
    axle: Axle,
    axle_state: AxleState,
) -> None:
    """Let an axle's sensors follow it through a piece of time, sample by sample.

    What the controller's samples within the piece find is kept until the controller takes them:
    its commands act no sooner than `lookahead` after a sample, so axles may be moved on that far
    before it is asked (slipbench.kernel.step).

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
        sample = time_to_sample_after(time, group, axle_state)
        is_sampled = sample <= duration + SENSED_AT_ONCE
        until = min(sample, duration)
        if until > done:
            now = speed + acceleration * done
            watch_pulses(time + done, until - done, now, acceleration, axle, axle_state)
            done = until
        if is_sampled:
            now = speed + acceleration * done
            sense_now(time + sample, now, pressure + pressure_rate * done, train, axle, axle_state)


@part
def sense_now(
    time: float, speed: float, pressure: float, train: Train, axle: Axle, axle_state: AxleState
) -> None:
    """Keep what a controller's sample finds now. [time: s, speed of the rim: m/s, pressure: Pa]"""
    keep_sample(measure_speed(time, speed, train, axle, axle_state), pressure, axle, axle_state)


@part
def time_to_sample_after(time: float, group: Group, axle_state: AxleState) -> float:
    """Return how long after a time the axle is sampled next. [s]"""
    return group.phase + axle_state.n_sensed * group.sample_time - time


@part
def keep_sample(speed: float, pressure: float, axle: Axle, axle_state: AxleState) -> None:
    """Keep what a controller's sample finds: rim speed [m/s] and cylinder pressure [Pa].

    A transducer errs by a gain and an offset, and follows from sample to sample with a lag; it
    shows nothing below zero.
    """
    if axle.transducer_share < 1.0:
        axle_state.shown_pressure += axle.transducer_share * (pressure - axle_state.shown_pressure)
        pressure = axle_state.shown_pressure
    place = axle_state.n_sensed % QUEUE_LENGTH
    axle_state.sensed_speed[place] = speed
    axle_state.sensed_pressure[place] = max(
        pressure * axle.transducer_gain + axle.transducer_offset, 0.0
    )
    axle_state.n_sensed += 1


@inner
def load_sensor(
    k: int, time: float, lanes: Lanes, group: Group, train: Train, axle: Axle, axle_state: AxleState
) -> None:
    """Take what a sensor knows into a lane; move one that may lose a pulse on by itself.

    Parameters
    ----------
    k : int        lane
    time : float   as its piece begins. [s]
    """
    lanes.start[k] = time
    if axle_state.sensor_fault != 0 or _may_lose(k, lanes, axle, axle_state):
        sense(
            time,
            lanes.duration[k],
            lanes.wheel_before[k],
            lanes.wheel_acceleration[k],
            axle_state.pressure,
            lanes.pressure_rate[k],
            group,
            train,
            axle,
            axle_state,
        )
        lanes.sample[k] = math.inf
        return
    lanes.sample[k] = time_to_sample_after(time, group, axle_state)
    lanes.pulse_pitch[k] = axle.pulse_pitch
    lanes.pulses_per_metre[k] = axle.pulses_per_metre
    lanes.assumed_pitch[k] = axle.assumed_pitch
    lanes.pitch_error[k] = axle.pitch_error
    lanes.turns_per_metre[k] = axle.turns_per_metre
    lanes.pitch_phase[k] = axle.pitch_phase
    lanes.jitter[k] = axle.jitter + axle_state.noise
    lanes.deviate[k] = axle_state.deviate
    lanes.pulse_shift[k] = axle_state.pulse_shift
    lanes.rim_travel[k] = axle_state.rim_travel
    lanes.next_pulse[k] = axle_state.next_pulse
    lanes.n_pulses[k] = axle_state.n_pulses
    lanes.pulse_time[k] = axle_state.pulse_time
    lanes.sampled_pulse_time[k] = axle_state.sampled_pulse_time
    lanes.measured_speed[k] = axle_state.measured_speed


@folded
def _may_lose(k: int, lanes: Lanes, axle: Axle, axle_state: AxleState) -> bool:
    """Return whether the next pulse to be lost may come within a lane's piece."""
    fastest = lanes.wheel_before[k] + max(lanes.wheel_acceleration[k], 0.0) * lanes.duration[k]
    most = fastest * lanes.duration[k] * axle.pulses_per_metre + 1.0
    return most > axle_state.until_lost


@inner
def take_sample(k: int, lanes: Lanes, group: Group, axle: Axle, axle_state: AxleState) -> bool:
    """Keep what a lane's sample found, if there was one in its piece; return whether there was."""
    sample = lanes.sample[k]
    if sample > lanes.duration[k] + SENSED_AT_ONCE:
        return False
    pressure = axle_state.pressure + lanes.pressure_rate[k] * min(sample, lanes.duration[k])
    keep_sample(lanes.measured_speed[k], pressure, axle, axle_state)
    lanes.sample[k] = time_to_sample_after(lanes.start[k], group, axle_state)
    if lanes.jitter[k] > 0.0:
        lanes.deviate[k] = nearly_normal(axle_state)
    return True


@inner
def unload_sensor(k: int, lanes: Lanes, axle_state: AxleState) -> None:
    """Put back what a sensor in a lane knows after its piece."""
    if math.isinf(lanes.sample[k]):
        return
    spent = lanes.duration[k]
    axle_state.rim_travel += (
        lanes.wheel_before[k] + 0.5 * lanes.wheel_acceleration[k] * spent
    ) * spent
    passed = (lanes.next_pulse[k] - axle_state.next_pulse) * lanes.pulses_per_metre[k]
    axle_state.until_lost -= math.floor(passed + 0.5)
    axle_state.next_pulse = lanes.next_pulse[k]
    axle_state.n_pulses = lanes.n_pulses[k]
    axle_state.pulse_time = lanes.pulse_time[k]
    axle_state.sampled_pulse_time = lanes.sampled_pulse_time[k]
    axle_state.measured_speed = lanes.measured_speed[k]
    axle_state.pulse_shift = lanes.pulse_shift[k]
    axle_state.deviate = lanes.deviate[k]

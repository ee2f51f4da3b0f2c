"""The pulses of an axle's toothed wheel: when they come, which are lost, how late they are seen."""

import math
from typing import Any

import numpy as np

from slipbench.compiling.jit import apart, folded, inner, part
from slipbench.kernel.elementary import sine_of_turns
from slipbench.kernel.records import Axle, AxleState


@folded
def watch_pulses(
    time: float,
    duration: float,
    speed: float,
    acceleration: float,
    axle: Axle,
    axle_state: AxleState,
) -> None:
    """Move the rim on over a piece of time and note the latest pulse in it.

    Parameters
    ----------
    time, duration : float   start and length of the piece [s]
    speed : float            of the rim at its start. [m/s], >= 0
    acceleration : float     constant. [m/s2]

    Notes
    -----
    Pulse instants are found inside the piece from the rim travel, quadratic in time. They are those
    of true teeth; how late a tooth that is out of place gives its pulse is found at the sample, for
    the one pulse that counts there (`pulse_delay`).
    """
    start = axle_state.rim_travel
    axle_state.rim_travel = start + (speed + 0.5 * acceleration * duration) * duration
    if axle_state.rim_travel < axle_state.next_pulse:
        return
    n_new, since = latest_pulse(
        start,
        speed,
        acceleration,
        duration,
        axle_state.next_pulse,
        axle.pulse_pitch,
        axle.pulses_per_metre,
    )
    if n_new > axle_state.until_lost:
        _watch_one_by_one(time, duration, speed, acceleration, start, n_new, axle, axle_state)
    elif n_new > 0.0:
        axle_state.pulse_time = time + since
        axle_state.n_pulses += n_new
        axle_state.next_pulse += n_new * axle.pulse_pitch
        axle_state.until_lost -= n_new


@apart
def _watch_one_by_one(
    time: float,
    duration: float,
    speed: float,
    acceleration: float,
    start: float,
    n_new: float,
    axle: Axle,
    axle_state: AxleState,
) -> None:
    """Note pulses of which some are lost: a wheel then seems slower. [start: rim travel, m]"""
    for _ in range(int(n_new)):
        if axle_state.until_lost >= 1.0:
            axle_state.until_lost -= 1.0
            passed = _time_for(axle_state.next_pulse - start, speed, acceleration)
            axle_state.pulse_time = time + min(passed, duration)
            axle_state.n_pulses += 1.0
        else:
            axle_state.n_losing -= 1
            if axle_state.n_losing <= 0:
                _plan_loss(axle, axle_state)
        axle_state.next_pulse += axle.pulse_pitch


@apart
def _plan_loss(axle: Axle, axle_state: AxleState) -> None:
    """Draw how many pulses are seen before the next are lost, and how many those are."""
    seen = seen_between_losses(axle.dropout, axle.dropout_burst)
    number = max(_uniform(axle_state), 1e-12)
    axle_state.until_lost = math.floor(math.log(number) / math.log(seen / (1.0 + seen)))
    axle_state.n_losing = 1 + int(_uniform(axle_state) * axle.dropout_burst)


@part
def seen_between_losses(share: float, longest: int) -> float:
    """Return how many pulses are seen between two losses on the mean.

    Parameters
    ----------
    share : float   of all pulses that is lost. [-], between 0 and 1
    longest : int   a loss takes 1 to so many pulses, all equally likely
    """
    return 0.5 * (1.0 + longest) * (1.0 - share) / share


@folded
def pulse_delay(
    place: float,
    speed: float,
    pitch_error: float,
    turns_per_metre: float,
    pitch_phase: float,
    spread: float,
) -> Any:
    """Return how late a pulse is seen, its tooth being out of place: negative if early. [s]

    Parameters
    ----------
    place : float         rim travel at which a true tooth would give it. [m]
    speed : float         of the rim then. [m/s]; below 0.5 m/s taken as that
    pitch_error, turns_per_metre, pitch_phase : float   as in AXLE
    spread : float        what is random in the tooth's place. [m]
    """
    error = pitch_error * sine_of_turns(place * turns_per_metre + pitch_phase) + spread
    return error / max(speed, 0.5)


@folded
def latest_pulse(
    start: float,
    speed: float,
    acceleration: float,
    elapsed: float,
    next_pulse: float,
    pitch: float,
    pulses_per_metre: float,
) -> tuple[Any, Any]:
    """Return how many pulses a piece of time has brought so far, and when the latest was.

    Parameters
    ----------
    start : float                 rim travel as the piece began. [m]
    speed, acceleration : float   of the rim then and throughout. [m/s], [m/s2]
    elapsed : float               since then. [s]
    next_pulse : float            rim travel of the first pulse not yet counted. [m]
    pitch, pulses_per_metre : float   rim travel between two [m], and one over that [1/m]

    Returns
    -------
    (float, float)   pulses [-], and the latest one's time since the piece began [s]
    """
    end = start + (speed + 0.5 * acceleration * elapsed) * elapsed
    n_new = max(np.floor((end - next_pulse) * pulses_per_metre) + 1.0, 0.0)
    travel = next_pulse + (n_new - 1.0) * pitch - start
    return n_new, min(_time_for(travel, speed, acceleration), elapsed)


@folded
def _time_for(travel: float, speed: float, acceleration: float) -> Any:
    root = math.sqrt(max(speed * speed + 2.0 * acceleration * travel, 0.0))
    return 2.0 * travel / max(speed + root, 1e-12)


@inner
def _uniform(axle_state: AxleState) -> float:
    """Return the next number, even between 0 and 1, of an axle's own generator.

    A 31-bit multiplicative congruence (Park and Miller 1988, from memory): small, the same on every
    machine, and good enough for tooth noise.
    """
    axle_state.noise_state = (16807 * axle_state.noise_state) % 2147483647
    return axle_state.noise_state / 2147483647.0


@inner
def nearly_normal(axle_state: AxleState) -> float:
    """Return a number of mean 0 and standard deviation 1: the sum of four even ones.

    Never beyond 3.5; two numbers of the axle's generator give two even ones each.
    """
    first = (16807 * axle_state.noise_state) % 2147483647
    second = (16807 * first) % 2147483647
    axle_state.noise_state = second
    high = (first >> 16) + (second >> 16)
    low = (first & 65535) + (second & 65535)
    return math.sqrt(3.0) * (high / 32768.0 + low / 65536.0 - 2.0)

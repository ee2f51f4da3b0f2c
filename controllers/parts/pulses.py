"""Valve commands from wishes: a duty as pulses, a pressure to be reached, a vent that ends.

A shared part, no strategy.
"""

import math

from slipbench.compiling.helper import helper
from slipbench.contract import FILL, HOLD, PRESSURE, SAMPLE_TIME, VENT, Floats
from slipbench.controllers.parts.vehicle_data import (
    FILL_DELAY,
    FILL_RATE,
    FULL_PRESSURE,
    VENT_DELAY,
    VENT_RATE,
)

N_QUEUE = 16
"""`steer_pressure` looks so many samples back at most."""

N_VALVE = N_QUEUE + 5
"""Columns of an axle's memory `steer_pressure` needs: valve positions commanded before, latest
first, then what is known of the valve's delays."""

_FILL_LATER, _VENT_LATER, _FILL_SEEN, _VENT_SEEN = N_QUEUE, N_QUEUE + 1, N_QUEUE + 2, N_QUEUE + 3
_LOST_LENGTH = N_QUEUE + 4

_LESSON = 0.3
"""Share of a delay's newest measurement in what is believed. Assumed. [-]"""

PATIENCE = 2.5
"""A pressure that does not rise counts as whole after so many of the valve's delays. [-]"""

_LONGEST_LOST = 0.04
"""Valves are not believed to swallow a pulse longer than this. Assumed. [s]"""

_LEAST_SHARE = 0.05
"""Below this share of the full pressure a vent need not be seen. Assumed. [-]"""

_UNSEEN = 0.01
"""What is added to a delay when a command has had no effect: it was overtaken. Assumed. [s]"""

LONGEST_VENT = 8.0
"""A valve is vented no longer than this at a time. [s]

Below the 10 s of a monitoring timer in service (value from memory, not verified, weak)."""

_SHORTEST_APPLICATION = 1.0
_TURNING = 0.5


@helper
def end_vent(valve: int, speed: float, sample_time: float, own: Floats) -> int:
    """Return the valve position, but fill where the vent has lasted too long.

    Parameters
    ----------
    valve : int           as the strategy wants it
    speed : float         of the axle's rim, by `sense_wheels`. [m/s]
    sample_time : float   [s]
    own : (1,)            memory: time vented so far, negative while the brake is given back. [s]

    Notes
    -----
    A dead speed sensor reads as a locked wheel for ever, a wrong reference as an endless slide. The
    brake then comes back for a second, and for as long as the wheel reads below 0.5 m/s.
    """
    if own[0] < 0.0:
        if speed > _TURNING:
            own[0] = min(own[0] + sample_time, 0.0)
        return FILL
    if valve != VENT:
        own[0] = 0.0
        return valve
    own[0] += sample_time
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
def _age_of_only(valve: int, memory: Floats) -> int:
    """Return how many calls ago the only spell of a valve position began, -1 if not one only."""
    age, n_begun = -1, 0
    for i in range(N_QUEUE - 1):
        if memory[i] == valve and memory[i + 1] != valve:
            age = i
            n_begun += 1
    return age if n_begun == 1 and memory[N_QUEUE - 1] != valve else -1


@helper
def _length(age: int, memory: Floats) -> int:
    """Return how many calls a spell lasted that began so many calls ago."""
    n = 0
    while n <= age and memory[age - n] == memory[age]:
        n += 1
    return n


@helper
def _length_of_latest(memory: Floats) -> int:
    """Return for how many calls the latest position has been commanded."""
    n = 1
    while n < N_QUEUE and memory[n] == memory[0]:
        n += 1
    return n


@helper
def _note_unseen(kind: int, length: int, row: Floats, parameters: Floats, memory: Floats) -> None:
    """Learn from a spell without effect: too short for the valve, or its fill comes later still."""
    sample_time = row[SAMPLE_TIME]
    acted = length * sample_time
    least = 0.7 * sample_time
    if kind == 0:
        acted += parameters[VENT_DELAY] + memory[_VENT_LATER]
        acted -= parameters[FILL_DELAY] + memory[_FILL_LATER]
        least = 1.5 * sample_time
    elif row[PRESSURE] < _LEAST_SHARE * parameters[FULL_PRESSURE]:
        return
    if acted < least:
        return
    if length * sample_time < _LONGEST_LOST:
        memory[_LOST_LENGTH] = max(memory[_LOST_LENGTH], float(length))
    elif kind == 0:
        memory[_FILL_LATER] = min(memory[_FILL_LATER] + _UNSEEN, 0.5 * N_QUEUE * sample_time)


@helper
def learn_delays(
    row: Floats, last_pressure: float, is_whole: bool, parameters: Floats, memory: Floats
) -> None:
    """Learn an axle's valve delays from when the pressure follows a command.

    Parameters
    ----------
    row : (n_observed,)     the axle's observation
    last_pressure : float   a sample ago. [Pa]
    is_whole : bool         whether the cylinder has reached what is demanded
    parameters              of the strategy, the last eight being valve and force data
    memory : (N_VALVE,)     of the valve

    Notes
    -----
    Only a command without another of its kind within the memory tells, since each has its own
    delay; a fill that shows no effect was too short for its delay. What is learned is the
    difference to the vehicle's data. Valves age, and with delays twice those assumed a predictor
    swings.
    """
    sample_time = row[SAMPLE_TIME]
    change = row[PRESSURE] - last_pressure
    for kind in range(2):
        valve, seen, later = FILL, _FILL_SEEN, _FILL_LATER
        step, delay = parameters[FILL_RATE] * sample_time, parameters[FILL_DELAY]
        if kind == 1:
            valve, seen, later = VENT, _VENT_SEEN, _VENT_LATER
            step, delay = (
                -vent_rate(last_pressure, parameters) * sample_time,
                parameters[VENT_DELAY],
            )
        age = _age_of_only(valve, memory)
        if age == 0:
            memory[seen] = 0.0
        elif age < 0:
            memory[seen] = 1.0  # which of several acts cannot be told, now or later
        moves = change * step > 0.09 * step * step  # as it should, and by a third of it
        if age >= 0 and memory[seen] == 0.0 and moves and not (kind == 0 and is_whole):
            memory[seen] = 1.0
            found = (age + 0.35) * sample_time - delay
            memory[later] += _LESSON * (found - memory[later])
        elif age == N_QUEUE - 2 and memory[seen] == 0.0 and not (kind == 0 and is_whole):
            memory[seen] = 1.0
            _note_unseen(kind, _length(age, memory), row, parameters, memory)


@helper
def expected_pressure(row: Floats, is_whole: bool, parameters: Floats, memory: Floats) -> float:
    """Return the pressure there would be if the valve were now told to hold. [Pa]

    Parameters
    ----------
    row : (n_observed,)   the axle's observation
    is_whole : bool       whether the cylinder has reached what is demanded, so filling adds nothing
    parameters            of the strategy, the last eight being valve and force data
    memory : (N_VALVE,)   of the valve

    Notes
    -----
    Every command acts from its own delay on until the next one acts, and none overtakes another: a
    fill shorter than what its delay is longer than that of a hold does nothing.
    """
    sample_time = row[SAMPLE_TIME]
    pressure = row[PRESSURE]
    fill_delay = max(parameters[FILL_DELAY] + memory[_FILL_LATER], 0.0)
    vent_delay = max(parameters[VENT_DELAY] + memory[_VENT_LATER], 0.0)
    valve, since = HOLD, 0.0
    for i in range(N_QUEUE, -1, -1):
        told = memory[i - 1] if i > 0 else HOLD
        until = max((fill_delay if told == FILL else vent_delay) - i * sample_time, since)
        if valve == FILL and not is_whole:
            pressure += parameters[FILL_RATE] * (until - since)
        elif valve == VENT:
            pressure = max(pressure - vent_rate(pressure, parameters) * (until - since), 0.0)
        valve, since = told, until
    return float(pressure)


@helper
def steer_pressure(
    wanted: float, is_whole: bool, row: Floats, parameters: Floats, memory: Floats
) -> int:
    """Return the valve position that brings the cylinder nearest a wanted pressure.

    Parameters
    ----------
    wanted : float   [Pa]; at zero the valve stays in vent
    others           as `expected_pressure`; the memory is moved on

    Notes
    -----
    The commands on their way are reckoned in (a Smith predictor), so the delay does not make it
    swing. Steps are as coarse as one sample of filling or venting; it moves when more than 0.8 of
    a step is missing, since at half a step it would chatter between two. A delay of more than
    `N_QUEUE` samples is reckoned in part only.
    """
    sample_time = row[SAMPLE_TIME]
    pressure = expected_pressure(row, is_whole, parameters, memory)
    valve = HOLD
    if wanted > pressure + 0.8 * parameters[FILL_RATE] * sample_time or (
        is_whole and wanted >= pressure
    ):
        valve = FILL
    elif wanted <= 0.0 or wanted < pressure - 0.8 * vent_rate(pressure, parameters) * sample_time:
        valve = VENT
    last = int(memory[0])
    if valve != last and last != HOLD and _length_of_latest(memory) <= memory[_LOST_LENGTH]:
        valve = last  # shorter, the valve would not move
    for i in range(N_QUEUE - 1, 0, -1):
        memory[i] = memory[i - 1]
    memory[0] = valve
    return valve


@helper
def has_filled(row: Floats, last_pressure: float, parameters: Floats, memory: Floats) -> bool:
    """Return whether the valve has been filling, yet the pressure no longer rises.

    Parameters
    ----------
    row : (n_observed,)     the axle's observation
    last_pressure : float   a sample ago. [Pa]
    parameters, memory      as `expected_pressure`
    """
    sample_time = row[SAMPLE_TIME]
    if row[PRESSURE] <= 0.0 or row[PRESSURE] - last_pressure > (
        0.1 * parameters[FILL_RATE] * sample_time
    ):
        return False
    longest = PATIENCE * max(parameters[FILL_DELAY] + memory[_FILL_LATER], 0.0)
    for i in range(N_QUEUE):
        if memory[i] != FILL:
            return False
        if i * sample_time > longest + 2.0 * sample_time:
            return True
    return True

"""Brake cylinder pressure: the valve's commands on their way, and the piece they act on."""

import math
from typing import Any

from slipbench.compiling.jit import folded, inner, part
from slipbench.kernel.air import (
    mass_of,
    mean_fill_rate,
    mean_vent_rate,
)
from slipbench.kernel.codes import FLOW, QUEUE_LENGTH, RAMPS
from slipbench.kernel.columns import FILL, HOLD, VENT
from slipbench.kernel.records import Axle, AxleState, Train, Vehicle

_NO_TIME = 1e-11
"""What happens within so short a time happens now. [s]"""

EMPTY = 0.05
"""Of full pressure: a cylinder with less above its spring's brakes nothing. Assumed. [-]"""

REARMED = 0.5
"""Fill on end that arms the vent limit again once it has overruled a controller. Assumed. [s]"""


@part
def send_command(
    time: float, valve: float, demand_factor: float, axle: Axle, axle_state: AxleState
) -> None:
    """Put a controller's command on its way to the valve; it acts after the valve's delay.

    A command equal to the last one sent is not sent again. A later command never overtakes an
    earlier one, whatever their delays. A position left again before the shortest pulse is over
    never acts: the valve had not moved yet. [time: s]
    """
    _drop_short_pulses(time, valve, axle, axle_state)
    last = (axle_state.queue_head + axle_state.queue_count - 1) % QUEUE_LENGTH
    if axle_state.queue_count > 0:
        last_valve, last_factor = axle_state.queue_valve[last], axle_state.queue_factor[last]
    else:
        last_valve, last_factor = axle_state.valve, axle_state.demand_factor
    if valve == last_valve and demand_factor == last_factor:
        return
    if valve == VENT and last_valve != VENT:
        axle_state.vent_count += 1
    due = time + (axle.fill_delay if valve == FILL else axle.vent_delay)
    if axle_state.queue_count > 0:
        due = max(due, axle_state.queue_time[last])
    if (
        axle_state.queue_count == QUEUE_LENGTH
    ):  # cannot be: the scenario bounds delay over sample time
        axle_state.queue_count -= 1
    end = (axle_state.queue_head + axle_state.queue_count) % QUEUE_LENGTH
    axle_state.queue_time[end] = due
    axle_state.queue_sent[end] = time
    axle_state.queue_valve[end] = valve
    axle_state.queue_factor[end] = demand_factor
    axle_state.queue_count += 1


@inner
def _drop_short_pulses(time: float, valve: float, axle: Axle, axle_state: AxleState) -> None:
    """Take back what was sent less than the shortest pulse ago and is now to end."""
    while axle_state.queue_count > 0:
        last = (axle_state.queue_head + axle_state.queue_count - 1) % QUEUE_LENGTH
        position = axle_state.queue_valve[last]
        if (
            position == valve
            or time - axle_state.queue_sent[last] >= axle.shortest_pulse - _NO_TIME
        ):
            return
        axle_state.queue_count -= 1
        before = axle_state.valve
        if axle_state.queue_count > 0:
            before = axle_state.queue_valve[(last - 1) % QUEUE_LENGTH]
        if position != before:
            axle_state.short_pulses += 1
            if position == VENT:
                axle_state.vent_count -= 1


@part
def apply_due_commands(time: float, axle_state: AxleState) -> None:
    """Let the commands whose delay has run out act, in order."""
    while (
        axle_state.queue_count > 0
        and axle_state.queue_time[axle_state.queue_head] <= time + _NO_TIME
    ):
        axle_state.valve = axle_state.queue_valve[axle_state.queue_head]
        axle_state.demand_factor = axle_state.queue_factor[axle_state.queue_head]
        axle_state.queue_head = (axle_state.queue_head + 1) % QUEUE_LENGTH
        axle_state.queue_count -= 1


@part
def next_due(axle_state: AxleState) -> float:
    """Return when the next command acts, infinity if none is on its way. [s]"""
    if axle_state.queue_count > 0:
        return axle_state.queue_time[axle_state.queue_head]
    return math.inf


@part
def acting_valve(axle_state: AxleState) -> float:
    """Return the position the valve is in: where it is stuck, else where it was commanded."""
    if axle_state.valve_fault >= 0:
        return axle_state.valve_fault
    return axle_state.valve


@folded
def pressure_piece(
    longest: float,
    demanded: float,
    demanded_rate: float,
    least: float,
    is_ideal: int,
    is_supplied: int,
    reservoir: float,
    train: Train,
    axle: Axle,
    axle_state: AxleState,
) -> Any:
    """Return how fast the cylinder pressure moves now, and how long it keeps to that.

    Parameters
    ----------
    longest : float         Time the piece may last at most. [s]
    demanded : float        Pressure asked for above the spring's, demand factor left out. [Pa]
    demanded_rate : float   Its constant rate of change. [Pa/s]
    least : float           Pressure of a prefilled cylinder, else zero. [Pa]
    is_ideal : int          1: the valve does nothing (the factor acts on the torque itself).
    is_supplied : bool      Whether the vehicle's brake acts at all (else its cylinders release).
    reservoir : float       Gauge pressure of the vehicle's reservoir (flow model). [Pa]
    train : TRAIN           rates or conductances
    axle : AXLE             its cylinder volume
    axle_state : AXLE_STATE      its pressure is set to the target where it had reached it

    Returns
    -------
    (float, float)   mean rate [Pa/s], time until the rate changes [s]

    Notes
    -----
    Filling, the pressure follows its target as fast as the air allows; holding, it stays; venting,
    it falls to atmosphere. Within a piece it is taken linear: exactly so at given rates, to second
    order of the piece with ISO 6358 flow.
    """
    valve = acting_valve(axle_state)
    if valve == FILL or is_ideal:
        factor = 1.0 if is_ideal else axle_state.demand_factor
        if not is_supplied:
            factor = 0.0
        target, target_rate = demanded * factor, demanded_rate * factor
        if factor > 0.0 and (demanded > 0.0 or demanded_rate > 0.0):
            target += train.spring_pressure
        if target < least and factor > 0.0:
            target, target_rate = least, 0.0
        if train.air_model == FLOW and target > reservoir:
            target, target_rate = reservoir, 0.0
        return _approach(longest, target, target_rate, reservoir, train, axle, axle_state)
    if valve == VENT:
        rate = _vent_rate(longest, train, axle, axle_state)
        if axle_state.pressure > rate * _NO_TIME + 1e-6:
            return (-rate, axle_state.pressure / rate) if rate > 0.0 else (0.0, math.inf)
        axle_state.pressure = 0.0
    return 0.0, math.inf


@inner
def _rate_towards(
    is_rising: bool,
    longest: float,
    reservoir: float,
    train: Train,
    axle: Axle,
    axle_state: AxleState,
) -> float:
    """Return how fast the brake control can raise or lower the pressure, signed. [Pa/s]"""
    if train.air_model == RAMPS:
        return train.fill_rate if is_rising else -train.vent_rate
    if is_rising:
        rate = mean_fill_rate(
            longest,
            axle_state.pressure,
            reservoir,
            train.fill_conductance,
            train.critical_ratio,
            axle.cylinder_volume,
        )
        return max(rate, 1.0)
    rate = mean_vent_rate(
        longest,
        axle_state.pressure,
        train.release_conductance,
        train.critical_ratio,
        axle.cylinder_volume,
    )
    return min(rate, -1.0)


@inner
def _vent_rate(longest: float, train: Train, axle: Axle, axle_state: AxleState) -> float:
    """Return how fast venting lowers the pressure, above zero unless the choke is blocked."""
    if axle_state.is_vent_blocked:
        return 0.0
    if train.air_model == RAMPS:
        return train.vent_rate
    rate = -mean_vent_rate(
        longest,
        axle_state.pressure,
        train.vent_conductance,
        train.critical_ratio,
        axle.cylinder_volume,
    )
    return max(rate, 1e3)  # the last pascals: flow and pressure fade together


@folded
def _approach(
    longest: float,
    target: float,
    target_rate: float,
    reservoir: float,
    train: Train,
    axle: Axle,
    axle_state: AxleState,
) -> tuple[Any, Any]:
    missing = target - axle_state.pressure
    if missing == 0.0 and target_rate == 0.0:
        return 0.0, math.inf
    is_rising = missing > 0.0 or (missing == 0.0 and target_rate > 0.0)
    rate = _rate_towards(is_rising, longest, reservoir, train, axle, axle_state)
    closing = rate - target_rate
    if abs(missing) > max(abs(closing) * _NO_TIME, 1e-9 * train.full_pressure):
        if missing * closing <= 0.0:
            return rate, math.inf
        return rate, missing / closing
    axle_state.pressure = target
    if target_rate == 0.0:
        return 0.0, math.inf
    limit = rate
    if is_rising != (target_rate > 0.0):
        limit = _rate_towards(target_rate > 0.0, longest, reservoir, train, axle, axle_state)
    return (min(target_rate, limit) if target_rate > 0.0 else max(target_rate, limit)), math.inf


@folded
def count_air(change: float, axle: Axle, axle_state: AxleState, vehicle: Vehicle) -> None:
    """Book the air that a change of cylinder pressure moved: from the reservoir, or out. [Pa]"""
    mass = mass_of(change, axle.cylinder_volume)
    if mass > 0.0:
        axle_state.filled_mass += mass
        vehicle.flow += mass
    elif acting_valve(axle_state) == VENT:
        axle_state.vented_mass -= mass
    else:
        axle_state.released_mass -= mass


@part
def limit_vent(
    valve: float,
    demand_factor: float,
    demanded: float,
    sample_time: float,
    train: Train,
    axle_state: AxleState,
) -> Any:
    """Return valve position and demand factor after the time limit for a brake kept off.

    Parameters
    ----------
    valve, demand_factor : float   as commanded
    demanded : float               pressure above the spring's that the driver asks for now. [Pa]
    sample_time : float            [s]

    Returns
    -------
    (float, float)   as commanded; fill and 1 while the limit overrules the controller

    Notes
    -----
    What is timed is the brake without force: a vent, or a cylinder nearly empty though it is
    demanded, be it held so, given a factor near zero, or filled for a sample or two only. Beyond
    the limit the brake comes back, until the controller has let it fill for `REARMED` on end.
    """
    is_filling = valve == FILL and demand_factor * demanded >= EMPTY * train.full_pressure
    is_demanded = demanded >= 2.0 * EMPTY * train.full_pressure
    is_empty = (
        is_demanded and axle_state.pressure < train.spring_pressure + EMPTY * train.full_pressure
    )
    if axle_state.is_restored:
        is_let = is_filling or (valve == HOLD and not is_empty)
        axle_state.vent_time = axle_state.vent_time + sample_time if is_let else 0.0
        if axle_state.vent_time < REARMED:
            return FILL, 1.0
        axle_state.vent_time = 0.0
        axle_state.is_restored = 0
        return valve, demand_factor
    if valve != VENT and not is_empty:
        axle_state.vent_time = 0.0
        return valve, demand_factor
    axle_state.vent_time += sample_time
    if axle_state.vent_time > train.vent_limit and not is_filling:
        axle_state.n_restored += 1
        axle_state.is_restored = 1
        axle_state.vent_time = 0.0
        return FILL, 1.0
    return valve, demand_factor

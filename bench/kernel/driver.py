"""The handle, and the demand of each vehicle that follows it through the brake control.

The handle's position reaches every vehicle by control wires, energised as the position's code
says; a vehicle takes the position whose code it receives. Emergency needs no wire and no
electrical supply.
"""

import math
from typing import Any

from slipbench.compiling.jit import folded, inlined, inner, part
from slipbench.kernel.codes import AFTER, AT_SPEED, AT_TIME
from slipbench.kernel.records import Train, TrainState, Vehicle, World

_SAME_TIME = 1e-10
_SAME_SPEED = 1e-7
_SAME_PLACE = 1e-7


@part
def is_due(trigger: int, value: float, train_state: TrainState) -> bool:
    """Return whether something triggered by time, speed or distance is due."""
    if trigger == AT_TIME:
        return train_state.time >= value - _SAME_TIME
    if trigger == AFTER:
        return train_state.time >= train_state.handled_time + value - _SAME_TIME
    if trigger == AT_SPEED:
        return train_state.speed <= value + _SAME_SPEED
    return train_state.distance >= value - _SAME_PLACE


@part
def time_until(trigger: int, value: float, train_state: TrainState) -> float:
    """Return how long until something triggered by time, speed or distance is due. [s]"""
    if trigger == AT_TIME:
        return value - train_state.time
    if trigger == AFTER:
        return train_state.handled_time + value - train_state.time
    if trigger == AT_SPEED:
        if train_state.acceleration < 0.0:
            return (train_state.speed - value) / -train_state.acceleration
        return math.inf
    return time_to_travel(value - train_state.distance, train_state.speed, train_state.acceleration)


@folded
def time_to_travel(distance: float, speed: float, acceleration: float) -> Any:
    """Return the time a body at this speed needs for a distance, infinity if it never gets there.

    Parameters
    ----------
    distance : float       [m]; at or below zero it is reached already
    speed : float          [m/s], >= 0
    acceleration : float   constant, [m/s2]
    """
    under = speed * speed + 2.0 * acceleration * distance
    needed = 2.0 * distance / (speed + math.sqrt(max(under, 0.0)))
    never = under < 0.0 or speed <= 0.0
    return 0.0 if distance <= 0.0 else (math.inf if never else needed)


@inner
def _from_table(level: float, i_vehicle: int, table: Any) -> float:
    column = 1 + i_vehicle
    for i in range(1, table.shape[0]):
        if level <= table[i, 0]:
            share = (level - table[i - 1, 0]) / (table[i, 0] - table[i - 1, 0])
            return table[i - 1, column] + share * (table[i, column] - table[i - 1, column])
    return table[table.shape[0] - 1, column]


@inner
def demand_received(
    position: int, level: float, is_isolated: int, has_supply: int, i_vehicle: int, world: World
) -> float:
    """Return the demand one vehicle makes of the handle. [-], share of its emergency demand

    Parameters
    ----------
    position : int        of the handle: 0 release, steps, then emergency
    level : float         of a continuous controller, below zero where the handle has steps
    is_isolated : bool    slip control is out: whatever would release gives a full application
    has_supply : int      electrical control supply
    i_vehicle : int       its broken wires, and whether it brakes, count
    world : World         the tables
    """
    vehicle = world.vehicle_states[i_vehicle]
    if vehicle.is_unbraked:
        return 0.0
    emergency = world.train[0].n_steps + 1
    received = 0.0
    if position == emergency:
        received = world.demand_table[emergency, i_vehicle]
    elif has_supply and level >= 0.0:
        received = _from_table(level, i_vehicle, world.controller_table)
    elif has_supply:
        wires = int(world.wire_table[position, 0]) & ~vehicle.lost_wires
        for i in range(emergency):
            if int(world.wire_table[i, 0]) == wires:
                received = world.demand_table[i, i_vehicle]
    if is_isolated and received == 0.0:
        received = world.demand_table[emergency, i_vehicle]
    return received


@inner
def _start_ramp(target: float, time: float, train: Train, vehicle: Vehicle) -> None:
    if target == vehicle.demand_target:
        return
    vehicle.demand_target = target
    ramp = train.build_up_time if target > vehicle.demand else train.release_time
    if target == vehicle.demand or ramp <= _SAME_TIME:  # so short a ramp is a step
        vehicle.demand = target
        vehicle.demand_rate = 0.0
    else:
        vehicle.demand_rate = (target - vehicle.demand) / ramp
        vehicle.ramp_end = time + ramp


@inlined
def aim_vehicles(world: World) -> None:
    """Let every vehicle aim at the demand it now receives; ramps start where it changed."""
    train_state = world.train_state[0]
    is_isolated = train_state.time < train_state.isolated_until - _SAME_TIME
    for i in range(world.vehicle_states.shape[0]):
        vehicle = world.vehicle_states[i]
        target = demand_received(
            train_state.acting_position,
            train_state.acting_level,
            is_isolated,
            train_state.has_supply,
            i,
            world,
        )
        target *= world.vehicles[i].demand_share
        if target != vehicle.coming:  # in place of one that is still on its way
            vehicle.coming = target
            vehicle.coming_time = train_state.time + world.vehicles[i].further_delay
        if train_state.time >= vehicle.coming_time - _SAME_TIME:
            _start_ramp(vehicle.coming, train_state.time, world.brakes[i], vehicle)


@inlined
def _press_button(world: World) -> None:
    """Act on presses of the isolation button that are due.

    As common practice describes it: it works only with the handle in emergency, takes slip control
    out for a time, and a second press adds that time again; any other press is ignored and noted.
    """
    train_state, train = world.train_state[0], world.train[0]
    while train_state.n_pressed < world.presses.shape[0]:
        press = world.presses[train_state.n_pressed]
        if not is_due(press.trigger, press.value, train_state):
            return
        train_state.n_pressed += 1
        if train_state.position != train.n_steps + 1:
            train_state.n_ignored_presses += 1
        else:
            train_state.isolated_until = (
                max(train_state.isolated_until, train_state.time) + train.isolation_time
            )


@inlined
def move_handle(world: World) -> None:
    """Act on every handle entry and button press that is due, and on the ramps now effective.

    Notes
    -----
    An entry of the programme is armed when the one before has acted; it takes effect after the
    demand delay. Each vehicle's demand then moves linearly from the old to the new value within the
    build-up time (or the release time, going down), whatever the height of the step; a newer change
    starts from where the demand then is.
    """
    handle, effective = world.handle, world.effective
    train_state, train = world.train_state[0], world.train[0]
    while train_state.n_handled < handle.shape[0]:
        entry = handle[train_state.n_handled]
        if not is_due(entry.trigger, entry.value, train_state):
            break
        effective[train_state.n_handled] = train_state.time + train.demand_delay
        train_state.position, train_state.level = entry.position, entry.level
        train_state.handled_time = train_state.time
        if train_state.brake_start < 0.0 and entry.position > 0:
            train_state.brake_start = train_state.distance
        train_state.n_handled += 1
    _press_button(world)
    for i in range(world.vehicle_states.shape[0]):
        vehicle = world.vehicle_states[i]
        if vehicle.demand_rate != 0.0 and train_state.time >= vehicle.ramp_end - _SAME_TIME:
            vehicle.demand = vehicle.demand_target
            vehicle.demand_rate = 0.0
    while (
        train_state.n_effective < train_state.n_handled
        and effective[train_state.n_effective] <= train_state.time + _SAME_TIME
    ):
        train_state.acting_position = handle[train_state.n_effective].position
        train_state.acting_level = handle[train_state.n_effective].level
        train_state.n_effective += 1
    if (
        train_state.driver_position >= 0
        and train_state.driver_effective <= train_state.time + _SAME_TIME
    ):
        train_state.acting_position = train_state.driver_position
        train_state.driver_position = -1
    aim_vehicles(world)


@inlined
def time_to_handle_event(world: World) -> float:
    """Return how long until the demand's course may next change. [s]"""
    train_state = world.train_state[0]
    wait = math.inf
    for i in range(world.vehicle_states.shape[0]):
        vehicle = world.vehicle_states[i]
        if vehicle.demand_rate != 0.0:
            wait = min(wait, vehicle.ramp_end - train_state.time)
        if vehicle.coming != vehicle.demand_target:
            wait = min(wait, vehicle.coming_time - train_state.time)
    if train_state.n_effective < train_state.n_handled:
        wait = min(wait, world.effective[train_state.n_effective] - train_state.time)
    if train_state.driver_position >= 0:
        wait = min(wait, train_state.driver_effective - train_state.time)
    if train_state.isolated_until > train_state.time:
        wait = min(wait, train_state.isolated_until - train_state.time)
    if train_state.n_handled < world.handle.shape[0]:
        entry = world.handle[train_state.n_handled]
        wait = min(wait, time_until(entry.trigger, entry.value, train_state))
    if train_state.n_pressed < world.presses.shape[0]:
        press = world.presses[train_state.n_pressed]
        wait = min(wait, time_until(press.trigger, press.value, train_state))
    return max(wait, _SAME_TIME)

"""Faults: what breaks, when, and what that changes in the train."""

import math

from slipbench.compiling.jit import apart, inner
from slipbench.kernel.codes import (
    CAR_UNBRAKED,
    CONTROL_SUPPLY_LOST,
    CONTROL_WIRE_BROKEN,
    CONTROLLER_DEAD,
    DYNAMIC_LOST,
    LINE_LOST,
    LOAD_CRUSH,
    LOAD_TARE,
    SANDER_EMPTY,
    SENSOR_DEAD,
    SENSOR_NOISY,
    SENSOR_STUCK,
    SUPPLY_ISOLATED,
    TRACK_LOST,
    VALVE_STUCK_FILL,
    VALVE_STUCK_HOLD,
    VALVE_STUCK_VENT,
    VENT_BLOCKED,
)
from slipbench.kernel.columns import FILL, HOLD, VENT
from slipbench.kernel.driver import is_due, time_until
from slipbench.kernel.records import AxleState, Fault, Vehicle, VehicleState, World


@inner
def _break_axle(fault: Fault, axle_state: AxleState) -> None:
    if fault.kind == SENSOR_DEAD:
        axle_state.sensor_fault = SENSOR_DEAD + 1
    elif fault.kind == SENSOR_STUCK:
        axle_state.sensor_fault = SENSOR_STUCK + 1
    elif fault.kind == SENSOR_NOISY:
        axle_state.noise = fault.amount
    elif fault.kind == VALVE_STUCK_FILL:
        axle_state.valve_fault = FILL
    elif fault.kind == VALVE_STUCK_HOLD:
        axle_state.valve_fault = HOLD
    elif fault.kind == VALVE_STUCK_VENT:
        axle_state.valve_fault = VENT
    elif fault.kind == VENT_BLOCKED:
        axle_state.is_vent_blocked = 1


@inner
def _break_vehicle(fault: Fault, vehicle: Vehicle, vehicle_state: VehicleState) -> None:
    if fault.kind == CONTROLLER_DEAD:
        vehicle_state.is_dead = 1
    elif fault.kind == SUPPLY_ISOLATED:
        vehicle_state.is_isolated = 1
    elif fault.kind == LOAD_TARE:
        vehicle_state.load_factor = vehicle.tare_factor
    elif fault.kind == LOAD_CRUSH:
        vehicle_state.load_factor = vehicle.laden_factor
    elif fault.kind == CAR_UNBRAKED:
        vehicle_state.is_unbraked = 1
    elif fault.kind == TRACK_LOST:
        vehicle_state.is_track_lost = 1


@apart
def break_what_is_due(world: World) -> None:
    """Let every fault act whose time, speed or place has come; each acts once and stays."""
    train_state = world.train_state[0]
    for i in range(world.faults.shape[0]):
        fault = world.faults[i]
        if world.fault_states[i] > 0.0 or not is_due(fault.trigger, fault.value, train_state):
            continue
        world.fault_states[i] = 1.0
        if fault.kind <= VENT_BLOCKED:
            _break_axle(fault, world.axle_states[fault.i_target])
        elif fault.kind <= LOAD_CRUSH or fault.kind == CAR_UNBRAKED or fault.kind == TRACK_LOST:
            target = fault.i_target
            _break_vehicle(fault, world.vehicles[target], world.vehicle_states[target])
        elif fault.kind == SANDER_EMPTY:
            world.sander_states[fault.i_target].hopper = 0.0
        elif fault.kind == CONTROL_SUPPLY_LOST:
            train_state.has_supply = 0
        elif fault.kind == LINE_LOST:
            train_state.line_share = 1.0 - fault.amount
        elif fault.kind == DYNAMIC_LOST:
            for k in range(world.drives.shape[0]):
                if world.drives[k].i_vehicle == fault.i_target:
                    world.drive_states[k].is_lost = 1
        elif fault.kind == CONTROL_WIRE_BROKEN:
            for k in range(int(fault.amount), world.vehicle_states.shape[0]):
                world.vehicle_states[k].lost_wires |= 1 << fault.i_target


@apart
def time_to_fault(world: World) -> float:
    """Return how long until the next fault acts. [s]"""
    wait = math.inf
    for i in range(world.faults.shape[0]):
        if world.fault_states[i] == 0.0:
            fault = world.faults[i]
            wait = min(wait, time_until(fault.trigger, fault.value, world.train_state[0]))
    return max(wait, 1e-10)

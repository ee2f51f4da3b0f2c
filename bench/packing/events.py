"""What happens on the way: the handle, the driver, faults, sanders."""

from __future__ import annotations

from typing import Any

import numpy as np

from slipbench.contract import Floats
from slipbench.kernel import codes, fixed, moving
from slipbench.packing.tools import one, trigger
from slipbench.scenario import Scenario

_FAULT_KINDS = {
    "sensor_dead": codes.SENSOR_DEAD,
    "sensor_stuck": codes.SENSOR_STUCK,
    "sensor_noisy": codes.SENSOR_NOISY,
    "valve_stuck_fill": codes.VALVE_STUCK_FILL,
    "valve_stuck_hold": codes.VALVE_STUCK_HOLD,
    "valve_stuck_vent": codes.VALVE_STUCK_VENT,
    "vent_blocked": codes.VENT_BLOCKED,
    "controller_dead": codes.CONTROLLER_DEAD,
    "supply_isolated": codes.SUPPLY_ISOLATED,
    "load_weighed_tare": codes.LOAD_TARE,
    "load_weighed_crush": codes.LOAD_CRUSH,
    "sander_empty": codes.SANDER_EMPTY,
    "car_unbraked": codes.CAR_UNBRAKED,
    "control_supply_lost": codes.CONTROL_SUPPLY_LOST,
    "control_wire_broken": codes.CONTROL_WIRE_BROKEN,
    "dynamic_brake_lost": codes.DYNAMIC_LOST,
    "track_brake_lost": codes.TRACK_LOST,
    "line_lost": codes.LINE_LOST,
}


_SANDER_MODES = {
    "fixed": codes.FIXED_RATE,
    "speed_proportional": codes.SPEED_PROPORTIONAL,
}


def pack_sanders(scenario: Scenario) -> tuple[Any, Any]:
    """Pack the sanders and their hoppers."""
    train = scenario.train
    sanders = np.zeros(len(scenario.sanders), fixed.SANDER)
    states = np.zeros(len(sanders), moving.SANDER_STATE)
    for packed, sander in zip(sanders, scenario.sanders, strict=True):
        for name in ("rate", "density", "start_delay", "run_on_time", "placement", "hopper"):
            packed[name] = getattr(sander, name)
        packed["i_axle"] = sander.axle - 1
        packed["mode"] = _SANDER_MODES[sander.mode]
        brake = scenario.brake_of(train.vehicle_of_axle[sander.axle - 1])
        packed["least_demand"] = brake.demand_at(sander.from_step) / brake.emergency
        packed["train_wide"] = sander.trigger == "train"
    states["hopper"] = sanders["hopper"]
    states["first_sand"] = -1.0
    return sanders, states


def pack_tables(scenario: Scenario) -> tuple[Floats, Floats, Floats]:
    """Return demands and wires by handle position, and the continuous controller's table.

    Demands are those of each vehicle, as shares of its own emergency demand.
    """
    brake = scenario.brake
    own = [scenario.brake_of(i) for i in range(len(scenario.train.vehicles))]
    positions = range(brake.emergency_position + 1)
    shares = [[each.demand_at(p) / each.emergency for each in own] for p in positions]
    wires = [*brake.codes, 0]
    table = np.zeros((0, 1 + len(own)))
    if brake.controller_levels is not None:
        demands = [np.array(each.controller_demands) / each.emergency for each in own]
        table = np.column_stack([brake.controller_levels, *demands])
    return np.array(shares), np.array(wires, dtype=np.float64)[:, None], table


def pack_faults(scenario: Scenario) -> Any:
    """Pack what breaks, and when."""
    faults = np.zeros(len(scenario.faults), fixed.FAULT)
    for packed, fault in zip(faults, scenario.faults, strict=True):
        packed["kind"] = _FAULT_KINDS[fault.kind]
        packed["i_target"] = (getattr(fault, fault.target) - 1) if fault.target else 0
        packed["amount"] = fault.noise
        if fault.kind == "control_wire_broken":
            packed["amount"] = (fault.vehicle or 1) - 1
        elif fault.kind == "line_lost":
            packed["amount"] = fault.share
        trigger(packed, fault)
    return faults


def pack_presses(scenario: Scenario) -> Any:
    """Pack the presses of the isolation button."""
    presses = np.zeros(len(scenario.driver.presses), fixed.PRESS)
    for packed, press in zip(presses, scenario.driver.presses, strict=True):
        trigger(packed, press)
    return presses


def pack_driver(scenario: Scenario) -> Any:
    """Pack what the driver does beyond the programme."""
    easing, first = scenario.driver.easing, scenario.train.vehicles[0]
    if easing is None:
        return one(fixed.DRIVER, kind=codes.HOLD_PROGRAMME)
    n_leading = 1 if first.bogie_wheelbase == 0.0 else 2  # axles of the leading bogie
    return one(
        fixed.DRIVER,
        kind=codes.EASE_ON_ACTIVITY,
        reaction_time=easing.reaction_time,
        calm_time=easing.calm_time,
        eased_position=easing.position,
        full_position=scenario.driver.programme[-1].position,
        n_seen_axles=n_leading,
        n_heard_axles=n_leading,
        pressure_drop=easing.pressure_drop,
    )


def pack_handle(scenario: Scenario) -> Any:
    """Pack the handle programme."""
    handle = np.zeros(len(scenario.driver.programme), fixed.HANDLE)
    for entry, source in zip(handle, scenario.driver.programme, strict=True):
        trigger(entry, source)
        entry["position"] = source.position
        entry["level"] = -1.0 if source.level is None else source.level
    return handle

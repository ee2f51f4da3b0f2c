"""What happens on the way: the handle, the driver, faults, sanders."""

from __future__ import annotations

from typing import Any

import numpy as np

from slipbench.contract import Floats
from slipbench.kernel import records
from slipbench.packing.tools import one, trigger
from slipbench.scenario import Scenario

_FAULT_KINDS = {
    "sensor_dead": records.SENSOR_DEAD,
    "sensor_stuck": records.SENSOR_STUCK,
    "sensor_noisy": records.SENSOR_NOISY,
    "valve_stuck_fill": records.VALVE_STUCK_FILL,
    "valve_stuck_hold": records.VALVE_STUCK_HOLD,
    "valve_stuck_vent": records.VALVE_STUCK_VENT,
    "vent_blocked": records.VENT_BLOCKED,
    "controller_dead": records.CONTROLLER_DEAD,
    "supply_isolated": records.SUPPLY_ISOLATED,
    "load_weighed_tare": records.LOAD_TARE,
    "load_weighed_crush": records.LOAD_CRUSH,
    "sander_empty": records.SANDER_EMPTY,
    "car_unbraked": records.CAR_UNBRAKED,
    "control_supply_lost": records.CONTROL_SUPPLY_LOST,
    "control_wire_broken": records.CONTROL_WIRE_BROKEN,
    "dynamic_brake_lost": records.DYNAMIC_LOST,
    "track_brake_lost": records.TRACK_LOST,
    "line_lost": records.LINE_LOST,
}


_SANDER_MODES = {
    "fixed": records.FIXED_RATE,
    "speed_proportional": records.SPEED_PROPORTIONAL,
}


def pack_sanders(scenario: Scenario) -> tuple[Any, Any]:
    """Pack the sanders and their hoppers."""
    brake = scenario.brake
    sanders = np.zeros(len(scenario.sanders), records.SANDER)
    states = np.zeros(len(sanders), records.SANDER_STATE)
    for packed, sander in zip(sanders, scenario.sanders, strict=True):
        for name in ("rate", "density", "start_delay", "run_on_time", "placement", "hopper"):
            packed[name] = getattr(sander, name)
        packed["i_axle"] = sander.axle - 1
        packed["mode"] = _SANDER_MODES[sander.mode]
        packed["least_demand"] = brake.demand_at(sander.from_step) / brake.emergency
        packed["train_wide"] = sander.trigger == "train"
    states["hopper"] = sanders["hopper"]
    states["first_sand"] = -1.0
    return sanders, states


def pack_tables(scenario: Scenario) -> tuple[Floats, Floats, Floats]:
    """Return demand and wires by handle position, and the continuous controller's table."""
    brake = scenario.brake
    shares = [
        brake.demand_at(position) / brake.emergency
        for position in range(brake.emergency_position + 1)
    ]
    codes = [*brake.codes, 0]
    table = np.zeros((0, 2))
    if brake.controller_levels is not None and brake.controller_demands is not None:
        demands = np.array(brake.controller_demands) / brake.emergency
        table = np.column_stack([brake.controller_levels, demands])
    return np.array(shares)[:, None], np.array(codes, dtype=np.float64)[:, None], table


def pack_faults(scenario: Scenario) -> Any:
    """Pack what breaks, and when."""
    faults = np.zeros(len(scenario.faults), records.FAULT)
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
    presses = np.zeros(len(scenario.driver.presses), records.PRESS)
    for packed, press in zip(presses, scenario.driver.presses, strict=True):
        trigger(packed, press)
    return presses


def pack_driver(scenario: Scenario) -> Any:
    """Pack what the driver does beyond the programme."""
    easing, first = scenario.driver.easing, scenario.train.vehicles[0]
    if easing is None:
        return one(records.DRIVER, kind=records.HOLD_PROGRAMME)
    n_leading = 1 if first.bogie_wheelbase == 0.0 else 2  # axles of the leading bogie
    return one(
        records.DRIVER,
        kind=records.EASE_ON_ACTIVITY,
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
    handle = np.zeros(len(scenario.driver.programme), records.HANDLE)
    for entry, source in zip(handle, scenario.driver.programme, strict=True):
        trigger(entry, source)
        entry["position"] = source.position
        entry["level"] = -1.0 if source.level is None else source.level
    return handle

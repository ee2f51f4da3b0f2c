"""The train and its brakes: axles, vehicles, air, sensing."""

from __future__ import annotations

from typing import Any

import numpy as np

from slipbench.contract import Controller, Floats
from slipbench.kernel import codes, fixed, moving
from slipbench.kernel.air import REFERENCE_DENSITY
from slipbench.kernel.train import GRAVITY
from slipbench.packing.contact import stiffness
from slipbench.packing.draws import TRANSDUCER, TRANSDUCER_GAIN, Draw, deviates
from slipbench.packing.drives import blending_fields
from slipbench.packing.tools import one
from slipbench.scenario import Brake, Scenario, Vehicle
from slipbench.scenario.equipment import Condition

_CLEANING_LAWS = {
    "rail_memory": codes.RAIL_MEMORY,
    "contact_only": codes.CONTACT_ONLY,
    "rail_and_contact": codes.RAIL_AND_CONTACT,
}


_AIR_MODELS = {"ramps": codes.RAMPS, "flow": codes.FLOW}


_FLOW_FIELDS = (
    "fill_conductance",
    "release_conductance",
    "vent_conductance",
    "charging_conductance",
    "critical_ratio",
    "reservoir_volume",
    "reservoir_pressure",
    "pipe_pressure",
    "main_pressure",
    "isolation_time",
)


_FRICTION_KINDS = {
    "disc": codes.DISC,
    "cast_iron": codes.CAST_IRON,
    "composite": codes.COMPOSITE,
}


STEP_OVER_SPEED, STEP_OVER_SQUARE = 2e-3, 4e-4
"""Longest step over the speed braked from [s2/m] and over its square [s3/m2]: a stop from walking
pace is as many steps as one from 10 m/s, so that its energy balances as well."""


def pack_run(scenario: Scenario) -> Any:
    """Pack step, limits and thresholds."""
    names = fixed.RUN.names or ()
    numbers = {name: getattr(scenario.run, name) for name in names}
    speed = scenario.initial_speed
    slow = min(STEP_OVER_SPEED, STEP_OVER_SQUARE * speed) * speed
    return one(fixed.RUN, **{**numbers, "maximum_step": min(numbers["maximum_step"], slow)})


def pack_brakes(scenario: Scenario, draw: Draw, rail_start: float) -> Any:
    """Pack the same for each vehicle, with the brake values that are its own."""
    return np.concatenate(
        [
            pack_train(scenario, scenario.brake_of(i), draw, rail_start)
            for i in range(len(scenario.train.vehicles))
        ]
    )


def pack_train(scenario: Scenario, brake: Brake, draw: Draw, rail_start: float) -> Any:
    """Pack what the whole train shares, and a brake."""
    train, rail = scenario.train, scenario.rail
    point = scenario.driver.stopping_point
    return one(
        fixed.TRAIN,
        mass=draw.masses.sum(),
        resistance_constant=train.resistance_constant,
        resistance_linear=train.resistance_linear,
        resistance_quadratic=train.resistance_quadratic,
        n_steps=brake.n_steps,
        air_model=_AIR_MODELS[brake.air],
        cut_out_speed=scenario.slip_control.cut_out_speed,
        cut_out_hysteresis=scenario.slip_control.cut_out_hysteresis,
        shares_speed=scenario.slip_control.reference == "train",
        emergency_deceleration=brake.emergency,
        valve_per_bogie=scenario.slip_control.valve_group == "bogie",
        vent_limit=brake.vent_time_limit,
        **{name: getattr(brake, name) for name in _FLOW_FIELDS},
        has_main=train.has_main_reservoirs,
        cut_in=brake.compressor_cut_in,
        cut_out=brake.compressor_cut_out,
        pipe_conductance=brake.main_pipe_conductance,
        demand_delay=brake.demand_delay,
        build_up_time=brake.build_up_time,
        release_time=brake.release_time,
        fill_rate=brake.fill_rate,
        vent_rate=brake.vent_rate,
        demand_factor_limit=brake.demand_factor_limit,
        full_pressure=brake.full_pressure,
        spring_pressure=brake.spring_pressure,
        clock_tick=scenario.sensing.clock_tick,
        clock_rate=1.0 / scenario.sensing.clock_tick if scenario.sensing.clock_tick else 0.0,
        zero_timeout=scenario.sensing.zero_timeout,
        has_pressure_transducer=scenario.sensing.has_pressure_transducer,
        cell_length=rail.cell_length,
        rail_start=rail_start,
        room=scenario.train.smallest_axle_spacing - scenario.rail.cell_length,
        locked_cleaning_share=rail.locked_cleaning_share,
        full_cleaning_slip=rail.full_cleaning_slip,
        cleaning_law=_CLEANING_LAWS[rail.cleaning_law],
        contact_share=rail.contact_share,
        redeposition=rail.redeposition,
        sand_friction=rail.sand_friction,
        sand_scale=rail.sand_scale,
        sand_retention=rail.sand_retention,
        sand_limit=rail.sand_limit,
        stopping_point=np.inf if point is None else point,
        **blending_fields(scenario),
    )


def pack_axles(scenario: Scenario, draw: Draw, is_train_wide: bool) -> Any:
    """Pack the axles; a vehicle's braked axles share its mass, rotating mass included, evenly."""
    train, sensing = scenario.train, scenario.sensing
    axles = np.zeros(train.n_axles, fixed.AXLE)
    axles["offset"] = train.axle_positions
    axles["pitch_error"], axles["jitter"] = draw.pitch_errors, draw.jitters
    axles["pitch_phase"] = draw.pitch_phases
    axles["dropout"] = scenario.equipment.condition.dropout
    axles["dropout_burst"] = scenario.equipment.condition.dropout_burst
    first, i_bogie = 0, 0
    for i_vehicle, vehicle in enumerate(train.vehicles):
        here = slice(first, first + vehicle.n_axles)
        own, radii = axles[here], np.array(vehicle.radii)
        own["i_vehicle"] = i_vehicle
        own["i_group"] = 0 if is_train_wide else i_vehicle
        per_bogie = 1 if vehicle.bogie_wheelbase == 0.0 else 2
        own["i_bogie"] = i_bogie + np.arange(vehicle.n_axles) // per_bogie
        own["wheel_radius"] = draw.wheel_radii[here]
        own["rotating_mass"] = vehicle.rotating_masses * (radii / own["wheel_radius"]) ** 2
        own["mass_carried"] = draw.masses[i_vehicle] / vehicle.n_axles
        own["pulse_pitch"] = 2.0 * np.pi * own["wheel_radius"] / sensing.teeth
        own["pulses_per_metre"] = 1.0 / own["pulse_pitch"]
        own["turns_per_metre"] = 0.5 / (np.pi * own["wheel_radius"])
        own["assumed_pitch"] = 2.0 * np.pi * draw.assumed_radii[here] / sensing.teeth
        brake = scenario.brake_of(i_vehicle)
        pack_brake(own, vehicle, brake)
        _pack_valves(own, brake, scenario.equipment.condition, draw.valve_factors[here])
        own["pad_share"] *= draw.pad_factors[here]
        if vehicle.brake_kind == "disc":  # a torque is the brake's, the force at the rim follows
            own["brake_gain"] *= radii / own["wheel_radius"]
        i_bogie += vehicle.n_axles // per_bogie
        first += vehicle.n_axles
    axles["wheel_load"] = 0.5 * axles["mass_carried"] * GRAVITY
    for axle in axles:
        axle["contact_stiffness"] = stiffness(
            float(axle["wheel_radius"]),
            scenario.rail.crown_radius,
            float(axle["wheel_load"]),
            scenario.contact,
        )
    return axles


def _pack_valves(own: Any, brake: Brake, condition: Condition, factors: Floats) -> None:
    """Pack delays and shortest pulses of a vehicle's valves, and the hysteresis of its cylinders.

    `factors` are what the seed makes of the delays, axle by axle.
    """
    own["fill_delay"] = (brake.electrical_delay + brake.fill_delay) * factors
    own["vent_delay"] = (brake.electrical_delay + brake.vent_delay) * factors
    soonest = min(brake.fill_delay, brake.vent_delay) * factors
    own["shortest_pulse"] = np.minimum(max(brake.shortest_pulse, condition.shortest_pulse), soonest)
    own["hysteresis"] = max(brake.hysteresis, condition.hysteresis)


def pack_brake(own: Any, vehicle: Vehicle, brake: Brake) -> None:
    """Pack a vehicle's brakes: laden, full pressure gives the emergency demand."""
    is_braked = np.array(vehicle.braked_axles)
    if is_braked.any():
        mass = vehicle.laden_mass + vehicle.rotating_mass
        force = mass * brake.emergency / is_braked.sum()
        pressing = brake.full_pressure - brake.spring_pressure
        own["brake_gain"] = np.where(is_braked, force / pressing, 0.0)
    is_disc = vehicle.brake_kind == "disc"
    pads = brake.pad_friction / brake.design_pad_friction if is_disc else 1.0
    own["friction_kind"] = _FRICTION_KINDS[vehicle.brake_kind]
    own["pad_share"] = pads * (1.0 - vehicle.pad_wetness)
    own["pad_speed_term"] = vehicle.pad_speed_term
    own["pad_heat_term"] = vehicle.pad_heat_term
    own["design_friction"] = 1.0 if is_disc else vehicle.block_design_friction
    own["n_blocks"] = vehicle.blocks_per_axle
    own["heat_capacity"] = vehicle.heat_capacity
    own["cooling"] = vehicle.cooling
    own["cooling_speed_term"] = vehicle.cooling_speed_term
    own["cylinder_volume"] = np.where(is_braked, vehicle.cylinder_volume, 1e-9)


def pack_transducers(axles: Any, scenario: Scenario, seed: int) -> None:
    """Pack the axles' pressure transducers: their lag, and the errors a seed draws."""
    condition = scenario.equipment.condition
    axles["transducer_gain"] = 1.0
    axles["transducer_share"] = 1.0
    if condition.transducer_lag > 0.0:
        steps = scenario.slip_control.sample_time / condition.transducer_lag
        axles["transducer_share"] = -np.expm1(-steps)
    size = len(axles)
    axles["transducer_gain"] += condition.transducer_gain * deviates(seed, TRANSDUCER_GAIN, size)
    axles["transducer_offset"] = condition.transducer_offset * deviates(seed, TRANSDUCER, size)


def pack_vehicles(scenario: Scenario, draw: Draw) -> tuple[Any, Any]:
    """Pack the vehicles and how they start: weighed, reservoirs full, brakes released."""
    train, brake = scenario.train, scenario.brake
    vehicles = np.zeros(len(train.vehicles), fixed.VEHICLE)
    states = np.zeros(len(vehicles), moving.VEHICLE_STATE)
    first = 0
    cars = zip(vehicles, train.vehicles, draw.masses, strict=True)
    for i, (packed, vehicle, mass) in enumerate(cars):
        own = scenario.brake_of(i)
        rotating = vehicle.rotating_mass if own.weighs_rotating_mass else 0.0
        laden = vehicle.laden_mass + rotating
        packed["first_axle"], packed["n_axles"] = first, vehicle.n_axles
        packed["load_factor"] = 1.0
        if own.variable_load:
            packed["load_factor"] = (mass + rotating) / laden
        packed["tare_factor"] = (vehicle.tare_mass + rotating) / laden
        packed["laden_factor"] = 1.0
        centres = vehicle.bogie_centres
        packed["body_mass"] = mass - len(centres) * vehicle.bogie_mass
        packed["bogie_mass"] = vehicle.bogie_mass
        packed["bogie_spacing"] = centres[-1] - centres[0]
        packed["wheelbase"] = vehicle.bogie_wheelbase
        packed["body_height"] = vehicle.body_height
        packed["pivot_height"] = vehicle.pivot_height
        packed["compressor_flow"] = REFERENCE_DENSITY * vehicle.compressor_flow
        packed["auxiliary_flow"] = REFERENCE_DENSITY * vehicle.auxiliary_flow
        packed["demand_share"] = 1.0 if vehicle.brake is None else vehicle.brake.demand_share
        packed["emergency_share"] = own.emergency / brake.emergency
        packed["further_delay"] = own.demand_delay - brake.demand_delay
        packed["demand_force"] = (vehicle.laden_mass + vehicle.rotating_mass) * own.emergency
        packed["air_force"] = packed["demand_force"] if any(vehicle.braked_axles) else 0.0
        packed["n_drives"] = vehicle.dynamic_brake is not None
        packed["main_volume"] = own.main_pipe_volume + vehicle.main_reservoir_volume
        first += vehicle.n_axles
    states["load_factor"] = vehicles["load_factor"]
    states["reservoir"] = [
        scenario.brake_of(i).reservoir_pressure for i in range(len(train.vehicles))
    ]
    states["lowest_reservoir"] = states["reservoir"]
    states["main"] = states["lowest_main"] = brake.main_pressure
    return vehicles, states


def pack_groups(
    scenario: Scenario, controller: Controller, axles: Any, generator: np.random.Generator
) -> Any:
    """Pack the controllers' axles and sampling; each samples at a phase of its own."""
    if controller.scope == "train":
        sizes = [scenario.train.n_axles]
    else:
        sizes = [vehicle.n_axles for vehicle in scenario.train.vehicles]
    groups = np.zeros(len(sizes), fixed.GROUP)
    groups["n_axles"] = sizes
    groups["first_axle"] = np.cumsum([0, *sizes[:-1]])
    sample_time = scenario.slip_control.sample_time
    groups["sample_time"] = sample_time
    groups["phase"] = generator.random(len(sizes)) * sample_time
    groups["is_ideal"] = controller.actuator == "ideal"
    groups["sees_truth"] = controller.uses_truth
    groups["commands_dynamic"] = controller.commands_dynamic
    if controller.actuator != "ideal" and not controller.uses_truth:
        soonest = np.minimum(axles["fill_delay"], axles["vent_delay"]) - axles["shortest_pulse"]
        soonest = np.maximum(soonest, 0.0)  # before that a command can neither act nor be dropped
        groups["lookahead"] = np.minimum.reduceat(soonest, groups["first_axle"])
    return groups

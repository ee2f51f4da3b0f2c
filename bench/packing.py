"""From a validated scenario to the arrays the kernel works on."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import numpy as np
from scipy.interpolate import PchipInterpolator

from bench.contact import contact_patch, contact_stiffness
from bench.contact.measured import MeasuredCurve, read_measured_curve
from bench.contact.rolling import rolling_contact
from bench.contact.table import build_traction_table, normalised_constants
from bench.contract import SIGNALS, Controller, Floats
from bench.errors import InputError
from bench.kernel import records
from bench.kernel.columns import FILL, OBSERVED
from bench.kernel.records import World
from bench.kernel.train import GRAVITY
from bench.rail_state import RailState
from bench.scenario import Contact, RandomFriction, Scenario, Vehicle

_TRIGGERS = (
    ("at_time", records.AT_TIME),
    ("at_speed", records.AT_SPEED),
    ("at_distance", records.AT_DISTANCE),
)
_CLEANING_LAWS = {"rail_memory": records.RAIL_MEMORY, "contact_only": records.CONTACT_ONLY}
_AIR_MODELS = {"ramps": records.RAMPS, "flow": records.FLOW}
_FLOW_FIELDS = (
    "fill_conductance",
    "release_conductance",
    "vent_conductance",
    "charging_conductance",
    "critical_ratio",
    "reservoir_volume",
    "reservoir_pressure",
    "pipe_pressure",
    "isolation_time",
)
_FRICTION_KINDS = {
    "disc": records.DISC,
    "cast_iron": records.CAST_IRON,
    "composite": records.COMPOSITE,
}
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
}
_SANDER_MODES = {
    "fixed": records.FIXED_RATE,
    "speed_proportional": records.SPEED_PROPORTIONAL,
}


@lru_cache(maxsize=256)
def _stiffness(wheel_radius: float, crown_radius: float, load: float, contact: Contact) -> float:
    return float(
        contact_stiffness(
            _patch(wheel_radius, crown_radius, load, contact),
            elastic_modulus=contact.elastic_modulus,
            poisson_ratio=contact.poisson_ratio,
        )
    )


def _patch(wheel_radius: float, crown_radius: float, load: float, contact: Contact) -> Any:
    curvature = contact.wheel_profile_curvature
    return contact_patch(
        wheel_radius,
        crown_radius,
        load,
        wheel_profile_radius=1.0 / curvature if curvature else math.inf,
        elastic_modulus=contact.elastic_modulus,
        poisson_ratio=contact.poisson_ratio,
    )


def _one(dtype: np.dtype[np.void], **values: float) -> Any:
    array = np.zeros(1, dtype)
    for name, value in values.items():
        array[name] = value
    return array


def _pack_run(scenario: Scenario) -> Any:
    names = records.RUN.names or ()
    return _one(records.RUN, **{name: getattr(scenario.run, name) for name in names})


def _pack_train(scenario: Scenario, rail_start: float) -> Any:
    train, brake, rail = scenario.train, scenario.brake, scenario.rail
    return _one(
        records.TRAIN,
        mass=train.mass,
        resistance_constant=train.resistance_constant,
        resistance_linear=train.resistance_linear,
        resistance_quadratic=train.resistance_quadratic,
        n_steps=brake.n_steps,
        air_model=_AIR_MODELS[brake.air],
        cut_out_speed=scenario.slip_control.cut_out_speed,
        valve_per_bogie=scenario.slip_control.valve_group == "bogie",
        vent_limit=brake.vent_time_limit,
        **{name: getattr(brake, name) for name in _FLOW_FIELDS},
        demand_delay=brake.demand_delay,
        build_up_time=brake.build_up_time,
        release_time=brake.release_time,
        fill_rate=brake.fill_rate,
        vent_rate=brake.vent_rate,
        fill_delay=brake.fill_delay,
        vent_delay=brake.vent_delay,
        demand_factor_limit=brake.demand_factor_limit,
        full_pressure=brake.full_pressure,
        clock_tick=scenario.sensing.clock_tick,
        zero_timeout=scenario.sensing.zero_timeout,
        cell_length=rail.cell_length,
        rail_start=rail_start,
        locked_cleaning_share=rail.locked_cleaning_share,
        full_cleaning_slip=rail.full_cleaning_slip,
        cleaning_law=_CLEANING_LAWS[rail.cleaning_law],
        redeposition=rail.redeposition,
        sand_friction=rail.sand_friction,
        sand_scale=rail.sand_scale,
        sand_retention=rail.sand_retention,
        sand_limit=rail.sand_limit,
    )


def _pack_law(scenario: Scenario, axles: Any) -> Any:
    """Pack the creep law: nothing for Polach's, which is computed; a table for the others."""
    name = scenario.contact.law
    if name == "polach":
        return _one(records.LAW, kind=records.POLACH)
    if name == "measured":
        return _pack_curve(read_measured_curve(scenario.contact.measured_curve or ""))
    options: dict[str, object] = {}
    if name == "strip":
        options = _strip_constants(scenario, axles)
    largest = float(axles["contact_stiffness"].max() / (axles["wheel_load"].min() * 0.002))
    table = _traction_table(name, largest, tuple(options.items()))
    law = _one(records.LAW, kind=records.TRACTION_TABLE)
    law["nodes"][0] = table.normalised_creepage
    law["values"][0] = table.traction_ratio
    law["slopes"][0] = table.slope
    _note_spacing(law, table.normalised_creepage)
    return law


@lru_cache(maxsize=32)
def _traction_table(name: str, largest: float, options: tuple[tuple[str, object], ...]) -> Any:
    given: dict[str, Any] = dict(options)
    return build_traction_table(
        name, largest=largest, n_nodes=records.N_TABLE - 1, method="cubic", **given
    )


def _strip_constants(scenario: Scenario, axles: Any) -> dict[str, object]:
    """Return the strip law's lateral creepage and spin, normalised at the first section."""
    contact, vehicle = scenario.contact, scenario.train.vehicles[0]
    load = float(axles["wheel_load"].mean())
    rolling = rolling_contact(
        _patch(vehicle.wheel_radius, scenario.rail.crown_radius, load, contact),
        friction=scenario.rail.sections[0].friction,
        elastic_modulus=contact.elastic_modulus,
        poisson_ratio=contact.poisson_ratio,
    )
    return normalised_constants(rolling, contact.lateral_creepage, contact.spin)


def _note_spacing(law: Any, nodes: Floats) -> None:
    law["log_first"] = math.log(nodes[1])
    law["nodes_per_log"] = 1.0 / math.log(nodes[2] / nodes[1])


def _pack_curve(curve: MeasuredCurve) -> Any:
    """Resample a measured curve on a logarithmic grid of creepage, over its largest adhesion."""
    n_speeds = len(curve.train_speeds)
    if n_speeds > records.N_CURVE_SPEEDS:
        raise InputError(
            f"{curve.name}: {n_speeds} speeds; allowed: at most {records.N_CURVE_SPEEDS}"
        )
    first = 0.2 * min(float(x[1]) for x in curve.creepages)
    nodes = np.concatenate([[0.0], np.geomspace(first, 1.0, records.N_CURVE - 1)])
    speeds = [None] if n_speeds == 1 else curve.train_speeds.tolist()
    rows = np.array([curve.adhesion(nodes, speed) for speed in speeds])
    rows /= rows.max()
    slopes = np.array([PchipInterpolator(nodes, row).derivative()(nodes) for row in rows])
    law = _one(records.LAW, kind=records.MEASURED_CURVE, n_speeds=n_speeds)
    law["speeds"][0, :n_speeds] = 0.0 if n_speeds == 1 else curve.train_speeds
    law["creepages"][0] = nodes
    law["curve"][0, : rows.size] = rows.ravel()
    law["curve_slopes"][0, : rows.size] = slopes.ravel()
    # a monotone cubic may be half as steep again as its chord
    chords = np.diff(rows, axis=1) / np.diff(nodes)
    law["steepest_fall"] = 1.5 * max(0.0, -float(chords.min()))
    _note_spacing(law, nodes)
    return law


def _pack_sanders(scenario: Scenario) -> tuple[Any, Any]:
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


def _pack_axles(scenario: Scenario, is_train_wide: bool) -> Any:
    """Pack the axles; a vehicle's braked axles share its mass, rotating mass included, evenly."""
    train, sensing = scenario.train, scenario.sensing
    axles = np.zeros(train.n_axles, records.AXLE)
    axles["offset"] = train.axle_positions
    axles["n_teeth"] = sensing.teeth
    for name in ("pitch_error", "jitter", "dropout"):
        axles[name] = getattr(sensing, name)
    first, i_bogie = 0, 0
    for i_vehicle, vehicle in enumerate(train.vehicles):
        own = axles[first : first + vehicle.n_axles]
        own["i_vehicle"] = i_vehicle
        own["i_group"] = 0 if is_train_wide else i_vehicle
        per_bogie = 1 if vehicle.bogie_wheelbase == 0.0 else 2
        own["i_bogie"] = i_bogie + np.arange(vehicle.n_axles) // per_bogie
        own["wheel_radius"] = vehicle.radii
        own["rotating_mass"] = vehicle.rotating_masses
        own["mass_carried"] = train.vehicle_masses[i_vehicle] / vehicle.n_axles
        own["pulse_pitch"] = 2.0 * np.pi * own["wheel_radius"] / sensing.teeth
        own["assumed_pitch"] = 2.0 * np.pi * np.array(vehicle.assumed_radii) / sensing.teeth
        _pack_brake(own, vehicle, scenario)
        i_bogie += vehicle.n_axles // per_bogie
        first += vehicle.n_axles
    axles["wheel_load"] = 0.5 * axles["mass_carried"] * GRAVITY
    for axle in axles:
        axle["contact_stiffness"] = _stiffness(
            float(axle["wheel_radius"]),
            scenario.rail.crown_radius,
            float(axle["wheel_load"]),
            scenario.contact,
        )
    return axles


def _pack_brake(own: Any, vehicle: Vehicle, scenario: Scenario) -> None:
    """Pack a vehicle's brakes: laden, full pressure gives the emergency demand."""
    brake = scenario.brake
    is_braked = np.array(vehicle.braked_axles)
    if is_braked.any():
        mass = vehicle.laden_mass + vehicle.rotating_mass
        force = mass * brake.emergency / is_braked.sum()
        own["brake_gain"] = np.where(is_braked, force / brake.full_pressure, 0.0)
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


def _pack_vehicles(scenario: Scenario) -> tuple[Any, Any]:
    """Pack the vehicles and how they start: weighed, reservoirs full, brakes released."""
    train, brake = scenario.train, scenario.brake
    vehicles = np.zeros(len(train.vehicles), records.VEHICLE)
    states = np.zeros(len(vehicles), records.VEHICLE_STATE)
    first = 0
    for packed, vehicle, mass in zip(vehicles, train.vehicles, train.vehicle_masses, strict=True):
        laden = vehicle.laden_mass + vehicle.rotating_mass
        packed["first_axle"], packed["n_axles"] = first, vehicle.n_axles
        packed["load_factor"] = 1.0
        if brake.variable_load:
            packed["load_factor"] = (mass + vehicle.rotating_mass) / laden
        packed["tare_factor"] = (vehicle.tare_mass + vehicle.rotating_mass) / laden
        packed["laden_factor"] = 1.0
        centres = vehicle.bogie_centres
        packed["body_mass"] = mass - len(centres) * vehicle.bogie_mass
        packed["bogie_mass"] = vehicle.bogie_mass
        packed["bogie_spacing"] = centres[-1] - centres[0]
        packed["wheelbase"] = vehicle.bogie_wheelbase
        packed["body_height"] = vehicle.body_height
        packed["pivot_height"] = vehicle.pivot_height
        first += vehicle.n_axles
    states["load_factor"] = vehicles["load_factor"]
    states["reservoir"] = states["lowest_reservoir"] = brake.reservoir_pressure
    states["lowest_vent_speed"] = np.inf
    return vehicles, states


def _pack_tables(scenario: Scenario) -> tuple[Floats, Floats, Floats]:
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


def _trigger(packed: Any, source: Any) -> None:
    for name, trigger in _TRIGGERS:
        value = getattr(source, name)
        if value is not None:
            packed["trigger"], packed["value"] = trigger, value


def _pack_faults(scenario: Scenario) -> Any:
    faults = np.zeros(len(scenario.faults), records.FAULT)
    for packed, fault in zip(faults, scenario.faults, strict=True):
        packed["kind"] = _FAULT_KINDS[fault.kind]
        packed["i_target"] = (getattr(fault, fault.target) - 1) if fault.target else 0
        packed["amount"] = fault.noise
        if fault.kind == "control_wire_broken":
            packed["amount"] = (fault.vehicle or 1) - 1
        _trigger(packed, fault)
    return faults


def _pack_presses(scenario: Scenario) -> Any:
    presses = np.zeros(len(scenario.driver.presses), records.PRESS)
    for packed, press in zip(presses, scenario.driver.presses, strict=True):
        _trigger(packed, press)
    return presses


def _pack_driver(scenario: Scenario) -> Any:
    easing, first = scenario.driver.easing, scenario.train.vehicles[0]
    if easing is None:
        return _one(records.DRIVER, kind=records.HOLD_PROGRAMME)
    return _one(
        records.DRIVER,
        kind=records.EASE_ON_ACTIVITY,
        reaction_time=easing.reaction_time,
        calm_time=easing.calm_time,
        eased_position=easing.position,
        full_position=scenario.driver.programme[-1].position,
        n_seen_axles=1 if first.bogie_wheelbase == 0.0 else 2,
        n_heard_axles=first.n_axles,
        pressure_drop=easing.pressure_drop,
    )


def pack_cells(scenario: Scenario) -> tuple[float, Any]:
    """Return where the rail begins [m] and its cells, wholly as the scenario lays them.

    The rail reaches from under the train's rear axle to beyond `run.maximum_distance`.

    Returns
    -------
    (float, (n_cells,) CELL)
    """
    rail = scenario.rail
    cell = rail.cell_length
    behind = max(scenario.train.axle_positions)
    n_behind = math.ceil(behind / cell) + 1
    n_ahead = math.ceil(scenario.run.maximum_distance / cell) + 2
    start = -n_behind * cell
    cells = np.zeros(n_behind + n_ahead, records.CELL)
    centres = start + (np.arange(len(cells)) + 0.5) * cell
    for i, section in enumerate(rail.sections):
        first = 0 if i == 0 else int(np.searchsorted(centres, section.from_distance))
        for name in records.CELL.names or ():
            cells[name][first:] = getattr(section, name)
    if rail.random is not None:
        cells["friction"] = random_friction(rail.random, start, len(cells), cell)
        cells["recovered_friction"] = np.maximum(cells["recovered_friction"], cells["friction"])
    return start, cells


def random_friction(law: RandomFriction, start: float, n_cells: int, cell_length: float) -> Floats:
    """Return friction drawn patch by patch for every cell; the same seed gives the same rail.

    Patches begin at the rail's start, so a rail does not change with the length of the stop.

    Returns
    -------
    (n_cells,) float64   [-]
    """
    generator = np.random.default_rng(law.seed)
    friction = np.empty(n_cells)
    place, end = start, start + n_cells * cell_length
    i_cell = 0
    while place < end:
        is_long, length = generator.random(), generator.exponential(law.mean_patch)
        long = generator.uniform(law.long_from, law.long_to)
        value = law.median_friction * math.exp(law.spread * generator.standard_normal())
        place += max(long if is_long < law.long_share else length, cell_length)
        last = min(n_cells, round((place - start) / cell_length))
        friction[i_cell:last] = min(max(value, law.lowest_friction), law.highest_friction)
        i_cell = last
    return friction


def _pack_handle(scenario: Scenario) -> Any:
    handle = np.zeros(len(scenario.driver.programme), records.HANDLE)
    for entry, source in zip(handle, scenario.driver.programme, strict=True):
        _trigger(entry, source)
        entry["position"] = source.position
        entry["level"] = -1.0 if source.level is None else source.level
    return handle


def _pack_groups(scenario: Scenario, controller: Controller, generator: np.random.Generator) -> Any:
    """Pack the controllers' axles and sampling; each samples at a phase of its own."""
    if controller.scope == "train":
        sizes = [scenario.train.n_axles]
    else:
        sizes = [vehicle.n_axles for vehicle in scenario.train.vehicles]
    groups = np.zeros(len(sizes), records.GROUP)
    groups["n_axles"] = sizes
    groups["first_axle"] = np.cumsum([0, *sizes[:-1]])
    sample_time = scenario.slip_control.sample_time
    groups["sample_time"] = sample_time
    groups["phase"] = generator.random(len(sizes)) * sample_time
    groups["is_ideal"] = controller.actuator == "ideal"
    groups["sees_truth"] = controller.uses_truth
    return groups


def _start_axles(world: World, scenario: Scenario, generator: np.random.Generator) -> None:
    """Put every axle on its cell, rolling, its brake empty, its toothed wheel at a random angle."""
    speed, cell = scenario.initial_speed, scenario.rail.cell_length
    states, pitch = world.axle_states, world.axles["pulse_pitch"]
    states["wheel_speed"] = speed
    states["measured_speed"] = speed
    states["valve"] = FILL
    states["demand_factor"] = 1.0
    states["peak_speed"] = -1.0
    places = (-world.axles["offset"] - world.train["rail_start"][0]) / cell
    states["i_cell"] = np.floor(places).astype(np.int64)
    states["to_border"] = (np.floor(places) + 1.0 - places) * cell
    states["valve_fault"] = -1
    states["i_lock"] = -1
    states["noise_state"] = generator.integers(1, 2147483646, len(states))
    states["wheel_load"] = world.axles["wheel_load"]
    states["contact_stiffness"] = world.axles["contact_stiffness"]
    since_pulse = generator.random(len(states)) * pitch
    states["next_pulse"] = pitch - since_pulse
    states["pulse_time"] = states["sampled_pulse_time"] = -since_pulse / speed


def _n_traces(scenario: Scenario, with_traces: bool) -> int:
    if not with_traces:
        return 0
    longest = min(scenario.run.maximum_time, 2.0 * scenario.run.maximum_distance)
    return math.ceil(longest / scenario.run.trace_interval) + 2


def pack(
    scenario: Scenario,
    controller: Controller,
    seed: int,
    with_traces: bool = True,
    rail_before: RailState | None = None,
) -> World:
    """Return the arrays of a stop about to begin.

    Parameters
    ----------
    scenario : Scenario
    controller : Controller    its scope, actuator and use of truth decide the groups
    seed : int                 of the sampling phases and the toothed wheels' angles, >= 0
    with_traces : bool         whether room for traces is made
    rail_before : RailState    the rail as an earlier train left it; None: untouched

    Returns
    -------
    World
    """
    generator = np.random.default_rng(seed)
    n_axles = scenario.train.n_axles
    rail_start, cells = pack_cells(scenario)
    n_traces = _n_traces(scenario, with_traces)
    groups = _pack_groups(scenario, controller, generator)
    handle = _pack_handle(scenario)
    grades: Floats = np.array(
        [(grade.from_distance, grade.rise) for grade in scenario.gradient], dtype=np.float64
    ).reshape(-1, 2)
    axles = _pack_axles(scenario, controller.scope == "train")
    sanders, sander_states = _pack_sanders(scenario)
    vehicles, vehicle_states = _pack_vehicles(scenario)
    demand_table, wire_table, controller_table = _pack_tables(scenario)
    curves: Floats = np.array(
        [(curve.from_distance, curve.resistance) for curve in scenario.curves], dtype=np.float64
    ).reshape(-1, 2)
    faults, presses = _pack_faults(scenario), _pack_presses(scenario)
    work, sand = np.zeros(len(cells)), np.zeros(len(cells))
    if rail_before is not None:
        work, sand = rail_before.laid_out(rail_start, len(cells), scenario.rail.cell_length)
    group_states = np.zeros(len(groups), records.GROUP_STATE)
    group_states["next_sample"] = groups["phase"]
    world = World(
        run=_pack_run(scenario),
        train=_pack_train(scenario, rail_start),
        axles=axles,
        cells=cells,
        grades=grades,
        groups=groups,
        handle=handle,
        vehicles=vehicles,
        demand_table=demand_table,
        wire_table=wire_table,
        controller_table=controller_table,
        curves=curves,
        faults=faults,
        presses=presses,
        driver=_pack_driver(scenario),
        train_state=_one(
            records.TRAIN_STATE,
            speed=scenario.initial_speed,
            has_supply=1,
            level=-1.0,
            acting_level=-1.0,
            eased_since=-1.0,
            activity_since=-1.0,
            driver_position=-1,
        ),
        vehicle_states=vehicle_states,
        fault_states=np.zeros(len(faults)),
        lock_log=np.zeros((records.N_LOCK_LOG, len(records.LOCK_COLUMNS))),
        slide_histogram=np.zeros((records.SLIDE_BANDS, records.SPEED_BANDS)),
        axle_states=np.zeros(n_axles, records.AXLE_STATE),
        rail_work=work,
        rail_sand=sand,
        law=_pack_law(scenario, axles),
        sanders=sanders,
        sander_states=sander_states,
        signals=np.zeros((len(groups), len(SIGNALS))),
        effective=np.zeros(len(handle)),
        group_states=group_states,
        observation=np.zeros((n_axles, len(OBSERVED))),
        command=np.tile([float(FILL), 1.0], (n_axles, 1)),
        train_traces=np.zeros((n_traces, len(records.TRACED_TRAIN))),
        axle_traces=np.zeros((n_traces, n_axles, len(records.TRACED_AXLE))),
    )
    _start_axles(world, scenario, generator)
    return world

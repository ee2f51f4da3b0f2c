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
from bench.kernel.loop import put_on_rail_compiled
from bench.kernel.records import World
from bench.kernel.train import GRAVITY
from bench.rail_state import RailState
from bench.scenario import Contact, RandomFriction, Scenario

_TRIGGERS = (
    ("at_time", records.AT_TIME),
    ("at_speed", records.AT_SPEED),
    ("at_distance", records.AT_DISTANCE),
)
_CLEANING_LAWS = {"rail_memory": records.RAIL_MEMORY, "contact_only": records.CONTACT_ONLY}
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
    return build_traction_table(
        name, largest=largest, n_nodes=records.N_TABLE - 1, method="cubic", **dict(options)
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
    """Pack the axles; each brakes the mass it carries and its own rotating mass."""
    train, brake = scenario.train, scenario.brake
    axles = np.zeros(train.n_axles, records.AXLE)
    axles["offset"] = train.axle_positions
    for i_axle, i_vehicle in enumerate(train.vehicle_of_axle):
        vehicle = train.vehicles[i_vehicle]
        axle = axles[i_axle]
        carried = vehicle.mass_at(train.load) / vehicle.n_axles
        rotating = vehicle.wheelset_inertia / vehicle.wheel_radius**2
        wheel_load = 0.5 * carried * GRAVITY
        axle["mass_carried"] = carried
        axle["rotating_mass"] = rotating
        axle["wheel_load"] = wheel_load
        axle["contact_stiffness"] = _stiffness(
            vehicle.wheel_radius, scenario.rail.crown_radius, wheel_load, scenario.contact
        )
        axle["brake_gain"] = (
            (brake.pad_friction / brake.design_pad_friction)
            * (carried + rotating)
            * brake.emergency
            / brake.full_pressure
        )
        axle["pulse_pitch"] = math.pi * vehicle.wheel_diameter / scenario.sensing.teeth
        axle["i_group"] = 0 if is_train_wide else i_vehicle
    return axles


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
        for name, trigger in _TRIGGERS:
            value = getattr(source, name)
            if value is not None:
                entry["trigger"], entry["value"] = trigger, value
        entry["demand"] = scenario.brake.demand_at(source.position) / scenario.brake.emergency
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
    put_on_rail_compiled(world)
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
        train_state=_one(records.TRAIN_STATE, speed=scenario.initial_speed),
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

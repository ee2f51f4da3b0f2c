"""From a validated scenario to the arrays the kernel works on."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import numpy as np

from bench.contact import contact_patch, contact_stiffness
from bench.contract import Controller, Floats
from bench.kernel import records
from bench.kernel.columns import FILL, OBSERVED
from bench.kernel.records import World
from bench.kernel.train import GRAVITY
from bench.scenario import Scenario

_TRIGGERS = (
    ("at_time", records.AT_TIME),
    ("at_speed", records.AT_SPEED),
    ("at_distance", records.AT_DISTANCE),
)
_READ_ON_ENTERING = (
    "friction_ratio",
    "friction_decay",
    "adhesion_reduction",
    "slip_reduction",
)


@lru_cache(maxsize=256)
def _stiffness(wheel_radius: float, rail_crown_radius: float, load: float) -> float:
    return float(contact_stiffness(contact_patch(wheel_radius, rail_crown_radius, load)))


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
    )


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
            vehicle.wheel_radius, scenario.rail.crown_radius, wheel_load
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
    return start, cells


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
    for name in ("friction", *_READ_ON_ENTERING):
        states[name] = world.cells[name][states["i_cell"]]  # no wheel has been here yet
    since_pulse = generator.random(len(states)) * pitch
    states["next_pulse"] = pitch - since_pulse
    states["pulse_time"] = states["sampled_pulse_time"] = -since_pulse / speed


def _n_traces(scenario: Scenario, with_traces: bool) -> int:
    if not with_traces:
        return 0
    longest = min(scenario.run.maximum_time, 2.0 * scenario.run.maximum_distance)
    return math.ceil(longest / scenario.run.trace_interval) + 2


def pack(scenario: Scenario, controller: Controller, seed: int, with_traces: bool = True) -> World:
    """Return the arrays of a stop about to begin.

    Parameters
    ----------
    scenario : Scenario
    controller : Controller    its scope, actuator and use of truth decide the groups
    seed : int                 of the sampling phases and the toothed wheels' angles, >= 0
    with_traces : bool         whether room for traces is made

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
    group_states = np.zeros(len(groups), records.GROUP_STATE)
    group_states["next_sample"] = groups["phase"]
    world = World(
        run=_pack_run(scenario),
        train=_pack_train(scenario, rail_start),
        axles=_pack_axles(scenario, controller.scope == "train"),
        cells=cells,
        grades=grades,
        groups=groups,
        handle=handle,
        train_state=_one(records.TRAIN_STATE, speed=scenario.initial_speed),
        axle_states=np.zeros(n_axles, records.AXLE_STATE),
        rail_work=np.zeros(len(cells)),
        effective=np.zeros(len(handle)),
        group_states=group_states,
        observation=np.zeros((n_axles, len(OBSERVED))),
        command=np.tile([float(FILL), 1.0], (n_axles, 1)),
        train_traces=np.zeros((n_traces, len(records.TRACED_TRAIN))),
        axle_traces=np.zeros((n_traces, n_axles, len(records.TRACED_AXLE))),
    )
    _start_axles(world, scenario, generator)
    return world

"""From a validated scenario to the arrays the kernel works on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from slipbench.contract import SIGNALS, Controller, Floats
from slipbench.ground.errors import InputError
from slipbench.kernel import codes, moving
from slipbench.kernel.columns import (
    FAULT_COLUMNS,
    FILL,
    LOCK_COLUMNS,
    OBSERVED,
    TRACED_AXLE,
    TRACED_TRAIN,
    TRAIL_COLUMNS,
)
from slipbench.kernel.loop import put_on_rail
from slipbench.kernel.pulses import seen_between_losses
from slipbench.kernel.records import World
from slipbench.packing.contact import pack_law
from slipbench.packing.draws import LOSS, TEETH, draw_equipment, stream
from slipbench.packing.drives import pack_drives, pack_magnets
from slipbench.packing.events import (
    pack_driver,
    pack_faults,
    pack_handle,
    pack_presses,
    pack_sanders,
    pack_tables,
)
from slipbench.packing.rail import pack_cells, random_friction
from slipbench.packing.rail_state import RailState
from slipbench.packing.tools import one
from slipbench.packing.train import (
    pack_axles,
    pack_brakes,
    pack_groups,
    pack_run,
    pack_train,
    pack_transducers,
    pack_vehicles,
)
from slipbench.scenario import Scenario

__all__ = ["pack", "pack_cells", "random_friction"]


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
    put_on_rail(world.cells, world.rail_work, world.rail_sand, world.train, states)
    states["valve_fault"] = -1
    states["i_lock"] = -1
    states["noise_state"] = generator.integers(1, 2147483646, len(states))
    states["wheel_load"] = world.axles["wheel_load"]
    states["contact_stiffness"] = world.axles["contact_stiffness"]
    since_pulse = generator.random(len(states)) * pitch
    states["next_pulse"] = pitch - since_pulse
    states["pulse_time"] = states["sampled_pulse_time"] = -since_pulse / speed
    tick = scenario.sensing.clock_tick
    if tick > 0.0:
        states["sampled_pulse_time"] = np.floor(states["pulse_time"] / tick) * tick


def _start_teeth(world: World, seed: int) -> None:
    """Draw what is random in the first pulses: where the next tooth stands, when one is lost."""
    axles, states = world.axles, world.axle_states
    states["deviate"] = stream(seed, TEETH).standard_normal(len(axles))
    states["until_lost"] = np.inf
    losing = axles["dropout"] > 0.0
    if not losing.any():
        return
    numbers = stream(seed, LOSS).random((2, len(axles)))
    for state, axle, (gap, size) in zip(states, axles, numbers.T, strict=True):
        if axle["dropout"] > 0.0:
            seen = seen_between_losses.py_func(axle["dropout"], axle["dropout_burst"])
            state["until_lost"] = math.floor(math.log1p(-gap) / math.log(seen / (1.0 + seen)))
            state["n_losing"] = 1 + int(size * axle["dropout_burst"])


def _n_traces(scenario: Scenario, with_traces: bool) -> int:
    if not with_traces:
        return 0
    longest = min(scenario.run.maximum_time, 2.0 * scenario.run.maximum_distance)
    return math.ceil(longest / scenario.run.trace_interval) + 2


def _line(sections: Sequence[Any], name: str) -> Floats:
    """Return where sections of the line begin [m], and one value of each."""
    rows = [(section.from_distance, getattr(section, name)) for section in sections]
    return np.array(rows, dtype=np.float64).reshape(-1, 2)


def _train_at_start(scenario: Scenario) -> Any:
    """Return the state of a train that has not braked yet."""
    return one(
        moving.TRAIN_STATE,
        speed=scenario.initial_speed,
        has_supply=1,
        line_share=1.0,
        level=-1.0,
        acting_level=-1.0,
        eased_since=-1.0,
        activity_since=-1.0,
        driver_position=-1,
        brake_start=-1.0,
        pause_at=np.iinfo(np.int64).max,
    )


def _empty_logs(n_faults: int, n_cells: int) -> dict[str, Any]:
    """Return what a stop writes into as it runs, by its name in the `World`."""
    return {
        "fault_states": np.zeros(n_faults),
        "fault_log": np.full((n_faults, len(FAULT_COLUMNS)), -1.0),
        "lock_log": np.zeros((codes.N_LOCK_LOG, len(LOCK_COLUMNS))),
        "lock_trail": np.zeros((codes.N_LOCK_TRAIL, len(TRAIL_COLUMNS))),
        "rail_heat": np.zeros(n_cells),
        "slide_histogram": np.zeros((codes.SLIDE_BANDS, codes.SPEED_BANDS)),
    }


def _refuse_blind(scenario: Scenario, controller: Controller) -> None:
    if "measured_pressure" in controller.observes and not scenario.sensing.has_pressure_transducer:
        raise InputError(
            f"strategy {controller.name}: observes measured_pressure, but "
            "sensing.has_pressure_transducer = false; fit it, or name another strategy"
        )


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
    seed : int                 of the equipment drawn, the sampling phases and the toothed wheels'
                               angles, >= 0
    with_traces : bool         whether room for traces is made
    rail_before : RailState    the rail as an earlier train left it; None: untouched

    Returns
    -------
    World
    """
    _refuse_blind(scenario, controller)
    generator = np.random.default_rng(seed)
    n_axles = scenario.train.n_axles
    rail_start, cells = pack_cells(scenario)
    n_traces = _n_traces(scenario, with_traces)
    draw = draw_equipment(scenario, seed)
    axles = pack_axles(scenario, draw, controller.scope == "train")
    drives, drive_states = pack_drives(scenario, axles)
    magnets, magnet_states = pack_magnets(scenario)
    groups = pack_groups(scenario, controller, axles, generator)
    handle = pack_handle(scenario)
    sanders, sander_states = pack_sanders(scenario)
    vehicles, vehicle_states = pack_vehicles(scenario, draw)
    demand_table, wire_table, controller_table = pack_tables(scenario)
    faults, presses = pack_faults(scenario), pack_presses(scenario)
    work, sand = np.zeros(len(cells)), np.zeros(len(cells))
    if rail_before is not None:
        work, sand = rail_before.laid_out(rail_start, len(cells), scenario.rail.cell_length)
    group_states = np.zeros(len(groups), moving.GROUP_STATE)
    group_states["next_sample"] = groups["phase"]
    world = World(
        run=pack_run(scenario),
        train=pack_train(scenario, scenario.brake, draw, rail_start),
        brakes=pack_brakes(scenario, draw, rail_start),
        axles=axles,
        cells=cells,
        grades=_line(scenario.gradient, "rise"),
        groups=groups,
        handle=handle,
        vehicles=vehicles,
        demand_table=demand_table,
        wire_table=wire_table,
        controller_table=controller_table,
        curves=_line(scenario.curves, "resistance"),
        faults=faults,
        presses=presses,
        driver=pack_driver(scenario),
        drives=drives,
        magnets=magnets,
        drive_states=drive_states,
        magnet_states=magnet_states,
        train_state=_train_at_start(scenario),
        vehicle_states=vehicle_states,
        **_empty_logs(len(faults), len(cells)),
        axle_states=np.zeros(n_axles, moving.AXLE_STATE),
        lanes=np.zeros(1, moving.LANES),
        rail_work=work,
        rail_sand=sand,
        law=pack_law(scenario, axles),
        sanders=sanders,
        sander_states=sander_states,
        signals=np.zeros((len(groups), len(SIGNALS))),
        effective=np.zeros(len(handle)),
        group_states=group_states,
        observation=np.full((n_axles, len(OBSERVED)), np.nan),
        command=np.tile([float(FILL), *[1.0] * (controller.n_command - 1)], (n_axles, 1)),
        train_traces=np.zeros((n_traces, len(TRACED_TRAIN))),
        axle_traces=np.zeros((n_traces, n_axles, len(TRACED_AXLE))),
    )
    _start_axles(world, scenario, generator)
    pack_transducers(world.axles, scenario, seed)
    _start_teeth(world, seed)
    return world

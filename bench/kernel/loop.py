"""Time from the first handle movement to standstill: samples, commands, traces.

`run_compiled` is compiled once for every strategy, which it takes as a typed function. The plain
Python loop (slipbench.kernel.plain, slipbench.stop.simulation) calls the same functions.
"""

import math
from typing import Any

import numba

from slipbench.compiling.cache import compiled_here
from slipbench.compiling.jit import apart, entry, inlined, inner
from slipbench.kernel.codes import QUEUE_LENGTH, RUNNING
from slipbench.kernel.columns import (
    BRAKE_DEMAND,
    DEMAND_FACTOR,
    DEMANDED_FORCE,
    DYNAMIC_DEMAND,
    DYNAMIC_FACTOR,
    DYNAMIC_FORCE,
    FILL,
    MEASURED_PRESSURE,
    MEASURED_WHEEL_SPEED,
    PEAK_CREEPAGE,
    PEAK_FORCE,
    ROTATING_MASS,
    SAMPLE_TIME,
    TRAIN_ACCELERATION,
    TRAIN_SPEED,
    VALVE,
    VENT,
    WHEEL_SPEED,
)
from slipbench.kernel.cut_out import follow_speed, watch_cut_out
from slipbench.kernel.cylinder import pressing
from slipbench.kernel.friction import rim_force
from slipbench.kernel.pneumatics import limit_vent, send_command
from slipbench.kernel.rail import enter_cell, leave_cell, peak_met
from slipbench.kernel.records import UPDATE_SIGNATURE, WORLD_TYPE, Group, World, part_types
from slipbench.kernel.sensing import sense_now
from slipbench.kernel.step import advance
from slipbench.kernel.traces import record

PAUSED = -2
"""What the time loop returns when it has not ended, only come back so that others have a turn."""

LOW_SPEED = 0.95 * 2.68224
"""Slip control at work below it is to be reported: six miles an hour, less a twentieth by which the
equipment's own speed may be off. [m/s]"""


@inlined
def observe(i_group: int, world: World) -> None:
    """Fill the rows of the observation of one controller's axles, as its equipment sees them now.

    Truth columns stay NaN, as packed, unless the controller declared that it uses truth.
    """
    group = world.groups[i_group]
    train_state = world.train_state[0]
    train = world.train[0]
    elapsed = train_state.clock - train_state.time
    speed = train_state.speed + train_state.acceleration * elapsed
    n_samples = world.group_states[i_group].n_samples
    place = n_samples % QUEUE_LENGTH
    for i_axle in range(group.first_axle, group.first_axle + group.n_axles):
        axle, axle_state = world.axles[i_axle], world.axle_states[i_axle]
        vehicle = world.vehicle_states[axle.i_vehicle]
        if axle_state.n_sensed <= n_samples:  # a sample as the step begins
            sense_now(
                train_state.clock,
                axle_state.wheel_speed,
                axle_state.pressure,
                train,
                axle,
                axle_state,
            )
        row = world.observation[i_axle]
        row[MEASURED_WHEEL_SPEED] = axle_state.sensed_speed[place]
        row[MEASURED_PRESSURE] = (
            axle_state.sensed_pressure[place] if train.has_pressure_transducer else math.nan
        )
        row[BRAKE_DEMAND] = vehicle.demand + vehicle.demand_rate * elapsed
        row[SAMPLE_TIME] = group.sample_time
        row[DYNAMIC_FORCE] = axle_state.dynamic_force + axle_state.dynamic_rate * elapsed
        dynamic = axle_state.dynamic_demand + axle_state.dynamic_demand_rate * elapsed
        row[DYNAMIC_DEMAND] = dynamic
        if not group.sees_truth:
            continue
        row[TRAIN_SPEED] = speed
        row[WHEEL_SPEED] = axle_state.wheel_speed
        row[PEAK_FORCE] = peak_met(speed, axle, axle_state, world.law[0])
        row[PEAK_CREEPAGE] = axle_state.peak_creepage
        clamp = pressing(axle_state.pressure, world.brakes[axle.i_vehicle], axle, axle_state)
        row[DEMANDED_FORCE] = rim_force(clamp, 0.0, 1.0, 0, axle, axle_state)[0] + dynamic
        row[ROTATING_MASS] = axle.rotating_mass
        row[TRAIN_ACCELERATION] = train_state.acceleration


@inlined
def _watch_speed(i_group: int, highest: float, world: World) -> None:
    """Let a controller's equipment follow the train's speed, and cut out or in by it."""
    train, group, group_state = world.train[0], world.groups[i_group], world.group_states[i_group]
    group_state.own_fastest = highest
    fastest = highest
    if train.shares_speed:
        for i in range(world.group_states.shape[0]):
            fastest = max(fastest, world.group_states[i].own_fastest)
    vehicle = world.vehicles[world.axles[group.first_axle].i_vehicle]
    own = world.observation[group.first_axle, BRAKE_DEMAND] * vehicle.emergency_share
    demand = max(own, world.train_state[0].demand)
    follow_speed(fastest, demand, group.sample_time, train, group_state)
    watch_cut_out(train, group_state)


@inlined
def _command_valve(i_axle: int, valve: int, factor: float, speed: float, world: World) -> None:
    """Send a valve its command, once the vent limit has had its say; note what is to be told."""
    axle, axle_state = world.axles[i_axle], world.axle_states[i_axle]
    train_state, sample_time = world.train_state[0], world.groups[axle.i_group].sample_time
    vehicle, brake = world.vehicle_states[axle.i_vehicle], world.brakes[axle.i_vehicle]
    n_restored = axle_state.n_restored
    scale = (brake.full_pressure - brake.spring_pressure) * vehicle.load_factor
    demanded = vehicle.air_demand * scale
    valve, factor = limit_vent(valve, factor, demanded, sample_time, brake, axle_state)
    if n_restored == 0 and axle_state.n_restored > 0:
        axle_state.restored_time, axle_state.restored_speed = train_state.clock, speed
    n_vents = axle_state.vent_count
    send_command(train_state.clock, valve, factor, axle, axle_state)
    if axle_state.vent_count > n_vents and speed < LOW_SPEED:
        if axle_state.low_speed_vents == 0:
            axle_state.low_speed_vent_time = train_state.clock
            axle_state.low_speed_vent_speed = speed
        axle_state.low_speed_vents += 1


@inlined
def accept(i_group: int, world: World) -> int:
    """Take a controller's commands; return the first axle whose command is not valid, else -1.

    Valid: a valve position of fill, hold or vent, a finite demand factor within the equipment's
    limit, a factor of the dynamic brake from 0 to 1 where it is commanded. What the equipment
    overrules is overruled here: valves shared by a bogie, the vent limit, the low-speed cut-out,
    slip control isolated or its computer dead.
    """
    group = world.groups[i_group]
    train = world.train[0]
    train_state = world.train_state[0]
    highest = 0.0
    for i_axle in range(group.first_axle, group.first_axle + group.n_axles):
        valve, factor = world.command[i_axle, VALVE], world.command[i_axle, DEMAND_FACTOR]
        if not (FILL <= valve <= VENT and valve == math.floor(valve)):
            return i_axle
        brake = world.brakes[world.axles[i_axle].i_vehicle]
        if not 0.0 <= factor <= brake.demand_factor_limit:
            return i_axle
        if group.commands_dynamic and not 0.0 <= world.command[i_axle, DYNAMIC_FACTOR] <= 1.0:
            return i_axle
        highest = max(highest, world.observation[i_axle, MEASURED_WHEEL_SPEED])
    speed = train_state.speed + train_state.acceleration * (train_state.clock - train_state.time)
    _watch_speed(i_group, highest, world)
    is_cut_out = world.group_states[i_group].is_cut_out
    is_out = train_state.clock < train_state.isolated_until or is_cut_out == 1
    if group.commands_dynamic:
        _command_drives(is_out, group, world)
    for i_axle in range(group.first_axle, group.first_axle + group.n_axles):
        axle_state = world.axle_states[i_axle]
        vehicle = world.vehicle_states[world.axles[i_axle].i_vehicle]
        factor = world.command[i_axle, DEMAND_FACTOR]
        if group.is_ideal:
            axle_state.demand_factor = 1.0 if is_out or vehicle.is_dead else factor
            continue
        valve = int(world.command[i_axle, VALVE])
        if train.valve_per_bogie:
            valve, factor = _of_bogie(i_axle, group, world)
        if is_out or vehicle.is_dead:
            valve, factor = FILL, 1.0
        _command_valve(i_axle, valve, factor, speed, world)
    return -1


@apart
def _command_drives(is_out: bool, group: Group, world: World) -> None:
    """Hand a strategy's factors to the drives: of a shared one, the least of its axles'."""
    axles = range(group.first_axle, group.first_axle + group.n_axles)
    for i_axle in axles:
        if world.axles[i_axle].i_drive >= 0:
            world.drive_states[world.axles[i_axle].i_drive].commanded = 1.0
    for i_axle in axles:
        axle = world.axles[i_axle]
        if axle.i_drive < 0 or is_out or world.vehicle_states[axle.i_vehicle].is_dead:
            continue
        own = world.drive_states[axle.i_drive]
        own.commanded = min(own.commanded, world.command[i_axle, DYNAMIC_FACTOR])


@apart
def _of_bogie(i_axle: int, group: Group, world: World) -> tuple[Any, Any]:
    """Return the command of a valve both axles of a bogie share: the more releasing of the two."""
    valve, factor = int(world.command[i_axle, VALVE]), world.command[i_axle, DEMAND_FACTOR]
    for other in range(group.first_axle, group.first_axle + group.n_axles):
        if world.axles[other].i_bogie == world.axles[i_axle].i_bogie:
            valve = max(valve, int(world.command[other, VALVE]))
            factor = min(factor, world.command[other, DEMAND_FACTOR])
    return valve, factor


@inlined
def plan_next_sample(i_group: int, world: World) -> None:
    """Set a controller's next sample: phase plus a whole number of sample times, by one product."""
    group, group_state = world.groups[i_group], world.group_states[i_group]
    group_state.n_samples += 1
    group_state.next_sample = group.phase + group_state.n_samples * group.sample_time


@inner
def finish(world: World) -> None:
    """Put what the axles collected in their last cells onto the rail, and record the end."""
    for i_axle in range(world.axle_states.shape[0]):
        leave_cell(world.train[0], world.rail_work, world.rail_sand, world.axle_states[i_axle])
    record(world, True)


@inlined
def run_to_pause(world: World, update: Any, parameters: Any, memory: Any) -> int:
    """Run a stop to its end or to the next pause; see `run_compiled`, and what a GPU runs."""
    state = world.train_state[0]
    while state.status == RUNNING:
        if state.n_axle_steps >= state.pause_at:
            return PAUSED
        i_group = advance(math.inf, world)
        if i_group < 0:
            break
        group = world.groups[i_group]
        observe(i_group, world)
        first, last = group.first_axle, group.first_axle + group.n_axles
        update(
            world.observation[first:last],
            parameters,
            memory[first + i_group : last + i_group + 1],
            world.command[first:last],
            world.signals[i_group],
        )
        refused = accept(i_group, world)
        if refused >= 0:
            return refused
        plan_next_sample(i_group, world)
    finish(world)
    return -1


with compiled_here():

    @entry(numba.void(*part_types("cells", "rail_work", "rail_sand", "train", "axle_states")))
    def put_on_rail(cells: Any, work: Any, sand: Any, train: Any, axle_states: Any) -> None:
        """Let every axle read the cell it starts in. Few arrays: a World takes long to compile."""
        for i_axle in range(axle_states.shape[0]):
            state = axle_states[i_axle]
            enter_cell(state.i_cell, cells, work, sand, train[0], state)

    @entry(
        numba.int64(
            WORLD_TYPE,
            numba.types.FunctionType(UPDATE_SIGNATURE),
            numba.float64[::1],
            numba.float64[:, ::1],
        ),
    )
    def run_compiled(world: Any, update: Any, parameters: Any, memory: Any) -> float:
        """Run a stop under a compiled strategy, to its end or to the next pause.

        Called again after a pause (`train_state.pause_at`, in pieces of time) it goes on as if
        there had been none: so Ctrl-C and a caller's clock are heard in a stop of any length.

        Parameters
        ----------
        world : World
        update : compiled function with UPDATE_SIGNATURE
        parameters : (n_parameters,)
        memory : (n_axles + n_groups, n_memory)   a block a group: its axles, then its own row

        Returns
        -------
        int   -1 at the end, `PAUSED`, or the first axle whose command was not valid (the stop ends
              there)
        """
        return run_to_pause(world, update, parameters, memory)

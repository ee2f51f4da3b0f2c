"""Time from the first handle movement to standstill: samples, commands, traces.

`run_compiled` is compiled once for every strategy, which it takes as a typed function. The plain
Python loop (bench.kernel.plain, bench.simulation) calls the same functions.
"""

import math
from typing import Any

import numba
from numba import njit

from bench.kernel.cache import compiled_here
from bench.kernel.columns import FILL, N_MEASURED, VENT
from bench.kernel.friction import rim_force
from bench.kernel.pneumatics import limit_vent, send_command
from bench.kernel.rail import enter_cell, leave_cell, peak_met
from bench.kernel.records import RUNNING, WORLD_TYPE
from bench.kernel.sensing import measure_speed
from bench.kernel.step import advance, next_sample
from bench.kernel.tally import usable_force

LOW_SPEED = 2.68224
"""Six miles an hour: slip control at work below it is to be reported. [m/s]"""

UPDATE_SIGNATURE = numba.types.void(
    numba.float64[:, ::1],
    numba.float64[::1],
    numba.float64[:, ::1],
    numba.float64[:, ::1],
    numba.float64[::1],
)
"""update(observation, parameters, memory, command, signals): see bench.contract."""


@njit(error_model="numpy", inline="always")
def observe(i_group: int, world: Any) -> None:
    """Fill the rows of the observation of one controller's axles, as its equipment sees them now.

    Truth columns are NaN unless the controller declared that it uses truth.
    """
    group = world.groups[i_group]
    state = world.train_state[0]
    train = world.train[0]
    for i_axle in range(group.first_axle, group.first_axle + group.n_axles):
        axle, moving = world.axles[i_axle], world.axle_states[i_axle]
        vehicle = world.vehicle_states[axle.i_vehicle]
        row = world.observation[i_axle]
        row[0] = measure_speed(state.time, train, axle, moving)
        row[1] = moving.pressure
        row[2] = vehicle.demand
        row[3] = group.sample_time
        if not group.sees_truth:
            row[N_MEASURED:] = math.nan
            continue
        row[4] = state.speed
        row[5] = moving.wheel_speed
        row[6] = peak_met(state.speed, axle, moving, world.law[0])
        row[7] = moving.peak_creepage
        row[8] = rim_force(moving.pressure, 0.0, 1.0, 0, axle, moving)[0]
        row[9] = axle.rotating_mass
        row[10] = state.acceleration


@njit(error_model="numpy", inline="always")
def accept(i_group: int, world: Any) -> int:
    """Take a controller's commands; return the first axle whose command is not valid, else -1.

    Valid: a valve position of fill, hold or vent, a finite demand factor within the equipment's
    limit. What the equipment overrules is overruled here: valves shared by a bogie, the vent limit,
    the low-speed cut-out, slip control isolated or its computer dead.
    """
    group = world.groups[i_group]
    train = world.train[0]
    state = world.train_state[0]
    highest = 0.0
    for i_axle in range(group.first_axle, group.first_axle + group.n_axles):
        valve, factor = world.command[i_axle, 0], world.command[i_axle, 1]
        if not (FILL <= valve <= VENT and valve == math.floor(valve)):
            return i_axle
        if not 0.0 <= factor <= train.demand_factor_limit:
            return i_axle
        highest = max(highest, world.observation[i_axle, 0])
    is_out = state.time < state.isolated_until or highest < train.cut_out_speed
    for i_axle in range(group.first_axle, group.first_axle + group.n_axles):
        moving = world.axle_states[i_axle]
        factor = world.command[i_axle, 1]
        if group.is_ideal:
            moving.demand_factor = 1.0 if is_out else factor
            continue
        valve = int(world.command[i_axle, 0])
        if train.valve_per_bogie:
            valve, factor = _of_bogie(i_axle, group, world)
        n_restored = moving.n_restored
        valve = limit_vent(valve, group.sample_time, train, moving)
        if n_restored == 0 and moving.n_restored > 0:
            moving.restored_time, moving.restored_speed = state.time, state.speed
        vehicle = world.vehicle_states[world.axles[i_axle].i_vehicle]
        if is_out or vehicle.is_dead:
            valve, factor = FILL, 1.0
        n_vents = moving.vent_count
        send_command(state.time, valve, factor, train, moving)
        if moving.vent_count > n_vents and state.speed < LOW_SPEED:
            vehicle.low_speed_vents += 1
            vehicle.lowest_vent_speed = min(vehicle.lowest_vent_speed, state.speed)
            if moving.low_speed_vents == 0:
                moving.low_speed_vent_time = state.time
                moving.low_speed_vent_speed = state.speed
            moving.low_speed_vents += 1
    return -1


@njit(error_model="numpy")
def _of_bogie(i_axle: int, group: Any, world: Any) -> tuple[Any, Any]:
    """Return the command of a valve both axles of a bogie share: the more releasing of the two."""
    valve, factor = int(world.command[i_axle, 0]), world.command[i_axle, 1]
    for other in range(group.first_axle, group.first_axle + group.n_axles):
        if world.axles[other].i_bogie == world.axles[i_axle].i_bogie:
            valve = max(valve, int(world.command[other, 0]))
            factor = min(factor, world.command[other, 1])
    return valve, factor


@njit(error_model="numpy", inline="always")
def plan_next_sample(i_group: int, world: Any) -> None:
    """Set a controller's next sample: phase plus a whole number of sample times, by one product."""
    group, state = world.groups[i_group], world.group_states[i_group]
    state.n_samples += 1
    state.next_sample = group.phase + state.n_samples * group.sample_time


@njit(error_model="numpy", inline="always")
def record(world: Any, is_last: int) -> None:
    """Write one row of the traces, if the interval since the last has passed and there is room."""
    state = world.train_state[0]
    if state.n_traces >= world.train_traces.shape[0]:
        return
    if not is_last and state.time < state.next_trace:
        return
    train = world.train[0]
    row = world.train_traces[state.n_traces]
    row[0], row[1], row[2] = state.time, state.distance, state.speed
    row[3], row[4] = state.demand, state.position
    row[5] = max(0.0, state.isolated_until - state.time)
    row[6] = world.vehicle_states[0].reservoir
    for i in range(world.vehicle_states.shape[0]):
        row[6] = min(row[6], world.vehicle_states[i].reservoir)
    for i_axle in range(world.axles.shape[0]):
        axle, moving = world.axles[i_axle], world.axle_states[i_axle]
        cell = world.axle_traces[state.n_traces, i_axle]
        cell[0], cell[1] = moving.wheel_speed, moving.pressure
        cell[2] = moving.rail_force if moving.is_locked else moving.brake_force
        cell[3], cell[4] = moving.rail_force, moving.friction
        vehicle = world.vehicle_states[axle.i_vehicle]
        pressure = vehicle.demand * vehicle.load_factor * train.full_pressure
        demanded = axle.brake_gain * pressure
        kept = moving.peak_ratio, moving.peak_creepage, moving.peak_speed
        cell[5] = usable_force(
            state.speed, demanded, state.acceleration, axle, moving, world.law[0]
        )
        # a trace finds a peak anew where the stop itself would not: it must leave no trace there
        moving.peak_ratio, moving.peak_creepage, moving.peak_speed = kept
        cell[6], cell[7] = moving.valve, moving.measured_speed
        cell[8] = moving.contact_energy
    state.n_traces += 1
    state.next_trace = state.time + world.run[0].trace_interval


@njit(error_model="numpy")
def finish(world: Any) -> None:
    """Put what the axles collected in their last cells onto the rail, and record the end."""
    for i_axle in range(world.axle_states.shape[0]):
        leave_cell(world.train[0], world.rail_work, world.rail_sand, world.axle_states[i_axle])
    record(world, True)


with compiled_here():

    @njit(numba.void(WORLD_TYPE), cache=True, error_model="numpy")
    def put_on_rail(world: Any) -> None:
        """Let every axle read the cell it starts in."""
        for i_axle in range(world.axle_states.shape[0]):
            state = world.axle_states[i_axle]
            enter_cell(
                state.i_cell, world.cells, world.rail_work, world.rail_sand, world.train[0], state
            )

    @njit(
        numba.int64(
            WORLD_TYPE,
            numba.types.FunctionType(UPDATE_SIGNATURE),
            numba.float64[::1],
            numba.float64[:, ::1],
        ),
        cache=True,
        error_model="numpy",
    )
    def run_compiled(world: Any, update: Any, parameters: Any, memory: Any) -> float:
        """Run a stop from start to end under a compiled strategy.

        Parameters
        ----------
        world : World
        update : compiled function with UPDATE_SIGNATURE
        parameters : (n_parameters,)
        memory : (n_axles + n_groups, n_memory)   a block a group: its axles, then its own row

        Returns
        -------
        int   -1, or the first axle whose command was not valid (the stop ends there)
        """
        state = world.train_state[0]
        while state.status == RUNNING:
            advance(next_sample(world), world)
            if state.status != RUNNING:
                break
            record(world, False)
            for i_group in range(world.groups.shape[0]):
                group = world.groups[i_group]
                if world.group_states[i_group].next_sample > state.time:
                    continue
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

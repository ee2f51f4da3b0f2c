"""One axle over a piece of time: its brake, its wheels, the rail under it, what it adds up.

A piece ends at the axle's own events: cell borders, valve commands, ends of pressure ramps, lock
and re-spin. It is done in three parts, so that axles moved together are taken through each part one
after the other (slipbench.kernel.step): a processor then works on the next axle while the one
before still waits for a division or an exponential (measured: tests/speed/README.md).
"""

from typing import Any

from slipbench.compiling.jit import folded, inlined, inner
from slipbench.kernel.codes import CONTACT_ONLY, DISC, POLACH, RAIL_AND_CONTACT
from slipbench.kernel.cylinder import clamp_piece, pressing
from slipbench.kernel.driver import time_to_travel
from slipbench.kernel.friction import heat_brake, rim_force
from slipbench.kernel.pneumatics import apply_due_commands, count_air, next_due, pressure_piece
from slipbench.kernel.rail import (
    clean_own_contact,
    enter_cell,
    leave_cell,
    peak_met,
    share_own_contact,
)
from slipbench.kernel.records import (
    Axle,
    AxleState,
    Group,
    Lanes,
    Law,
    Train,
    TrainState,
    Vehicle,
    World,
)
from slipbench.kernel.sanding import lay_sand, let_sand_fall
from slipbench.kernel.sensing import load_sensor, sense_together, take_sample, unload_sensor
from slipbench.kernel.slides import note_lane, time_to_sample
from slipbench.kernel.tally import add_up_together, count_piece, split_off_drive
from slipbench.kernel.wheelset import GAMMA, load_wheels, longest_piece, spin_together, turn_lane

_NO_TIME = 1e-11
"""Pieces shorter than this are nothing. [s]"""


@folded
def whole_vectors(n: int) -> int:
    """Return how many lanes to take so that no vector instruction is half filled."""
    return (n + 3) // 4 * 4


@inner
def _cross_border(
    i_axle: int,
    cells: Any,
    rail_work: Any,
    rail_sand: Any,
    sanders: Any,
    sander_states: Any,
    train: Train,
    axle_state: AxleState,
) -> None:
    """Take an axle into its next cell: what it cleaned stays behind, what lies ahead acts."""
    leave_cell(train, rail_work, rail_sand, axle_state)
    ahead = min(axle_state.i_cell + 1, cells.shape[0] - 1)
    for i in range(sanders.shape[0]):
        if sanders[i].i_axle == i_axle:
            lay_sand(ahead, train, rail_sand, sander_states[i])
    enter_cell(ahead, cells, rail_work, rail_sand, train, axle_state)
    axle_state.to_border += train.cell_length


@inlined
def _enter_next_cell(i_axle: int, world: World) -> None:
    """Hand `_cross_border` what it needs: compiled once, it serves two places."""
    _cross_border(
        i_axle,
        world.cells,
        world.rail_work,
        world.rail_sand,
        world.sanders,
        world.sander_states,
        world.train[0],
        world.axle_states[i_axle],
    )


@inner
def find_borders(n_lanes: int, speed: float, acceleration: float, lanes: Lanes) -> None:
    """Find how fast the train is as each lane's piece begins, and when its cell then ends.

    Parameters
    ----------
    n_lanes : int                 lanes taken, in vector instructions
    speed, acceleration : float   of the train as the step began [m/s], [m/s2]
    """
    for k in range(n_lanes):
        now = max(speed + acceleration * lanes.elapsed[k], 0.0)
        lanes.speed[k] = now
        lanes.border[k] = time_to_travel(lanes.to_border[k], now, acceleration)


@inlined
def begin_pieces(end: float, n: int, world: World) -> None:
    """Begin the next pieces of all lanes.

    Parameters
    ----------
    end : float   of the span the axles are moved through, from the step's start. [s]
    n : int       lanes taken
    """
    lanes, train_state = world.lanes[0], world.train_state[0]
    for k in range(n):
        axle_state = world.axle_states[lanes.i_axle[k]]
        lanes.elapsed[k], lanes.to_border[k] = axle_state.elapsed, axle_state.to_border
    find_borders(whole_vectors(n), train_state.speed, train_state.acceleration, lanes)
    for k in range(n):
        i_axle = lanes.i_axle[k]
        axle, axle_state = world.axles[i_axle], world.axle_states[i_axle]
        while lanes.border[k] <= _NO_TIME:
            _enter_next_cell(i_axle, world)
            lanes.border[k] = time_to_travel(
                axle_state.to_border, lanes.speed[k], train_state.acceleration
            )
        begin_piece(
            end,
            k,
            lanes,
            train_state,
            world.brakes[axle.i_vehicle],
            world.law[0],
            axle,
            axle_state,
            world.vehicle_states[axle.i_vehicle],
            world.groups[axle.i_group],
        )


@inner
def begin_piece(
    end: float,
    k: int,
    lanes: Lanes,
    train_state: TrainState,
    train: Train,
    law: Law,
    axle: Axle,
    axle_state: AxleState,
    vehicle: Vehicle,
    group: Group,
) -> None:
    """Find how long the next piece of a lane's axle may last, and how its brake moves in it."""
    time = train_state.time + axle_state.elapsed
    speed = lanes.speed[k]
    apply_due_commands(time, axle_state)
    longest = min(end - axle_state.elapsed, lanes.border[k], next_due(axle_state) - time)
    longest = min(longest, longest_piece(speed, axle, axle_state, law), time_to_sample(axle_state))
    scale = (train.full_pressure - train.spring_pressure) * vehicle.load_factor
    demanded_rate = vehicle.air_rate * scale
    demanded = vehicle.air_demand * scale + demanded_rate * axle_state.elapsed
    lanes.pressure_before[k] = axle_state.pressure
    rate, until = pressure_piece(
        longest,
        demanded,
        demanded_rate,
        train.prefill_pressure if vehicle.is_prefilled else 0.0,
        group.is_ideal,
        not vehicle.is_unbraked,
        vehicle.reservoir,
        train,
        axle,
        axle_state,
    )
    lanes.pressure_rate[k] = rate
    axle_state.clamp = pressing(axle_state.pressure, train, axle, axle_state)
    clamp_rate, until_kink = clamp_piece(axle_state.pressure, rate, train, axle, axle_state)
    lanes.duration[k] = min(longest, until, until_kink)
    lanes.brake[k], lanes.brake_rate[k] = rim_force(
        axle_state.clamp, clamp_rate, axle_state.demand_factor, group.is_ideal, axle, axle_state
    )
    lanes.demanded[k] = demanded * axle.brake_gain
    lanes.demanded_rate[k] = demanded_rate * axle.brake_gain
    if axle.i_drive >= 0:
        _add_drive(k, lanes, axle_state, group)
    is_demanded = demanded > 0.0 or lanes.demanded[k] > 0.0
    lanes.peak[k] = peak_met(speed, axle, axle_state, law) if is_demanded else 0.0
    load_wheels(k, lanes, axle, axle_state)


@inner
def _add_drive(k: int, lanes: Lanes, axle_state: AxleState, group: Group) -> None:
    """Add what its drive gives to a lane's brake force, and what is asked of it to the demand."""
    elapsed = axle_state.elapsed
    factor = axle_state.demand_factor if group.is_ideal else 1.0
    lanes.dynamic[k] = factor * (axle_state.dynamic_force + axle_state.dynamic_rate * elapsed)
    lanes.dynamic_rate[k] = factor * axle_state.dynamic_rate
    lanes.brake[k] += lanes.dynamic[k]
    lanes.brake_rate[k] += lanes.dynamic_rate[k]
    lanes.demanded[k] += axle_state.dynamic_demand + axle_state.dynamic_demand_rate * elapsed
    lanes.demanded_rate[k] += axle_state.dynamic_demand_rate


@inlined
def turn_wheels(n: int, world: World) -> None:
    """Turn the wheels of all lanes through their pieces, or until they lock or roll again."""
    lanes, law = world.lanes[0], world.law[0]
    acceleration = world.train_state[0].acceleration
    if law.kind == POLACH:
        spin_together(whole_vectors(n), acceleration, lanes)
    for k in range(n):
        i_axle = lanes.i_axle[k]
        turn_lane(k, acceleration, lanes, world.axles[i_axle], world.axle_states[i_axle], law)
    add_up_together(whole_vectors(n), acceleration, world.train[0], lanes)


@inlined
def end_pieces(n: int, world: World) -> None:
    """End the pieces of all lanes."""
    _sense(n, world)
    for k in range(n):
        _end_piece(k, world)


@inlined
def _sense(n: int, world: World) -> None:
    """Let the sensors of the lanes' axles follow them through their pieces, sample by sample."""
    lanes, train_state, train = world.lanes[0], world.train_state[0], world.train[0]
    for k in range(n):
        axle, axle_state = world.axles[lanes.i_axle[k]], world.axle_states[lanes.i_axle[k]]
        group = world.groups[axle.i_group]
        load_sensor(k, train_state.time + axle_state.elapsed, lanes, group, train, axle, axle_state)
    is_sampled = True
    while is_sampled:
        sense_together(whole_vectors(n), train, lanes)
        is_sampled = False
        for k in range(n):
            i_axle = lanes.i_axle[k]
            axle = world.axles[i_axle]
            group = world.groups[axle.i_group]
            is_sampled |= take_sample(k, lanes, group, axle, world.axle_states[i_axle])
    for k in range(n):
        unload_sensor(k, lanes, world.axle_states[lanes.i_axle[k]])


@inlined
def _end_piece(k: int, world: World) -> None:
    """Move on what else follows a lane's wheels through their piece: brake, rail and sums."""
    lanes, train_state, train = world.lanes[0], world.train_state[0], world.train[0]
    i_axle = lanes.i_axle[k]
    axle, axle_state = world.axles[i_axle], world.axle_states[i_axle]
    time, spent = train_state.time + axle_state.elapsed, lanes.duration[k]
    end_piece(time, k, lanes, train_state, axle, axle_state, world.vehicle_states[axle.i_vehicle])
    note_lane(
        time,
        k,
        lanes,
        train_state,
        world.run[0],
        train,
        axle,
        world.lock_log,
        world.lock_trail,
        world.rail_heat,
        world.slide_histogram,
        axle_state,
    )
    for i in range(world.sanders.shape[0]):
        if world.sanders[i].i_axle == i_axle:
            flow = world.sander_states[i].falling
            let_sand_fall(spent, time, flow, world.sanders[i], world.sander_states[i])
    limit = axle_state.wheel_load * axle_state.friction
    if lanes.border[k] <= spent + _NO_TIME:
        _enter_next_cell(i_axle, world)
    end_speed = lanes.speed[k] + train_state.acceleration * spent
    cell, sand = world.cells[axle_state.i_cell], world.rail_sand[axle_state.i_cell]
    if train.cleaning_law == CONTACT_ONLY:
        clean_own_contact(end_speed, cell, sand, train, axle_state)
    elif train.cleaning_law == RAIL_AND_CONTACT:
        traction, work = (
            0.5 * abs(axle_state.rail_force) / limit,
            world.rail_work[axle_state.i_cell],
        )
        share_own_contact(end_speed, traction, cell, work, sand, train, axle_state)


@inner
def end_piece(
    time: float,
    k: int,
    lanes: Lanes,
    train_state: TrainState,
    axle: Axle,
    axle_state: AxleState,
    vehicle: Vehicle,
) -> None:
    """Move on an axle's wheels, cylinder, brake and sums to the end of its piece."""
    spent, speed = lanes.duration[k], lanes.speed[k]
    end_speed = speed + train_state.acceleration * spent
    axle_state.wheel_speed = lanes.wheel_2[k]
    axle_state.rail_force = lanes.force_2[k]
    axle_state.wheel_acceleration = lanes.wheel_acceleration[k]
    if axle.i_drive >= 0:
        split_off_drive(k, lanes, axle_state)
    count_piece(k, lanes, axle_state)
    axle_state.pressure = max(0.0, axle_state.pressure + lanes.pressure_rate[k] * spent)
    count_air(axle_state.pressure - lanes.pressure_before[k], axle, axle_state, vehicle)
    brake_heat = lanes.brake_heat[k]
    if axle.friction_kind != DISC:
        brake_heat += 0.5 * lanes.contact_heat[k]  # a tread takes its share of the contact's heat
    hottest_before = axle_state.hottest
    heat_brake(spent, brake_heat, end_speed, axle, axle_state)
    if axle_state.hottest > hottest_before:
        axle_state.hottest_time = time + spent
        axle_state.hottest_speed = end_speed
    axle_state.brake_force = lanes.brake[k] + lanes.brake_rate[k] * spent
    axle_state.to_border -= spent * (speed + 0.5 * train_state.acceleration * spent)
    train_state.impulse += spent * ((1.0 - GAMMA) * lanes.force_1[k] + GAMMA * lanes.force_2[k])
    train_state.n_axle_steps += 1
    axle_state.elapsed += spent

"""One axle over a piece of time: its brake, its wheels, the rail under it, what it adds up.

A piece ends at the axle's own events: cell borders, valve commands, ends of pressure ramps, lock
and re-spin. It is done in three parts, so that axles moved together are taken through each part one
after the other (bench.kernel.step): a processor then works on the next axle while the one before
still waits for a division or an exponential (measured: see Speed in DEVELOPERS.md).
"""

import math
from typing import Any

from bench.kernel.driver import time_to_travel
from bench.kernel.friction import heat_brake, rim_force
from bench.kernel.jit import folded, inlined, inner
from bench.kernel.pneumatics import apply_due_commands, count_air, next_due, pressure_piece
from bench.kernel.rail import clean_own_contact, enter_cell, leave_cell, peak_met
from bench.kernel.records import CONTACT_ONLY, DISC, POLACH
from bench.kernel.sanding import lay_sand, let_sand_fall
from bench.kernel.sensing import (
    SENSED_AT_ONCE,
    is_plain,
    keep_sample,
    sense,
    sense_together,
    time_to_sample_after,
)
from bench.kernel.tally import (
    add_up_together,
    count_lock,
    count_piece,
    count_slide,
    log_lock,
    sample_lock,
    time_to_sample,
)
from bench.kernel.wheelset import GAMMA, longest_piece, spin_together, turn

_NO_TIME = 1e-11
"""Pieces shorter than this are nothing. [s]"""


@folded
def whole_vectors(n: int) -> int:
    """Return how many lanes to take so that no vector instruction is half filled."""
    return (n + 3) // 4 * 4


@inlined
def _demand(i_axle: int, world: Any) -> tuple[Any, Any]:
    """Return the cylinder pressure asked for where the piece begins, and its rate. [Pa], [Pa/s]"""
    vehicle = world.vehicle_states[world.axles[i_axle].i_vehicle]
    scale = world.train[0].full_pressure * vehicle.load_factor
    rate = vehicle.demand_rate * scale
    return vehicle.demand * scale + rate * world.axle_states[i_axle].elapsed, rate


@inlined
def _cross_border(i_axle: int, world: Any) -> None:
    """Take an axle into its next cell: what it cleaned stays behind, what lies ahead acts."""
    train, state = world.train[0], world.axle_states[i_axle]
    leave_cell(train, world.rail_work, world.rail_sand, state)
    ahead = min(state.i_cell + 1, world.cells.shape[0] - 1)
    for i in range(world.sanders.shape[0]):
        if world.sanders[i].i_axle == i_axle:
            lay_sand(ahead, train, world.rail_sand, world.sander_states[i])
    enter_cell(ahead, world.cells, world.rail_work, world.rail_sand, train, state)
    state.to_border += train.cell_length


@inner
def find_borders(n_lanes: int, speed: float, acceleration: float, lanes: Any) -> None:
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
def begin_pieces(end: float, n: int, world: Any) -> None:
    """Begin the next pieces of all lanes."""
    lanes, moving = world.lanes[0], world.train_state[0]
    for k in range(n):
        state = world.axle_states[lanes.i_axle[k]]
        lanes.elapsed[k], lanes.to_border[k] = state.elapsed, state.to_border
    find_borders(whole_vectors(n), moving.speed, moving.acceleration, lanes)
    for k in range(n):
        _begin_piece(end, k, world)


@inlined
def _begin_piece(end: float, k: int, world: Any) -> None:
    """Find how long the next piece of a lane's axle may last, and how its brake moves in it.

    Parameters
    ----------
    end : float   of the span the axle is moved through, from the step's start. [s]
    k : int       lane
    """
    lanes, moving, train, law = world.lanes[0], world.train_state[0], world.train[0], world.law[0]
    i_axle = lanes.i_axle[k]
    axle, state = world.axles[i_axle], world.axle_states[i_axle]
    vehicle, group = world.vehicle_states[axle.i_vehicle], world.groups[axle.i_group]
    acceleration = moving.acceleration
    time = moving.time + state.elapsed
    speed, border = lanes.speed[k], lanes.border[k]
    apply_due_commands(time, state)
    while border <= _NO_TIME:
        _cross_border(i_axle, world)
        border = time_to_travel(state.to_border, speed, acceleration)
    longest = min(end - state.elapsed, border, next_due(state) - time)
    longest = min(longest, longest_piece(speed, axle, state, law), time_to_sample(state))
    demanded, demanded_rate = _demand(i_axle, world)
    lanes.pressure_before[k] = state.pressure
    rate, until = pressure_piece(
        longest,
        demanded,
        demanded_rate,
        group.is_ideal,
        not vehicle.is_unbraked,
        vehicle.reservoir,
        train,
        axle,
        state,
    )
    lanes.pressure_rate[k] = rate
    lanes.border[k] = border
    lanes.duration[k] = min(longest, until)
    lanes.brake[k], lanes.brake_rate[k] = rim_force(
        state.pressure, rate, state.demand_factor, group.is_ideal, axle, state
    )
    lanes.demanded[k] = demanded * axle.brake_gain
    lanes.demanded_rate[k] = demanded_rate * axle.brake_gain
    lanes.peak[k] = peak_met(speed, axle, state, law) if demanded > 0.0 else 0.0
    lanes.wheel_before[k] = state.wheel_speed
    lanes.rotating_mass[k] = axle.rotating_mass
    lanes.wheel_load[k] = state.wheel_load
    lanes.contact_stiffness[k] = state.contact_stiffness
    lanes.friction[k] = state.friction
    lanes.friction_ratio[k] = state.friction_ratio
    lanes.friction_decay[k] = state.friction_decay
    lanes.adhesion_reduction[k] = state.adhesion_reduction
    lanes.slip_reduction[k] = state.slip_reduction
    lanes.curve_slip[k] = state.curve_slip
    lanes.curve_force[k] = state.curve_force
    lanes.curve_slope[k] = state.curve_slope


@inlined
def turn_wheels(n: int, world: Any) -> None:
    """Turn the wheels of all lanes through their pieces, or until they lock or roll again."""
    lanes, law = world.lanes[0], world.law[0]
    acceleration = world.train_state[0].acceleration
    if law.kind == POLACH:
        spin_together(whole_vectors(n), acceleration, lanes)
    for k in range(n):
        i_axle = lanes.i_axle[k]
        state = world.axle_states[i_axle]
        is_right = law.kind == POLACH and lanes.is_right[k] == 1.0
        if is_right and not state.is_locked and state.curve_slope != 0.0:
            state.curve_slip = lanes.next_slip[k]
            state.curve_force = lanes.next_force[k]
            state.curve_slope = lanes.next_slope[k]
            continue
        (
            lanes.duration[k],
            lanes.wheel_1[k],
            lanes.force_1[k],
            lanes.wheel_2[k],
            lanes.force_2[k],
        ) = turn(
            lanes.duration[k],
            lanes.speed[k],
            acceleration,
            lanes.brake[k],
            lanes.brake_rate[k],
            world.axles[i_axle],
            state,
            law,
        )
    add_up_together(whole_vectors(n), acceleration, world.train[0], lanes)


@inlined
def end_pieces(n: int, world: Any) -> None:
    """End the pieces of all lanes."""
    _sense(n, world)
    for k in range(n):
        _end_piece(k, world)


@inlined
def _sense(n: int, world: Any) -> None:
    """Let the sensors of the lanes' axles follow them through their pieces, sample by sample."""
    lanes, train = world.lanes[0], world.train[0]
    for k in range(n):
        _load_sensor(k, world)
    is_sampled = True
    while is_sampled:
        sense_together(whole_vectors(n), train, lanes)
        is_sampled = False
        for k in range(n):
            sample = lanes.sample[k]
            if sample <= lanes.duration[k] + SENSED_AT_ONCE:
                state = world.axle_states[lanes.i_axle[k]]
                pressure = state.pressure + lanes.pressure_rate[k] * min(sample, lanes.duration[k])
                keep_sample(lanes.measured_speed[k], pressure, state)
                group = world.groups[world.axles[lanes.i_axle[k]].i_group]
                lanes.sample[k] = time_to_sample_after(lanes.start[k], group, state)
                is_sampled = True
    for k in range(n):
        _unload_sensor(k, world)


@inlined
def _load_sensor(k: int, world: Any) -> None:
    """Take what a plain sensor knows into a lane; move one with faults on by itself."""
    lanes = world.lanes[0]
    axle, state = world.axles[lanes.i_axle[k]], world.axle_states[lanes.i_axle[k]]
    group = world.groups[axle.i_group]
    time = world.train_state[0].time + state.elapsed
    lanes.start[k] = time
    if state.sensor_fault != 0 or not is_plain(axle, state):
        sense(
            time,
            lanes.duration[k],
            lanes.wheel_before[k],
            lanes.wheel_acceleration[k],
            state.pressure,
            lanes.pressure_rate[k],
            group,
            world.train[0],
            axle,
            state,
        )
        lanes.sample[k] = math.inf
        return
    lanes.sample[k] = time_to_sample_after(time, group, state)
    lanes.pulse_pitch[k] = axle.pulse_pitch
    lanes.pulses_per_metre[k] = axle.pulses_per_metre
    lanes.assumed_pitch[k] = axle.assumed_pitch
    lanes.rim_travel[k] = state.rim_travel
    lanes.next_pulse[k] = state.next_pulse
    lanes.n_pulses[k] = state.n_pulses
    lanes.pulse_time[k] = state.pulse_time
    lanes.sampled_pulse_time[k] = state.sampled_pulse_time
    lanes.measured_speed[k] = state.measured_speed


@inlined
def _unload_sensor(k: int, world: Any) -> None:
    """Put back what a plain sensor knows after its piece."""
    lanes, state = world.lanes[0], world.axle_states[world.lanes[0].i_axle[k]]
    if math.isinf(lanes.sample[k]):
        return
    spent = lanes.duration[k]
    state.rim_travel += (lanes.wheel_before[k] + 0.5 * lanes.wheel_acceleration[k] * spent) * spent
    state.next_pulse = lanes.next_pulse[k]
    state.n_pulses = lanes.n_pulses[k]
    state.pulse_time = lanes.pulse_time[k]
    state.sampled_pulse_time = lanes.sampled_pulse_time[k]
    state.measured_speed = lanes.measured_speed[k]


@inlined
def _end_piece(k: int, world: Any) -> None:
    """Move on what else follows a lane's wheels through their piece: brake, rail and sums."""
    lanes = world.lanes[0]
    i_axle = lanes.i_axle[k]
    moving, train = world.train_state[0], world.train[0]
    axle, state = world.axles[i_axle], world.axle_states[i_axle]
    vehicle = world.vehicle_states[axle.i_vehicle]
    acceleration = moving.acceleration
    time = moving.time + state.elapsed
    spent, speed = lanes.duration[k], lanes.speed[k]
    brake, brake_rate = lanes.brake[k], lanes.brake_rate[k]
    end_speed = speed + acceleration * spent
    state.wheel_speed = lanes.wheel_2[k]
    state.rail_force = lanes.force_2[k]
    state.wheel_acceleration = lanes.wheel_acceleration[k]
    count_piece(k, lanes, state)
    pressure, rate = state.pressure, lanes.pressure_rate[k]
    state.pressure = max(0.0, pressure + rate * spent)
    count_air(state.pressure - lanes.pressure_before[k], axle, state, vehicle)
    brake_heat = lanes.brake_heat[k]
    if axle.friction_kind != DISC:
        brake_heat += 0.5 * lanes.contact_heat[k]  # a tread takes its share of the contact's heat
    hottest_before = state.hottest
    heat_brake(spent, brake_heat, end_speed, axle, state)
    if state.hottest > hottest_before:
        state.hottest_time = time + spent
        state.hottest_speed = end_speed
    state.brake_force = brake + brake_rate * spent
    state.to_border -= spent * (speed + 0.5 * acceleration * spent)
    moving.impulse += spent * ((1.0 - GAMMA) * lanes.force_1[k] + GAMMA * lanes.force_2[k])
    moving.n_axle_steps += 1
    state.elapsed += spent
    _count_slide_and_lock(time, end_speed, k, world)
    for i in range(world.sanders.shape[0]):
        if world.sanders[i].i_axle == i_axle:
            flow = world.sander_states[i].falling
            let_sand_fall(spent, time, flow, world.sanders[i], world.sander_states[i])
    if lanes.border[k] <= spent + _NO_TIME:
        _cross_border(i_axle, world)
    if train.cleaning_law == CONTACT_ONLY:
        clean_own_contact(
            end_speed, world.cells[state.i_cell], world.rail_sand[state.i_cell], train, state
        )


@inlined
def _count_slide_and_lock(time: float, end_speed: float, k: int, world: Any) -> None:
    """Add up how a lane's axle slid or stood in its piece. [s], [m/s]"""
    lanes = world.lanes[0]
    i_axle = lanes.i_axle[k]
    moving, run, state = world.train_state[0], world.run[0], world.axle_states[i_axle]
    spent, heat = lanes.duration[k], lanes.contact_heat[k]
    locked, begins = count_lock(spent, time, lanes.wheel_before[k], end_speed, heat, run, state)
    if locked > 0.0:
        place = moving.distance + moving.speed * state.elapsed - world.axles[i_axle].offset
        log_lock(
            locked,
            begins,
            spent,
            time,
            place,
            end_speed,
            heat,
            i_axle,
            moving,
            world.lock_log,
            state,
        )
        sample_lock(moving, world.lock_log, world.lock_trail, state)
        work = 0.5 * heat * locked / spent
        world.rail_heat[state.i_cell] += work / world.train[0].cell_length
    count_slide(
        spent,
        time,
        end_speed,
        lanes.creepage[k],
        lanes.flash_intensity[k],
        run,
        world.slide_histogram,
        state,
    )

"""One step of the whole train: the only place where the parts of the kernel meet.

The axles are moved one after the other from the front, each over the whole step, cut at its own
events: cell borders, valve commands, ends of pressure ramps, lock and re-spin. An axle leaves a
cell long before the next one enters it (a cell is at most half the smallest axle spacing), so
this order gives every axle the rail exactly as those before it left it, however many axles stand
in one cell or cells lie in one step.

Within a step the train's speed is taken to run linearly with the acceleration of the step before;
its true change then follows from the impulse of the rail forces, which the wheels' own momentum
balances fix. Second order in the step; tests/convergence measures it.
"""

import math

from numba import njit

from bench.kernel.driver import move_handle, time_to_handle_event, time_to_travel
from bench.kernel.friction import rim_force
from bench.kernel.pneumatics import apply_due_commands, next_due, pressure_piece
from bench.kernel.rail import clean_own_contact, enter_cell, leave_cell
from bench.kernel.records import CONTACT_ONLY, RUNNING, STOPPED, TOO_FAR, TOO_LONG
from bench.kernel.sanding import lay_sand, let_sand_fall, sand_flow, watch_trigger
from bench.kernel.sensing import watch_pulses
from bench.kernel.tally import count_adhesion, count_energy, count_lock, count_slide
from bench.kernel.train import gradient_force, running_resistance
from bench.kernel.wheelset import GAMMA, longest_piece, turn

_NO_TIME = 1e-11
"""Pieces shorter than this are nothing. [s]"""

_AT_REST = 5e-3
"""From this speed on the rest of the stop is one parabola, of less than a millimetre. [m/s]"""


@njit(error_model="numpy")
def _move_axle_piece(
    longest,
    time,
    speed,
    acceleration,
    demanded,
    demanded_rate,
    is_ideal,
    run,
    train,
    law,
    axle,
    state,
):
    """Move one axle by one piece of time without events inside.

    Returns
    -------
    (float, float, bool)   time taken [s], impulse of the rail force [N s], whether the axle now
    stands at the border of its cell
    """
    apply_due_commands(time, state)
    rate, until = pressure_piece(demanded, demanded_rate, is_ideal, train, state)
    border = time_to_travel(state.to_border, speed, acceleration)
    if border <= _NO_TIME:
        return 0.0, 0.0, True
    longest = min(longest, until, border, next_due(state) - time)
    longest = min(longest, longest_piece(speed, axle, state, law))
    brake = rim_force(state.pressure, state.demand_factor, is_ideal, axle)
    brake_rate = rim_force(1.0, state.demand_factor, is_ideal, axle) * rate
    wheel_before = state.wheel_speed
    piece = turn(longest, speed, acceleration, brake, brake_rate, axle, state, law)
    spent = piece[0]
    state.wheel_speed = piece[3]
    state.rail_force = piece[4]
    heat = count_energy(piece, speed, acceleration, brake, brake_rate, train, state)
    end_speed = speed + acceleration * spent
    count_lock(spent, wheel_before, end_speed, heat, run, state)
    count_slide(spent, end_speed, run, state)
    if demanded > 0.0:
        gain = axle.brake_gain
        count_adhesion(
            piece, speed, acceleration, demanded * gain, demanded_rate * gain, axle, state, law
        )
    watch_pulses(time, spent, wheel_before, state.wheel_speed, axle, state)
    state.pressure = max(0.0, state.pressure + rate * spent)
    state.brake_force = rim_force(state.pressure, state.demand_factor, is_ideal, axle)
    state.to_border -= spent * (speed + 0.5 * acceleration * spent)
    impulse = spent * ((1.0 - GAMMA) * piece[2] + GAMMA * piece[4])
    return spent, impulse, border <= spent + _NO_TIME


@njit(error_model="numpy")
def _move_axle(
    duration,
    moving,
    is_ideal,
    run,
    train,
    law,
    cells,
    rail_work,
    rail_sand,
    sanders,
    sander_states,
    axle,
    state,
    i_axle,
):
    """Move one axle over a step; return the impulse of its rail force. [N s]"""
    demanded_rate = moving.demand_rate * train.full_pressure
    elapsed = 0.0
    impulse = 0.0
    while duration - elapsed > _NO_TIME:
        speed = max(moving.speed + moving.acceleration * elapsed, 0.0)
        spent, push, is_at_border = _move_axle_piece(
            duration - elapsed,
            moving.time + elapsed,
            speed,
            moving.acceleration,
            moving.demand * train.full_pressure + demanded_rate * elapsed,
            demanded_rate,
            is_ideal,
            run,
            train,
            law,
            axle,
            state,
        )
        elapsed += spent
        impulse += push
        moving.n_axle_steps += 1
        for i in range(sanders.shape[0]):
            if sanders[i].i_axle == i_axle:
                flow = sander_states[i].falling
                let_sand_fall(spent, moving.time + elapsed, flow, sanders[i], sander_states[i])
        if is_at_border:
            leave_cell(train, rail_work, rail_sand, state)
            ahead = min(state.i_cell + 1, cells.shape[0] - 1)
            for i in range(sanders.shape[0]):
                if sanders[i].i_axle == i_axle:
                    lay_sand(ahead, train, rail_sand, sander_states[i])
            enter_cell(ahead, cells, rail_work, rail_sand, train, state)
            state.to_border += train.cell_length
        if train.cleaning_law == CONTACT_ONLY:
            clean_own_contact(
                speed + moving.acceleration * spent,
                cells[state.i_cell],
                rail_sand[state.i_cell],
                train,
                state,
            )
    return impulse


@njit(error_model="numpy")
def _run_sanders(world):
    """Decide for the coming step which sanders run, and how much falls."""
    state = world.train_state[0]
    for i in range(world.sanders.shape[0]):
        sander, own = world.sanders[i], world.sander_states[i]
        i_group = world.axles[sander.i_axle].i_group
        watch_trigger(state.time, state.demand, i_group, world.signals, sander, own)
        own.falling = sand_flow(state.time, state.speed, sander, own)


@njit(error_model="numpy")
def step(duration, world):
    """Move the train and all its axles by one step.

    Parameters
    ----------
    duration : float   no sample, handle event or end of a demand ramp inside. [s]
    world : World      its states are changed
    """
    state = world.train_state[0]
    train = world.train[0]
    speed, foreseen = state.speed, state.acceleration
    middle = speed + 0.5 * foreseen * duration
    impulse = 0.0
    _run_sanders(world)
    for i_axle in range(world.axles.shape[0]):
        axle = world.axles[i_axle]
        impulse += _move_axle(
            duration,
            state,
            world.groups[axle.i_group].is_ideal,
            world.run[0],
            train,
            world.law[0],
            world.cells,
            world.rail_work,
            world.rail_sand,
            world.sanders,
            world.sander_states,
            axle,
            world.axle_states[i_axle],
            i_axle,
        )
    resistance = running_resistance(middle, train)
    gradient = gradient_force(state.distance + 0.5 * middle * duration, world.axles, world.grades)
    change = -(impulse + (resistance + gradient) * duration) / train.mass
    after = speed + change
    path = 0.5 * (speed + after) * duration
    correction = path - middle * duration
    for i_axle in range(world.axle_states.shape[0]):
        world.axle_states[i_axle].to_border -= correction
    state.resistance_work += resistance * path
    state.gradient_work += gradient * path
    state.distance += path
    state.time += duration
    state.speed = after
    state.acceleration = change / duration
    state.demand += state.demand_rate * duration
    state.n_steps += 1


@njit(error_model="numpy")
def _come_to_rest(world):
    state = world.train_state[0]
    if state.acceleration < 0.0 and state.speed > 0.0:
        state.distance += 0.5 * state.speed * state.speed / -state.acceleration
        state.time += state.speed / -state.acceleration
    state.speed = 0.0
    state.status = STOPPED


@njit(error_model="numpy")
def advance(until, world):
    """Advance the stop to a time, or to its end. The compiled and the Python loop both call this.

    Parameters
    ----------
    until : float   next sample of any controller. [s]
    world : World   its states are changed; `train_state.status` tells whether and how it ended
    """
    state = world.train_state[0]
    run = world.run[0]
    while state.status == RUNNING:
        move_handle(world.handle, world.effective, world.train[0], state)
        left = until - state.time
        if left <= _NO_TIME:
            state.time = until
            return
        duration = min(
            run.maximum_step, left, time_to_handle_event(world.handle, world.effective, state)
        )
        if state.acceleration < 0.0:
            to_rest = (state.speed - 0.5 * _AT_REST) / -state.acceleration
            duration = min(duration, max(to_rest, 1e-9))
        step(duration, world)
        if state.speed <= _AT_REST:
            _come_to_rest(world)
        elif state.distance >= run.maximum_distance:
            state.status = TOO_FAR
        elif state.time >= run.maximum_time:
            state.status = TOO_LONG


@njit(error_model="numpy")
def next_sample(world):
    """Return when the next controller samples. [s]"""
    soonest = math.inf
    for i_group in range(world.group_states.shape[0]):
        soonest = min(soonest, world.group_states[i_group].next_sample)
    return soonest

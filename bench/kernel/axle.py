"""One axle over a span of time: its brake, its wheels, the rail under it, what it adds up.

The span is cut at the axle's own events: cell borders, valve commands, ends of pressure ramps, lock
and re-spin.
"""

from typing import Any

from bench.kernel.driver import time_to_travel
from bench.kernel.friction import heat_brake, rim_force
from bench.kernel.jit import inner, kept
from bench.kernel.pneumatics import apply_due_commands, count_air, next_due, pressure_piece
from bench.kernel.rail import clean_own_contact, enter_cell, leave_cell
from bench.kernel.records import CONTACT_ONLY, DISC
from bench.kernel.sanding import lay_sand, let_sand_fall
from bench.kernel.sensing import watch_pulses
from bench.kernel.tally import (
    count_adhesion,
    count_energy,
    count_lock,
    count_slide,
    log_lock,
    note_slide,
)
from bench.kernel.wheelset import GAMMA, longest_piece, turn

_NO_TIME = 1e-11
"""Pieces shorter than this are nothing. [s]"""


@inner
def _move_axle_piece(
    longest: float,
    time: float,
    speed: float,
    acceleration: float,
    demanded: float,
    demanded_rate: float,
    is_ideal: int,
    parts: Any,
    i_axle: int,
) -> tuple[Any, Any, Any]:
    """Move one axle by one piece of time without events inside.

    Returns
    -------
    (float, float, bool)   time taken [s], impulse of the rail force [N s], whether the axle now
    stands at the border of its cell
    """
    _run, train, law, axle, state, vehicle, _moving = parts
    apply_due_commands(time, state)
    border = time_to_travel(state.to_border, speed, acceleration)
    if border <= _NO_TIME:
        return 0.0, 0.0, True
    longest = min(longest, border, next_due(state) - time)
    longest = min(longest, longest_piece(speed, axle, state, law))
    pressure_before = state.pressure
    rate, until = pressure_piece(
        longest,
        demanded,
        demanded_rate,
        is_ideal,
        not vehicle.is_unbraked,
        vehicle.reservoir,
        train,
        axle,
        state,
    )
    longest = min(longest, until)
    brake, brake_rate = rim_force(state.pressure, rate, state.demand_factor, is_ideal, axle, state)
    wheel_before = state.wheel_speed
    heat_before = state.brake_energy
    piece = turn(longest, speed, acceleration, brake, brake_rate, axle, state, law)
    spent = piece[0]
    state.wheel_speed = piece[3]
    state.rail_force = piece[4]
    state.wheel_acceleration = (state.wheel_speed - wheel_before) / spent
    heat = count_energy(piece, speed, acceleration, brake, brake_rate, train, state)
    state.piece_heat = heat
    end_speed = speed + acceleration * spent
    state.pressure = max(0.0, state.pressure + rate * spent)
    count_air(state.pressure - pressure_before, axle, state, vehicle)
    brake_heat = state.brake_energy - heat_before
    if axle.friction_kind != DISC:
        brake_heat += 0.5 * heat  # a tread takes its share of the contact's heat as well
    hottest_before = state.hottest
    heat_brake(spent, brake_heat, end_speed, axle, state)
    if state.hottest > hottest_before:
        state.hottest_time = time + spent
        state.hottest_speed = end_speed
    if demanded > 0.0:
        gain = axle.brake_gain
        count_adhesion(
            piece, speed, acceleration, demanded * gain, demanded_rate * gain, axle, state, law
        )
    watch_pulses(time, spent, wheel_before, state.wheel_speed, axle, state)
    state.brake_force = brake + brake_rate * spent
    state.to_border -= spent * (speed + 0.5 * acceleration * spent)
    impulse = spent * ((1.0 - GAMMA) * piece[2] + GAMMA * piece[4])
    return spent, impulse, border <= spent + _NO_TIME


@kept
def move_axle(
    start: float,
    end: float,
    is_ideal: int,
    parts: Any,
    cells: Any,
    rail_work: Any,
    rail_sand: Any,
    sanders: Any,
    sander_states: Any,
    lock_log: Any,
    histogram: Any,
    i_axle: int,
) -> float:
    """Move one axle from one moment of the step to another, both counted from the step's start.

    Returns
    -------
    float   impulse of its rail force. [N s]
    """
    run, train, _law, axle, state, vehicle, moving = parts
    scale = train.full_pressure * vehicle.load_factor
    demanded_rate = vehicle.demand_rate * scale
    elapsed = start
    impulse = 0.0
    while end - elapsed > _NO_TIME:
        speed = max(moving.speed + moving.acceleration * elapsed, 0.0)
        wheel_before = state.wheel_speed
        spent, push, is_at_border = _move_axle_piece(
            end - elapsed,
            moving.time + elapsed,
            speed,
            moving.acceleration,
            vehicle.demand * scale + demanded_rate * elapsed,
            demanded_rate,
            is_ideal,
            parts,
            i_axle,
        )
        now = moving.time + elapsed
        elapsed += spent
        impulse += push
        moving.n_axle_steps += 1
        if spent > 0.0:
            end_speed = speed + moving.acceleration * spent
            locked, begins = count_lock(
                spent, now, wheel_before, end_speed, state.piece_heat, run, state
            )
            if locked > 0.0:
                place = moving.distance + moving.speed * elapsed - axle.offset
                log_lock(
                    locked,
                    begins,
                    spent,
                    now,
                    place,
                    end_speed,
                    state.piece_heat,
                    i_axle,
                    moving,
                    lock_log,
                    state,
                )
            count_slide(spent, end_speed, run, histogram, state)
            note_slide(spent, now, end_speed, state.piece_heat, run, state)
        for i in range(sanders.shape[0]):
            if sanders[i].i_axle == i_axle:
                flow = sander_states[i].falling
                let_sand_fall(spent, now, flow, sanders[i], sander_states[i])
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

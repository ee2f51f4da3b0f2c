"""One step of the whole train: where the parts of the kernel meet.

The axles are moved together, each over the whole step (or those under one controller, from one of
its samples to the next, where a command may act within the step), cut at its own events: cell
borders, valve commands, ends of pressure ramps, lock and re-spin. That is possible because no axle
gets far enough to enter a cell that one before it leaves meanwhile: a cell is at most half the
smallest axle spacing. Where the step is so long or the train so fast that one might, the axles are
moved one after the other from the front. Either way every axle meets the rail exactly as those
before it left it.

Within a step the train's speed is taken to run linearly with the acceleration of the step before;
its true change then follows from the impulse of the rail forces, which the wheels' own momentum
balances fix. Second order in the step; tests/convergence measures it.
"""

import math

from slipbench.compiling.jit import inlined, inner
from slipbench.kernel.axle import begin_pieces, end_pieces, turn_wheels
from slipbench.kernel.blending import blend
from slipbench.kernel.cab import decide
from slipbench.kernel.codes import (
    BROKEN,
    HOLD_PROGRAMME,
    JERK_TIME,
    MOST_STEP_PIECES,
    N_LANES,
    PITCH_TIME,
    RUNNING,
    STOPPED,
    TOO_FAR,
    TOO_LONG,
    TOO_MANY_PIECES,
)
from slipbench.kernel.columns import FAULT_DISTANCE, FAULT_TIME, FAULT_TRAIN_SPEED, VENT
from slipbench.kernel.driver import move_handle, time_to_handle_event
from slipbench.kernel.drives import book_drives, sample_drives, time_to_drive_sample
from slipbench.kernel.faults import break_what_is_due, time_to_fault
from slipbench.kernel.loads import has_transfer, transfer_load
from slipbench.kernel.pneumatics import acting_valve
from slipbench.kernel.records import TrainState, World
from slipbench.kernel.sanding import sand_flow, watch_trigger
from slipbench.kernel.supply import move_air
from slipbench.kernel.tally import note_cab
from slipbench.kernel.traces import record
from slipbench.kernel.track_brake import aim_magnets, run_magnets, time_to_magnet_event
from slipbench.kernel.train import curve_force, gradient_force, running_resistance

_NO_TIME = 1e-11
"""Pieces shorter than this are nothing. [s]"""

_AT_REST = 5e-3
"""From this speed on the rest of the stop is one parabola, of less than a millimetre. [m/s]"""


@inlined
def _run_sanders(world: World) -> None:
    """Decide for the coming step which sanders run, and how much falls."""
    train_state = world.train_state[0]
    for i in range(world.sanders.shape[0]):
        sander, own = world.sanders[i], world.sander_states[i]
        axle = world.axles[sander.i_axle]
        demand = world.vehicle_states[axle.i_vehicle].demand
        watch_trigger(train_state.time, demand, axle.i_group, world.signals, sander, own)
        own.falling = sand_flow(train_state.time, train_state.speed, sander, own)


@inlined
def _transfer_loads(duration: float, world: World) -> None:
    """Set the axle loads for the coming step: pitch half a step on, so second order in it."""
    train_state = world.train_state[0]
    rate = (train_state.acceleration - train_state.pitch_acceleration) / PITCH_TIME
    for i in range(world.vehicles.shape[0]):
        if has_transfer(world.vehicles[i]):
            pitch = train_state.pitch_acceleration + 0.5 * duration * rate
            transfer_load(pitch, world.vehicles[i], world.axles, world.axle_states)


@inlined
def _move_axles(first: int, last: int, end: float, world: World) -> None:
    """Move some axles to one moment of the step, each in as many pieces as it needs.

    They stay where they are once the step has taken more pieces than it may.
    """
    lanes, train_state = world.lanes[0], world.train_state[0]
    n = 0
    for i_axle in range(first, last):
        if end - world.axle_states[i_axle].elapsed > _NO_TIME:
            lanes.i_axle[n] = i_axle
            n += 1
    while n > 0 and train_state.n_axle_steps < train_state.most_pieces:
        begin_pieces(end, n, world)
        turn_wheels(n, world)
        end_pieces(n, world)
        n_left = 0
        for k in range(n):
            i_axle = lanes.i_axle[k]
            if end - world.axle_states[i_axle].elapsed > _NO_TIME:
                lanes.i_axle[n_left] = i_axle
                n_left += 1
        n = n_left


@inlined
def _move_group(world: World) -> bool:
    """Move the axles of the controller whose turn it is past its next sample, or to the step's end.

    A command acts only after the valve's delay, so the axles are moved on by that delay beyond the
    sample before the controller is asked: pieces of time need not end at samples. What the sample
    found is kept meanwhile (slipbench.kernel.sensing). Where that carries every controller past the
    step's end, the first one's turn moves all axles of the train there (`is_together`).

    Returns
    -------
    bool   whether the controller samples now
    """
    train_state = world.train_state[0]
    group = world.groups[train_state.i_group]
    due = world.group_states[train_state.i_group].next_sample - train_state.time
    end = min(max(due + group.lookahead, train_state.elapsed), train_state.step_duration)
    if end > train_state.elapsed:
        first, last = group.first_axle, group.first_axle + group.n_axles
        if train_state.is_together:
            first, last = 0, world.axles.shape[0]
        run = (end - train_state.elapsed) * (
            train_state.speed + abs(train_state.acceleration) * end
        )
        together = N_LANES if run < world.train[0].room else 1
        for i_axle in range(first, last, together):
            _move_axles(i_axle, min(i_axle + together, last), end, world)
        train_state.elapsed = end
    train_state.clock = train_state.time + due
    return due <= train_state.step_duration


@inlined
def _note_jerk(duration: float, train_state: TrainState) -> None:
    """Note the largest jerk of the train, of the smoothed acceleration, and that near the end."""
    jerk = (train_state.acceleration - train_state.filtered_acceleration) / JERK_TIME
    train_state.filtered_acceleration += duration * jerk
    if abs(jerk) > train_state.largest_jerk:
        train_state.largest_jerk = abs(jerk)
        train_state.jerk_time, train_state.jerk_speed = train_state.time, train_state.speed
    if train_state.speed < 5.0 and abs(jerk) > train_state.final_jerk:
        train_state.final_jerk = abs(jerk)
        train_state.final_jerk_time, train_state.final_jerk_speed = (
            train_state.time,
            train_state.speed,
        )


@inlined
def _move_demands(duration: float, world: World) -> None:
    """Move what is demanded on to the step's end: of each vehicle, and of the train on the mean."""
    train_state = world.train_state[0]
    train_state.demand = 0.0
    for i in range(world.vehicle_states.shape[0]):
        vehicle = world.vehicle_states[i]
        vehicle.demand += vehicle.demand_rate * duration
        vehicle.air_demand += vehicle.air_rate * duration
        share = vehicle.demand * world.vehicles[i].emergency_share
        train_state.demand += share / world.vehicle_states.shape[0]


@inlined
def _end_step(world: World) -> None:
    """Move the train itself: its speed follows from the impulses, its place from the speed."""
    train_state, train = world.train_state[0], world.train[0]
    duration = train_state.step_duration
    speed = train_state.speed
    middle = speed + 0.5 * train_state.acceleration * duration
    place = train_state.distance + 0.5 * middle * duration
    resistance = running_resistance(middle, train)
    gradient = gradient_force(place, world.axles, world.grades)
    curve = curve_force(place, world.axles, world.curves)
    outside = resistance + gradient + curve + train_state.track_force
    change = -(train_state.impulse + outside * duration) / train.mass
    after = speed + change
    path = 0.5 * (speed + after) * duration
    correction = path - middle * duration
    for i_axle in range(world.axle_states.shape[0]):
        world.axle_states[i_axle].to_border -= correction
    train_state.resistance_work += resistance * path
    train_state.gradient_work += gradient * path
    train_state.curve_work += curve * path
    train_state.track_work += train_state.track_force * path
    train_state.distance += path
    train_state.time += duration
    train_state.speed = after
    train_state.acceleration = change / duration
    share = duration / (PITCH_TIME + 0.5 * duration)
    train_state.pitch_acceleration += share * (
        train_state.acceleration - train_state.pitch_acceleration
    )
    _note_jerk(duration, train_state)
    note_cab(
        duration,
        world.axle_states[0].measured_speed,
        train_state.distance - path,
        train,
        train_state,
    )
    _move_demands(duration, world)
    move_air(duration, train_state, train, world.brakes, world.vehicles, world.vehicle_states)
    if world.drives.shape[0] > 0:
        book_drives(duration, world)
    train_state.n_steps += 1


@inner
def _come_to_rest(world: World) -> None:
    train_state = world.train_state[0]
    if train_state.acceleration < 0.0 and train_state.speed > 0.0:
        train_state.distance += (
            0.5 * train_state.speed * train_state.speed / -train_state.acceleration
        )
        train_state.time += train_state.speed / -train_state.acceleration
    train_state.stop_jerk = abs(train_state.filtered_acceleration) / JERK_TIME
    train_state.speed = 0.0
    train_state.status = STOPPED


@inlined
def _look_at_cab(world: World) -> None:
    """Let the driver look at the cab, every tenth of a second, where the driver may ease."""
    train_state, driver = world.train_state[0], world.driver[0]
    if driver.kind == HOLD_PROGRAMME or train_state.time < train_state.next_look - 1e-9:
        return
    train_state.next_look = train_state.time + 0.1
    if (
        train_state.n_handled < world.handle.shape[0]
        or train_state.n_effective < train_state.n_handled
    ):
        return  # the programme comes first
    heard = 0.0
    lowest = highest = world.axle_states[0].measured_speed
    gauge = world.axle_states[0].pressure
    for i_axle in range(driver.n_seen_axles):
        seen = world.axle_states[i_axle]
        lowest = min(lowest, seen.measured_speed)
        highest = max(highest, seen.measured_speed)
        gauge = min(gauge, seen.pressure)
    for i_axle in range(driver.n_heard_axles):
        venting = world.axle_states[i_axle]
        is_venting = acting_valve(venting) == VENT and not venting.is_vent_blocked
        if is_venting and venting.pressure > 0.0:
            heard += 1.0
    leading = world.vehicle_states[0]
    train, brake = world.train[0], world.brakes[0]
    expected = (
        leading.air_demand * leading.load_factor * (brake.full_pressure - brake.spring_pressure)
    )
    if expected > 0.0:
        expected += brake.spring_pressure
    cab = (highest - lowest, gauge, heard, expected)  # in the order of slipbench.kernel.cab
    chosen = decide(train_state.time, cab, driver, train_state)
    if chosen >= 0:
        train_state.position = chosen
        train_state.driver_position = chosen
        train_state.driver_effective = train_state.time + train.demand_delay


@inlined
def _note_faults(world: World) -> None:
    """Note when each fault acted, how fast the train then was and where."""
    train_state = world.train_state[0]
    for i in range(world.faults.shape[0]):
        row = world.fault_log[i]
        if world.fault_states[i] > 0.0 and row[FAULT_TIME] < 0.0:
            row[FAULT_TIME], row[FAULT_TRAIN_SPEED], row[FAULT_DISTANCE] = (
                train_state.time,
                train_state.speed,
                train_state.distance,
            )


@inlined
def _leave_to_air(world: World) -> None:
    """Let the air brakes that are not blended with others have all of the demand."""
    for i in range(world.vehicles.shape[0]):
        if world.vehicles[i].n_drives == 0 and world.train[0].blends_train == 0:
            own = world.vehicle_states[i]
            own.air_demand, own.air_rate = own.demand, own.demand_rate


@inlined
def _open_step(duration: float, world: World) -> None:
    """Set out on a step: no axle moved yet, all of them at once unless a command acts in it."""
    train_state, run = world.train_state[0], world.run[0]
    train_state.step_duration = duration
    most = train_state.n_axle_steps + MOST_STEP_PIECES * world.axle_states.shape[0]
    train_state.most_pieces = min(run.maximum_pieces, most)
    train_state.impulse = 0.0
    train_state.i_group = 0
    train_state.elapsed = 0.0
    for i_axle in range(world.axle_states.shape[0]):
        world.axle_states[i_axle].elapsed = 0.0
    train_state.is_together = 1
    for i in range(world.groups.shape[0]):
        due = world.group_states[i].next_sample - train_state.time
        if due + world.groups[i].lookahead < duration:
            train_state.is_together = 0
    train_state.is_in_step = 1


@inlined
def _begin_step(until: float, world: World) -> bool:
    """Do what happens between two steps and choose the length of the next; False if none is left.

    No handle event, end of a demand ramp or fault lies inside a step. Controllers sample when they
    will.
    """
    train_state, run = world.train_state[0], world.run[0]
    if world.faults.shape[0] > 0:
        break_what_is_due(world)
        _note_faults(world)
    _look_at_cab(world)
    move_handle(world)
    _leave_to_air(world)
    record(world, False)
    left = until - train_state.time
    if left <= _NO_TIME:
        train_state.time = until
        return False
    duration = min(run.maximum_step, left, time_to_handle_event(world))
    if world.faults.shape[0] > 0:
        duration = min(duration, time_to_fault(world))
    if world.drives.shape[0] > 0:
        sample_drives(world)
        duration = min(duration, time_to_drive_sample(run.maximum_step, world))
    if world.magnets.shape[0] > 0:
        aim_magnets(world)
        duration = min(duration, time_to_magnet_event(world))
    if train_state.acceleration < 0.0:
        to_rest = (train_state.speed - 0.5 * _AT_REST) / -train_state.acceleration
        duration = min(duration, max(to_rest, 1e-9))
    _run_sanders(world)
    _transfer_loads(duration, world)
    if world.drives.shape[0] > 0:
        blend(duration, world)
    if world.magnets.shape[0] > 0:
        run_magnets(duration, world)
    _open_step(duration, world)
    return True


@inlined
def advance(until: float, world: World) -> int:
    """Go on until a controller samples, a time is reached or the stop ends.

    The compiled and the Python loop both call this. The controllers take turns within a step, from
    the front: each is asked at its own instants while its axles are moved through the step.

    Parameters
    ----------
    until : float   [s]
    world : World   its states are changed; `train_state.status` tells whether and how it ended

    Returns
    -------
    int   the controller that samples now, at `train_state.clock`; -1 for none
    """
    train_state, run = world.train_state[0], world.run[0]
    while train_state.status == RUNNING:
        if not train_state.is_in_step and not _begin_step(until, world):
            return -1
        while train_state.i_group < world.groups.shape[0]:
            is_due = _move_group(world)
            if train_state.n_axle_steps >= train_state.most_pieces:
                train_state.status = TOO_MANY_PIECES
                return -1
            if is_due:
                return train_state.i_group
            train_state.i_group += 1
            train_state.elapsed = train_state.step_duration if train_state.is_together else 0.0
        train_state.is_in_step = 0
        _end_step(world)
        if not (train_state.step_duration > 0.0 and math.isfinite(train_state.speed)):
            train_state.status = BROKEN
        elif train_state.speed <= _AT_REST:
            _come_to_rest(world)
        elif train_state.distance >= run.maximum_distance:
            train_state.status = TOO_FAR
        elif train_state.time >= run.maximum_time:
            train_state.status = TOO_LONG
    return -1

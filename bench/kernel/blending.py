"""Dynamic brake, and its blending with the air brake.

Once a step every drive follows what is asked of it, within its limits, and air fills what is
missing; within the step both run linearly. Steps end where a drive's own slip control looks.
Forces of a drive are those of one axle, at a rim of the drive's radius: one torque for all of them.
"""

import math
from typing import Any

from slipbench.compiling.jit import apart, folded, inner, part
from slipbench.kernel.records import (
    SLIDE_CUT_OUT,
    SLIDE_HAND_OVER,
    SLIDE_RESTORE,
    Drive,
    DriveState,
    Train,
    Vehicle,
    VehicleState,
    World,
)

_SAME_TIME = 1e-9

_SLOWEST = 1e-3
"""Powers are divided by no lower speed. [m/s]"""

REDUCED_AGAIN = 0.15
"""A slide that lasts so long reduces the force again (assumed). [s]"""

LOOKS = 2
"""A slide is one that so many looks on end have seen: a lost pulse is none (assumed)."""

OVER = 0.5
"""A slide is over where slip is below this share of what began it (assumed). [-]"""


@folded
def follow(value: float, before: float, after: float, duration: float, lag: float) -> Any:
    """Return what follows a linear course with a first-order lag, exactly, after a time.

    Parameters
    ----------
    value : float           as the time begins, in any unit
    before, after : float   what it follows, as the time begins and ends, in that unit
    duration, lag : float   [s]; without lag it is there at once
    """
    if lag <= 0.0:
        return after
    behind = (after - before) / duration * lag
    return after - behind + (value - before + behind) * math.exp(-duration / lag)


@part
def limit_force(rim_speed: float, drive: Drive) -> float:
    """Return the greatest force of an axle at a rim speed, were the line to take all. [N]

    min(F, P / v, P v_f / v^2 above the field speed v_f), times the fade from 1 to 0 between two
    speeds (a teaching example after EN 14531-2 has the first two). [rim_speed: m/s]
    """
    speed = max(rim_speed, _SLOWEST)
    force = min(drive.force_limit, drive.power_limit / speed)
    if speed > drive.field_speed:
        force = min(force, drive.power_limit * drive.field_speed / (speed * speed))
    fade = (rim_speed - drive.fade_to) / (drive.fade_from - drive.fade_to)
    return force * min(max(fade, 0.0), 1.0)


@part
def envelope(rim_speed: float, line_share: float, drive: Drive) -> float:
    """Return the greatest force of an axle with what line and resistor take. [N]

    Parameters
    ----------
    rim_speed : float    [m/s]
    line_share : float   of the greatest power at this speed that the line takes. [-]
    drive : DRIVE
    """
    force = limit_force(rim_speed, drive)
    taken = line_share * force
    return taken + min(force - taken, drive.resistor_power / max(rim_speed, _SLOWEST))


@part
def watch_slide(
    time: float,
    train_speed: float,
    reference: float,
    slowest: float,
    drive: Drive,
    drive_state: DriveState,
) -> None:
    """Let a drive's own slip control look, and do what its rule says on a slide.

    Parameters
    ----------
    time, train_speed : float   now, for what is noted [s], [m/s]
    reference : float           speed the vehicle's equipment goes by. [m/s]
    slowest : float             measured speed of the drive's slowest axle. [m/s]
    drive : DRIVE
    drive_state : DRIVE_STATE   its factor, and whether it is out or handed over, are changed
    """
    own, was_sliding = drive_state, drive_state.is_sliding
    depth = max(drive.slide_slip * reference, drive.slide_speed)
    if was_sliding:
        depth *= OVER
    own.n_deep = own.n_deep + 1 if reference - slowest > depth else 0
    own.is_sliding = 1 if own.n_deep > 0 and (was_sliding or own.n_deep >= LOOKS) else 0
    begins = own.is_sliding == 1 and was_sliding == 0
    own.n_slides += 1 if begins else 0
    was_out = own.is_out + own.is_handed
    if drive.slide_rule == SLIDE_RESTORE:
        if begins or (own.is_sliding and time - own.reduced_time >= REDUCED_AGAIN - _SAME_TIME):
            own.factor *= 1.0 - drive.reduction
            own.reduced_time = time
        elif own.is_sliding == 0:
            own.factor = min(1.0, own.factor + drive.restore_rate * drive.sample_time)
        if 0 < drive.slides_to_cut_out < own.n_slides:
            own.is_out = 1
    elif drive.slide_rule == SLIDE_CUT_OUT:
        if own.is_sliding:
            own.is_out = 1
    elif drive.slide_rule == SLIDE_HAND_OVER:
        own.quiet_time += drive.sample_time
        if own.is_sliding:
            own.is_handed = 1
            own.quiet_time = 0.0
        elif own.quiet_time >= drive.hand_back_time - _SAME_TIME:
            own.is_handed = 0
    if was_out == 0 and own.is_out + own.is_handed > 0 and own.out_speed == 0.0:
        own.out_time, own.out_speed = time, train_speed


@apart
def sample_drives(world: World) -> None:
    """Let the slip control of every drive that is due look; a released brake forgets its slides.

    A drive that a strategy commands, or whose torque an ideal one sets, has none of its own.
    """
    train_state = world.train_state[0]
    for i in range(world.drives.shape[0]):
        drive, own = world.drives[i], world.drive_states[i]
        if train_state.time < own.n_samples * drive.sample_time - _SAME_TIME:
            continue
        own.n_samples += 1
        vehicle = world.vehicle_states[drive.i_vehicle]
        if vehicle.demand == 0.0:
            own.is_out = own.is_handed = own.is_sliding = own.n_slides = own.n_deep = 0
            own.factor = 1.0
            continue
        group, reference = world.groups[drive.i_group], world.group_states[drive.i_group].reference
        if group.is_ideal or group.commands_dynamic or reference <= drive.fade_to:
            continue
        slowest = math.inf
        for k in range(drive.first_axle, drive.last_axle + 1):
            if world.axles[k].i_drive == i:
                slowest = min(slowest, world.axle_states[k].measured_speed)
        watch_slide(train_state.time, train_state.speed, reference, slowest, drive, own)


@apart
def time_to_drive_sample(longest: float, world: World) -> float:
    """Return how long until the slip control of some drive looks next, or an even part of that. [s]

    No longer than `longest` [s]: a long step and then a short rest would carry the deceleration of
    the rest into the next long step.
    """
    wait = math.inf
    for i in range(world.drives.shape[0]):
        due = world.drive_states[i].n_samples * world.drives[i].sample_time
        wait = min(wait, due - world.train_state[0].time)
    return max(wait / max(math.ceil(wait / longest - 1e-9), 1.0), 1e-10)


@inner
def _required(ahead: float, vehicle: Vehicle, vehicle_state: VehicleState) -> float:
    """Return what the demand asks of all rims of a vehicle, a time ahead. [N]"""
    demand = vehicle_state.demand + vehicle_state.demand_rate * ahead
    return demand * vehicle_state.load_factor * vehicle.demand_force


@inner
def _required_of(unit: int, ahead: float, world: World) -> float:
    """Return the same of a unit: a vehicle, or the train where `unit` is below zero. [N]"""
    required = 0.0
    for i in range(world.vehicles.shape[0]):
        if unit < 0 or i == unit:
            required += _required(ahead, world.vehicles[i], world.vehicle_states[i])
    return required


@inner
def _rim_speed(i_drive: int, world: World) -> float:
    """Return the speed of a rim of a drive's radius, its motors turning together. [m/s]"""
    drive, total = world.drives[i_drive], 0.0
    for k in range(drive.first_axle, drive.last_axle + 1):
        if world.axles[k].i_drive == i_drive:
            total += world.axle_states[k].wheel_speed * world.axles[k].drive_gain
    return total / drive.n_axles


@inner
def _command_drive(
    i_drive: int, duration: float, wanted: float, is_off: bool, world: World
) -> None:
    """Move on what a drive is commanded and could give; `wanted` of it as the step ends. [N]"""
    drive, own = world.drives[i_drive], world.drive_states[i_drive]
    train_state = world.train_state[0]
    own.command, own.factor_acting = own.command_after, own.factor_after
    if is_off or own.is_lost or own.is_out or own.is_handed:
        wanted = own.asked = 0.0
    asked = own.asked
    change = drive.force_rate * duration
    own.asked = min(max(wanted, asked - change), asked + change)
    own.command_after = follow(own.command, asked, own.asked, duration, drive.lag)
    if own.is_lost:
        own.command = own.command_after = 0.0
    left = own.factor * own.commanded
    own.factor_after = follow(own.factor_acting, left, left, duration, drive.lag)
    speed = _rim_speed(i_drive, world)
    later = max(speed + train_state.acceleration * duration, 0.0)
    line = drive.receptivity * train_state.line_share
    own.force = min(own.command, envelope(speed, line, drive))
    own.force_after = min(own.command_after, envelope(later, line, drive))
    taken = line * limit_force(speed, drive)
    given = own.force * own.factor_acting
    own.line_share = taken / given if given > taken else 1.0


@inner
def _air_share(required: float, without: float, capable: float, has_drives: bool) -> float:
    """Return the share of its own demand that a vehicle's air brake is to give. [-]

    Parameters
    ----------
    required, without : float   of the unit, and of its vehicles without drives in that [N]
    capable : float             what its drives give [N]
    has_drives : bool           this vehicle; those without fill first
    """
    missing, own = required - capable, without
    if has_drives:
        missing, own = missing - without, required - without
    return min(max(missing / own, 0.0), 1.0) if own > 0.0 else 0.0


@inner
def _prefill(train: Train, vehicle_state: VehicleState) -> float:
    """Return the demand a prefilled cylinder meets already. [-]"""
    if not vehicle_state.is_prefilled or vehicle_state.load_factor <= 0.0:
        return 0.0
    pressing = max(train.prefill_pressure - train.spring_pressure, 0.0)
    return pressing / (train.full_pressure - train.spring_pressure) / vehicle_state.load_factor


@inner
def _capable(unit: int, ahead: float, is_reduced: bool, world: World) -> float:
    """Return what a unit's drives give by the train's speed, now and `blending_lead` later. [N]

    `ahead` is zero or the step's length [s]; `is_reduced` counts what slip control takes off.
    """
    train_state, total = world.train_state[0], 0.0
    fall = min(train_state.acceleration, 0.0) * (ahead + world.train[0].blending_lead)
    speed = max(train_state.speed + fall, 0.0)
    for i in range(world.drives.shape[0]):
        drive, own = world.drives[i], world.drive_states[i]
        if unit >= 0 and drive.i_vehicle != unit:
            continue
        line = drive.receptivity * train_state.line_share
        command = own.command_after if ahead > 0.0 else own.command
        now = max(train_state.speed + min(train_state.acceleration, 0.0) * ahead, 0.0)
        most = min(envelope(now, line, drive), envelope(speed, line, drive))
        force = drive.n_axles * min(command, most)
        if is_reduced:
            force *= own.factor_after if ahead > 0.0 else own.factor_acting
        total += force
    return total


@inner
def _fill_with_air(unit: int, duration: float, is_off: bool, world: World) -> tuple[Any, Any]:
    """Let the air brakes of a unit fill what its drives leave; return what they are to give. [N]

    Returns
    -------
    (float, float)   as the step begins, as it ends
    """
    train = world.train[0]
    required_0, required_1 = _required_of(unit, 0.0, world), _required_of(unit, duration, world)
    capable_0, capable_1 = (
        _capable(unit, 0.0, False, world),
        _capable(unit, duration, False, world),
    )
    reduced_0, reduced_1 = _capable(unit, 0.0, True, world), _capable(unit, duration, True, world)
    without_0 = without_1 = given_0 = given_1 = 0.0
    for i in range(world.vehicles.shape[0]):
        if (unit < 0 or i == unit) and world.vehicles[i].n_drives == 0:
            without_0 += _required(0.0, world.vehicles[i], world.vehicle_states[i])
            without_1 += _required(duration, world.vehicles[i], world.vehicle_states[i])
    for i in range(world.vehicles.shape[0]):
        if unit >= 0 and i != unit:
            continue
        vehicle, own = world.vehicles[i], world.vehicle_states[i]
        has_drives = vehicle.n_drives > 0
        demand = own.demand + own.demand_rate * duration
        if is_off:
            own.air_demand, own.air_rate = own.demand, own.demand_rate
        else:
            able_0, able_1 = (capable_0, capable_1) if has_drives else (reduced_0, reduced_1)
            before = own.demand * _air_share(required_0, without_0, able_0, has_drives)
            after = demand * _air_share(required_1, without_1, able_1, has_drives)
            later = follow(own.air_demand, before, after, duration, train.friction_lag)
            own.air_rate = (max(later, 0.0) - own.air_demand) / duration
        scale, least = own.load_factor * vehicle.air_force, _prefill(world.brakes[i], own)
        given_0 += scale * max(own.air_demand, least)
        given_1 += scale * max(own.air_demand + own.air_rate * duration, least)
    return max(required_0 - given_0, 0.0), max(required_1 - given_1, 0.0)


@inner
def _brake_axles(
    unit: int, duration: float, allowed_0: float, allowed_1: float, world: World
) -> None:
    """Set what the drives of a unit give their axles: all they can, no more than air leaves. [N]"""
    total_0 = total_1 = 0.0
    for i in range(world.drives.shape[0]):
        drive, own = world.drives[i], world.drive_states[i]
        if unit < 0 or drive.i_vehicle == unit:
            total_0 += drive.n_axles * own.force * own.factor_acting
            total_1 += drive.n_axles * own.force_after * own.factor_after
    scale_0 = min(1.0, allowed_0 / total_0) if total_0 > 0.0 else 1.0
    scale_1 = min(1.0, allowed_1 / total_1) if total_1 > 0.0 else 1.0
    for i in range(world.drives.shape[0]):
        drive, own = world.drives[i], world.drive_states[i]
        if unit >= 0 and drive.i_vehicle != unit:
            continue
        for k in range(drive.first_axle, drive.last_axle + 1):
            if world.axles[k].i_drive != i:
                continue
            axle_state, gain = world.axle_states[k], world.axles[k].drive_gain
            demand_0, demand_1 = scale_0 * own.force * gain, scale_1 * own.force_after * gain
            axle_state.dynamic_demand = demand_0
            axle_state.dynamic_demand_rate = (demand_1 - demand_0) / duration
            force_0, force_1 = demand_0 * own.factor_acting, demand_1 * own.factor_after
            axle_state.dynamic_force = force_0
            axle_state.dynamic_rate = (force_1 - force_0) / duration


@inner
def _prefill_cylinders(world: World) -> None:
    """Fill cylinders a little before the first fade begins; a released brake empties them."""
    train_state, train = world.train_state[0], world.train[0]
    fade_from = 0.0
    for i in range(world.drives.shape[0]):
        fade_from = max(fade_from, world.drives[i].fade_from)
    fade_from -= min(train_state.acceleration, 0.0) * train.prefill_time
    for i in range(world.vehicles.shape[0]):
        own = world.vehicle_states[i]
        if own.demand == 0.0:
            own.is_prefilled = 0
        elif train_state.speed <= fade_from and (
            train.blends_train or world.vehicles[i].n_drives > 0
        ):
            own.is_prefilled = 1


@apart
def blend(duration: float, world: World) -> None:
    """Set for the coming step what dynamic and air brake give: dynamic first, air fills.

    Parameters
    ----------
    duration : float   of the step. [s]
    world : World      `air_demand` of the vehicles, states of drives, `dynamic_*` of their axles

    Notes
    -----
    What a drive is asked follows the demand with its jerk limit, then a lag, and its envelope caps
    that at once. Air is asked for the demand less what the drives will give a lead later, and
    follows with a lag; the drives give way to what air already gives. What slip control takes off
    is not made up for on the same vehicle; by train, trailers fill it. Second order in the step.
    """
    train = world.train[0]
    emergency = train.n_steps + 1
    is_off = train.blends_emergency == 0 and world.train_state[0].acting_position == emergency
    _prefill_cylinders(world)
    for i in range(world.drives.shape[0]):
        unit = -1 if train.blends_train else world.drives[i].i_vehicle
        wanted = world.drives[i].share * _required_of(unit, duration, world)
        _command_drive(i, duration, wanted, is_off, world)
    n_units = 1 if train.blends_train else world.vehicles.shape[0]
    for i in range(n_units):
        if train.blends_train or world.vehicles[i].n_drives > 0:
            unit = -1 if train.blends_train else i
            allowed_0, allowed_1 = _fill_with_air(unit, duration, is_off, world)
            _brake_axles(unit, duration, allowed_0, allowed_1, world)


@apart
def book_drives(duration: float, world: World) -> None:
    """Move forces on to the end of a step; book its energy: into the line, or into resistors."""
    for i in range(world.drives.shape[0]):
        drive, own = world.drives[i], world.drive_states[i]
        total = 0.0
        for k in range(drive.first_axle, drive.last_axle + 1):
            if world.axles[k].i_drive == i:
                axle_state = world.axle_states[k]
                axle_state.dynamic_force += axle_state.dynamic_rate * duration
                axle_state.dynamic_demand += axle_state.dynamic_demand_rate * duration
                total += axle_state.dynamic_energy
        gained = total - own.booked
        own.booked = total
        own.recovered += own.line_share * gained
        own.resistor += (1.0 - own.line_share) * gained

"""A drive's dynamic brake: what it can give, what it is asked, its own slip control, its energy.

Forces of a drive are those of one axle, at a rim of the drive's radius: one torque for all of them.
"""

import math
from typing import Any

from slipbench.compiling.jit import apart, folded, inner, part
from slipbench.kernel.codes import N_KEPT, SLIDE_CUT_OUT, SLIDE_HAND_OVER, SLIDE_RESTORE
from slipbench.kernel.records import Drive, DriveState, World

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
def _rim_speed(i_drive: int, world: World) -> float:
    """Return the speed of a rim of a drive's radius, its motors turning together. [m/s]"""
    drive, total = world.drives[i_drive], 0.0
    for k in range(drive.first_axle, drive.last_axle + 1):
        if world.axles[k].i_drive == i_drive:
            total += world.axle_states[k].wheel_speed * world.axles[k].drive_gain
    return total / drive.n_axles


@inner
def _keep(time: float, drive: Drive, drive_state: DriveState) -> None:
    """Keep what is asked of a drive now, often enough for its dead time to be looked back over."""
    own, last = drive_state, (drive_state.n_kept - 1) % N_KEPT
    if own.n_kept > 0 and time - own.kept_time[last] < drive.dead_time / (N_KEPT - 2):
        return
    place = own.n_kept % N_KEPT
    own.kept_time[place], own.kept_asked[place] = time, own.asked
    own.kept_factor[place] = own.commanded
    own.n_kept += 1


@inner
def _kept_at(moment: float, time: float, drive_state: DriveState) -> tuple[Any, Any]:
    """Return what was asked of a drive at a moment up to now [N], and a strategy's factor [-].

    Linear between the moments kept; what was asked first also stands for the time before.
    """
    own = drive_state
    newer, asked, factor = time, own.asked, own.commanded
    for j in range(min(own.n_kept, N_KEPT)):
        i = (own.n_kept - 1 - j) % N_KEPT
        older = own.kept_time[i]
        if older <= moment:
            share = (moment - older) / (newer - older) if newer > older else 1.0
            asked = own.kept_asked[i] + share * (asked - own.kept_asked[i])
            return asked, own.kept_factor[i] + share * (factor - own.kept_factor[i])
        newer, asked, factor = older, own.kept_asked[i], own.kept_factor[i]
    return asked, factor


@inner
def command_drive(i_drive: int, duration: float, wanted: float, is_off: bool, world: World) -> None:
    """Move on what a drive is commanded and could give; `wanted` of it as the step ends. [N]"""
    drive, own = world.drives[i_drive], world.drive_states[i_drive]
    train_state = world.train_state[0]
    own.command, own.factor_acting = own.command_after, own.factor_after
    if is_off or own.is_lost or own.is_out or own.is_handed:
        wanted = own.asked = 0.0
    asked, commanded = own.asked, own.commanded
    change = drive.force_rate * duration
    later_asked = min(max(wanted, asked - change), asked + change)
    arrived, arrived_after = asked, later_asked
    if drive.dead_time > 0.0:
        if own.is_lost or own.is_out or own.is_handed:
            own.n_kept = 0  # the drive's own doing, and needs no time to get there
        time = train_state.time
        _keep(time, drive, own)
        arrived, commanded = _kept_at(time - drive.dead_time, time, own)
        if duration > drive.dead_time:
            share = 1.0 - drive.dead_time / duration
            arrived_after = asked + share * (later_asked - asked)
        else:
            arrived_after = _kept_at(time + duration - drive.dead_time, time, own)[0]
    own.asked = later_asked
    own.command_after = follow(own.command, arrived, arrived_after, duration, drive.lag)
    if own.is_lost:
        own.command = own.command_after = 0.0
    left = own.factor * commanded
    own.factor_after = follow(own.factor_acting, left, left, duration, drive.lag)
    speed = _rim_speed(i_drive, world)
    later = max(speed + train_state.acceleration * duration, 0.0)
    line = drive.receptivity * train_state.line_share
    own.force = min(own.command, envelope(speed, line, drive))
    own.force_after = min(own.command_after, envelope(later, line, drive))
    taken = line * limit_force(speed, drive)
    given = own.force * own.factor_acting
    own.line_share = taken / given if given > taken else 1.0


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

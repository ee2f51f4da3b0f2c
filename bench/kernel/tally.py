"""What a stop adds up while it runs, piece by piece and axle by axle.

Sums kept here, not read off the traces: they are exact for every piece of time however sparse the
traces are, and a campaign needs no traces at all.
"""

import math
from typing import Any

from slipbench.compiling.jit import folded, inner, part
from slipbench.kernel.codes import (
    SPEEDOMETER_TOLERANCE,
)
from slipbench.kernel.rail import cleaning_efficiency, peak_seen
from slipbench.kernel.records import Axle, AxleState, Lanes, Law, Train, TrainState
from slipbench.kernel.wheelset import GAMMA


@part
def note_cab(
    duration: float, shown_speed: float, before: float, train: Train, train_state: TrainState
) -> None:
    """Note what a cab would tell of the step just done: handle, isolation, speedometer, place.

    Parameters
    ----------
    duration : float      [s]
    shown_speed : float   what the speedometer shows: the measured speed of the first axle. [m/s]
    before : float        where the train was as the step began. [m]
    train : TRAIN         number of steps, stopping point
    train_state : TRAIN_STATE   after the step
    """
    if train_state.position == train.n_steps + 1:
        if train_state.emergency_time == 0.0:
            train_state.emergency_start_time = train_state.time - duration
            train_state.emergency_start_speed = train_state.speed
        train_state.emergency_time += duration
    elif train_state.emergency_time > 0.0 and train_state.emergency_eased_time == 0.0:
        train_state.emergency_eased_time = train_state.time - duration
        train_state.emergency_eased_speed = train_state.speed
    if train_state.time - duration < train_state.isolated_until:
        if train_state.isolated_time == 0.0:
            train_state.isolation_start_time = train_state.time - duration
            train_state.isolation_start_speed = train_state.speed
        train_state.isolated_time += duration
    error = shown_speed - train_state.speed
    if abs(error) > abs(train_state.speedometer_error):
        train_state.speedometer_error = error
        train_state.speedometer_error_time = train_state.time
        train_state.speedometer_error_speed = train_state.speed
    if abs(error) > SPEEDOMETER_TOLERANCE:
        train_state.speedometer_wrong_time += duration
    if before < train.stopping_point <= train_state.distance:
        share = (train.stopping_point - before) / (train_state.distance - before)
        train_state.point_time = train_state.time - (1.0 - share) * duration
        train_state.point_speed = (
            train_state.speed - (1.0 - share) * duration * train_state.acceleration
        )


@folded
def piece_heat(
    piece: Any,
    speed: float,
    acceleration: float,
    brake_force: float,
    brake_rate: float,
    full_cleaning_slip: float,
    locked_cleaning_share: float,
) -> tuple[Any, Any, Any]:
    """Return contact heat of both wheels, brake heat and one wheel's cleaning energy of a piece.

    Each is the method's own quadrature over its stages, not a difference of states: so the energy
    audit measures the error of the time stepping and does not close by construction. [J]

    Parameters
    ----------
    piece : (spent, U1, F1, U2, F2)       as `slipbench.kernel.wheelset.turn` gives it
    speed, acceleration : float           of the train as it began [m/s], [m/s2]
    brake_force, brake_rate : float       as it began [N], [N/s]
    full_cleaning_slip, locked_cleaning_share : float   as in TRAIN [-]
    """
    spent, wheel_1, force_1, wheel_2, force_2 = piece
    speed_1 = speed + acceleration * GAMMA * spent
    speed_2 = speed + acceleration * spent
    power_1 = force_1 * (speed_1 - wheel_1) * (1.0 - GAMMA) * spent
    power_2 = force_2 * (speed_2 - wheel_2) * GAMMA * spent
    brake = spent * (
        (1.0 - GAMMA) * (brake_force + brake_rate * GAMMA * spent) * wheel_1
        + GAMMA * (brake_force + brake_rate * spent) * wheel_2
    )
    creepage_1 = 1.0 - wheel_1 / max(speed_1, 1e-9)
    creepage_2 = 1.0 - wheel_2 / max(speed_2, 1e-9)
    cleaning = 0.5 * (
        cleaning_efficiency(creepage_1, full_cleaning_slip, locked_cleaning_share) * power_1
        + cleaning_efficiency(creepage_2, full_cleaning_slip, locked_cleaning_share) * power_2
    )
    return power_1 + power_2, brake, cleaning


@inner
def split_off_drive(k: int, lanes: Lanes, axle_state: AxleState) -> None:
    """Take what its drive did in a lane's piece off the heat of its brake, by the same quadrature.

    The drive's force runs linearly with time, like the whole one.
    """
    spent, force, rate = lanes.duration[k], lanes.dynamic[k], lanes.dynamic_rate[k]
    first = (1.0 - GAMMA) * (force + rate * GAMMA * spent) * lanes.wheel_1[k]
    work = spent * (first + GAMMA * (force + rate * spent) * lanes.wheel_2[k])
    lanes.brake_heat[k] -= work
    axle_state.dynamic_energy += work


@folded
def net_demand(demanded_force: float, acceleration: float, rotating_mass: float) -> Any:
    """Return the demanded rim force net of the wheel's inertia. [N]

    A wheel that keeps up with the decelerating train gives up momentum of its own, so the rail
    need carry only demand + m_rot dv/dt.
    """
    return max(0.0, demanded_force + rotating_mass * min(acceleration, 0.0))


@part
def usable_force(
    train_speed: float,
    demanded_force: float,
    acceleration: float,
    axle: Axle,
    axle_state: AxleState,
    law: Law,
) -> float:
    """Return min(peak of the creep curve met, demanded rim force net of wheel inertia). [N]"""
    net = net_demand(demanded_force, acceleration, axle.rotating_mass)
    return min(peak_seen(train_speed, axle, axle_state, law), net)


@inner
def add_up_together(n_lanes: int, acceleration: float, train: Train, lanes: Lanes) -> None:
    """Work out what the pieces of several axles add to their sums.

    Parameters
    ----------
    n_lanes : int          lanes taken
    acceleration : float   of the train. [m/s2]
    train : TRAIN
    lanes : LANES          pieces as they were done; filled: heat, cleaning, slide, works. [J]

    Notes
    -----
    Without branches, so in vector instructions, like `wheelset.spin_together`. The works
    are the quadrature of the method; the peak is that met as the piece began.
    """
    full_slip, locked_share = train.full_cleaning_slip, train.locked_cleaning_share
    for k in range(n_lanes):
        spent, speed = lanes.duration[k], lanes.speed[k]
        piece = (spent, lanes.wheel_1[k], lanes.force_1[k], lanes.wheel_2[k], lanes.force_2[k])
        heat, brake_heat, cleaning = piece_heat(
            piece,
            speed,
            acceleration,
            lanes.brake[k],
            lanes.brake_rate[k],
            full_slip,
            locked_share,
        )
        lanes.contact_heat[k] = heat
        lanes.brake_heat[k] = brake_heat
        lanes.cleaning[k] = cleaning
        wheel_speed, end_speed = lanes.wheel_2[k], speed + acceleration * spent
        lanes.wheel_acceleration[k] = (wheel_speed - lanes.wheel_before[k]) / spent
        lanes.creepage[k] = (end_speed - wheel_speed) / max(end_speed, 1e-9)
        roots = math.sqrt(max(wheel_speed, 0.0)) + math.sqrt(max(end_speed, 0.0))
        lanes.flash_intensity[k] = 0.5 * heat / (spent * roots)
        used_0, usable_0, excess_0, driven_0, inertia_0, demanded_0, path_0 = _stage_work(
            (1.0 - GAMMA) * spent, GAMMA * spent, lanes.force_1[k], acceleration, k, lanes
        )
        used_1, usable_1, excess_1, driven_1, inertia_1, demanded_1, path_1 = _stage_work(
            GAMMA * spent, spent, lanes.force_2[k], acceleration, k, lanes
        )
        path = path_0 + path_1
        lanes.used_work[k] = used_0 + used_1
        lanes.usable_work[k] = usable_0 + usable_1
        lanes.excess_work[k] = excess_0 + excess_1
        lanes.driven_work[k] = driven_0 + driven_1
        lanes.inertia_work[k] = inertia_0 + inertia_1
        lanes.demanded_work[k] = demanded_0 + demanded_1
        lanes.peak_work[k] = lanes.peak[k] * path
        lanes.load_work[k] = 2.0 * lanes.wheel_load[k] * path


@folded
def split_force(
    force: float, peak: float, demanded: float, acceleration: float, rotating_mass: float
) -> tuple[Any, Any, Any, Any, Any]:
    """Split the rail force on an axle into what brakes, what spins it up and what drives it.

    Parameters
    ----------
    force : float          of the rail on both wheels. [N]
    peak : float           of the creep curve met. [N], >= 0
    demanded : float       rim force. [N], >= 0
    acceleration : float   of the train. [m/s2]
    rotating_mass : float  [kg]

    Returns
    -------
    used, usable, excess, driven, inertia   [N], none below zero

    Notes
    -----
    A wheel that keeps up with a slowing train gives up momentum of its own, m_rot |dv/dt|; with the
    rail force that makes the braking force, which of a rolling wheel is its brake's force, none of
    one without brake. Usable is what the rail could have carried of the demand: min(peak +
    m_rot |dv/dt|, demand). Braking force up to that is used; above it the rail spins a wheel up
    again; below zero the rail drives a wheel that runs ahead of the train for a moment. So
    used + excess - driven = force + inertia, and used lies between zero and usable.
    """
    inertia = -rotating_mass * min(acceleration, 0.0)
    braking = force + inertia
    usable = min(peak + inertia, demanded)
    used = min(max(braking, 0.0), usable)
    return used, usable, max(braking - usable, 0.0), max(-braking, 0.0), inertia


@folded
def _stage_work(
    duration: float, moment: float, force: float, acceleration: float, k: int, lanes: Lanes
) -> tuple[Any, Any, Any, Any, Any, Any, Any]:
    """Return used, usable, excess, driven, inertia and demanded work of one stage [J], its path."""
    demanded = lanes.demanded[k] + lanes.demanded_rate[k] * moment
    mass = lanes.rotating_mass[k]
    used, usable, excess, driven, inertia = split_force(
        force, lanes.peak[k], demanded, acceleration, mass
    )
    path = duration * (lanes.speed[k] + acceleration * moment)
    net = net_demand(demanded, acceleration, mass)
    return (
        used * path,
        usable * path,
        excess * path,
        driven * path,
        inertia * path,
        net * path,
        path,
    )


@folded
def count_piece(k: int, lanes: Lanes, axle_state: AxleState) -> None:
    """Add what a lane's piece gave to its axle's sums. [J]"""
    axle_state.contact_energy += lanes.contact_heat[k]
    axle_state.brake_energy += lanes.brake_heat[k]
    axle_state.cell_energy += lanes.cleaning[k]
    axle_state.cleaning_energy += lanes.cleaning[k]
    if lanes.demanded[k] > 0.0:
        axle_state.used_work += lanes.used_work[k]
        axle_state.usable_work += lanes.usable_work[k]
        axle_state.excess_work += lanes.excess_work[k]
        axle_state.driven_work += lanes.driven_work[k]
        axle_state.inertia_work += lanes.inertia_work[k]
        axle_state.demanded_work += lanes.demanded_work[k]
        axle_state.peak_work += lanes.peak_work[k]
        axle_state.load_work += lanes.load_work[k]

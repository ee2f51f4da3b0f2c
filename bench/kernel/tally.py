"""What a stop adds up while it runs, piece by piece and axle by axle.

Sums kept here, not read off the traces: they are exact for every piece of time however sparse the
traces are, and a campaign needs no traces at all.
"""

import math
from typing import Any

from slipbench.compiling.jit import folded, inner, part
from slipbench.kernel.columns import (
    LOCK_AXLE,
    LOCK_CONTACT_ENERGY,
    LOCK_DURATION,
    LOCK_END_SPEED,
    LOCK_LOCKED_DISTANCE,
    LOCK_RIM_TRAVEL,
    LOCK_START_DISTANCE,
    LOCK_START_SPEED,
    LOCK_START_TIME,
    LOCK_WHEEL_LOAD,
    TRAIL_CONTACT_ENERGY,
    TRAIL_ELAPSED,
    TRAIL_LOCK,
    TRAIL_LOCKED_DISTANCE,
    TRAIL_TRAIN_SPEED,
)
from slipbench.kernel.rail import cleaning_efficiency, peak_seen
from slipbench.kernel.records import (
    CROWDED_GROWTH,
    CROWDED_TRAIL,
    FAST_FALL,
    FIRST_TRAIL,
    NEAR_LOCK,
    SPEED_BANDS,
    SPEEDOMETER_TOLERANCE,
    TRAIL_GROWTH,
    Axle,
    AxleState,
    Lanes,
    Law,
    Run,
    Train,
    TrainState,
)
from slipbench.kernel.wheelset import GAMMA

_SAME_TIME = 1e-9
"""What happens within so short a time happens at once. [s]"""


@inner
def _time_below(threshold: float, before: float, after: float, duration: float) -> float:
    if before < threshold and after < threshold:
        return duration
    if before >= threshold and after >= threshold:
        return 0.0
    share = (threshold - before) / (after - before)
    return duration * (1.0 - share if after < threshold else share)


@folded
def count_lock(
    duration: float,
    time: float,
    wheel_before: float,
    train_speed: float,
    contact_energy: float,
    run: Run,
    axle_state: AxleState,
) -> tuple[Any, Any]:
    """Count time, distance and energy while the wheel counts as locked, and the longest such spell.

    A wheel counts as locked while its rim does less than `locked_wheel_speed` and the train more
    than `locked_train_speed`.

    Returns
    -------
    (float, bool)   locked time in this piece [s], whether a lock began in it
    """
    locked = 0.0
    begins = False
    if train_speed > run.locked_train_speed:
        locked = _time_below(run.locked_wheel_speed, wheel_before, axle_state.wheel_speed, duration)
    if locked > 0.0:
        if axle_state.lock_duration == 0.0:
            begins = True
            axle_state.n_locks += 1
            axle_state.lock_start_speed = train_speed
            axle_state.lock_start_time = time + duration - locked
        axle_state.locked_time += locked
        axle_state.lock_duration += locked
        axle_state.locked_distance += locked * train_speed
        axle_state.locked_energy += contact_energy * locked / duration
        if axle_state.lock_duration > axle_state.longest_lock:
            axle_state.longest_lock = axle_state.lock_duration
            axle_state.longest_lock_speed = axle_state.lock_start_speed
            axle_state.longest_lock_time = axle_state.lock_start_time
    is_over = locked == 0.0 or axle_state.wheel_speed >= run.locked_wheel_speed
    if locked < duration and is_over:
        axle_state.lock_duration = 0.0
    return locked, begins


@part
def log_lock(
    locked: float,
    begins: int,
    duration: float,
    time: float,
    place: float,
    train_speed: float,
    contact_energy: float,
    i_axle: int,
    train_state: TrainState,
    log: Any,
    axle_state: AxleState,
) -> None:
    """Keep the row of a lock: where it began, how long, how much it dissipated (`LOCK_COLUMNS`).

    Locks beyond the log's length are counted only.
    """
    if train_state.time < train_state.isolated_until:
        train_state.isolated_locked_time += locked
        train_state.isolated_locked_distance += locked * train_speed
    if begins:
        axle_state.i_lock = -1
        if train_state.n_locks < log.shape[0]:
            axle_state.i_lock = train_state.n_locks
            row = log[axle_state.i_lock]
            row[LOCK_AXLE] = i_axle
            row[LOCK_START_TIME] = time + duration - locked
            row[LOCK_START_SPEED] = train_speed
            row[LOCK_START_DISTANCE] = place
            row[LOCK_RIM_TRAVEL] = axle_state.rim_travel
            row[LOCK_WHEEL_LOAD] = axle_state.wheel_load
        train_state.n_locks += 1
        axle_state.next_trail = FIRST_TRAIL
    if locked > 0.0 and axle_state.i_lock >= 0:
        row = log[axle_state.i_lock]
        row[LOCK_DURATION] += locked
        row[LOCK_END_SPEED] = train_speed
        row[LOCK_LOCKED_DISTANCE] += locked * train_speed
        row[LOCK_CONTACT_ENERGY] += contact_energy * locked / duration


@part
def time_to_sample(axle_state: AxleState) -> float:
    """Return how long until a running lock is to be sampled. [s]

    Where none runs and the wheel falls fast, how long until it locks, so that what a lock begins
    with lies in short pieces: its hottest moment follows within milliseconds. Else infinity.
    """
    if axle_state.lock_duration == 0.0:
        if axle_state.wheel_acceleration > -FAST_FALL or axle_state.is_locked:
            return math.inf
        above = axle_state.wheel_speed - NEAR_LOCK
        return max(-0.9 * above / axle_state.wheel_acceleration, FIRST_TRAIL)
    if axle_state.i_lock < 0:
        return math.inf
    return max(axle_state.next_trail - axle_state.lock_duration, _SAME_TIME)


@part
def sample_lock(train_state: TrainState, log: Any, trail: Any, axle_state: AxleState) -> None:
    """Sample a lock on a growing grid of time (`TRAIL_COLUMNS`), after a piece in which it ran.

    So its heat can be worked out without traces. Once the trail is full a lock gets no more
    samples, and is counted.
    """
    if axle_state.i_lock < 0:
        return
    row = log[axle_state.i_lock]
    if row[LOCK_DURATION] >= axle_state.next_trail - _SAME_TIME:
        if train_state.n_trail >= trail.shape[0]:
            axle_state.next_trail = math.inf
            if train_state.n_unsampled == 0:
                train_state.unsampled_time = train_state.time + axle_state.elapsed
                train_state.unsampled_speed = row[LOCK_END_SPEED]
            train_state.n_unsampled += 1
            return
        sample = trail[train_state.n_trail]
        sample[TRAIL_LOCK] = axle_state.i_lock
        sample[TRAIL_ELAPSED] = row[LOCK_DURATION]
        sample[TRAIL_LOCKED_DISTANCE] = row[LOCK_LOCKED_DISTANCE]
        sample[TRAIL_CONTACT_ENERGY] = row[LOCK_CONTACT_ENERGY]
        sample[TRAIL_TRAIN_SPEED] = row[LOCK_END_SPEED]
        train_state.n_trail += 1
        now = max(row[LOCK_DURATION], axle_state.next_trail)
        is_crowded = train_state.n_trail > CROWDED_TRAIL * trail.shape[0]
        growth = CROWDED_GROWTH if is_crowded else TRAIL_GROWTH
        axle_state.next_trail = max(now + FIRST_TRAIL, now * growth)


@folded
def count_slide(
    duration: float,
    time: float,
    train_speed: float,
    creepage: float,
    flash_intensity: float,
    run: Run,
    histogram: Any,
    axle_state: AxleState,
) -> None:
    """Count time and distance of a wheel that slides: past both the creepage and the slip speed.

    Every piece also falls into one field of the histogram of creepage by train speed (bands of
    5 m/s). The first slide of a wheel is noted, and where its contact was hottest while it turned:
    flash temperature of a turning wheel is a constant times P / (sqrt(u) + sqrt(v)), with P the
    friction power of one wheel, u and v rim and train speed, so the largest of that is enough.

    Parameters
    ----------
    duration, time : float    of the piece; time at its start [s]
    train_speed : float       at its end [m/s]
    creepage : float          there [-]
    flash_intensity : float   P / (sqrt(u) + sqrt(v)) of the piece [W s^.5/m^.5]
    """
    band = 0
    for edge in (0.05, 0.1, 0.2, 0.4, 0.8):
        band += creepage > edge
    histogram[band, min(int(train_speed * 0.2), SPEED_BANDS - 1)] += duration
    slip_speed = train_speed - axle_state.wheel_speed
    if slip_speed <= run.sliding_slip_speed or slip_speed <= run.sliding_creepage * train_speed:
        return
    axle_state.sliding_time += duration
    axle_state.sliding_distance += duration * train_speed
    if axle_state.first_slide_speed == 0.0:
        axle_state.first_slide_time = time + duration
        axle_state.first_slide_speed = train_speed
        axle_state.initial_adhesion = axle_state.rail_force / (2.0 * axle_state.wheel_load)
    if (
        flash_intensity > axle_state.flash_intensity
        and axle_state.wheel_speed >= run.locked_wheel_speed
    ):
        axle_state.flash_intensity = flash_intensity
        axle_state.flash_time = time + duration
        axle_state.flash_train_speed = train_speed
        axle_state.flash_wheel_speed = axle_state.wheel_speed


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
def count_drag(
    duration: float,
    time: float,
    train_speed: float,
    wheel_speed: float,
    contact_energy: float,
    run: Run,
    axle_state: AxleState,
) -> None:
    """Count what a wheel slides while it is nearly locked, and how far its rim turns meanwhile.

    Nearly locked: its rim does less than `dragged_wheel_speed`, and less than half of what the
    train does. [duration, time: s; train_speed, wheel_speed, mean of the piece: m/s;
    contact_energy: J]
    """
    if wheel_speed >= min(run.dragged_wheel_speed, 0.5 * train_speed):
        return
    if train_speed <= run.locked_train_speed:
        return
    if axle_state.dragged_speed == 0.0:
        axle_state.dragged_time, axle_state.dragged_speed = time, train_speed
    axle_state.dragged_distance += (train_speed - wheel_speed) * duration
    axle_state.dragged_travel += wheel_speed * duration
    axle_state.dragged_energy += contact_energy


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


@inner
def note_lane(
    time: float,
    k: int,
    lanes: Lanes,
    train_state: TrainState,
    run: Run,
    train: Train,
    axle: Axle,
    lock_log: Any,
    lock_trail: Any,
    rail_heat: Any,
    histogram: Any,
    axle_state: AxleState,
) -> None:
    """Add up how a lane's axle slid or stood in its piece, which began at `time`. [s]"""
    spent, heat = lanes.duration[k], lanes.contact_heat[k]
    end_speed = lanes.speed[k] + train_state.acceleration * spent
    locked, begins = count_lock(
        spent, time, lanes.wheel_before[k], end_speed, heat, run, axle_state
    )
    if locked > 0.0:
        place = train_state.distance + train_state.speed * axle_state.elapsed - axle.offset
        log_lock(
            locked,
            begins,
            spent,
            time,
            place,
            end_speed,
            heat,
            lanes.i_axle[k],
            train_state,
            lock_log,
            axle_state,
        )
        sample_lock(train_state, lock_log, lock_trail, axle_state)
        rail_heat[axle_state.i_cell] += 0.5 * heat * locked / spent / train.cell_length
    wheel_speed = 0.5 * (lanes.wheel_before[k] + axle_state.wheel_speed)
    if locked < spent and wheel_speed < run.dragged_wheel_speed:
        turning = spent - locked
        energy = heat * turning / spent
        count_drag(turning, time, end_speed, wheel_speed, energy, run, axle_state)
    count_slide(
        spent,
        time,
        end_speed,
        lanes.creepage[k],
        lanes.flash_intensity[k],
        run,
        histogram,
        axle_state,
    )

"""What a wheel that slides or locks adds up: locks with their rows and samples, slides, drag.

Kept here and not read off the traces, like all sums (slipbench.kernel.tally).
"""

import math
from typing import Any

from slipbench.compiling.jit import folded, inner, part
from slipbench.kernel.codes import (
    CROWDED_GROWTH,
    CROWDED_TRAIL,
    FAST_FALL,
    FIRST_TRAIL,
    NEAR_LOCK,
    SPEED_BANDS,
    TRAIL_GROWTH,
)
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
from slipbench.kernel.records import Axle, AxleState, Lanes, Run, Train, TrainState

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

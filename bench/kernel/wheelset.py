"""Rotation of one wheelset: implicit in time, with lock-up and re-spin as events.

The wheel's slip settles within v J / (2 G a b C11 r^2): half a millisecond at 30 m/s, microseconds
at walking pace. So each piece of time is a step of a two-stage, stiffly accurate, L-stable
diagonally implicit Runge-Kutta method of order two; each stage is one bracketed scalar solve.
The train's speed and the brake force run linearly over the piece.

References
----------
[Alexander1977] SIAM J. Numer. Anal. 14, 1006-1021: the method, gamma = 1 - 1/sqrt(2). From memory;
tests/convergence measures its order.
"""

import math
from typing import Any, NamedTuple

from slipbench.compiling.jit import apart, folded, inner, part
from slipbench.kernel.codes import POLACH
from slipbench.kernel.creep import creep_force, polach_force, steepest_fall
from slipbench.kernel.records import Axle, AxleState, Lanes, Law

GAMMA = 1.0 - math.sqrt(0.5)
"""Diagonal coefficient of both stages; their weights in the step are 1 - gamma and gamma."""

_LARGEST_SHAPE = 4.0 / math.pi * (0.5 + 0.5 * math.pi)
"""Force of an axle over load times static friction cannot pass this."""

_AT_ONCE = 1e-7
"""A wheel that locks sooner than this after it was let go has not turned. [s]"""

LONGEST_FALL = 0.25
"""Pieces are cut so that step times growth rate of an unstable slide stays below this. [-]"""


class Course(NamedTuple):
    """What one wheelset meets in a piece of time: train and brake run linearly from its start."""

    speed: float  # of the train as the piece begins [m/s]
    acceleration: float  # [m/s2]
    brake_force: float  # at the rim as it begins [N]
    brake_rate: float  # [N/s]
    axle: Axle
    axle_state: AxleState
    law: Law


@part
def longest_piece(train_speed: float, axle: Axle, axle_state: AxleState, law: Law) -> float:
    """Return the longest piece of time that follows an unstable slide. [s]

    Past the peak of the creep curve a slide grows; a long implicit step would damp that growth and
    meet several roots. Up to this length each stage has exactly one root, for the stage's equation
    then rises with the wheel's speed everywhere, so the root is the one reached continuously.
    """
    fall = steepest_fall(train_speed, axle, axle_state, law)
    if fall <= 0.0:
        return math.inf
    return LONGEST_FALL * axle.rotating_mass / fall


class Stage(NamedTuple):
    """The equation of one stage, U = base + weight (F(v - U) - B), and what bounds its root."""

    base: float  # [m/s]
    weight: float  # stage's share of the step over the rotating mass [s/kg]
    brake_force: float  # B [N]
    train_speed: float  # v [m/s]
    spread: float  # the rail force lies within plus and minus that [N]


class Tangent(NamedTuple):
    """The creep curve where it was evaluated last."""

    slip_speed: float  # [m/s]
    force: float  # [N]
    slope: float  # [N s/m]


@folded
def start_stage(stage: Stage, last: Tangent) -> Any:
    """Return where the tangent known from the last evaluation of the creep curve puts a stage."""
    base, weight, brake_force, spread = stage.base, stage.weight, stage.brake_force, stage.spread
    on_tangent = last.force + last.slope * (stage.train_speed - last.slip_speed)
    guess = (base + weight * (on_tangent - brake_force)) / (1.0 + weight * last.slope)
    lowest = base - weight * (brake_force + spread)
    return min(max(guess, lowest), base - weight * (brake_force - spread))


@folded
def newton_step(
    stage: Stage, last: Tangent, wheel_speed: float, now: Tangent
) -> tuple[Any, Any, Any, Any, Any]:
    """Return Newton's step of a stage from one evaluation of the creep curve.

    Parameters
    ----------
    stage : Stage
    last, now : Tangent   the evaluation before this one, and this one
    wheel_speed : float   where this one was made. [m/s]

    Returns
    -------
    (residual, change, rest, allowed, is_near)
        how far the stage's equation is from holding [m/s]; Newton's step [m/s]; what it misses,
        to be added to it [m/s]; how short the last step has to be [m/s]; whether this one may be
        the last with that added

    Notes
    -----
    How far a step misses is told by how much the slope has changed since the evaluation before.
    Steps end when that is below 1e-8 of the slip speed and 1e-7 of the stage's whole range; that
    much is then put right, so what is left is of third order. From far the slopes of two points on
    a flat end of the curve tell nothing of its steep part: so only a step shorter than a tenth of
    the slip counts as near.
    """
    weight, slip_speed = stage.weight, now.slip_speed
    residual = wheel_speed - stage.base - weight * (now.force - stage.brake_force)
    stiffness = 1.0 + weight * now.slope
    change = -residual / stiffness
    # how far the tangent leaves the curve over the step, by the slopes of the last two
    missed = 0.5 * weight * (now.slope - last.slope) * change * change
    reach = stiffness * (slip_speed - last.slip_speed)
    smallest = min(abs(slip_speed), abs(slip_speed - change))
    rounding = 2e-15 * (1.0 + stage.train_speed)
    allowed = min(1e-8 * smallest, 2e-7 * weight * stage.spread) + rounding
    size = abs(change)
    is_near = (size <= 0.1 * smallest) & (abs(missed) <= abs(reach) * allowed)
    return residual, change, missed / reach, allowed, is_near


@folded
def solve_stage(
    base: float,
    weight: float,
    brake_force: float,
    train_speed: float,
    axle: Axle,
    axle_state: AxleState,
    law: Law,
) -> Any:
    """Return the rim speed U with U = base + weight (F(v - U) - B).

    Parameters
    ----------
    base, weight, brake_force, train_speed   as in `Stage`
    axle_state : AXLE_STATE    `curve_slip`, `curve_force`, `curve_slope`: the creep curve where it
                          was evaluated last, replaced by the last evaluation here

    Notes
    -----
    Newton's method. The first step is taken on the tangent known from the stage before and costs no
    evaluation; the second usually is the last (`newton_step`).
    The creep force lies within plus and minus its limit, which bounds U from both sides; every
    evaluation narrows the bracket. A step that leaves it, or that is not half as long as the step
    before the last (from one flat end of the curve Newton jumps to the other and back), is replaced
    by halving.
    """
    spread = _LARGEST_SHAPE * axle_state.wheel_load * axle_state.friction
    stage = Stage(base, weight, brake_force, train_speed, spread)
    low = base - weight * (brake_force + spread)
    high = base - weight * (brake_force - spread)
    slip, force, slope = axle_state.curve_slip, axle_state.curve_force, axle_state.curve_slope
    if slip == 0.0 and slope == 0.0:  # not evaluated yet
        force, slope = creep_force(0.0, train_speed, axle, axle_state, law)
    now = Tangent(slip, force, slope)
    wheel_speed = start_stage(stage, now)
    last = before_last = 2.0 * (high - low)
    for _ in range(100):
        before, slip = now, train_speed - wheel_speed
        force, slope = creep_force(slip, train_speed, axle, axle_state, law)
        now = Tangent(slip, force, slope)
        residual, change, rest, allowed, is_near = newton_step(stage, before, wheel_speed, now)
        if residual > 0.0:
            high = wheel_speed
        else:
            low = wheel_speed
        tried = wheel_speed + change
        is_halved = not low <= tried <= high or abs(change) > 0.5 * before_last
        if is_halved:
            tried = 0.5 * (low + high)
            change = tried - wheel_speed
        before_last, last = last, abs(change)
        wheel_speed = tried
        if last <= allowed:
            break
        if is_near and not is_halved:
            wheel_speed += rest
            break
    axle_state.curve_slip, axle_state.curve_force, axle_state.curve_slope = now
    return wheel_speed


@folded
def spin(duration: float, course: Course) -> tuple[Any, Any, Any, Any]:
    """Return both stages of one step of a rolling wheel: speeds and rail forces. [duration: s]

    Returns
    -------
    (U1, F1, U2, F2)   rim speeds [m/s] and rail forces [N]; U2 is the speed after the step. The
    forces come from the balance of the wheel, so momentum is kept to rounding whatever the
    solver's tolerance.
    """
    axle, axle_state, law = course.axle, course.axle_state, course.law
    start = axle_state.wheel_speed
    weight, per_weight = _weights(duration, axle.rotating_mass)
    speed_1 = course.speed + course.acceleration * GAMMA * duration
    brake_1 = course.brake_force + course.brake_rate * GAMMA * duration
    wheel_1 = solve_stage(start, weight, brake_1, speed_1, axle, axle_state, law)
    net_1 = (wheel_1 - start) * per_weight
    base = _second_base(start, wheel_1)
    speed_2 = course.speed + course.acceleration * duration
    brake_2 = course.brake_force + course.brake_rate * duration
    wheel_2 = solve_stage(base, weight, brake_2, speed_2, axle, axle_state, law)
    return wheel_1, net_1 + brake_1, wheel_2, (wheel_2 - base) * per_weight + brake_2


@folded
def _weights(duration: float, rotating_mass: float) -> tuple[Any, Any]:
    """Return a stage's share of the step over the rotating mass [s/kg], and one over that."""
    weight = GAMMA * duration / rotating_mass
    return weight, 1.0 / weight


@folded
def _second_base(start: float, wheel_1: float) -> Any:
    """Return what the second stage starts from: the first stage's change, gone on with. [m/s]"""
    return start + (1.0 - GAMMA) / GAMMA * (wheel_1 - start)


@inner
def spin_together(n_lanes: int, acceleration: float, lanes: Lanes) -> None:
    """Take the steps of several rolling wheels under Polach's law at once.

    Parameters
    ----------
    n_lanes : int          lanes taken
    acceleration : float   of the train. [m/s2]
    lanes : LANES          what each lane starts from; filled: both stages, the last evaluation of
                           the creep curve, and whether one evaluation a stage was enough and the
                           wheel still rolls. Where not, the step is `turn`'s to take.

    Notes
    -----
    The arithmetic is that of `spin`, in a loop without branches or calls, which the compiler turns
    into vector instructions: four axles to an instruction of 256 bits. A stage is one long chain of
    operations that wait for each other, so four cost little more than one (measured:
    tests/speed/README.md).
    """
    for k in range(n_lanes):
        duration, start = lanes.duration[k], lanes.wheel_before[k]
        weight, per_weight = _weights(duration, lanes.rotating_mass[k])
        speed_1 = lanes.speed[k] + acceleration * GAMMA * duration
        brake_1 = lanes.brake[k] + lanes.brake_rate[k] * GAMMA * duration
        last = Tangent(lanes.curve_slip[k], lanes.curve_force[k], lanes.curve_slope[k])
        wheel_1, at_1, is_right_1 = _stage_at_once(start, weight, brake_1, speed_1, last, k, lanes)
        base = _second_base(start, wheel_1)
        speed_2 = lanes.speed[k] + acceleration * duration
        brake_2 = lanes.brake[k] + lanes.brake_rate[k] * duration
        wheel_2, at_2, is_right_2 = _stage_at_once(base, weight, brake_2, speed_2, at_1, k, lanes)
        lanes.wheel_1[k] = wheel_1
        lanes.force_1[k] = (wheel_1 - start) * per_weight + brake_1
        lanes.wheel_2[k] = wheel_2
        lanes.force_2[k] = (wheel_2 - base) * per_weight + brake_2
        lanes.next_slip[k], lanes.next_force[k], lanes.next_slope[k] = at_2
        lanes.is_right[k] = 1.0 if is_right_1 & is_right_2 & (wheel_2 > 0.0) else 0.0


@folded
def _stage_at_once(
    base: float,
    weight: float,
    brake_force: float,
    train_speed: float,
    last: Tangent,
    k: int,
    lanes: Lanes,
) -> tuple[Any, Any, Any]:
    """Solve a stage of a lane by one evaluation of the creep curve, as `solve_stage` mostly does.

    Parameters
    ----------
    base, weight, brake_force, train_speed   as in `Stage`
    last : Tangent                           of the last evaluation

    Returns
    -------
    (wheel_speed, now, is_right)   rim speed [m/s]; this evaluation; whether one was enough
    """
    spread = _LARGEST_SHAPE * lanes.wheel_load[k] * lanes.friction[k]
    stage = Stage(base, weight, brake_force, train_speed, spread)
    guess = start_stage(stage, last)
    slip_speed = train_speed - guess
    force, slope = polach_force(
        slip_speed,
        train_speed,
        lanes.wheel_load[k],
        lanes.friction[k],
        lanes.friction_ratio[k],
        lanes.friction_decay[k],
        lanes.adhesion_reduction[k],
        lanes.slip_reduction[k],
        lanes.contact_stiffness[k],
    )
    now = Tangent(slip_speed, force, slope)
    _, change, rest, allowed, is_near = newton_step(stage, last, guess, now)
    is_done = abs(change) <= allowed
    wheel_speed = guess + change
    is_within = abs(wheel_speed - base + weight * brake_force) <= weight * spread
    wheel_speed = wheel_speed if is_done else wheel_speed + rest
    return wheel_speed, now, is_within & (is_done | is_near)


@folded
def spin_until_locked(duration: float, course: Course) -> tuple[Any, Any, Any, Any, Any]:
    """Take a step of a rolling wheel, cut short where the rim comes to rest.

    Returns
    -------
    (spent, U1, F1, U2, F2)   as `spin`, with the time taken; the wheel is locked where it ended so.
    """
    axle_state = course.axle_state
    result = spin(duration, course)
    if result[2] > 0.0:
        return duration, result[0], result[1], result[2], result[3]
    short, long = 0.0, duration
    short_end, long_end = axle_state.wheel_speed, result[2]
    spent = duration
    for _ in range(30):
        fall = short_end - long_end
        share = short_end / fall if fall > 0.0 else 0.0
        spent = min(max(short + (long - short) * share, 1e-9), duration)
        result = spin(spent, course)
        if abs(result[2]) <= 1e-9 or spent <= 1e-9:
            break
        if result[2] > 0.0:
            short, short_end = spent, result[2]
        else:
            long, long_end = spent, result[2]
    axle_state.is_locked = 1
    return spent, result[0], result[1], 0.0, result[3]


@inner
def _surplus(elapsed: float, course: Course) -> tuple[Any, Any]:
    """Return by how much the rail's grip on a locked wheel passes its brake, and that grip. [N]"""
    at_speed = max(course.speed + course.acceleration * elapsed, 0.0)
    grip = creep_force(at_speed, at_speed, course.axle, course.axle_state, course.law)[0]
    return grip - (course.brake_force + course.brake_rate * elapsed), grip


@apart
def stay_locked(duration: float, course: Course) -> tuple[Any, Any, Any, Any, Any]:
    """Take a step of a locked wheel, cut short where the rail grips more than the brake holds.

    Returns
    -------
    (spent, U1, F1, U2, F2)   as `spin_until_locked`; the brake holds with the rail's force. The
    wheel rolls again (`axle_state.is_locked` 0) where the step was cut short.
    """
    spent = duration
    after, grip = _surplus(duration, course)
    if after > 0.0:
        before = _surplus(0.0, course)[0]
        short, long = 0.0, duration
        for _ in range(30):
            spent = short + (long - short) * before / (before - after)
            spent = min(max(spent, 1e-9), duration)
            middle, grip = _surplus(spent, course)
            if abs(middle) <= 1e-9 * course.brake_force or spent <= 1e-9:
                break
            if middle > 0.0:
                long, after = spent, middle
            else:
                short, before = spent, middle
        course.axle_state.is_locked = 0
    first = _surplus(GAMMA * spent, course)[1]
    return spent, 0.0, first, 0.0, grip


@apart
def turn(duration: float, course: Course) -> tuple[Any, Any, Any, Any, Any]:
    """Move a wheelset on by a piece of time, or until it locks or rolls again.

    Returns
    -------
    (spent, U1, F1, U2, F2)   time taken [s], rim speeds [m/s] and rail forces [N] of the stages
    """
    axle_state = course.axle_state
    if not axle_state.is_locked:
        return spin_until_locked(duration, course)
    if _surplus(0.0, course)[0] <= 0.0:
        return stay_locked(duration, course)
    axle_state.is_locked = 0
    moved = spin_until_locked(duration, course)
    if axle_state.is_locked == 0 or moved[0] > _AT_ONCE:
        return moved
    # it locks again before it has turned, so it is held through the piece: else pieces of a
    # nanosecond would follow each other for as long as brake and rail are a match
    first, last = _surplus(GAMMA * duration, course)[1], _surplus(duration, course)[1]
    return duration, 0.0, first, 0.0, last


@inner
def load_wheels(k: int, lanes: Lanes, axle: Axle, axle_state: AxleState) -> None:
    """Take an axle's wheels, and what its cell makes of the creep curve, into a lane."""
    lanes.wheel_before[k] = axle_state.wheel_speed
    lanes.rotating_mass[k] = axle.rotating_mass
    lanes.wheel_load[k] = axle_state.wheel_load
    lanes.contact_stiffness[k] = axle_state.contact_stiffness
    lanes.friction[k] = axle_state.friction
    lanes.friction_ratio[k] = axle_state.friction_ratio
    lanes.friction_decay[k] = axle_state.friction_decay
    lanes.adhesion_reduction[k] = axle_state.adhesion_reduction
    lanes.slip_reduction[k] = axle_state.slip_reduction
    lanes.curve_slip[k] = axle_state.curve_slip
    lanes.curve_force[k] = axle_state.curve_force
    lanes.curve_slope[k] = axle_state.curve_slope


@inner
def turn_lane(
    k: int, acceleration: float, lanes: Lanes, axle: Axle, axle_state: AxleState, law: Law
) -> None:
    """Keep what `spin_together` found for a lane where it holds; else turn its wheels alone."""
    is_right = law.kind == POLACH and lanes.is_right[k] == 1.0
    if is_right and not axle_state.is_locked and axle_state.curve_slope != 0.0:
        axle_state.curve_slip = lanes.next_slip[k]
        axle_state.curve_force = lanes.next_force[k]
        axle_state.curve_slope = lanes.next_slope[k]
        return
    course = Course(
        lanes.speed[k], acceleration, lanes.brake[k], lanes.brake_rate[k], axle, axle_state, law
    )
    (
        lanes.duration[k],
        lanes.wheel_1[k],
        lanes.force_1[k],
        lanes.wheel_2[k],
        lanes.force_2[k],
    ) = turn(lanes.duration[k], course)

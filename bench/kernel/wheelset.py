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
from typing import Any

from bench.kernel.creep import creep_force, steepest_fall
from bench.kernel.jit import apart, folded, inner, part

GAMMA = 1.0 - math.sqrt(0.5)
"""Diagonal coefficient of both stages; their weights in the step are 1 - gamma and gamma."""

_LARGEST_SHAPE = 4.0 / math.pi * (0.5 + 0.5 * math.pi)
"""Force of an axle over load times static friction cannot pass this."""

LONGEST_FALL = 0.25
"""Pieces are cut so that step times growth rate of an unstable slide stays below this. [-]"""


@part
def longest_piece(train_speed: float, axle: Any, state: Any, law: Any) -> float:
    """Return the longest piece of time that follows an unstable slide. [s]

    Past the peak of the creep curve a slide grows; a long implicit step would damp that growth and
    meet several roots. Up to this length each stage has exactly one root, for the stage's equation
    then rises with the wheel's speed everywhere, so the root is the one reached continuously.
    """
    fall = steepest_fall(train_speed, axle, state, law)
    if fall <= 0.0:
        return math.inf
    return LONGEST_FALL * axle.rotating_mass / fall


@part
def solve_stage(
    base: float,
    weight: float,
    brake_force: float,
    train_speed: float,
    axle: Any,
    state: Any,
    law: Any,
) -> float:
    """Return the rim speed U with U = base + weight (F(v - U) - B).

    Parameters
    ----------
    base : float          [m/s]
    weight : float        stage's share of the step over the rotating mass. [s/kg]
    brake_force : float   at the stage. [N]
    train_speed : float   at the stage. [m/s]
    state : AXLE_STATE    `curve_slip`, `curve_force`, `curve_slope`: the creep curve where it was
                          evaluated last, replaced by the last evaluation here

    Notes
    -----
    Newton's method. The first step is taken on the tangent known from the stage before and costs no
    evaluation; the second usually is the last. How far a step misses is told by how much the slope
    has changed since the evaluation before. Steps end when that is below 1e-8 of the slip speed and
    1e-7 of the bracket; that much is then put right, so what is left is of third order.
    The creep force lies within plus and minus its limit, which bounds U from both sides; every
    evaluation narrows the bracket. A step that leaves it, or that is not half as long as the step
    before the last (from one flat end of the curve Newton jumps to the other and back), is replaced
    by halving.
    """
    spread = _LARGEST_SHAPE * state.wheel_load * state.friction
    low = base - weight * (brake_force + spread)
    high = base - weight * (brake_force - spread)
    last_slip, last_force, slope = state.curve_slip, state.curve_force, state.curve_slope
    if last_slip == 0.0 and slope == 0.0:  # not evaluated yet
        last_force, slope = creep_force(0.0, train_speed, axle, state, law)
    on_tangent = last_force + slope * (train_speed - last_slip)
    wheel_speed = (base + weight * (on_tangent - brake_force)) / (1.0 + weight * slope)
    wheel_speed = min(max(wheel_speed, low), high)
    last = before_last = 2.0 * (high - low)
    largest_miss = 1e-7 * (high - low)
    for _ in range(100):
        slip_speed = train_speed - wheel_speed
        last_slope = slope
        force, slope = creep_force(slip_speed, train_speed, axle, state, law)
        residual = wheel_speed - base - weight * (force - brake_force)
        if residual > 0.0:
            high = wheel_speed
        else:
            low = wheel_speed
        stiffness = 1.0 + weight * slope
        change = -residual / stiffness
        tried = wheel_speed + change
        is_halved = not low <= tried <= high or abs(change) > 0.5 * before_last
        if is_halved:
            tried = 0.5 * (low + high)
            change = tried - wheel_speed
        before_last, last = last, abs(change)
        wheel_speed = tried
        # how far the tangent leaves the curve over the step, by the slopes of the last two
        missed = 0.5 * weight * (slope - last_slope) * change * change
        reach = stiffness * (slip_speed - last_slip)
        last_slip = slip_speed
        smallest = min(abs(slip_speed), abs(train_speed - tried))
        allowed = min(1e-8 * smallest, largest_miss) + 2e-15 * (1.0 + train_speed)  # rounding
        if last <= allowed:
            break
        # from far the slopes of two points on a flat end would tell nothing of the steep part
        is_near = not is_halved and last <= 0.1 * smallest
        if is_near and abs(missed) <= abs(reach) * allowed:
            wheel_speed += missed / reach
            break
    state.curve_slip, state.curve_force, state.curve_slope = last_slip, force, slope
    return wheel_speed


@folded
def spin(
    duration: float,
    speed: float,
    acceleration: float,
    brake_force: float,
    brake_rate: float,
    axle: Any,
    state: Any,
    law: Any,
) -> tuple[Any, Any, Any, Any]:
    """Return both stages of one step of a rolling wheel: speeds and rail forces.

    Parameters
    ----------
    duration : float                    [s]
    speed, acceleration : float         of the train at the start, constant acceleration
    brake_force, brake_rate : float     at the start [N], [N/s]

    Returns
    -------
    (U1, F1, U2, F2)   rim speeds [m/s] and rail forces [N]; U2 is the speed after the step. The
    forces come from the balance of the wheel, so momentum is kept to rounding whatever the
    solver's tolerance.
    """
    weight = GAMMA * duration / axle.rotating_mass
    speed_1 = speed + acceleration * GAMMA * duration
    brake_1 = brake_force + brake_rate * GAMMA * duration
    start = state.wheel_speed
    wheel_1 = solve_stage(start, weight, brake_1, speed_1, axle, state, law)
    net_1 = (wheel_1 - start) / weight
    base = start + (1.0 - GAMMA) * duration / axle.rotating_mass * net_1
    speed_2 = speed + acceleration * duration
    brake_2 = brake_force + brake_rate * duration
    wheel_2 = solve_stage(base, weight, brake_2, speed_2, axle, state, law)
    return wheel_1, net_1 + brake_1, wheel_2, (wheel_2 - base) / weight + brake_2


@folded
def spin_until_locked(
    duration: float,
    speed: float,
    acceleration: float,
    brake_force: float,
    brake_rate: float,
    axle: Any,
    state: Any,
    law: Any,
) -> tuple[Any, Any, Any, Any, Any]:
    """Take a step of a rolling wheel, cut short where the rim comes to rest.

    Returns
    -------
    (spent, U1, F1, U2, F2)   as `spin`, with the time taken; `state` is locked where it ended so.
    """
    result = spin(duration, speed, acceleration, brake_force, brake_rate, axle, state, law)
    if result[2] > 0.0:
        return duration, result[0], result[1], result[2], result[3]
    short, long = 0.0, duration
    short_end, long_end = state.wheel_speed, result[2]
    spent = duration
    for _ in range(30):
        fall = short_end - long_end
        share = short_end / fall if fall > 0.0 else 0.0
        spent = min(max(short + (long - short) * share, 1e-9), duration)
        result = spin(spent, speed, acceleration, brake_force, brake_rate, axle, state, law)
        if abs(result[2]) <= 1e-9 or spent <= 1e-9:
            break
        if result[2] > 0.0:
            short, short_end = spent, result[2]
        else:
            long, long_end = spent, result[2]
    state.is_locked = 1
    return spent, result[0], result[1], 0.0, result[3]


@inner
def _surplus(
    elapsed: float,
    speed: float,
    acceleration: float,
    brake_force: float,
    brake_rate: float,
    axle: Any,
    state: Any,
    law: Any,
) -> tuple[Any, Any]:
    at_speed = max(speed + acceleration * elapsed, 0.0)
    grip = creep_force(at_speed, at_speed, axle, state, law)[0]
    return grip - (brake_force + brake_rate * elapsed), grip


@apart
def stay_locked(
    duration: float,
    speed: float,
    acceleration: float,
    brake_force: float,
    brake_rate: float,
    axle: Any,
    state: Any,
    law: Any,
) -> tuple[Any, Any, Any, Any, Any]:
    """Take a step of a locked wheel, cut short where the rail grips more than the brake holds.

    Returns
    -------
    (spent, U1, F1, U2, F2)   as `spin_until_locked`; the brake holds with the rail's force. The
    wheel rolls again (`state.is_locked` 0) where the step was cut short.
    """
    spent = duration
    after, grip = _surplus(duration, speed, acceleration, brake_force, brake_rate, axle, state, law)
    if after > 0.0:
        before = _surplus(0.0, speed, acceleration, brake_force, brake_rate, axle, state, law)[0]
        short, long = 0.0, duration
        for _ in range(30):
            spent = short + (long - short) * before / (before - after)
            spent = min(max(spent, 1e-9), duration)
            middle, grip = _surplus(
                spent, speed, acceleration, brake_force, brake_rate, axle, state, law
            )
            if abs(middle) <= 1e-9 * brake_force or spent <= 1e-9:
                break
            if middle > 0.0:
                long, after = spent, middle
            else:
                short, before = spent, middle
        state.is_locked = 0
    first = _surplus(GAMMA * spent, speed, acceleration, brake_force, brake_rate, axle, state, law)[
        1
    ]
    return spent, 0.0, first, 0.0, grip


@folded
def turn(
    duration: float,
    speed: float,
    acceleration: float,
    brake_force: float,
    brake_rate: float,
    axle: Any,
    state: Any,
    law: Any,
) -> tuple[Any, Any, Any, Any, Any]:
    """Move a wheelset on by a piece of time, or until it locks or rolls again.

    Returns
    -------
    (spent, U1, F1, U2, F2)   time taken [s], rim speeds [m/s] and rail forces [N] of the stages
    """
    if state.is_locked:
        surplus = _surplus(0.0, speed, acceleration, brake_force, brake_rate, axle, state, law)[0]
        if surplus <= 0.0:
            return stay_locked(
                duration, speed, acceleration, brake_force, brake_rate, axle, state, law
            )
        state.is_locked = 0
    return spin_until_locked(
        duration, speed, acceleration, brake_force, brake_rate, axle, state, law
    )

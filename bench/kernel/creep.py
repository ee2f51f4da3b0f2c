"""Creep force of one wheel on the rail, and the peak of its curve."""

import math
from typing import Any

from slipbench.compiling.jit import apart, folded, inner, part
from slipbench.kernel.codes import MEASURED_CURVE, POLACH
from slipbench.kernel.elementary import arctangent, falling_exponential
from slipbench.kernel.records import Axle, AxleState, Law

_NEAR = 0.03
"""How far around the peak found last the search begins, as a logarithm of slip speed. [-]"""

SLOWEST = 1e-3
"""Train speed below which creepage is taken over this speed instead, so it stays finite. [m/s]"""


@folded
def friction_at_slip(
    static_friction: float, ratio: float, decay: float, slip_speed: float
) -> tuple[Any, Any]:
    """Return the friction coefficient falling with slip speed, and its slope.

    Parameters
    ----------
    static_friction : float   Friction at no slip speed. [-]
    ratio : float             A, friction at infinite slip speed over static friction. [-]
    decay : float             B. [s/m]
    slip_speed : float        v - u, either sign. [m/s]

    Returns
    -------
    (float, float)   friction [-], slope over the slip speed [s/m]

    References
    ----------
    [Polach2005] Wear 258, 992-1000: mu = mu0 ((1 - A) exp(-B w) + A).
    """
    fading = static_friction * (1.0 - ratio) * falling_exponential(decay * abs(slip_speed))
    slope = -decay * fading
    return static_friction * ratio + fading, slope if slip_speed >= 0.0 else -slope


@folded
def polach_ratio(
    normalised_creepage: float, adhesion_reduction: float, slip_reduction: float
) -> tuple[Any, Any]:
    """Return F / (mu N) of Polach's law and its slope over the normalised creepage. [-]

    (2 / pi) (kA e / (1 + (kA e)^2) + atan(kS e)) with e = (pi/4) tau. It never falls with creepage
    as long as kS >= 0.1317 kA, which the scenario demands.

    References
    ----------
    [Polach2005] Wear 258, 992-1000, eqs (2), (3); the reduction factors kA, kS from memory.
    """
    gradient = 0.25 * math.pi * normalised_creepage
    adhering = adhesion_reduction * gradient
    sliding = slip_reduction * gradient
    below = 1.0 / (1.0 + adhering * adhering)
    ratio = 2.0 / math.pi * (adhering * below + arctangent(sliding))
    slope = adhesion_reduction * (2.0 * below - 1.0) * below
    slope += slip_reduction / (1.0 + sliding * sliding)
    return ratio, 0.5 * slope


@apart
def table_ratio(normalised_creepage: float, law: Law) -> tuple[Any, Any]:
    """Return F / (mu N) of a tabulated law and its slope over the normalised creepage. [-]

    Cubic between the nodes (values and slopes), constant past the last, odd.
    slipbench.contact.table builds the nodes and tells the error against the law.
    """
    size = abs(normalised_creepage)
    last = law.nodes.shape[0] - 1
    if size >= law.nodes[last]:
        return math.copysign(law.values[last], normalised_creepage), 0.0
    i = 0
    if size >= law.nodes[1]:
        i = 1 + int((math.log(size) - law.log_first) * law.nodes_per_log)
        i = min(max(i, 1), last - 1)
        if size < law.nodes[i]:
            i -= 1
        elif size >= law.nodes[i + 1]:
            i += 1
    width = law.nodes[i + 1] - law.nodes[i]
    value, slope = _hermite(
        (size - law.nodes[i]) / width,
        width,
        law.values[i],
        law.values[i + 1],
        law.slopes[i],
        law.slopes[i + 1],
    )
    return math.copysign(value, normalised_creepage), slope


@inner
def _hermite(
    share: float, width: float, before: float, after: float, slope_before: float, slope_after: float
) -> tuple[Any, Any]:
    rise = after - before
    bend_before = width * slope_before - rise
    bend_after = rise - width * slope_after
    rest = 1.0 - share
    value = before + share * rise + share * rest * (rest * bend_before + share * bend_after)
    slope = rise + (rest - share) * (rest * bend_before + share * bend_after)
    slope += share * rest * (bend_after - bend_before)
    return value, slope / width


@inner
def _curve_row(creepage: float, row: int, law: Law) -> Any:
    last = law.creepages.shape[0] - 1
    first = row * law.creepages.shape[0]
    if creepage >= law.creepages[last]:
        return law.curve[first + last], 0.0
    i = 0
    if creepage >= law.creepages[1]:
        i = 1 + int((math.log(creepage) - law.log_first) * law.nodes_per_log)
        i = min(max(i, 1), last - 1)
        if creepage < law.creepages[i]:
            i -= 1
        elif creepage >= law.creepages[i + 1]:
            i += 1
    width = law.creepages[i + 1] - law.creepages[i]
    return _hermite(
        (creepage - law.creepages[i]) / width,
        width,
        law.curve[first + i],
        law.curve[first + i + 1],
        law.curve_slopes[first + i],
        law.curve_slopes[first + i + 1],
    )


@apart
def curve_ratio(creepage: float, train_speed: float, law: Law) -> tuple[Any, Any]:
    """Return a measured curve over its largest adhesion, and its slope over creepage. [-]

    Cubic in creepage, linear in train speed between the speeds it was measured at, and as at the
    first or last of them beyond. Odd in creepage.
    """
    size = abs(creepage)
    row = 0
    while row < law.n_speeds - 1 and law.speeds[row + 1] <= train_speed:
        row += 1
    value, slope = _curve_row(size, row, law)
    if row < law.n_speeds - 1 and train_speed > law.speeds[row]:
        share = (train_speed - law.speeds[row]) / (law.speeds[row + 1] - law.speeds[row])
        value_above, slope_above = _curve_row(size, row + 1, law)
        value += share * (value_above - value)
        slope += share * (slope_above - slope)
    return math.copysign(value, creepage), slope


@folded
def polach_force(
    slip_speed: float,
    train_speed: float,
    wheel_load: float,
    static_friction: float,
    friction_ratio: float,
    friction_decay: float,
    adhesion_reduction: float,
    slip_reduction: float,
    contact_stiffness: float,
) -> tuple[Any, Any]:
    """Return the rail force of both wheels of an axle by Polach's law, and its slope.

    Parameters
    ----------
    slip_speed, train_speed : float   [m/s]
    wheel_load, contact_stiffness : float   of one wheel, G a b C11. [N]
    others : float                          of the cell, as in CELL

    Returns
    -------
    (float, float)   force [N], slope over the slip speed [N s/m]

    Notes
    -----
    Arithmetic without branches: several axles share a vector instruction (see `wheelset`).
    """
    friction, friction_slope = friction_at_slip(
        static_friction, friction_ratio, friction_decay, slip_speed
    )
    limit = wheel_load * friction
    tau_slope = contact_stiffness / (max(train_speed, SLOWEST) * limit)
    tau = tau_slope * slip_speed
    ratio, slope = polach_ratio(tau, adhesion_reduction, slip_reduction)
    return _force_of(ratio, slope, tau, tau_slope, limit, wheel_load * friction_slope)


@folded
def _force_of(
    ratio: float, slope: float, tau: float, tau_slope: float, limit: float, limit_slope: float
) -> tuple[Any, Any]:
    """Return force and slope of both wheels: friction enters the limit and, inversely, tau."""
    by_friction = 2.0 * limit_slope * (ratio - tau * slope)
    return 2.0 * limit * ratio, 2.0 * limit * slope * tau_slope + by_friction


@apart
def creep_force(
    slip_speed: float, train_speed: float, axle: Axle, axle_state: AxleState, law: Law
) -> tuple[Any, Any]:
    """Return the rail force of both wheels of an axle, and its slope over the slip speed.

    Parameters
    ----------
    slip_speed : float    v - u; positive retards the train and spins the wheel up. [m/s]
    train_speed : float   [m/s], >= 0
    axle : AXLE           its load and contact stiffness
    axle_state : AXLE_STATE    the friction of the cell it stands in
    law : LAW             which creep law, and its table

    Returns
    -------
    (float, float)   force [N], slope [N s/m]

    Notes
    -----
    A wheel's force is mu Q times a traction ratio of tau = G a b C11 creepage / (mu Q), with
    friction mu falling with slip speed, in tau as well. A measured curve is taken as it is, over
    creepage, scaled so that its largest adhesion is the cell's friction.
    """
    speed = max(train_speed, SLOWEST)
    if law.kind == MEASURED_CURVE:
        creepage_slope = 1.0 / speed
        scale = 2.0 * axle_state.wheel_load * axle_state.friction
        ratio, slope = curve_ratio(slip_speed * creepage_slope, train_speed, law)
        return scale * ratio, scale * slope * creepage_slope
    if law.kind == POLACH:
        return polach_force(
            slip_speed,
            train_speed,
            axle_state.wheel_load,
            axle_state.friction,
            axle_state.friction_ratio,
            axle_state.friction_decay,
            axle_state.adhesion_reduction,
            axle_state.slip_reduction,
            axle_state.contact_stiffness,
        )
    friction, friction_slope = friction_at_slip(
        axle_state.friction, axle_state.friction_ratio, axle_state.friction_decay, slip_speed
    )
    limit = axle_state.wheel_load * friction
    tau_slope = axle_state.contact_stiffness / (speed * limit)
    tau = tau_slope * slip_speed
    ratio, slope = table_ratio(tau, law)
    return _force_of(ratio, slope, tau, tau_slope, limit, axle_state.wheel_load * friction_slope)


@part
def steepest_fall(train_speed: float, axle: Axle, axle_state: AxleState, law: Law) -> float:
    """Return an upper bound of how fast the force of an axle falls with slip speed. [N s/m]

    From creep_force: only 2 Q |dmu/dw| (ratio - tau ratio') falls. For Polach's law the bracket is
    (2/pi) (2 x^3 / (1 + x^2)^2 + atan y - y / (1 + y^2)), x = kA e, y = kS e, below
    (2/pi) (0.65 + pi/2) = 1.415; for the tabulated laws, which rise to one, it is at most 1. A
    measured curve brings its own steepest fall over creepage.
    """
    if law.kind == MEASURED_CURVE:
        scale = 2.0 * axle_state.wheel_load * axle_state.friction
        return scale * law.steepest_fall / max(train_speed, SLOWEST)
    steepest = axle_state.friction * (1.0 - axle_state.friction_ratio) * axle_state.friction_decay
    return 2.0 * axle_state.wheel_load * steepest * 1.415


@inner
def _slope_at(log_slip: float, speed: float, axle: Axle, axle_state: AxleState, law: Law) -> float:
    return creep_force(math.exp(log_slip), speed, axle, axle_state, law)[1]


@inner
def _highest_octave(speed: float, axle: Axle, axle_state: AxleState, law: Law) -> tuple[Any, Any]:
    """Return half octaves around the largest force: with kA far above kS there are two peaks."""
    half = 0.5 * math.log(2.0)
    fastest = math.log(speed)
    best, highest = 0, 0.0
    for i in range(34):
        force = creep_force(math.exp(fastest - i * half), speed, axle, axle_state, law)[0]
        if force > highest:
            best, highest = i, force
    if best == 0:
        if _slope_at(fastest, speed, axle, axle_state, law) >= 0.0:
            return fastest, fastest
        return fastest - half, fastest
    return fastest - (best + 1) * half, fastest - (best - 1) * half


@apart
def _bracket_peak(
    speed: float, axle: Axle, axle_state: AxleState, law: Law
) -> tuple[Any, Any, Any, Any]:
    """Return two logarithms of slip speed with rising and falling force, equal if none falls.

    First near the peak found last, then octave by octave from small slip. With them the slopes.
    """
    if (
        axle_state.peak_creepage > 0.0
        and axle_state.adhesion_reduction <= 3.5 * axle_state.slip_reduction
    ):
        near = math.log(axle_state.peak_creepage * speed)
        rising = _slope_at(near - _NEAR, speed, axle, axle_state, law)
        if rising > 0.0:
            falling = _slope_at(near + _NEAR, speed, axle, axle_state, law)
            if falling < 0.0:
                return near - _NEAR, near + _NEAR, rising, falling
    if axle_state.adhesion_reduction > 3.5 * axle_state.slip_reduction:
        low, high = _highest_octave(speed, axle, axle_state, law)
        rising = _slope_at(low, speed, axle, axle_state, law)
        return low, high, rising, _slope_at(high, speed, axle, axle_state, law)
    octave = math.log(2.0)
    fastest = math.log(speed)
    low = fastest - 17 * octave
    rising = _slope_at(low, speed, axle, axle_state, law)
    for i in range(16, -1, -1):
        high = fastest - i * octave
        slope = _slope_at(high, speed, axle, axle_state, law)
        if slope < 0.0:
            return low, high, rising, slope
        low, rising = high, slope
    return fastest, fastest, 0.0, 0.0


@apart
def find_peak(train_speed: float, axle: Axle, axle_state: AxleState, law: Law) -> tuple[Any, Any]:
    """Return the creepage and the force of both wheels at the peak of the creep curve met now.

    Parameters
    ----------
    train_speed : float   [m/s]
    axle : AXLE
    axle_state : AXLE_STATE    `peak_creepage`, if above zero, is where the search begins
    law : LAW

    Returns
    -------
    (float, float)   creepage in (0, 1] [-], force [N]

    Notes
    -----
    From no slip the force rises to a first peak; beyond it, where friction has fallen as far as it
    will, it may rise a little again, so the locked wheel is compared too. Where the force never
    falls (flat curve) the locked wheel has the largest. Bracketed false position (Illinois) on the
    logarithm of the slip speed, to 1e-4 of it: the force, flat there, is right to 1e-7 of itself.
    """
    speed = max(train_speed, SLOWEST)
    locked_force = creep_force(speed, speed, axle, axle_state, law)[0]
    is_flat = axle_state.friction_ratio >= 1.0 or axle_state.friction_decay == 0.0
    if is_flat and law.kind != MEASURED_CURVE:
        return 1.0, locked_force
    low, high, low_slope, high_slope = _bracket_peak(speed, axle, axle_state, law)
    if low == high:
        return 1.0, locked_force
    side = 0
    middle = low
    slip_speed = force = 0.0
    for _ in range(80):
        before = middle
        bend = (low_slope - high_slope) / (high - low)
        share = low_slope / (low_slope - high_slope)
        middle = low + min(max(share, 0.02), 0.98) * (high - low)
        slip_speed = math.exp(middle)
        force, slope = creep_force(slip_speed, speed, axle, axle_state, law)
        if slope > 0.0:
            low, low_slope = middle, slope
            high_slope *= 0.5 if side == 1 else 1.0
            side = 1
        else:
            high, high_slope = middle, slope
            low_slope *= 0.5 if side == -1 else 1.0
            side = -1
        is_next_short = law.kind == POLACH and abs(slope) < 1e-4 * bend  # the others have kinks
        if is_next_short or high - low < 1e-4 or abs(middle - before) < 1e-5:
            break
    if force < locked_force:
        return 1.0, locked_force
    return slip_speed / speed, force


@apart
def shape_of_peak(
    creepage: float, force: float, train_speed: float, axle: Axle, axle_state: AxleState, law: Law
) -> tuple[Any, Any]:
    """Return how sharply the creep curve bends at its peak, and a locked wheel's share of it.

    Returns
    -------
    (float, float)   minus the second derivative of the force over the logarithm of slip speed, over
    load and friction, zero where the peak is a locked wheel's [-]; force of a locked wheel over the
    peak's [-]
    """
    speed = max(train_speed, SLOWEST)
    if creepage >= 1.0:
        return 0.0, 1.0
    at, half = math.log(creepage * speed), 0.01
    fall = _slope_at(at - half, speed, axle, axle_state, law)
    fall -= _slope_at(at + half, speed, axle, axle_state, law)
    bend = fall / (2.0 * half) * creepage * speed / (axle_state.wheel_load * axle_state.friction)
    return bend, creep_force(speed, speed, axle, axle_state, law)[0] / force


@apart
def follow_peak(train_speed: float, axle: Axle, axle_state: AxleState, law: Law) -> tuple[Any, Any]:
    """Return creepage and force at the peak, from where it was found last; (0, 0) if it is lost.

    Newton's steps for the root of the slope over the logarithm of slip speed, with the bend found
    with the peak: mostly one. The last, below a fiftieth, is not evaluated: the force, flat there,
    is right to the square of what the step misses. A locked wheel's force is compared where it was
    not far below.
    """
    speed = max(train_speed, SLOWEST)
    creepage = axle_state.peak_creepage
    for _ in range(4):
        slip_speed = creepage * speed
        force, slope = creep_force(slip_speed, speed, axle, axle_state, law)
        step = (
            slope
            * slip_speed
            / (axle_state.peak_bend * axle_state.wheel_load * axle_state.friction)
        )
        if abs(step) > 0.3:
            break
        creepage *= 1.0 + step * (1.0 + 0.5 * step)
        if abs(step) < 0.02:
            force += 0.5 * slope * slip_speed * step
            if creepage >= 1.0:
                break
            if axle_state.locked_share > 0.8:
                locked_force = creep_force(speed, speed, axle, axle_state, law)[0]
                if locked_force > force:
                    break
            return creepage, force
    return 0.0, 0.0

"""Creep force of one wheel on the rail, and the peak of its curve."""

import math

from numba import njit

SLOWEST = 1e-3
"""Train speed below which creepage is taken over this speed instead, so it stays finite. [m/s]"""


@njit(error_model="numpy")
def friction_at_slip(static_friction, ratio, decay, slip_speed):
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
    if ratio >= 1.0:
        return static_friction, 0.0
    fading = static_friction * (1.0 - ratio) * math.exp(-decay * abs(slip_speed))
    return static_friction * ratio + fading, -decay * fading


@njit(error_model="numpy")
def creep_force(slip_speed, train_speed, axle, state):
    """Return the rail force of both wheels of an axle, and its slope over the slip speed.

    Parameters
    ----------
    slip_speed : float    v - u; positive retards the train and spins the wheel up. [m/s]
    train_speed : float   [m/s], >= 0
    axle : AXLE           its load and contact stiffness
    state : AXLE_STATE    the friction of the cell it stands in

    Returns
    -------
    (float, float)   force [N], slope [N s/m]

    Notes
    -----
    F = (2 Q mu / pi) (kA e / (1 + (kA e)^2) + atan(kS e)) a wheel, with
    e = (pi/4) G a b C11 creepage / (Q mu). For constant mu the force never falls with creepage as
    long as kS >= 0.1317 kA, which the scenario demands; so only falling friction bends it down.

    References
    ----------
    [Polach2005] Wear 258, 992-1000, eqs (2), (3); the reduction factors kA, kS from memory.
    """
    friction, friction_slope = friction_at_slip(
        state.friction, state.friction_ratio, state.friction_decay, slip_speed
    )
    if slip_speed < 0.0:
        friction_slope = -friction_slope
    creepage_slope = 1.0 / max(train_speed, SLOWEST)
    limit = axle.wheel_load * friction
    gradient_slope = 0.25 * math.pi * axle.contact_stiffness * creepage_slope / limit
    gradient = gradient_slope * slip_speed
    adhering = state.adhesion_reduction * gradient
    sliding = state.slip_reduction * gradient
    below = 1.0 / (1.0 + adhering * adhering)
    shape = adhering * below + math.atan(sliding)
    shape_slope = state.adhesion_reduction * (2.0 * below - 1.0) * below + (
        state.slip_reduction / (1.0 + sliding * sliding)
    )
    # both wheels: 2 * (2 Q mu / pi)
    scale = 4.0 / math.pi * limit
    force = scale * shape
    slope = scale * shape_slope * gradient_slope
    # friction enters the limit and, inversely, the gradient
    slope += 4.0 / math.pi * axle.wheel_load * friction_slope * (shape - gradient * shape_slope)
    return force, slope


@njit(error_model="numpy")
def steepest_fall(axle, state):
    """Return an upper bound of how fast the force of an axle falls with slip speed. [N s/m]

    From creep_force: the falling part is (4/pi) Q |dmu/dw| (shape - e shape'), and
    shape - e shape' = 2 (kA e)^3 / (1 + (kA e)^2)^2 + atan(kS e) - kS e / (1 + (kS e)^2)
    is below 0.65 + pi/2.
    """
    steepest = state.friction * (1.0 - state.friction_ratio) * state.friction_decay
    return 4.0 / math.pi * axle.wheel_load * steepest * 2.221


@njit(error_model="numpy")
def _slope_at(log_slip, speed, axle, state):
    return creep_force(math.exp(log_slip), speed, axle, state)[1]


@njit(error_model="numpy")
def _bracket_peak(speed, axle, state):
    """Return two logarithms of slip speed with rising and falling force, equal if none falls.

    First near the peak found last, then octave by octave from small slip.
    """
    if state.peak_creepage > 0.0:
        near = math.log(state.peak_creepage * speed)
        if (
            _slope_at(near - 0.1, speed, axle, state) > 0.0
            and _slope_at(near + 0.1, speed, axle, state) < 0.0
        ):
            return near - 0.1, near + 0.1
    octave = math.log(2.0)
    fastest = math.log(speed)
    for i in range(16, -1, -1):
        if _slope_at(fastest - i * octave, speed, axle, state) < 0.0:
            return fastest - (i + 1) * octave, fastest - i * octave
    return fastest, fastest


@njit(error_model="numpy")
def find_peak(train_speed, axle, state):
    """Return the creepage and the force of both wheels at the peak of the creep curve met now.

    Parameters
    ----------
    train_speed : float   [m/s]
    axle : AXLE
    state : AXLE_STATE    `peak_creepage`, if above zero, is where the search begins

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
    locked_force = creep_force(speed, speed, axle, state)[0]
    if state.friction_ratio >= 1.0 or state.friction_decay == 0.0:
        return 1.0, locked_force
    low, high = _bracket_peak(speed, axle, state)
    if low == high:
        return 1.0, locked_force
    low_slope = _slope_at(low, speed, axle, state)
    high_slope = _slope_at(high, speed, axle, state)
    side = 0
    middle = low
    for _ in range(80):
        before = middle
        share = low_slope / (low_slope - high_slope)
        middle = low + min(max(share, 0.02), 0.98) * (high - low)
        slope = _slope_at(middle, speed, axle, state)
        if slope > 0.0:
            low, low_slope = middle, slope
            high_slope *= 0.5 if side == 1 else 1.0
            side = 1
        else:
            high, high_slope = middle, slope
            low_slope *= 0.5 if side == -1 else 1.0
            side = -1
        if high - low < 1e-4 or abs(middle - before) < 1e-5:
            break
    slip_speed = math.exp(middle)
    force = creep_force(slip_speed, speed, axle, state)[0]
    if force < locked_force:
        return 1.0, locked_force
    return slip_speed / speed, force

"""Ride and operation: what passengers, driver and timetable notice of a stop."""

import math
from dataclasses import dataclass

from slipbench.ground.errors import InputError


@dataclass(frozen=True)
class RideUse:
    """How a stop rode and what it meant for operation. NaN where there is nothing to tell.

    Parameters
    ----------
    largest_jerk : float             [m/s3]
    jerk_time, jerk_speed : float    [s], [m/s]
    final_jerk : float               Largest below 5 m/s, the jolt of the stop itself left out.
        [m/s3]
    final_jerk_time, final_jerk_speed : float   [s], [m/s]
    speedometer_error : float        Shown less true speed where its size was largest. [m/s]
    speedometer_error_time, speedometer_error_speed : float   [s], true speed [m/s]
    speedometer_wrong_time : float   Off by more than 5 mph. [s]
    overrun : float                  Final place less stopping point; negative short of it; a train
        that never stopped went at least so far. [m]
    point_time, point_speed : float  As the train passed its stopping point. [s], [m/s]
    time_lost : float                See `time_lost`. [s]
    emergency_time : float           Handle in emergency. [s]
    emergency_start_time, emergency_start_speed : float   [s], [m/s]
    emergency_eased_time, emergency_eased_speed : float   When it was left again under way.
        [s], [m/s]
    is_emergency_at_end : bool       Handle still in emergency at standstill.
    isolated_time : float            Slip control isolated by the button, under way. [s]
    isolation_start_time, isolation_start_speed : float   [s], [m/s]
    isolated_locked_time, isolated_locked_distance : float   Of all axles meanwhile. [s], [m]
    n_ignored_presses : int          Presses of the button with the handle not in emergency.
    hold_margin : float              Force that holds the train at rest less the force of the
        gradient: below 0 it rolls away. [N]
    """

    largest_jerk: float
    jerk_time: float
    jerk_speed: float
    final_jerk: float
    final_jerk_time: float
    final_jerk_speed: float
    speedometer_error: float
    speedometer_error_time: float
    speedometer_error_speed: float
    speedometer_wrong_time: float
    overrun: float
    point_time: float
    point_speed: float
    time_lost: float
    emergency_time: float
    emergency_start_time: float
    emergency_start_speed: float
    emergency_eased_time: float
    emergency_eased_speed: float
    is_emergency_at_end: bool
    isolated_time: float
    isolation_start_time: float
    isolation_start_speed: float
    isolated_locked_time: float
    isolated_locked_distance: float
    n_ignored_presses: int
    hold_margin: float


@dataclass(frozen=True)
class NormalStop:
    """The stop a timetable counts on.

    Parameters
    ----------
    distance : float   [m]
    time : float       [s]
    """

    distance: float
    time: float


def normal_stop(
    initial_speed: float, deceleration: float, demand_delay: float, build_up_time: float
) -> NormalStop:
    """Return a stop on good rail in closed form: delay, linear build-up, steady deceleration.

    Parameters
    ----------
    initial_speed : float   [m/s], > 0
    deceleration : float    [m/s2], > 0
    demand_delay, build_up_time : float   [s], >= 0

    Returns
    -------
    NormalStop   distance v (td + tb/2) + v^2 / 2a - a tb^2 / 24, exact where the train still moves
        after the build-up; time td + tb/2 + v/a

    Raises
    ------
    InputError   for a speed or deceleration that is not above zero
    """
    for name, value, unit in (
        ("initial_speed", initial_speed, "m/s"),
        ("deceleration", deceleration, "m/s2"),
    ):
        if not value > 0.0:
            raise InputError(f"{name} = {value} {unit} is not allowed; it must be > 0")
    equivalent = demand_delay + 0.5 * build_up_time
    way = initial_speed * equivalent + initial_speed**2 / (2.0 * deceleration)
    return NormalStop(
        way - deceleration * build_up_time**2 / 24.0, equivalent + initial_speed / deceleration
    )


def time_lost(distance: float, time: float, initial_speed: float, normal: NormalStop) -> float:
    """Return the time a stop lost against the normal stop at the same place.

    Parameters
    ----------
    distance, time : float    From the first braking to rest. [m], [s]; NaN if it never stopped
    initial_speed : float     [m/s], > 0
    normal : NormalStop

    Returns
    -------
    float   `time` less that of running on at the initial speed and stopping normally at the same
        place: the price of braking early, and of a long slide. Negative for a stop shorter than
        the normal one. NaN if it never stopped. [s]
    """
    if not (math.isfinite(distance) and math.isfinite(time)):
        return math.nan
    return time - normal.time - (distance - normal.distance) / initial_speed

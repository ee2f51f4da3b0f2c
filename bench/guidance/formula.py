"""The stopping distance in closed form: reaction, delay, build-up, full brake, on a gradient."""

from __future__ import annotations

import math
from collections.abc import Callable

GRAVITY = 9.80665
"""Standard gravity, exact by definition. [m/s2]"""


def stopping_distance(
    speed: float,
    demand: float,
    delay: float,
    build_up: float,
    rise: float = 0.0,
    rotating_share: float = 0.0,
) -> float:
    """Return the distance from the braking point to standstill; infinite where nothing holds. [m]

    Parameters
    ----------
    speed : float            at the braking point [m/s]
    demand : float           deceleration the brake gives at its full force on the level [m/s2]
    delay : float            reaction and delay of the brake: nothing brakes until then [s]
    build_up : float         linear rise of the brake to its full force [s]
    rise : float             gradient, positive uphill [-]
    rotating_share : float   rotating mass over the train's mass; gravity pulls at the latter alone

    Notes
    -----
    EN 14531-1 style (from memory, not verified): v0 (td + tb/2) + v0^2/(2a) - a tb^2/24 on the
    level. On a gradient the train is pulled by g i M/(M + m) from the braking point on; each of the
    three phases is integrated exactly, which gives that formula at i = 0 (derived). No running
    resistance. Where the train comes to rest before the brake is fully on, the phase ends there.

    References
    ----------
    EN 14531-1; g i M/(M + m): mechanics.
    """
    pull = -GRAVITY * rise / (1.0 + rotating_share)  # acceleration, positive downhill
    first, rest = _coasted(speed, pull, delay)
    if rest is None:
        return first
    second, last = _built_up(rest, pull, demand, build_up)
    if last is None:
        return first + second
    slowing = demand - pull
    return math.inf if slowing <= 0.0 else first + second + last * last / (2.0 * slowing)


def _coasted(speed: float, pull: float, duration: float) -> tuple[float, float | None]:
    """Return the way run at a constant pull, and the speed after it; None if it came to rest."""
    after = speed + pull * duration
    if after <= 0.0:
        return speed * speed / (-2.0 * pull), None
    return 0.5 * (speed + after) * duration, after


def _built_up(
    speed: float, pull: float, demand: float, build_up: float
) -> tuple[float, float | None]:
    """Return the same for the rise of the brake from nothing to its full force."""
    if build_up == 0.0:
        return 0.0, speed
    jerk = demand / build_up
    after = speed + pull * build_up - 0.5 * demand * build_up
    end = build_up
    if after <= 0.0:  # the root of speed + pull t - jerk t^2 / 2
        end = (pull + math.sqrt(pull * pull + 2.0 * jerk * speed)) / jerk
    way = speed * end + 0.5 * pull * end**2 - jerk * end**3 / 6.0
    return way, None if after <= 0.0 else after


LONGEST_STEP = 0.05
"""Of the integration; half of it moves a stop from 125 mph by less than 1 mm. [s]"""


def stepped_distance(
    speed: float,
    demand: float,
    delay: float,
    build_up: float,
    rise: float = 0.0,
    rotating_share: float = 0.0,
    resistance: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> float:
    """Return the same with running resistance, by steps of time; infinite where nothing holds. [m]

    Parameters
    ----------
    resistance : (3,)   a + b v + c v2, force over the train's mass [SI]; the rest as above

    Notes
    -----
    EN 14531-2 style: integration over time, other integrators than its own being allowed (seen in
    its abstract). Here the classical Runge-Kutta step, which never steps over the ends of delay and
    build-up; the last step is cut where the speed comes to zero.
    """
    share = 1.0 / (1.0 + rotating_share)
    ends = [time for time in (delay, delay + build_up) if time > 0.0]

    def slowing(time: float, now: float) -> float:
        built = min(max((time - delay) / build_up, 0.0), 1.0) if build_up else float(time >= delay)
        against = resistance[0] + resistance[1] * now + resistance[2] * now * now
        return demand * built + share * (GRAVITY * rise + against)

    time, way, now = 0.0, 0.0, speed
    while left := [end - time for end in ends if end - time > 1e-12]:
        time, way, now, is_over = _stepped(slowing, time, way, now, min(LONGEST_STEP, left[0]))
        if is_over:
            return way
    while slowing(time, now) > 1e-6:
        time, way, now, is_over = _stepped(slowing, time, way, now, LONGEST_STEP)
        if is_over:
            return way
    return math.inf


def _stepped(
    slowing: Callable[[float, float], float], time: float, way: float, now: float, step: float
) -> tuple[float, float, float, bool]:
    """Return time, way and speed a step later, and whether the train came to rest in it."""
    first = slowing(time, now)
    # just inside the step, where the brake may come on at its end
    middle = slowing(time + 0.5 * step, now - 0.5 * step * first)
    again = slowing(time + 0.5 * step, now - 0.5 * step * middle)
    last = slowing(time + step * (1.0 - 1e-12), now - step * again)
    mean = (first + 2.0 * middle + 2.0 * again + last) / 6.0
    after = now - step * mean
    if after <= 0.0 < mean:
        return time + now / mean, way + now * now / (2.0 * mean), 0.0, True
    way += step * now - step * step * (first + middle + again) / 6.0
    return time + step, way, after, False

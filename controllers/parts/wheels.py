"""What the wheels do, from sensors as they come: filtered, made comparable, checked on each other.

A shared part, no strategy; each begins with `sense_wheels` and then reads an axle's speed and
acceleration from its memory. Four things stand between a toothed wheel and a speed to act on:

- *Teeth out of place.* Run-out of the toothed wheel gives a false speed once a turn (0.8 mm:
  0.06 m/s at 30 m/s, but 4 m/s2 of false acceleration), jitter of single teeth a false acceleration
  of several m/s2 from sample to sample. Both pass a filter that follows a ramp without lag.
- *Lost pulses.* Each makes one sample read low, by a tenth at line speed. What no brake and no rail
  could do to a wheel within a sample is not believed, for a while.
- *Diameters.* The control is set to diameters that are some tenths of a per cent wrong, which is
  false slip for ever. While the train coasts all wheels roll: what they differ by then is learned.
- *Dead sensors.* One that reads zero at once, or from the start while others turn, or the same
  number over and over, has no vote. Its axle is taken to do what the others do on the mean, so it
  is eased when they are and braked when they are, and no longer looks locked for ever.
"""

from slipbench.compiling.helper import helper
from slipbench.contract import DEMAND, SAMPLE_TIME, WHEEL_SPEED, Floats

SPEED, ACCELERATION = 0, 1
"""Of an axle's memory: rim speed [m/s] and acceleration [m/s2], filtered; a dead one's are those of
the others."""

SCALE, _LEARNED_FOR, _DOUBTED_FOR, _SAME_FOR, _LAST, HAS_NO_VOTE = 2, 3, 4, 5, 6, 7
_IS_STARTED = 8

N_WHEEL = 9
"""Leading columns of an axle's memory this part needs."""

FOLLOWING_TIME = 0.04
"""Time constant of the filter, both poles. Acceleration is late by twice this. Assumed. [s]"""

HARDEST_SLOWING, HARDEST_GAINING = 30.0, 60.0
"""What brake and rail can do to a rim at most: emergency brake without rail force 18 m/s2, a wheel
off a film on dry rail 47 m/s2, of the shipped unit. [m/s2]"""

_SLACK, _SLACK_SHARE = 0.1, 0.004
"""Noise of a sample that is believed: constant [m/s], and of the speed [-]."""

_TOOTH, _SLOWEST_TOLD = 0.03, 0.3
"""Way of the rim between two teeth [m]; speed below which steps grow no more [m/s]."""

LONGEST_DOUBT = 0.08
"""What is not believed is believed if it lasts so long. Bursts of lost pulses are shorter. [s]"""

TURNING = 2.0
"""A sensor at zero is dead where this was its speed, or the others' as the control woke. [m/s]"""

FROZEN = 0.5
"""The same number for so long, while others change, is no measurement. [s]"""

LEARNING_TIME = 2.0
"""Time constant of diameters once it has coasted for so long; before, the mean so far. [s]"""

LARGEST_SCALE = 0.03
"""Differences of diameter beyond this are not believed. [-]"""


@helper
def _follow(measured: float, sample_time: float, own: Floats) -> None:
    """Filter one axle: a critically damped filter of second order, no lag on a ramp."""
    kept = FOLLOWING_TIME / (FOLLOWING_TIME + sample_time)
    expected = own[SPEED] + own[ACCELERATION] * sample_time
    change = measured - expected
    step = max(sample_time, _TOOTH / max(own[SPEED], _SLOWEST_TOLD))
    slack = _SLACK + _SLACK_SHARE * own[SPEED]
    is_doubtful = change < -(HARDEST_SLOWING * step + slack) or change > (
        HARDEST_GAINING * step + slack
    )
    if is_doubtful and own[_DOUBTED_FOR] < LONGEST_DOUBT:
        own[_DOUBTED_FOR] += sample_time
        own[SPEED] = max(expected, 0.0)
        return
    if is_doubtful:  # it lasts: so it is
        own[SPEED] = measured
        own[ACCELERATION] = 0.0
        return
    own[_DOUBTED_FOR] = 0.0
    own[SPEED] = max(expected + (1.0 - kept * kept) * change, 0.0)
    own[ACCELERATION] += (1.0 - kept) * (1.0 - kept) * change / sample_time


@helper
def _vote(raw: float, fastest: float, sample_time: float, own: Floats) -> None:
    """Take a sensor's vote where it cannot be right, and give it back where it turns again."""
    is_same = raw == own[_LAST] and raw > 0.0
    own[_SAME_FOR] = min(own[_SAME_FOR] + sample_time, 10.0) if is_same else 0.0
    if own[HAS_NO_VOTE] != 0.0:
        # back after as long as it takes to believe it
        is_alive = raw > 0.0 and own[_SAME_FOR] == 0.0
        own[HAS_NO_VOTE] = min(own[HAS_NO_VOTE] + sample_time, 0.0) if is_alive else -FROZEN
        if own[HAS_NO_VOTE] == 0.0:
            own[_IS_STARTED] = 0.0
    elif raw == 0.0:
        was_dead = own[_IS_STARTED] == 0.0 and fastest > TURNING
        has_died = own[_DOUBTED_FOR] >= LONGEST_DOUBT and own[SPEED] > TURNING
        if was_dead or has_died:
            own[HAS_NO_VOTE] = -FROZEN
    own[_LAST] = raw


@helper
def _learn_diameters(observation: Floats, memory: Floats) -> None:
    """Learn from coasting wheels how much each reads above the mean of all."""
    n_axles = observation.shape[0]
    sample_time = observation[0, SAMPLE_TIME]
    total, n_voting, fastest = 0.0, 0.0, 0.0
    for i_axle in range(n_axles):
        fastest = max(fastest, memory[i_axle, SPEED])
    for i_axle in range(n_axles):
        own = memory[i_axle]
        if own[HAS_NO_VOTE] == 0.0:
            if own[SPEED] < (1.0 - LARGEST_SCALE) * fastest or own[_DOUBTED_FOR] > 0.0:
                return  # a wheel slides yet, or a pulse was lost
            total += observation[i_axle, WHEEL_SPEED]
            n_voting += 1.0
    if n_voting < 2.0 or fastest < TURNING:
        return
    mean = total / n_voting
    for i_axle in range(n_axles):
        own = memory[i_axle]
        if own[HAS_NO_VOTE] == 0.0 and observation[i_axle, WHEEL_SPEED] > 0.5 * mean:
            own[_LEARNED_FOR] = min(own[_LEARNED_FOR] + sample_time, LEARNING_TIME)
            share = sample_time / own[_LEARNED_FOR]
            scale = mean / observation[i_axle, WHEEL_SPEED] - 1.0
            own[SCALE] += min(share, 1.0) * (scale - own[SCALE])
            own[SCALE] = min(max(own[SCALE], -LARGEST_SCALE), LARGEST_SCALE)


@helper
def _stand_in(n_axles: int, memory: Floats) -> None:
    """Let axles without a vote do what the others do on the mean."""
    speed, acceleration, n_voting = 0.0, 0.0, 0.0
    for i_axle in range(n_axles):
        own = memory[i_axle]
        if own[HAS_NO_VOTE] == 0.0:
            speed += own[SPEED]
            acceleration += own[ACCELERATION]
            n_voting += 1.0
    for i_axle in range(n_axles):
        own = memory[i_axle]
        if own[HAS_NO_VOTE] != 0.0:
            own[SPEED] = speed / max(n_voting, 1.0)
            own[ACCELERATION] = acceleration / max(n_voting, 1.0)


@helper
def sense_wheels(observation: Floats, memory: Floats) -> None:
    """Note every axle's rim speed and acceleration, as they are best known.

    Parameters
    ----------
    observation : (n_axles, n_observed)   measured wheel speed, demand and sample time are read
    memory : (n_axles + 1, n_memory)      `N_WHEEL` leading columns of each axle, zero at the start

    Notes
    -----
    The filter is the critically damped one of second order, predicting speed by acceleration: with
    k = tau / (tau + Ts), gains 1 - k^2 and (1 - k)^2 / Ts. Its acceleration is the difference
    quotient through two first-order lags of tau; run-out of 0.8 mm at 30 m/s then gives 0.5 instead
    of 4 m/s2, jitter of 0.15 mm about 0.1. Speeds are made comparable with the axles of this call
    only; a common error of their diameters stays. Where there is no demand and no wheel is
    noticeably slower, the train is taken to coast. Tested against sensors of known errors
    (tests/controllers/test_wheels.py). The numbers are assumed.
    """
    n_axles = observation.shape[0]
    sample_time = observation[0, SAMPLE_TIME]
    fastest = 0.0
    for i_axle in range(n_axles):
        fastest = max(fastest, observation[i_axle, WHEEL_SPEED])
    n_frozen = 0
    for i_axle in range(n_axles):
        own = memory[i_axle]
        raw = observation[i_axle, WHEEL_SPEED]
        _vote(raw, fastest, sample_time, own)
        if own[_SAME_FOR] > FROZEN:
            n_frozen += 1
        measured = raw * (1.0 + own[SCALE])
        if own[_IS_STARTED] == 0.0:
            own[_IS_STARTED] = 1.0
            own[SPEED] = measured
            own[ACCELERATION] = 0.0
        else:
            _follow(measured, sample_time, own)
    for i_axle in range(n_axles):
        own = memory[i_axle]
        if own[_SAME_FOR] > FROZEN and 2 * n_frozen <= n_axles and own[_LAST] > TURNING:
            own[HAS_NO_VOTE] = -FROZEN
    if observation[0, DEMAND] <= 0.0:
        _learn_diameters(observation, memory)
    _stand_in(n_axles, memory)

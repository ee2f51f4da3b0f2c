"""Rail force of an axle, estimated from its wheel's deceleration and its cylinder pressure.

A shared part, no strategy.
"""

from slipbench.compiling.helper import helper
from slipbench.contract import PRESSURE, SAMPLE_TIME, WHEEL_SPEED, Floats
from slipbench.controllers.parts.vehicle_data import BRAKE_GAIN, ROTATING_MASS

SPEED, ACCELERATION, FORCE = 0, 1, 2
"""Of an axle's memory: speed a sample ago [m/s], rim acceleration [m/s2], rail force [N]; the last
two smoothed."""

_BRAKE_FORCE, _IS_STARTED = 3, 4

N_ADHESION = 5
"""Leading columns of an axle's memory the estimate needs."""


@helper
def estimate_force(row: Floats, parameters: Floats, smoothing_time: float, own: Floats) -> float:
    """Note one axle's rim acceleration and rail force; return the force. [N]

    Parameters
    ----------
    row : (n_observed,)      the axle's observation
    parameters               of the strategy, the last three being `FORCE_DATA`
    smoothing_time : float   time constant of both smoothings. [s]
    own : (>= N_ADHESION,)   the axle's memory, zero at the start

    Notes
    -----
    F = (T_b + J dw/dt) / r, the adhesion observer of the literature, with the brake torque from
    measured pressure. Brake force and acceleration pass the same smoothing, so that a pressure
    ramp on a rolling wheel is not seen as rail force. An error of the gain (hot or wet pads) goes
    into the force in proportion; a common error of all axles leaves comparisons between them right.
    Below about one pulse of the toothed wheel a sample the acceleration comes in steps.
    """
    sample_time = row[SAMPLE_TIME]
    speed = row[WHEEL_SPEED]
    brake_force = parameters[BRAKE_GAIN] * row[PRESSURE]
    if own[_IS_STARTED] == 0.0:
        own[_IS_STARTED] = 1.0
        own[SPEED] = speed
        own[_BRAKE_FORCE] = brake_force
    share = sample_time / (sample_time + smoothing_time)
    own[ACCELERATION] += share * ((speed - own[SPEED]) / sample_time - own[ACCELERATION])
    own[_BRAKE_FORCE] += share * (brake_force - own[_BRAKE_FORCE])
    own[SPEED] = speed
    own[FORCE] = max(own[_BRAKE_FORCE] + parameters[ROTATING_MASS] * own[ACCELERATION], 0.0)
    return float(own[FORCE])

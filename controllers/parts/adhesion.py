"""Rail force of an axle, estimated from its wheel's deceleration and its cylinder pressure.

A shared part, no strategy.
"""

from slipbench.compiling.helper import helper
from slipbench.contract import PRESSURE, SAMPLE_TIME, Floats
from slipbench.controllers.parts.vehicle_data import BRAKE_GAIN, ROTATING_MASS
from slipbench.controllers.parts.wheels import ACCELERATION, FOLLOWING_TIME, N_WHEEL

FORCE = N_WHEEL
"""Of an axle's memory, after what `wheels` needs: rail force, smoothed. [N]"""

ZERO = N_WHEEL + 1
"""Of an axle's memory: what its pressure transducer shows too much. [Pa]"""

_FIRST_LAG, _BRAKE_FORCE, _IS_STARTED = N_WHEEL + 2, N_WHEEL + 3, N_WHEEL + 4

N_ADHESION = N_WHEEL + 5
"""Leading columns of an axle's memory the estimate needs, those of `wheels` among them."""


@helper
def estimate_force(row: Floats, parameters: Floats, own: Floats) -> float:
    """Note one axle's rail force and return it. [N]

    Parameters
    ----------
    row : (n_observed,)      the axle's observation
    parameters               of the strategy, the last three being `FORCE_DATA`
    own : (>= N_ADHESION,)   the axle's memory, its acceleration by `sense_wheels`

    Notes
    -----
    F = (T_b + J dw/dt) / r, the adhesion observer of the literature, with the brake torque from
    measured pressure. Brake force passes the two lags that the acceleration has passed, so that a
    pressure ramp on a rolling wheel is not seen as rail force. An error of the gain (hot or wet
    pads) goes into the force in proportion; a common error of all axles leaves comparisons between
    them right. Below about one pulse of the toothed wheel a sample the acceleration comes in steps.
    """
    brake_force = parameters[BRAKE_GAIN] * max(row[PRESSURE] - own[ZERO], 0.0)
    if own[_IS_STARTED] == 0.0:
        own[_IS_STARTED] = 1.0
        own[_FIRST_LAG] = brake_force
        own[_BRAKE_FORCE] = brake_force
    share = row[SAMPLE_TIME] / (FOLLOWING_TIME + row[SAMPLE_TIME])
    own[_FIRST_LAG] += share * (brake_force - own[_FIRST_LAG])
    own[_BRAKE_FORCE] += share * (own[_FIRST_LAG] - own[_BRAKE_FORCE])
    own[FORCE] = max(own[_BRAKE_FORCE] + parameters[ROTATING_MASS] * own[ACCELERATION], 0.0)
    return float(own[FORCE])

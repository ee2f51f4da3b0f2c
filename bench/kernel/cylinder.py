"""From cylinder pressure to the pressure that acts on pads or blocks: return spring, hysteresis.

The spring takes its part first. Friction in cylinder and rigging shows as backlash: what presses
keeps its value while the pressure falls back by a share of it, then falls with the pressure in
proportion. Rising, all of the pressure above the spring counts, since brakes are matched while they
are applied.
"""

import math

from slipbench.compiling.jit import folded
from slipbench.kernel.records import Axle, AxleState, Train

_NEARLY = 1e-3
"""So close to a kink is at it; the force of this is a thousandth of a newton. [Pa]"""


@folded
def pressing(pressure: float, train: Train, axle: Axle, axle_state: AxleState) -> float:
    """Return the part of a cylinder's pressure that acts on the pads now. [Pa]

    Parameters
    ----------
    pressure : float     of the cylinder, gauge. [Pa], >= 0
    train : TRAIN        its `spring_pressure`
    axle : AXLE          its `hysteresis` h
    axle_state : AXLE_STATE   `clamp` is what acted when this was last asked

    Notes
    -----
    A play operator: kept between x and x / (1 - h), where x is the pressure above the spring's.
    """
    if train.spring_pressure == 0.0 and axle.hysteresis == 0.0:
        return pressure
    above = max(pressure - train.spring_pressure, 0.0)
    return max(above, min(axle_state.clamp, above / (1.0 - axle.hysteresis)))


@folded
def clamp_piece(
    pressure: float, rate: float, train: Train, axle: Axle, axle_state: AxleState
) -> tuple[float, float]:
    """Return how fast that part moves while the pressure does, and how long it keeps to that.

    Parameters
    ----------
    pressure, rate : float   of the cylinder, and its rate of change throughout. [Pa], [Pa/s]
    train, axle, axle_state   as in `pressing`, whose value for this pressure is `axle_state.clamp`

    Returns
    -------
    (float, float)   rate [Pa/s], time until it changes: spring met, or backlash used up [s]
    """
    if train.spring_pressure == 0.0 and axle.hysteresis == 0.0:
        return rate, math.inf
    above = pressure - train.spring_pressure
    kept = (1.0 - axle.hysteresis) * axle_state.clamp
    if rate > 0.0:
        missing = max(-above, axle_state.clamp - above)
        return (0.0, missing / rate) if missing > _NEARLY else (rate, math.inf)
    if rate == 0.0 or above <= _NEARLY:
        return 0.0, math.inf
    if above - kept > _NEARLY:
        return 0.0, (above - kept) / -rate
    return rate / (1.0 - axle.hysteresis), above / -rate

"""Hold a wheel at a slip with stepped valves, by the rail force its own motion tells.

A shared part, no strategy. Memory of an axle: `adhesion`'s columns first, then these.
"""

from slipbench.compiling.helper import helper
from slipbench.contract import DEMAND, PRESSURE, SAMPLE_TIME, Floats
from slipbench.controllers.parts.adhesion import FORCE, N_ADHESION, ZERO, estimate_force
from slipbench.controllers.parts.pulses import (
    N_VALVE,
    end_vent,
    has_filled,
    learn_delays,
    steer_pressure,
)
from slipbench.controllers.parts.reference import ERROR, N_STATE, REFERENCE, fused_speed
from slipbench.controllers.parts.vehicle_data import (
    AXLE_MASS,
    BRAKE_GAIN,
    FULL_PRESSURE,
    ROTATING_MASS,
)
from slipbench.controllers.parts.wheels import SPEED, sense_wheels

_VALVE = N_ADHESION
_VENTED, _LAST_PRESSURE, _FACTOR = _VALVE + N_VALVE, _VALVE + N_VALVE + 1, _VALVE + N_VALVE + 2

IS_WHOLE = _VALVE + N_VALVE + 3
"""Of an axle's memory: 1 where its cylinder has reached what is demanded."""

N_SERVO = IS_WHOLE + 1
"""Leading columns of an axle's memory the servo needs, the force estimate's among them."""

FULL_SEEN = N_STATE
"""Of the vehicle's memory: pressure at emergency demand as last seen, 0 before. [Pa]"""

_SLIDE_LEFT = N_STATE + 1

_IS_ZEROED = N_STATE + 2

N_MOTION = N_STATE + 3
"""Leading columns of the vehicle's memory the servo needs, the reference's among them."""

ZEROING_PRESSURE, LARGEST_ZERO = 5e4, 4e4
"""Transducers are compared at this mean pressure, and not believed to err by more. Assumed. [Pa]"""

_LEAST_FULL, _LARGEST_FULL = 0.4, 1.3
"""Between tare and the heaviest load, emergency pressure lies within these shares of the laden one.
Assumed. [-]"""

_FULL_SHARE = 0.02
"""Weight of one sample in what emergency pressure is believed to be. Assumed. [-]"""

_HARDEST_SLOWING, _HARDEST_GAINING = 6.0, 3.0
"""A wheel is asked to slow or gain on the train no faster. [m/s2]"""

_LEAST_SLIP_SPEED, _LEAST_SLIP_CAP = 0.15, 0.3
"""Slip speed that can still be told at walking pace [m/s], and its bound as slip [-]."""


_ROLLING = 0.98
"""A wheel this near the reference under the whole demand rolls: it anchors the reference. [-]"""

_LEAST_SLIDE, _SLIDE_ENDED = 0.1, 0.5
"""A slower slip speed is no slide [m/s]; a slide is over so long after the last one [s]."""


@helper
def _note_pressure(row: Floats, parameters: Floats, own: Floats, state: Floats) -> None:
    """Note whether an axle's cylinder is full, and what pressure emergency demand would give.

    The vehicle's load scales what a demand means, and no column of the observation tells it.
    """
    valve = own[_VALVE : _VALVE + N_VALVE]
    is_whole = has_filled(row, own[_LAST_PRESSURE], parameters, valve)
    learn_delays(row, own[_LAST_PRESSURE], is_whole, parameters, valve)
    own[IS_WHOLE] = 1.0 if is_whole else 0.0
    own[_LAST_PRESSURE] = row[PRESSURE]
    if is_whole and row[DEMAND] > 0.05:
        seen = (row[PRESSURE] - own[ZERO]) / (row[DEMAND] * max(own[_FACTOR], 0.05))
        # at the build-up's first sample a transducer's zero would pass for a full cylinder
        if _LEAST_FULL < seen / parameters[FULL_PRESSURE] < _LARGEST_FULL:
            if state[FULL_SEEN] == 0.0:
                state[FULL_SEEN] = seen
            state[FULL_SEEN] += _FULL_SHARE * (seen - state[FULL_SEEN])


@helper
def _learn_zeros(observation: Floats, memory: Floats, state: Floats) -> None:
    """Learn what each transducer shows too much, once an application: as the brake builds up.

    All cylinders follow one demand then, so what one shows beside the mean is its error.
    """
    n_axles = observation.shape[0]
    if observation[0, DEMAND] <= 0.0:
        state[_IS_ZEROED] = 0.0
        return
    mean = 0.0
    for i_axle in range(n_axles):
        mean += observation[i_axle, PRESSURE] / n_axles
    if state[_IS_ZEROED] == 0.0 and mean > ZEROING_PRESSURE:
        state[_IS_ZEROED] = 1.0
        for i_axle in range(n_axles):
            zero = observation[i_axle, PRESSURE] - mean
            memory[i_axle, ZERO] = min(max(zero, -LARGEST_ZERO), LARGEST_ZERO)


@helper
def demanded_force(observation: Floats, slowing: float, parameters: Floats, state: Floats) -> float:
    """Return the rail force with which an axle bears the whole demand, factor one. [N]

    Parameters
    ----------
    observation : (n_axles, n_observed)
    slowing : float         train's deceleration; a slowing wheel gives up momentum of its own
    parameters              of the strategy, the last eight being valve and force data
    state : (>= N_MOTION,)  the vehicle's memory
    """
    full = state[FULL_SEEN]
    if full == 0.0:
        full = parameters[FULL_PRESSURE]
    force = parameters[BRAKE_GAIN] * full * observation[0, DEMAND]
    return float(max(force - parameters[ROTATING_MASS] * slowing, 0.0))


@helper
def sense_motion(
    observation: Floats,
    patience: float,
    slowest: float,
    parameters: Floats,
    memory: Floats,
) -> tuple[float, float]:
    """Estimate every axle's force, then the train's speed; return speed and deceleration.

    Parameters
    ----------
    observation : (n_axles, n_observed)
    patience : float                     longest time without a rolling wheel before a probe. [s]
    slowest : float                      speed below which no probe begins. [m/s]
    parameters                           of the strategy, the last eight being valve and force data
    memory : (n_axles + 1, n_memory)     `N_SERVO` columns for axles, `N_MOTION` in the last row

    Returns
    -------
    (float, float)   reference speed [m/s], deceleration [m/s2], >= 0

    Notes
    -----
    `fused_speed` on the sum of the estimated rail forces over the mass of these axles; running
    resistance and what other vehicles do better or worse is left to the error it learns.
    """
    n_axles = observation.shape[0]
    state = memory[n_axles]
    sense_wheels(observation, memory)
    _learn_zeros(observation, memory, state)
    force, is_anchored = 0.0, False
    for i_axle in range(n_axles):
        row = observation[i_axle]
        own = memory[i_axle]
        force += estimate_force(row, parameters, own)
        _note_pressure(row, parameters, own, state)
        if own[IS_WHOLE] == 1.0 and own[SPEED] > _ROLLING * state[REFERENCE]:
            is_anchored = True
    modelled = force / (n_axles * parameters[AXLE_MASS])
    may_probe = bool(state[_SLIDE_LEFT] > 0.0) and not is_anchored
    reference = fused_speed(
        observation,
        modelled,
        may_probe,
        patience,
        slowest,
        memory,
    )
    return reference, max(modelled + state[ERROR], 0.0)


@helper
def slide_lasts(
    observation: Floats, reference: float, slip: float, slowest: float, memory: Floats
) -> bool:
    """Return whether a slide is in progress: a wheel slides, or one did half a second ago.

    Parameters
    ----------
    observation : (n_axles, n_observed)
    reference : float       train's speed. [m/s]
    slip : float            beyond this, and beyond 0.1 m/s, a wheel slides. [-]
    slowest : float         train's speed below which none is seen. [m/s]
    memory                  of the strategy, as for `sense_motion`

    Notes
    -----
    Where none is in progress the brake is to be left alone: at walking pace speeds come in steps
    of some cm/s, and a servo would act on them.
    """
    n_axles = observation.shape[0]
    state = memory[n_axles]
    has_begun = state[_SLIDE_LEFT] > 0.0
    if reference < slowest or (observation[0, DEMAND] <= 0.0 and not has_begun):
        state[_SLIDE_LEFT] = 0.0
        return False
    state[_SLIDE_LEFT] = max(state[_SLIDE_LEFT] - observation[0, SAMPLE_TIME], 0.0)
    least = max(slip * reference, _LEAST_SLIDE)
    for i_axle in range(n_axles):
        if reference - memory[i_axle, SPEED] > least:
            state[_SLIDE_LEFT] = _SLIDE_ENDED
    return bool(state[_SLIDE_LEFT] > 0.0)


@helper
def wanted_pressure(
    slip: float,
    reference: float,
    slowing: float,
    settling_time: float,
    parameters: Floats,
    own: Floats,
) -> float:
    """Return the cylinder pressure that brings a wheel to a slip and keeps it there. [Pa]

    Parameters
    ----------
    slip : float            target, 0 to below 1. [-]
    reference : float       train's speed. [m/s]
    slowing : float         train's deceleration. [m/s2]
    settling_time : float   [s]
    parameters              of the strategy, the last eight being valve and force data
    own : (>= N_SERVO,)     the axle's memory, its force already estimated

    Notes
    -----
    B = F_hat - m a*, with a* the rim acceleration wanted: the target's own plus the distance to it
    over the settling time. F_hat holds the same brake gain, so an error of the gain leaves no
    lasting error of the slip. Beyond the curve's peak a slide grows with a time constant of about a
    second on the shipped rails, so valves with 40 ms delay can hold it there. Where the rail bears
    the whole demand the slip stays below the target and the wish above the demand.
    At walking pace the target is raised to a slip speed of 0.15 m/s.
    """
    slip = max(slip, min(_LEAST_SLIP_SPEED / max(reference, 0.1), _LEAST_SLIP_CAP))
    missing = reference * (1.0 - slip) - own[SPEED]
    change = min(max(missing / settling_time, -_HARDEST_SLOWING), _HARDEST_GAINING)
    acceleration = change - slowing * (1.0 - slip)
    return float((own[FORCE] - parameters[ROTATING_MASS] * acceleration) / parameters[BRAKE_GAIN])


@helper
def servo_valve(
    wanted: float, demand_factor: float, row: Floats, parameters: Floats, own: Floats
) -> int:
    """Return the valve position for a wanted pressure, ending a vent that lasts too long.

    Parameters
    ----------
    wanted : float          [Pa]
    demand_factor : float   as commanded with it. [-]
    row : (n_observed,)     the axle's observation
    parameters              of the strategy, the last eight being valve and force data
    own : (>= N_SERVO,)     the axle's memory
    """
    is_whole = own[IS_WHOLE] == 1.0 and own[_FACTOR] == demand_factor
    own[_FACTOR] = demand_factor
    shown = max(wanted + own[ZERO], 1.0) if wanted > 0.0 else wanted
    valve = steer_pressure(shown, is_whole, row, parameters, own[_VALVE : _VALVE + N_VALVE])
    valve = end_vent(valve, own[SPEED], row[SAMPLE_TIME], own[_VENTED : _VENTED + 1])
    own[_VALVE] = valve
    return valve


@helper
def full_brake(parameters: Floats) -> float:
    """Return a pressure above any demand: the brake is given back whole. [Pa]"""
    return float(10.0 * parameters[FULL_PRESSURE])

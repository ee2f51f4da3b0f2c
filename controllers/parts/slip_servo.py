"""Hold a wheel at a slip with stepped valves, by the rail force its own motion tells.

A shared part, no strategy. Memory of an axle: `adhesion`'s columns first, then these.
"""

from slipbench.compiling.helper import helper
from slipbench.contract import DEMAND, FILL, HOLD, PRESSURE, SAMPLE_TIME, VENT, Floats
from slipbench.controllers.parts.adhesion import FORCE, N_ADHESION, ZERO, estimate_force
from slipbench.controllers.parts.pulses import (
    N_QUEUE,
    N_VALVE,
    end_vent,
    has_filled,
    learn_delays,
    steer_pressure,
)
from slipbench.controllers.parts.reference import (
    ERROR,
    N_STATE,
    REFERENCE,
    fused_speed,
    lower_to_free,
)
from slipbench.controllers.parts.vehicle_data import (
    AXLE_MASS,
    BRAKE_GAIN,
    FULL_PRESSURE,
    ROTATING_MASS,
)
from slipbench.controllers.parts.wheels import ACCELERATION, HAS_NO_VOTE, SPEED, sense_wheels

_VALVE = N_ADHESION
_VENTED, _LAST_PRESSURE, _FACTOR = _VALVE + N_VALVE, _VALVE + N_VALVE + 1, _VALVE + N_VALVE + 2

IS_WHOLE = _VALVE + N_VALVE + 3
"""Of an axle's memory: 1 where its cylinder has reached what is demanded."""

_ROLLED_FOR, _FREE_FOR = IS_WHOLE + 1, IS_WHOLE + 2  # samples; [s]
_YIELDED, _VENTED_FOR, _VENTED_AT = IS_WHOLE + 3, IS_WHOLE + 4, IS_WHOLE + 5  # [s], [s], [Pa]
_FOLLOWED = IS_WHOLE + 6  # mean pressure of the others, zero where an axle acts for itself [Pa]

N_SERVO = IS_WHOLE + 7
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

_HARDLY, _HARDLY_SPEED = 0.25, 0.06
"""A wheel at less than this share of the slip wanted [-], or at less slip speed [m/s], rolls."""

_LONGEST_ROLLED = 200.0
"""Samples counted at most; ten that slide undo them. Assumed. [-]"""

_YIELDING, _NO_EFFECT = 0.7, 0.4
"""The equipment gives a brake back that was empty too long, and ends that once the control has not
vented for half a second; it has where a vent of the second time shows no effect. Assumed. [s]"""

_EMPTY = 0.1
"""Below this share of the full pressure a vent need show no effect. [-]"""

_LONGER_FILL = 0.2
"""For each such time a wheel has rolled its shortest fill gets one sample longer. Assumed. [s]"""

_LEAST_SLIP_SPEED, _LEAST_SLIP_CAP = 0.15, 0.3
"""Slip speed that can still be told at walking pace [m/s], and its bound as slip [-]."""


_ROLLING = 0.98
"""A wheel this near the reference under the whole demand rolls: it anchors the reference. [-]"""

_FREE_SHARE = 0.9
"""A wheel slower than this share of the reference is in a deep slide rather than free. [-]"""

_FREE_PRESSURE, _FREE_CHANGE, _IS_FREE = 1.5e4, 0.6, 0.3
"""With so little pressure [Pa] a wheel that gains no faster on the train than this [m/s2] for so
long [s] rolls: rail without any force to speak of would spin it up at 1.5 m/s2. Assumed."""

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
def _let_blind_follow(observation: Floats, memory: Floats) -> None:
    """Give an axle without a speed the mean pressure of those with one.

    Steered by their mean speed its pressure would drift, to empty or to full.
    """
    n_axles = observation.shape[0]
    total, n_voting = 0.0, 0.0
    for i_axle in range(n_axles):
        own = memory[i_axle]
        if own[HAS_NO_VOTE] == 0.0:
            total += max(observation[i_axle, PRESSURE] - own[ZERO], 0.0)
            n_voting += 1.0
    for i_axle in range(n_axles):
        own = memory[i_axle]
        is_blind = own[HAS_NO_VOTE] != 0.0 and n_voting > 0.0
        own[_FOLLOWED] = max(total / n_voting, 1.0) if is_blind else 0.0


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
    force, is_anchored, is_free = 0.0, False, False
    for i_axle in range(n_axles):
        row = observation[i_axle]
        own = memory[i_axle]
        force += estimate_force(row, parameters, own)
        _note_pressure(row, parameters, own, state)
        if own[IS_WHOLE] == 1.0 and own[SPEED] > _ROLLING * state[REFERENCE]:
            is_anchored = True
        if row[PRESSURE] - own[ZERO] < _FREE_PRESSURE and own[ACCELERATION] < _FREE_CHANGE:
            own[_FREE_FOR] += row[SAMPLE_TIME]
        else:
            own[_FREE_FOR] = 0.0
        if own[_FREE_FOR] > _IS_FREE and own[SPEED] > _FREE_SHARE * state[REFERENCE]:
            is_free = True
    _let_blind_follow(observation, memory)
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
    if is_free and state[_SLIDE_LEFT] > 0.0:
        reference = lower_to_free(reference, observation[0, SAMPLE_TIME], memory)
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
def note_rolling(slip_speed: float, wanted: float, own: Floats) -> None:
    """Note for how long a wheel has rolled though it is to slide. [m/s]"""
    if slip_speed < max(_HARDLY * wanted, _HARDLY_SPEED):
        own[_ROLLED_FOR] = min(own[_ROLLED_FOR] + 1.0, _LONGEST_ROLLED)
    else:
        own[_ROLLED_FOR] = max(own[_ROLLED_FOR] - 0.1 * _LONGEST_ROLLED, 0.0)


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
    note_rolling(reference - own[SPEED], slip * reference, own)
    change = min(max(missing / settling_time, -_HARDEST_SLOWING), _HARDEST_GAINING)
    acceleration = change - slowing * (1.0 - slip)
    return float((own[FORCE] - parameters[ROTATING_MASS] * acceleration) / parameters[BRAKE_GAIN])


@helper
def full_brake(parameters: Floats) -> float:
    """Return a pressure above any demand: the brake is given back whole. [Pa]"""
    return float(10.0 * parameters[FULL_PRESSURE])


@helper
def _fill_on(valve: int, n_filled: float, memory: Floats) -> int:
    """Return the valve position for a wheel that rolls though it is to slide.

    It is never vented: a pressure shown too high, or a delay believed too short, would keep its
    cylinder empty for ever. The longer it has rolled, the longer a fill lasts, until the valve
    follows. [n_filled: samples a fill lasts at least; memory: N_VALVE, moved on already]
    """
    if valve == VENT:
        valve = HOLD
    if memory[1] == FILL and valve == HOLD:
        n = 1
        while n < N_QUEUE and memory[n] == FILL:
            n += 1
        if n - 1 < n_filled and n < N_QUEUE:
            return FILL
    return valve


@helper
def _yield_to_equipment(valve: int, row: Floats, parameters: Floats, own: Floats) -> int:
    """Return the valve position, but hold for a while where venting has no effect.

    The valve's own timer has then given the brake back, and keeps it until it sees no more vents.
    """
    if own[_YIELDED] > 0.0:
        own[_YIELDED] -= row[SAMPLE_TIME]
        return HOLD if valve == VENT else valve
    if valve != VENT or own[_VENTED_FOR] == 0.0:
        own[_VENTED_AT] = row[PRESSURE]
        own[_VENTED_FOR] = row[SAMPLE_TIME] if valve == VENT else 0.0
        return valve
    own[_VENTED_FOR] += row[SAMPLE_TIME]
    if own[_VENTED_FOR] < _NO_EFFECT:
        return valve
    own[_VENTED_FOR] = 0.0
    if row[PRESSURE] < max(0.9 * own[_VENTED_AT], _EMPTY * parameters[FULL_PRESSURE]):
        return valve
    own[_YIELDED] = _YIELDING
    return HOLD


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
    if 0.0 < wanted < full_brake(parameters):
        wanted = own[_FOLLOWED] if own[_FOLLOWED] > 0.0 else wanted
    shown = max(wanted + own[ZERO], 1.0) if wanted > 0.0 else wanted
    valve = steer_pressure(shown, is_whole, row, parameters, own[_VALVE : _VALVE + N_VALVE])
    if wanted > 0.0 and own[_ROLLED_FOR] > 0.0:
        n_filled = own[_ROLLED_FOR] * row[SAMPLE_TIME] / _LONGER_FILL
        valve = _fill_on(valve, n_filled, own[_VALVE : _VALVE + N_VALVE])
    valve = _yield_to_equipment(valve, row, parameters, own)
    valve = end_vent(valve, own[SPEED], row[SAMPLE_TIME], own[_VENTED : _VENTED + 1])
    own[_VALVE] = valve
    return valve

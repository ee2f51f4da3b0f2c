"""Reference speed: what a vehicle takes for the train's speed, from its own wheels only.

Shared by strategies that judge slip. While any wheel rolls, the fastest wheel is the reference.
What happens when every axle slides at once is what sets the three parts apart:

- `highest_axle`: the reference sinks with its limit, faster than the train slows, so the slide is
  seen as ever less slip until the wheels lock. Alone it does not protect on a long common slide.
- `probed_axle`: after a stated time without a rolling wheel one axle is vented until it has spun up
  and no longer accelerates; its speed founds the reference anew, then the next axle's turn comes.
- `fused_speed`: an observer carries the reference on with a modelled deceleration and what past
  rolling wheels taught it about the model's error, so it lasts longer between probes.

Wheel speeds are those of `wheels`: filtered, diameters learned, dead sensors without a vote. The
strategy keeps the state in its memory's last row.
"""

from slipbench.compiling.helper import helper
from slipbench.contract import DEMAND, SAMPLE_TIME, Floats
from slipbench.controllers.parts.wheels import ACCELERATION, SPEED

REFERENCE = 0
"""Of the state: the reference speed. [m/s]"""

PROBED = 1
"""Of the state: number of the axle being vented as a probe, from 1; 0 when none is. [-]"""

_STEADY_TIME, _STEADY_SPEED, _UNFOUNDED_TIME, _PROBE_TIME = 2, 3, 4, 5
_HAS_SPUN_UP, _LAST_PROBED = 6, 7
_FOUNDED_SPEED, _SINCE_FOUNDED, _SLACK, ERROR = 8, 9, 10, 11

N_STATE = 12
"""Columns of the vehicle's memory the reference needs."""

_STEADY = 0.3
"""A wheel that has carried the reference so long without spinning up counts as rolling. [s]"""

_ROLLING_AGAIN = 1.0
"""After so long the full slowing limit is believed again. [s]"""

_UNBRAKED = 0.4
"""Slowing that resistance and an uphill gradient can give besides the brake. [m/s2]"""

_MARGIN = 0.1
"""What is added to the deceleration found between two foundings. [m/s2]"""

_RISE, _NOISE, _RUN_OUT = 0.2, 0.05, 0.003
"""A rolling wheel of a braked train gains no more than this: rate [m/s2] and noise, constant [m/s]
and of its speed [-]."""

_TOOTH, _SLOWEST_TOLD = 0.03, 0.5
"""Way of the rim between two teeth [m], and the speed [m/s] below which steps grow no more."""

_SHORTEST_PROBE, _LONGEST_PROBE = 0.5, 6.0
"""A probe lasts at least until a cylinder is empty, and gives up after the second time. [s]"""

_FULL_PATIENCE_SPEED = 8.0
"""Below this speed probes come sooner, in proportion. [m/s]"""

_DEEP = 0.2
"""An axle in a deeper slide than this takes long to spin up. [-]"""

_SPINNING = 0.6
"""A probed wheel accelerating so has not yet reached the train's speed. [m/s2]"""


_ROLLING_SLIP = 0.005
"""Slip at which a wheel's weight in the fused speed has fallen to a quarter. [-]"""

_ALIKE, _COASTING_TIME = 0.03, 0.1
"""Without demand, wheels this much alike [-] all roll; the reference is their mean after some such
times [s]. Assumed."""

_FREE_TIME = 0.1
"""Time constant with which a wheel that hardly brakes draws the fused speed. Assumed. [s]"""

_PULL_TIME = 0.5
"""Time constant with which rolling wheels draw the fused speed. [s]"""

_LEARNING = 0.3
"""Change of the model's error a correction of the speed. [1/s]"""

_LARGEST_ERROR, _LARGEST_LESSON = 0.5, 0.5
"""Bounds of the model's error [m/s2], and of the correction it is learned from [m/s]."""


@helper
def _coasted(reference: float, observation: Floats, memory: Floats) -> float:
    """Return the reference, drawn to the mean of all wheels while the train coasts.

    They all roll then. A sensor's first sample, of a single tooth, may be 5 per cent too high; a
    reference that only rises would keep that as a slide of all wheels. [m/s]
    """
    n_axles = observation.shape[0]
    if observation[0, DEMAND] > 0.0:
        return reference
    total, lowest, highest = 0.0, memory[0, SPEED], 0.0
    for i_axle in range(n_axles):
        speed = memory[i_axle, SPEED]
        total += speed
        lowest = min(lowest, speed)
        highest = max(highest, speed)
    if lowest < (1.0 - _ALIKE) * highest:
        return reference  # a wheel slides yet
    share = observation[0, SAMPLE_TIME] / (observation[0, SAMPLE_TIME] + _COASTING_TIME)
    return float(reference + share * (total / n_axles - reference))


@helper
def lower_to_free(reference: float, sample_time: float, memory: Floats) -> float:
    """Return the fused speed, drawn down to the fastest wheel: one that hardly brakes rolls. [m/s]

    Carried too high it sees a slide of all wheels, whose brakes then stay empty for ever: they give
    the model no force, and so nothing to lower the speed by.
    """
    n_axles = memory.shape[0] - 1
    state = memory[n_axles]
    highest = 0.0
    for i_axle in range(n_axles):
        highest = max(highest, memory[i_axle, SPEED])
    drop = sample_time / (sample_time + _FREE_TIME) * (highest - reference)
    error = state[ERROR] - _LEARNING * max(drop, -_LARGEST_LESSON)
    state[ERROR] = min(max(error, -_LARGEST_ERROR), _LARGEST_ERROR)
    state[REFERENCE] = reference + drop
    state[_UNFOUNDED_TIME] = 0.0
    return float(state[REFERENCE])


@helper
def highest_axle(
    memory: Floats, previous: float, slowing_limit: float, sample_time: float
) -> float:
    """Return the highest measured wheel speed, never falling faster than a train can slow.

    Parameters
    ----------
    memory : (n_axles + 1, n_memory)   of the strategy, speeds by `sense_wheels`
    previous : float        reference a sample ago. [m/s]
    slowing_limit : float   largest believed deceleration of the train. [m/s2]
    sample_time : float     [s]

    Returns
    -------
    float   [m/s]

    Notes
    -----
    v = max(highest wheel, v_before - a Ts), the usual form (from memory, not verified). When every
    axle slides at once the reference falls with the limit: too fast by the limit less the true
    deceleration, so a long common slide is seen as ever less slip, until one wheel rolls again and
    lifts it. Creepage of a rolling wheel makes it read one or two per cent low.
    """
    highest = previous - slowing_limit * sample_time
    for i_axle in range(memory.shape[0] - 1):
        highest = max(highest, memory[i_axle, SPEED])
    return max(highest, 0.0)


@helper
def _note_steadiness(
    carried: float, highest: float, step: float, sample_time: float, state: Floats
) -> None:
    """Count how long a wheel has carried the reference without gaining on it; note if it rolls.

    A wheel may be below the carried reference by a step: its speed comes anew with each tooth only,
    and by what run-out of the toothed wheel makes it waver.
    """
    steady_time = state[_STEADY_TIME] + sample_time
    noise = _RUN_OUT * carried
    ceiling = state[_STEADY_SPEED] + _RISE * steady_time + _NOISE + noise
    if highest < carried - step - noise or highest > ceiling:
        state[_STEADY_TIME] = 0.0
        state[_STEADY_SPEED] = max(highest, carried)
    else:
        state[_STEADY_TIME] = steady_time
    state[_UNFOUNDED_TIME] += sample_time
    state[_SINCE_FOUNDED] += sample_time
    if state[_STEADY_TIME] >= _STEADY:
        state[_UNFOUNDED_TIME] = 0.0
        state[_SINCE_FOUNDED] = 0.0
        state[_FOUNDED_SPEED] = highest
    if state[_STEADY_TIME] >= _ROLLING_AGAIN:
        state[_SLACK] = 0.0


@helper
def _found(speed: float, slowing_limit: float, state: Floats) -> None:
    """Take a probed wheel's speed for the train's, and learn how fast the train slows."""
    if state[_FOUNDED_SPEED] > 0.0 and state[_SINCE_FOUNDED] > _SHORTEST_PROBE:
        slowing = (state[_FOUNDED_SPEED] - speed) / state[_SINCE_FOUNDED]
        state[_SLACK] = max(slowing_limit - max(slowing, 0.0) - _MARGIN, 0.0)
    state[_FOUNDED_SPEED] = speed
    state[_SINCE_FOUNDED] = 0.0


@helper
def _is_probe_due(reference: float, patience: float, slowest: float, state: Floats) -> bool:
    """Return whether the reference has gone too long without a wheel that rolls."""
    # the same error of the reference is more slip when slow
    patience *= min(max(reference / _FULL_PATIENCE_SPEED, 0.25), 1.0)
    return state[_UNFOUNDED_TIME] > patience and reference > slowest


@helper
def _watch_probe(own: Floats, sample_time: float, state: Floats) -> bool:
    """Follow the probed wheel; return whether it rolls at the train's speed by now."""
    state[_PROBE_TIME] += sample_time
    if own[ACCELERATION] > _SPINNING:
        state[_HAS_SPUN_UP] = 1.0
        return False
    if own[ACCELERATION] > 0.25 * _SPINNING:
        return False
    if state[_HAS_SPUN_UP] == 1.0 and state[_PROBE_TIME] > 0.1:
        return True
    return bool(state[_PROBE_TIME] > _SHORTEST_PROBE and own[SPEED] > 0.0)


@helper
def _begin_probe(memory: Floats, reference: float, state: Floats) -> None:
    """Vent the next axle in turn, from the rear forward; one in a deep slide only if all are."""
    n_axles = memory.shape[0] - 1
    first = int(state[_LAST_PROBED]) - 1 + n_axles
    i_axle = (first - 1) % n_axles
    for i_turn in range(n_axles):
        i_tried = (first - 1 - i_turn + n_axles) % n_axles
        if memory[i_tried, SPEED] > (1.0 - _DEEP) * reference:
            i_axle = i_tried
            break
    state[_LAST_PROBED] = i_axle + 1.0
    state[PROBED] = i_axle + 1.0
    state[_PROBE_TIME] = 0.0
    state[_HAS_SPUN_UP] = 0.0


@helper
def probed_axle(
    observation: Floats, slowing_limit: float, patience: float, slowest: float, memory: Floats
) -> float:
    """Return the highest wheel's speed with a falling limit, founded anew by a probe axle.

    Parameters
    ----------
    observation : (n_axles, n_observed)
    slowing_limit : float   largest believed deceleration at emergency demand. [m/s2]
    patience : float        longest time without a rolling wheel before a probe begins, at 8 m/s and
                            above; less in proportion when slower. [s]
    slowest : float         reference speed below which no probe begins. [m/s]
    memory : (n_axles + 1, n_memory)   of the strategy, speeds by `sense_wheels`; the last row
                            begins with the reference's `N_STATE` columns, zero at the start. While
                            its column `PROBED` is above zero the strategy must vent that axle
                            (numbered from 1)

    Returns
    -------
    float   [m/s]

    Notes
    -----
    When every axle slides at once, no wheel carries the falling reference for long; after
    `patience` the next axle in turn (rear to front) is vented until it has spun up and its
    acceleration has died away. It then rolls freely, at the train's speed without creepage, and
    the reference is set to that. While the probe spins up its rail force still retards the train,
    so it costs little more than the refill. Between probes the reference is low by at most
    (limit - deceleration) x (patience + spin-up time). The limit is in proportion to the demand,
    plus 0.4 m/s2 for resistance and gradient: on a light application a slide is slow, too. A wheel
    that slows less than the limit while it slides still passes for rolling; this weakness remains.
    This project's own form of a known idea; numbers assumed.
    """
    state = memory[memory.shape[0] - 1]
    sample_time = observation[0, SAMPLE_TIME]
    slowing_limit = slowing_limit * observation[0, DEMAND] + _UNBRAKED
    carried = state[REFERENCE] - (slowing_limit - state[_SLACK]) * sample_time
    highest = 0.0
    for i_axle in range(observation.shape[0]):
        highest = max(highest, memory[i_axle, SPEED])
    step = slowing_limit * _TOOTH / max(carried, _SLOWEST_TOLD)
    _note_steadiness(carried, highest, step, sample_time, state)
    reference = max(carried, highest, 0.0)
    i_probed = int(state[PROBED]) - 1
    if i_probed >= 0:
        is_rolling = _watch_probe(memory[i_probed], sample_time, state)
        if is_rolling:
            reference = highest
            _found(reference, slowing_limit, state)
        if is_rolling or state[_PROBE_TIME] > _LONGEST_PROBE:
            state[PROBED] = 0.0
            state[_UNFOUNDED_TIME] = 0.0
    elif _is_probe_due(reference, patience, slowest, state):
        _begin_probe(memory, reference, state)
    reference = _coasted(reference, observation, memory)
    state[REFERENCE] = reference
    return float(reference)


@helper
def fused_speed(
    observation: Floats,
    modelled_slowing: float,
    may_probe: bool,
    patience: float,
    slowest: float,
    memory: Floats,
) -> float:
    """Return the train's speed from a modelled deceleration and the wheels that hardly slide.

    Parameters
    ----------
    observation : (n_axles, n_observed)
    modelled_slowing : float   deceleration by the strategy's own model, as from rail forces. [m/s2]
    may_probe : bool           whether a slide is in progress and nothing else tells the speed
    patience, slowest, memory   as `probed_axle`

    Returns
    -------
    float   [m/s]

    Notes
    -----
    v' = -(model + error), pulled towards each wheel with a weight falling with its slip,
    1 / (1 + (slip / 0.5 %)^2)^2, and lifted at once by a wheel that is faster (a braked wheel never
    outruns the train). Every correction also corrects the model's error. When every axle slides at
    once the weights vanish and the model carries on alone; each `patience` a probe axle as in
    `probed_axle` founds the speed anew. So the error between probes is that of the model.
    This project's own form; the numbers are assumed.
    """
    state = memory[memory.shape[0] - 1]
    sample_time = observation[0, SAMPLE_TIME]
    predicted = state[REFERENCE] - max(modelled_slowing + state[ERROR], 0.0) * sample_time
    predicted = max(predicted, 0.0)
    highest, weights, pull = 0.0, 1.0, 0.0
    for i_axle in range(observation.shape[0]):
        speed = memory[i_axle, SPEED]
        highest = max(highest, speed)
        ratio = (1.0 - speed / max(predicted, 0.1)) / _ROLLING_SLIP
        weight = 1.0 / (1.0 + ratio * ratio)
        weights += weight * weight
        pull += weight * weight * (speed - predicted)
    corrected = predicted + sample_time / (sample_time + _PULL_TIME) * pull / weights
    reference = max(corrected, highest)
    state[_UNFOUNDED_TIME] += sample_time
    if state[_STEADY_TIME] == 0.0:
        state[_STEADY_TIME] = 1.0  # the first sample lifts it from zero: nothing to learn
        predicted = reference
    i_probed = int(state[PROBED]) - 1
    if i_probed >= 0:
        is_rolling = _watch_probe(memory[i_probed], sample_time, state)
        if is_rolling:
            reference = highest
        if is_rolling or state[_PROBE_TIME] > _LONGEST_PROBE:
            state[PROBED] = 0.0
            state[_UNFOUNDED_TIME] = 0.0
    elif not may_probe:
        state[_UNFOUNDED_TIME] = 0.0
    elif _is_probe_due(reference, patience, slowest, state):
        _begin_probe(memory, reference, state)
    lesson = min(max(reference - predicted, -_LARGEST_LESSON), _LARGEST_LESSON)
    error = state[ERROR] - _LEARNING * lesson
    state[ERROR] = min(max(error, -_LARGEST_ERROR), _LARGEST_ERROR)
    reference = _coasted(reference, observation, memory)
    state[REFERENCE] = reference
    return float(reference)

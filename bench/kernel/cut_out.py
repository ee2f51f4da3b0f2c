"""The low-speed cut-out of the equipment, and the reference speed it goes by."""

from slipbench.compiling.jit import part
from slipbench.kernel.records import GroupState, Train

_BESIDES = 0.3
"""Slowing that resistance and a rising line may add to the brakes' own (assumed). [m/s2]"""

_RISE = 0.25
"""A rolling wheel of a braked train gains no more than this (assumed). [m/s2]"""

_SMOOTHING = 0.2
"""Time constant of the fastest wheel's acceleration (assumed). [s]"""

_SLACK, _CARRIED = 0.1, 0.3
"""A wheel so little below the falling reference [m/s], for so long [s], still carries it."""

_NEAR, _SLOWEST, _STEADY = 0.6, 0.5, 0.4
"""A wheel above that share of the reference and that speed [m/s] that slows as a train does, for so
long [s], rolls: the reference is its speed (assumed)."""

_DEEP = 0.4
"""Share of the reference below which the fastest wheel counts as nearly locked (assumed). [-]"""

_SLIDING, _LOCKED, _LEAST = 0.7, 0.15, 0.1
"""How the reference falls where no wheel rolls: shares of what the brake asks for, while wheels
slide and while they are nearly locked [-], and what is added [m/s2] (assumed)."""


@part
def follow_speed(
    fastest: float, demand: float, sample_time: float, train: Train, group_state: GroupState
) -> None:
    """Move the reference speed on by a sample.

    Parameters
    ----------
    fastest : float       fastest measured wheel known to the vehicle. [m/s]
    demand : float        brake demand, share of the emergency demand. [-]
    sample_time : float   [s]
    train : TRAIN         `emergency_deceleration`
    group_state : GROUP_STATE   its `reference` and what else it needs is changed

    Notes
    -----
    While a wheel rolls the reference is the fastest wheel's speed, which falls no faster than the
    demanded brake and a margin can slow the train. Where no wheel keeps up with that, all slide:
    the reference falls as a train on poor rail does, and slowly where even the fastest wheel is
    nearly locked, so that a long lock at speed does not pass for standstill. A wheel that for some
    time slows as a train does counts as rolling again. A slide that is steady, not deep and common
    to all wheels still passes for rolling. This project's own form; all numbers are assumed.
    """
    asked = train.emergency_deceleration * demand
    rolling = asked + _BESIDES
    rate = (fastest - group_state.fastest) / sample_time
    group_state.fastest_rate += (
        sample_time / (sample_time + _SMOOTHING) * (rate - group_state.fastest_rate)
    )
    group_state.fastest = fastest
    carried = group_state.reference - rolling * sample_time
    is_near = fastest > _NEAR * group_state.reference and fastest > _SLOWEST
    if is_near and -rolling <= group_state.fastest_rate <= _RISE:
        group_state.steady_time += sample_time
    else:
        group_state.steady_time = 0.0
    if fastest >= carried - _SLACK:
        group_state.carried_time += sample_time
    else:
        group_state.carried_time = 0.0
    if fastest >= carried or (
        group_state.carried_time <= _CARRIED and group_state.steady_time > _STEADY
    ):
        group_state.reference = fastest
    elif group_state.carried_time > _CARRIED:
        group_state.reference = carried
    else:
        share = _SLIDING if fastest > _DEEP * group_state.reference else _LOCKED
        fall = (share * asked + _LEAST) * sample_time
        group_state.reference = max(fastest, group_state.reference - fall)


@part
def watch_cut_out(train: Train, group_state: GroupState) -> None:
    """Cut slip control out below the cut-out speed, and in again above it by the hysteresis."""
    if group_state.is_cut_out:
        if group_state.reference > train.cut_out_speed + train.cut_out_hysteresis:
            group_state.is_cut_out = 0
    elif group_state.reference < train.cut_out_speed:
        group_state.is_cut_out = 1

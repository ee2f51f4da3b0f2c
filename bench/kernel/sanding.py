"""Sanders: when they run, what they lay, what is left in the hopper."""

from typing import Any

from slipbench.compiling.jit import inner, part
from slipbench.kernel.codes import FIXED_RATE, SLIDE_SIGNAL
from slipbench.kernel.records import Sander, SanderState, Train


@inner
def _is_slide_signalled(sander: Sander, i_group: int, signals: Any) -> bool:
    if not sander.train_wide:
        return signals[i_group, SLIDE_SIGNAL] > 0.0
    for i in range(signals.shape[0]):  # noqa: SIM110 (compiled: no generators)
        if signals[i, SLIDE_SIGNAL] > 0.0:
            return True
    return False


@part
def watch_trigger(
    time: float,
    demand: float,
    i_group: int,
    signals: Any,
    sander: Sander,
    sander_state: SanderState,
) -> None:
    """Decide whether a sander is triggered, and since when.

    Parameters
    ----------
    time : float        [s]
    demand : float      share of the emergency demand acting now. [-]
    i_group : int       controller of the axle it sands
    signals : (n_groups, n_signals)   what the controllers last told
    sander : SANDER
    sander_state : SANDER_STATE

    Notes
    -----
    Triggered while the brake demand is at least `least_demand` and a slide is signalled, and for
    `run_on_time` afterwards.
    """
    wanted = (
        demand > 0.0
        and demand >= sander.least_demand - 1e-9
        and _is_slide_signalled(sander, i_group, signals)
    )
    if wanted:
        sander_state.last_trigger = time
        if not sander_state.is_triggered:
            sander_state.is_triggered = 1
            sander_state.triggered_since = time
    elif sander_state.is_triggered and time - sander_state.last_trigger > sander.run_on_time:
        sander_state.is_triggered = 0


@part
def sand_flow(time: float, train_speed: float, sander: Sander, sander_state: SanderState) -> float:
    """Return how much sand falls per rail now. [kg/s]

    Nothing before the start delay has run out or from an empty hopper; else the fixed rate, or the
    aimed density times speed up to the largest rate.
    """
    if not sander_state.is_triggered or sander_state.hopper <= 0.0:
        return 0.0
    if time - sander_state.triggered_since < sander.start_delay - 1e-12:
        return 0.0
    if sander.mode == FIXED_RATE:
        return sander.rate
    return min(sander.rate, sander.density * train_speed)


@part
def let_sand_fall(
    duration: float, time: float, flow: float, sander: Sander, sander_state: SanderState
) -> None:
    """Move sand from the hopper onto the cell ahead of the axle. [flow: kg/s]"""
    sander_state.falling = flow
    if flow <= 0.0:
        return
    if sander_state.first_sand < 0.0:
        sander_state.first_sand = time
    amount = min(flow * duration, sander_state.hopper)
    sander_state.hopper -= amount
    sander_state.pending += amount * sander.placement


@part
def lay_sand(i_cell: int, train: Train, rail_sand: Any, sander_state: SanderState) -> None:
    """Lay what has fallen on the cell ahead there; beyond `sand_limit` it rolls off the rail."""
    if sander_state.pending > 0.0:
        laid = rail_sand[i_cell] + sander_state.pending / train.cell_length
        rail_sand[i_cell] = max(rail_sand[i_cell], min(laid, train.sand_limit))
        sander_state.pending = 0.0

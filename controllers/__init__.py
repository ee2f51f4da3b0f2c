"""Slip-control strategies: one idea a file."""

import difflib

from slipbench.contract import Controller
from slipbench.controllers import (
    cleaning_balance,
    deceleration,
    deep_slip,
    none,
    optimum_seeking,
    peak_follower,
    phase_logic,
    rule_table,
    sliding_mode,
    slip_band,
    slip_target,
    speed_difference,
    train_coordinated,
)
from slipbench.ground.errors import InputError

ALL_CONTROLLERS: tuple[Controller, ...] = (
    none.CONTROLLER,
    speed_difference.CONTROLLER,
    deceleration.CONTROLLER,
    slip_band.CONTROLLER,
    phase_logic.CONTROLLER,
    slip_target.CONTROLLER,
    optimum_seeking.CONTROLLER,
    sliding_mode.CONTROLLER,
    rule_table.CONTROLLER,
    deep_slip.CONTROLLER,
    train_coordinated.CONTROLLER,
    cleaning_balance.CONTROLLER,
    peak_follower.CONTROLLER,
)
"""Every shipped strategy. A new one is added here by hand; a test notices a forgotten one."""


def by_name(name: str) -> Controller:
    """Return a shipped strategy.

    Raises
    ------
    InputError   for an unknown name, with the nearest known ones
    """
    known = {controller.name: controller for controller in ALL_CONTROLLERS}
    if name in known:
        return known[name]
    near = difflib.get_close_matches(name, known, n=2, cutoff=0.4)
    hint = f"nearest: {', '.join(near)}; " if near else ""
    raise InputError(f"unknown strategy {name!r}; {hint}known: {', '.join(known)}")

"""How a stop was to ride in and drive: jerk, time lost, emergency, isolation, the hold at rest."""

from __future__ import annotations

import math

import numpy as np

from slipbench.kernel.codes import STOPPED
from slipbench.kernel.records import World
from slipbench.kernel.train import GRAVITY
from slipbench.measures.ride import RideUse, normal_stop, time_lost
from slipbench.scenario import Scenario

TOLD_BY_TRAIN = (
    "largest_jerk",
    "jerk_time",
    "jerk_speed",
    "final_jerk",
    "final_jerk_time",
    "final_jerk_speed",
    "speedometer_error",
    "speedometer_error_time",
    "speedometer_error_speed",
    "speedometer_wrong_time",
    "emergency_time",
    "isolated_time",
    "isolated_locked_time",
    "isolated_locked_distance",
)
"""Columns of the train's record that are taken as they stand."""


def _hold_margin(world: World) -> float:
    """Return brake force the rail can carry at rest, less the pull of the gradient. [N].

    At rest the film's static friction counts; running resistance is left out, so a margin near
    zero is a safe side one.
    """
    axles, train = world.axle_states, world.train_state[0]
    grip = 2.0 * axles["wheel_load"] * axles["friction"]
    hold = float(np.minimum(np.maximum(axles["brake_force"], 0.0), grip).sum())
    pull = 0.0
    if len(world.grades):
        places = float(train["distance"]) - world.axles["offset"]
        section = np.searchsorted(world.grades[:, 0], places, side="right") - 1
        rise = np.where(section >= 0, world.grades[np.maximum(section, 0), 1], 0.0)
        sine = rise / np.sqrt(1.0 + rise**2)
        pull = abs(float((world.axles["mass_carried"] * sine).sum()) * GRAVITY)
    return hold - pull


def ride_use(scenario: Scenario, world: World) -> RideUse:
    """Return what a finished run was like to ride in; NaN for what did not happen."""
    train = world.train_state[0]
    is_stopped = int(train["status"]) == STOPPED
    distance, time = float(train["distance"]), float(train["time"])
    brake, speed = scenario.brake, scenario.initial_speed
    normal = normal_stop(speed, max(brake.steps), brake.demand_delay, brake.build_up_time)
    point = scenario.driver.stopping_point

    def when(name: str, has_happened: bool) -> float:
        return float(train[name]) if has_happened else math.nan

    has_passed = bool(train["point_speed"] > 0.0)
    has_emergency, is_isolated = bool(train["emergency_time"] > 0), bool(train["isolated_time"] > 0)
    is_eased = bool(train["emergency_eased_time"] > 0)
    return RideUse(
        **{name: float(train[name]) for name in TOLD_BY_TRAIN},
        overrun=math.nan if point is None else distance - point,
        point_time=when("point_time", has_passed),
        point_speed=when("point_speed", has_passed),
        time_lost=time_lost(distance, time, speed, normal) if is_stopped else math.nan,
        emergency_start_time=when("emergency_start_time", has_emergency),
        emergency_start_speed=when("emergency_start_speed", has_emergency),
        emergency_eased_time=when("emergency_eased_time", is_eased),
        emergency_eased_speed=when("emergency_eased_speed", is_eased),
        is_emergency_at_end=is_stopped and int(train["position"]) == brake.emergency_position,
        isolation_start_time=when("isolation_start_time", is_isolated),
        isolation_start_speed=when("isolation_start_speed", is_isolated),
        n_ignored_presses=int(train["n_ignored_presses"]),
        hold_margin=_hold_margin(world) if is_stopped else math.nan,
    )

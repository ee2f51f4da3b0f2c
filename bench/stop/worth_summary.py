"""The numbers of a stop's worth that its summary holds."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from slipbench.contract import Floats
from slipbench.stop.drives import drive_summary
from slipbench.stop.worth import Worth


def worth_summary(worth: Worth) -> dict[str, Any]:
    """Return the numbers of a stop's worth for its summary: SI, lists by axle; None for no such.

    Names, units and meanings: `slipbench.results.quantities.SUMMARY`.
    """
    numbers = {
        **_of_adhesion(worth),
        **_of_wheels(worth),
        **_of_heat(worth),
        **_of_air(worth),
        **_of_rail(worth),
        **_of_ride(worth),
        **drive_summary(worth.drives),
        "dragged_distance": worth.drag.distance.tolist(),
        "dragged_depth_high": float(worth.drag.depth.high.max(initial=0.0)),
    }
    return {name: known_or_none(value) for name, value in numbers.items()}


def _of_adhesion(worth: Worth) -> dict[str, Any]:
    adhesion = worth.adhesion
    return {
        "adhesion_utilisation_by_axle": adhesion.utilisation.tolist(),
        "demanded_adhesion": _mean(adhesion.demanded),
        "used_adhesion": _mean(adhesion.used),
        "peak_adhesion": _mean(adhesion.peak),
        "initial_adhesion": adhesion.mean_initial,
        "re_spin_work": float(adhesion.re_spin_work.sum()),
    }


def _of_wheels(worth: Worth) -> dict[str, Any]:
    slide, wheels, longest = worth.slide, worth.wheels, worth.slide.longest
    withdrawn = wheels.over_limit()
    return {
        "sliding_time": slide.sliding_time.tolist(),
        "n_locks": slide.n_locks.tolist(),
        "time_by_slide_depth": slide.time_by_depth.tolist(),
        "longest_lock_axle": longest.i_axle + 1 if longest else 0,
        "longest_lock_time": longest.start_time if longest else math.nan,
        "flat_length_low": wheels.flat_length.low.tolist(),
        "flat_length_high": wheels.flat_length.high.tolist(),
        "flat_depth_high": wheels.flat_depth.high.tolist(),
        "flat_risk": wheels.flat_risk,
        "martensite": wheels.martensite.tolist(),
        "withdrawn_surely": len(withdrawn.surely),
        "withdrawn_perhaps": len(withdrawn.perhaps),
    }


def _of_heat(worth: Worth) -> dict[str, Any]:
    heat = worth.heat
    return {
        "flash_temperature": float(heat.flash.max(initial=0.0)),
        "locked_temperature": float(heat.locked.max(initial=0.0)),
        "tread_temperature": float(heat.tread.max(initial=0.0)),
        "brake_temperature": float(heat.brake.max(initial=0.0)),
    }


def _of_air(worth: Worth) -> dict[str, Any]:
    air = worth.air
    return {
        "air_vented": float(air.vented.sum()),
        "air_vented_litres": air.normal_litres,
        "vents_by_axle": air.cycles.tolist(),
        "lowest_reservoir": float(air.lowest_reservoir.min()),
        "next_application": float(air.next_application.min()),
        "lowest_main_pressure": float(air.lowest_main.min()),
        "air_compressed": air.compressed,
        "recharge_time": air.recharge_time,
        "air_residual": air.residual,
    }


def _of_rail(worth: Worth) -> dict[str, Any]:
    rail = worth.rail
    return {
        "rail_heat_largest": rail.largest,
        "rail_heat_place": rail.worst_place,
        "rail_heat_length": rail.heated_length,
    }


def _of_ride(worth: Worth) -> dict[str, Any]:
    ride, vents = worth.ride, worth.vents
    return {
        "largest_jerk": ride.largest_jerk,
        "final_jerk": ride.final_jerk,
        "speedometer_error": ride.speedometer_error,
        "speedometer_wrong_time": ride.speedometer_wrong_time,
        "overrun": ride.overrun,
        "point_speed": ride.point_speed,
        "time_lost": ride.time_lost,
        "low_speed_vents": int(vents.low_speed.sum()),
        "restored_brakes": int(vents.restored.sum()),
        "short_pulses": int(vents.short.sum()),
        "emergency_time": ride.emergency_time,
        "isolated_time": ride.isolated_time,
        "ignored_presses": ride.n_ignored_presses,
        "hold_margin": ride.hold_margin,
    }


def known_or_none(value: Any) -> Any:
    """Return a value, or list of values, with NaN replaced by None: equal to itself, and JSON."""
    if isinstance(value, list):
        return [known_or_none(item) for item in value]
    return None if isinstance(value, float) and math.isnan(value) else value


def _mean(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else math.nan

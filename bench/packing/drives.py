"""Dynamic brakes, their blending, and track brakes."""

from __future__ import annotations

from itertools import accumulate
from typing import Any

import numpy as np

from slipbench.kernel import codes, fixed, moving
from slipbench.scenario import Blending, Scenario, Train, Vehicle

_SLIDE_RULES = {
    "restore": codes.SLIDE_RESTORE,
    "cut_out": codes.SLIDE_CUT_OUT,
    "hand_over": codes.SLIDE_HAND_OVER,
}

_TRACK_BRAKES = {"magnetic": codes.MAGNETIC, "eddy_current": codes.EDDY_CURRENT}

_PLAIN = (
    *("force_limit", "power_limit", "fade_from", "fade_to", "dead_time", "lag"),
    *("receptivity",),
    *("resistor_power", "slide_slip", "slide_speed", "reduction", "slides_to_cut_out"),
    *("hand_back_time", "sample_time"),
)


def blending_fields(scenario: Scenario) -> dict[str, float]:
    """Return the fields of TRAIN that say how dynamic and air brake are blended."""
    blending = scenario.train.blending or Blending()
    most = scenario.brake.spring_pressure + 0.2 * scenario.brake.full_pressure
    return {
        "blends_train": scenario.train.has_dynamic_brake and blending.rule == "train",
        "blends_emergency": blending.in_emergency == "blended",
        "friction_lag": blending.friction_lag,
        "blending_lead": blending.lead,
        "prefill_pressure": min(blending.prefill_pressure, most),
        "prefill_time": blending.prefill_time,
    }


def _weight(vehicle: Vehicle) -> float:
    """Return the forces of all of a vehicle's drives together. [N]"""
    if vehicle.dynamic_brake is None:
        return 0.0
    return len(set(vehicle.motored_axles)) * vehicle.dynamic_brake.force_limit


def _units_of(train: Train, is_train: bool) -> list[tuple[float, float]]:
    """Return, for each vehicle, weight [N] and laden mass [kg] of what its drives brake."""
    cars = [(_weight(v), v.laden_mass + v.rotating_mass) for v in train.vehicles]
    if is_train:
        return [(sum(w for w, _ in cars), sum(m for _, m in cars))] * len(cars)
    return cars


def pack_drives(scenario: Scenario, axles: Any) -> tuple[Any, Any]:
    """Pack the drives, and which axles each feeds; `axles` get `i_drive` and `drive_gain`."""
    train = scenario.train
    axles["i_drive"] = -1
    found: list[tuple[Vehicle, list[int]]] = []
    first = 0
    for vehicle in train.vehicles:
        if vehicle.dynamic_brake is not None:
            motored = [first + i - 1 for i in sorted(set(vehicle.motored_axles))]
            by = vehicle.dynamic_brake.drive
            keys = [{"axle": i, "bogie": int(axles["i_bogie"][i]), "car": 0}[by] for i in motored]
            for key in dict.fromkeys(keys):
                own = [i for i, one in zip(motored, keys, strict=True) if one == key]
                found.append((vehicle, own))
        first += vehicle.n_axles
    drives = np.zeros(len(found), fixed.DRIVE)
    is_train = bool(blending_fields(scenario)["blends_train"])
    units = _units_of(train, is_train)
    for i_drive, (drive, (vehicle, own)) in enumerate(zip(drives, found, strict=True)):
        axles["i_drive"][own] = i_drive
        axles["drive_gain"][own] = vehicle.wheel_radius / axles["wheel_radius"][own]
        _pack_drive(drive, vehicle, own, axles)
        weight, mass = units[drive["i_vehicle"]]
        drive["share"] = drive["force_limit"] / weight
        drive["force_rate"] = vehicle.dynamic_brake.jerk_limit * mass * drive["share"]  # type: ignore[union-attr]
    states = np.zeros(len(drives), moving.DRIVE_STATE)
    for name in ("factor", "factor_acting", "factor_after", "commanded"):
        states[name] = 1.0
    return drives, states


def _pack_drive(drive: Any, vehicle: Vehicle, own: list[int], axles: Any) -> None:
    dynamic = vehicle.dynamic_brake
    assert dynamic is not None
    for name in _PLAIN:
        drive[name] = getattr(dynamic, name)
    drive["i_vehicle"], drive["i_group"] = axles["i_vehicle"][own[0]], axles["i_group"][own[0]]
    drive["first_axle"], drive["last_axle"], drive["n_axles"] = own[0], own[-1], len(own)
    drive["radius"] = vehicle.wheel_radius
    drive["field_speed"] = np.inf if dynamic.field_speed is None else dynamic.field_speed
    drive["restore_rate"] = 1.0 / dynamic.restore_time
    drive["slide_rule"] = _SLIDE_RULES[dynamic.slide_rule]


def pack_magnets(scenario: Scenario) -> tuple[Any, Any]:
    """Pack the track brakes, bogie by bogie."""
    train, brake = scenario.train, scenario.brake
    fronts = list(accumulate((vehicle.length for vehicle in train.vehicles), initial=0.0))
    found = [
        (i, vehicle, fronts[i] + place)
        for i, vehicle in enumerate(train.vehicles)
        for place in vehicle.magnet_places
    ]
    magnets = np.zeros(len(found), fixed.MAGNET)
    for magnet, (i_vehicle, vehicle, place) in zip(magnets, found, strict=True):
        track = vehicle.track_brake
        assert track is not None
        for name in ("friction", "friction_speed_term", "film_factor", "cleaning_share"):
            magnet[name] = getattr(track, name)
        magnet["lowering_time"], magnet["lowest_speed"] = track.lowering_time, track.lowest_speed
        magnet["attraction"] = track.attraction or 0.0
        magnet["peak_force"] = track.peak_force or 0.0
        magnet["critical_speed"] = track.critical_speed or 1.0
        magnet["i_vehicle"], magnet["offset"] = i_vehicle, place
        magnet["kind"] = _TRACK_BRAKES[track.kind]
        in_last = track.used_in == "last_step"
        magnet["least_position"] = brake.n_steps if in_last else brake.emergency_position
    states = np.zeros(len(magnets), moving.MAGNET_STATE)
    states["applied_time"], states["i_cell"] = -1.0, -1
    return magnets, states

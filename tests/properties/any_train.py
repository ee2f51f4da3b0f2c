"""Random trains: vehicles of every kind the reader accepts, drawn from one number."""

from collections.abc import Callable
from typing import Any

import numpy as np

from slipbench.scenario import (
    Blending,
    DynamicBrake,
    TrackBrake,
    Train,
    Vehicle,
    VehicleBrake,
)


class Draw:
    """A source of random values."""

    def __init__(self, *seeds: int) -> None:
        self.generator = np.random.default_rng(list(seeds))

    def even(self, low: float, high: float) -> float:
        return float(f"{self.generator.uniform(low, high):.5g}")

    def log(self, low: float, high: float) -> float:
        return float(f"{np.exp(self.generator.uniform(np.log(low), np.log(high))):.5g}")

    def whole(self, low: int, high: int) -> int:
        return int(self.generator.integers(low, high + 1))

    def often(self, share: float) -> bool:
        return bool(self.generator.random() < share)

    def one(self, *choices: Any) -> Any:
        return choices[self.whole(0, len(choices) - 1)]

    def some(self, share: float, value: Callable[[], Any], default: Any) -> Any:
        return value() if self.often(share) else default


def _vehicle(draw: Draw, most_axles: int) -> Vehicle:
    kind = draw.one("single", "two", "bogies", "bogies", "bogies", "three bogies")
    kind = "single" if most_axles < 2 else "two" if most_axles < 4 else kind
    kind = "bogies" if kind == "three bogies" and most_axles < 6 else kind
    wheelbase = draw.even(1.6, 3.2) if "bogies" in kind else 0.0
    centres: dict[str, tuple[float, ...]] = {
        "single": (2.5,),
        "two": (2.0, draw.even(6.0, 12.0)),
        "bogies": (draw.even(2.0, 4.0), draw.even(12.0, 18.0)),
        "three bogies": (3.0, 11.0, 19.0),
    }
    places = centres[kind]
    n_axles = len(places) * (2 if wheelbase else 1)
    tare = n_axles * draw.even(6e3, 18e3)
    diameter = draw.even(0.6, 1.1)
    brake = draw.one("disc", "disc", "disc", "disc", "cast_iron", "composite")
    changes: dict[str, Any] = {}
    if draw.often(0.4):
        changes |= {"body_height": draw.even(1.0, 2.5), "pivot_height": draw.even(0.3, 1.0)}
        changes |= {"bogie_mass": draw.even(0.0, 0.25) * tare / n_axles}
    if draw.often(0.3):
        changes |= {"pad_speed_term": draw.even(-0.01, 0.01)}
        changes |= {"pad_heat_term": draw.even(-0.002, 0.002), "pad_wetness": draw.even(0.0, 0.6)}
    if draw.often(0.2):
        diameters = [diameter + draw.even(-0.02, 0.02) for _ in range(n_axles)]
        changes |= {"wheel_diameters": diameters, "load": draw.even(0.0, 1.0)}
    if draw.often(0.1):
        changes["assumed_wheel_diameters"] = [diameter] * n_axles
    if draw.often(0.15):
        axles = sorted({draw.whole(1, n_axles) for _ in range(draw.whole(1, 2))})
        changes["unbraked_axles"] = tuple(axles)
    if brake != "disc":
        changes |= {"blocks_per_axle": draw.one(2, 4, 8)}
        changes |= {"block_design_friction": draw.even(0.08, 0.3)}
    if draw.often(0.2):
        changes["brake"] = any_own_brake(draw)
    if draw.often(0.25):
        changes |= _motors(draw, n_axles, tare)
    if draw.often(0.12):
        changes["track_brake"] = _track_brake(draw)
    return Vehicle(
        name="car",
        length=places[-1] + 4.0,
        tare_mass=tare,
        laden_mass=tare * draw.even(1.0, 1.8),
        bogie_centres=places,
        bogie_wheelbase=wheelbase,
        wheel_diameter=diameter,
        wheelset_inertia=0.25 * diameter**2 * tare / n_axles * draw.even(0.02, 0.25),
        brake_kind=brake,
        cylinder_volume=draw.log(1e-3, 3e-2),
        heat_capacity=draw.log(2e4, 5e5),
        **changes,
    )


def any_own_brake(draw: Draw) -> VehicleBrake:
    return VehicleBrake(
        demand_share=draw.even(0.0, 1.5),
        build_up_time=draw.some(0.5, lambda: draw.even(0.0, 4.0), None),
        electrical_delay=draw.some(0.5, lambda: draw.even(0.0, 0.02), None),
        pad_friction=draw.some(0.5, lambda: draw.even(0.2, 0.5), None),
        vent_time_limit=draw.some(0.5, lambda: draw.log(0.5, 20.0), None),
    )


def _motors(draw: Draw, n_axles: int, tare: float) -> dict[str, Any]:
    """Return motors on some axles, mostly with a dynamic brake; forces by the axle's load."""
    axles = tuple(sorted({draw.whole(1, n_axles) for _ in range(draw.whole(1, n_axles))}))
    force = draw.log(0.01, 0.6) * tare / n_axles * 9.81
    fade_from = draw.log(0.5, 10.0)
    rule = draw.one("restore", "cut_out", "hand_over")
    rest: dict[str, Any] = {}
    if rule == "restore":
        rest = {"reduction": draw.even(0.05, 1.0), "restore_time": draw.log(0.1, 10.0)}
        rest["slides_to_cut_out"] = draw.one(0, 1, 3)
    elif rule == "hand_over":
        rest = {"hand_back_time": draw.log(0.05, 10.0)}
    dynamic = DynamicBrake(
        force_limit=min(force, 1e5),
        power_limit=draw.log(1e4, 2e6),
        fade_from=fade_from,
        fade_to=draw.one(0.0, fade_from * draw.even(0.0, 0.95)),
        field_speed=draw.some(0.3, lambda: draw.even(5.0, 60.0), None),
        drive=draw.one("axle", "bogie", "car"),
        lag=draw.some(0.7, lambda: draw.log(0.01, 1.0), 0.0),
        jerk_limit=draw.log(0.1, 20.0),
        receptivity=draw.one(1.0, 1.0, 0.0, draw.even(0.0, 1.0)),
        resistor_power=draw.one(0.0, draw.log(1e3, 1e6)),
        slide_rule=rule,
        slide_slip=draw.log(0.01, 0.5),
        slide_speed=draw.even(0.0, 2.0),
        sample_time=draw.one(0.02, draw.log(0.002, 0.1)),
        **rest,
    )
    return {"motored_axles": axles, "dynamic_brake": dynamic}


def _blending(draw: Draw) -> Blending:
    return Blending(
        rule=draw.one("vehicle", "train"),
        friction_lag=draw.some(0.7, lambda: draw.log(0.01, 2.0), 0.0),
        lead=draw.even(0.0, 2.0),
        prefill_pressure=draw.one(0.0, draw.even(0.0, 3e4)),
        prefill_time=draw.even(0.0, 3.0),
        in_emergency=draw.one("friction_only", "blended"),
    )


def _track_brake(draw: Draw) -> TrackBrake:
    rest: dict[str, Any] = {"attraction": draw.log(5e3, 1e5), "film_factor": draw.even(0.1, 1.0)}
    rest |= {"cleaning_share": draw.even(0.0, 1.0), "friction_speed_term": draw.even(0.0, 0.2)}
    kind = draw.one("magnetic", "magnetic", "eddy_current")
    if kind == "eddy_current":
        rest = {"peak_force": draw.log(1e3, 5e4), "critical_speed": draw.even(5.0, 50.0)}
    return TrackBrake(
        kind=kind,
        lowering_time=draw.even(0.0, 2.0),
        used_in=draw.one("emergency", "last_step"),
        lowest_speed=draw.one(0.0, draw.even(0.0, 15.0)),
        **rest,
    )


def any_train(draw: Draw, most_axles: int) -> Train:
    wanted = 1 if draw.often(0.1) else draw.whole(1, most_axles)
    vehicles: list[Vehicle] = []
    while (left := wanted - sum(v.n_axles for v in vehicles)) > 0:
        vehicle = _vehicle(draw, left)
        repeats = max(1, min(draw.whole(1, 6), left // vehicle.n_axles))
        vehicles += [vehicle] * repeats
    return Train(
        name="train",
        vehicles=tuple(vehicles[:40]),
        resistance_constant=draw.some(0.7, lambda: draw.even(0.0, 0.03), 0.0),
        resistance_linear=draw.some(0.5, lambda: draw.even(0.0, 5e-4), 0.0),
        resistance_quadratic=draw.some(0.7, lambda: draw.even(0.0, 5e-5), 0.0),
        load=draw.even(0.0, 1.0),
        blending=_blending(draw) if any(v.dynamic_brake for v in vehicles) else None,
    )

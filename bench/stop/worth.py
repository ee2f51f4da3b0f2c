"""What a stop was worth: the tallies of a finished run, handed to the measures.

The only place that reads the kernel's records for them. Nothing here needs traces, so the summary
of a campaign equals the one of a stop with traces.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from slipbench.contact import ContactPatch, contact_patch
from slipbench.contract import Floats
from slipbench.kernel.codes import ADHESION_WORKS, STOPPED
from slipbench.kernel.columns import FAULT_TIME, LOCK_COLUMNS, LOCK_LOCKED_DISTANCE, TRAIL_COLUMNS
from slipbench.kernel.records import World
from slipbench.kernel.train import GRAVITY
from slipbench.measures.adhesion import AdhesionUse, adhesion_use
from slipbench.measures.air import AirUse
from slipbench.measures.drag import DragWear, drag_depth
from slipbench.measures.locks import lock_samples
from slipbench.measures.materials import STEEL, TREAD_HEAT_SINK, ZERO_CELSIUS
from slipbench.measures.rail_heat import RailHeat, rail_heat
from slipbench.measures.ride import RideUse, normal_stop, time_lost
from slipbench.measures.slide import SlideUse, depth_edges, speed_edges
from slipbench.measures.temperature import HEAT_PROFILES
from slipbench.measures.wheels import WheelDamage, wheel_damage
from slipbench.scenario import Scenario
from slipbench.stop.air import air_use
from slipbench.stop.drives import DriveUse, drive_summary, drive_use

AMBIENT = 15.0 + ZERO_CELSIUS
"""Temperature of wheels and rail before the stop (assumed). [K]"""


@dataclass(frozen=True)
class Heat:
    """Temperatures of a stop, as rises.

    Attributes
    ----------
    flash : (n_axles,)               Hottest contact of a turning, sliding wheel above its body. [K]
    flash_time, flash_speed : (n_axles,)   [s], train speed [m/s]
    locked : (n_axles,)              Hottest spot of a locked wheel above its body. [K]
    tread : (n_axles,)               Mean of the tread above ambient, no heat lost meanwhile. [K]
    brake : (n_axles,)               Hottest of discs, or of treads where blocks brake, above
                                     ambient. [K]
    brake_time, brake_speed : (n_axles,)   [s], [m/s]
    """

    flash: Floats
    flash_time: Floats
    flash_speed: Floats
    locked: Floats
    tread: Floats
    brake: Floats
    brake_time: Floats
    brake_speed: Floats


@dataclass(frozen=True)
class VentUse:
    """Vents below 6 mph, vents that the time limit ended, and commands too short, by axle.

    Attributes
    ----------
    low_speed : (n_axles,) int       vents begun below 6 mph
    low_speed_time, low_speed_speed : (n_axles,)   of the first. [s], [m/s]
    restored : (n_axles,) int        times the limit put the brake back on
    restored_time, restored_speed : (n_axles,)     of the first. [s], [m/s]
    short : (n_axles,) int           changes of the command too short for the valve to follow
    """

    low_speed: Floats
    low_speed_time: Floats
    low_speed_speed: Floats
    restored: Floats
    restored_time: Floats
    restored_speed: Floats
    short: Floats


@dataclass(frozen=True)
class FaultUse:
    """When the scenario's faults acted, in its order; time is NaN for one that never did.

    Attributes
    ----------
    time, speed, distance : (n_faults,)   [s], [m/s], [m]
    """

    time: Floats
    speed: Floats
    distance: Floats


@dataclass(frozen=True)
class LeftOut:
    """Locks the stop had no room for, so that their wear or heat is not wholly told.

    Attributes
    ----------
    n_unsampled : int         locks that got fewer samples than they should
    time, speed : float       of the train when the first of them did. [s], [m/s]
    n_unlogged : int          locks beyond the log, counted only
    distance : float          their way, all together. [m]
    """

    n_unsampled: int
    time: float
    speed: float
    n_unlogged: int
    distance: float


@dataclass(frozen=True)
class Worth:
    """Everything a stop was worth.

    Attributes
    ----------
    adhesion : AdhesionUse
    slide : SlideUse
    wheels : WheelDamage
    heat : Heat
    air : AirUse
    air_times : (n_vehicles, 2)     time [s] and speed [m/s] of the lowest reservoir pressure
    rail : RailHeat
    ride : RideUse
    vents : VentUse
    faults : FaultUse
    brake_energy : (n_axles,)       heat of each axle's friction brake [J]
    drives : DriveUse               dynamic and track brakes
    left_out : LeftOut
    drag : DragWear                 wear of nearly locked wheels
    """

    adhesion: AdhesionUse
    slide: SlideUse
    wheels: WheelDamage
    heat: Heat
    air: AirUse
    air_times: Floats
    rail: RailHeat
    ride: RideUse
    vents: VentUse
    faults: FaultUse
    brake_energy: Floats
    drives: DriveUse
    left_out: LeftOut
    drag: DragWear


def assess_world(scenario: Scenario, world: World) -> Worth:
    """Return what a finished run was worth.

    Parameters
    ----------
    scenario : Scenario
    world : World         after `run_compiled`; it is not changed and not kept

    Returns
    -------
    Worth
    """
    axles = world.axle_states
    has_slid = axles["first_slide_speed"] > 0.0
    tread = _tread_rise(axles)
    wheels = _wheels(scenario, world, float(tread.max(initial=0.0)))
    return Worth(
        adhesion=adhesion_use(
            {name: axles[f"{name}_work"].copy() for name in ADHESION_WORKS},
            float(world.train_state["brake_start"][0]) >= 0.0 or bool(axles["load_work"].any()),
            np.where(has_slid, axles["initial_adhesion"], math.nan),
        ),
        slide=_slide(world, has_slid),
        wheels=wheels,
        heat=_heat(scenario, world, wheels, tread),
        air=air_use(world),
        air_times=np.column_stack(
            [world.vehicle_states[f"lowest_reservoir_{name}"] for name in ("time", "speed")]
        ),
        rail=rail_heat(
            world.rail_heat,
            float(world.train["rail_start"][0]),
            float(world.train["cell_length"][0]),
        ),
        ride=_ride(scenario, world),
        vents=VentUse(
            *(
                axles[name].copy()
                for name in (
                    "low_speed_vents",
                    "low_speed_vent_time",
                    "low_speed_vent_speed",
                    "n_restored",
                    "restored_time",
                    "restored_speed",
                    "short_pulses",
                )
            )
        ),
        faults=_faults(world),
        brake_energy=axles["brake_energy"].copy(),
        drives=drive_use(world),
        left_out=_left_out(world),
        drag=_drag(scenario, world),
    )


def _drag(scenario: Scenario, world: World) -> DragWear:
    axles, radius = world.axle_states, world.axles["wheel_radius"].copy()
    was_dragged = axles["dragged_speed"] > 0.0
    return DragWear(
        distance=axles["dragged_distance"].copy(),
        turns=axles["dragged_travel"] / (2.0 * math.pi * radius),
        depth=drag_depth(
            axles["dragged_distance"],
            axles["dragged_travel"],
            0.5 * np.maximum(axles["dragged_energy"], 0.0),
            world.axles["wheel_load"],
            np.array([patch.area for patch in _patches(scenario, world)]),
            radius,
        ),
        time=np.where(was_dragged, axles["dragged_time"], math.nan),
        speed=np.where(was_dragged, axles["dragged_speed"], math.nan),
    )


def _left_out(world: World) -> LeftOut:
    train, n_logged = world.train_state[0], len(world.lock_log)
    n_unlogged = max(int(train["n_locks"]) - n_logged, 0)
    logged = world.lock_log[:, LOCK_LOCKED_DISTANCE].sum()
    return LeftOut(
        n_unsampled=int(train["n_unsampled"]),
        time=float(train["unsampled_time"]),
        speed=float(train["unsampled_speed"]),
        n_unlogged=n_unlogged,
        distance=float(world.axle_states["locked_distance"].sum() - logged) if n_unlogged else 0.0,
    )


def _faults(world: World) -> FaultUse:
    has_acted = world.fault_log[:, FAULT_TIME] >= 0.0
    return FaultUse(*(np.where(has_acted, world.fault_log[:, i], math.nan) for i in range(3)))


def _tread_rise(axles: Any) -> Floats:
    """Return the tread's mean rise by axle: the lumped store of `TREAD_HEAT_SINK`, nothing lost.

    A stop is over in a small part of the store's half hour, so this is high by some per cent.
    """
    sink = TREAD_HEAT_SINK
    kept = sink.sliding_share * axles["contact_energy"] + sink.disc_share * axles["brake_energy"]
    return np.asarray(0.5 * np.maximum(kept, 0.0) / sink.heat_capacity)


def _wheels(scenario: Scenario, world: World, tread_rise: float) -> WheelDamage:
    train = world.train_state[0]
    log = world.lock_log[: min(int(train["n_locks"]), len(world.lock_log))]
    trail = world.lock_trail[: int(train["n_trail"])]
    locks = lock_samples(
        {name: log[:, i] for i, name in enumerate(LOCK_COLUMNS)},
        {name: trail[:, i] for i, name in enumerate(TRAIL_COLUMNS)},
        contact_areas(scenario, world, log),
    )
    return wheel_damage(locks, world.axles["wheel_radius"].copy(), AMBIENT + tread_rise)


def _slide(world: World, has_slid: Any) -> SlideUse:
    axles, histogram = world.axle_states, world.slide_histogram
    return SlideUse(
        sliding_time=axles["sliding_time"].copy(),
        sliding_distance=axles["sliding_distance"].copy(),
        locked_time=axles["locked_time"].copy(),
        locked_distance=axles["locked_distance"].copy(),
        n_locks=axles["n_locks"].copy(),
        first_slide_time=np.where(has_slid, axles["first_slide_time"], math.nan),
        first_slide_speed=np.where(has_slid, axles["first_slide_speed"], math.nan),
        histogram=histogram.copy(),
        creepage_edges=depth_edges(histogram.shape[0]),
        speed_edges=speed_edges(histogram.shape[1]),
        longest_lock=axles["longest_lock"].copy(),
        longest_lock_time=axles["longest_lock_time"].copy(),
        longest_lock_speed=axles["longest_lock_speed"].copy(),
    )


@lru_cache(maxsize=256)
def _patch(
    wheel_radius: float, crown_radius: float, load: float, curvature: float, modulus: float,
    poisson_ratio: float,
) -> ContactPatch:  # fmt: skip
    """Return the contact of a round wheel."""
    return contact_patch(
        wheel_radius,
        crown_radius,
        load,
        wheel_profile_radius=1.0 / curvature if curvature else math.inf,
        elastic_modulus=modulus,
        poisson_ratio=poisson_ratio,
    )


def _patches(scenario: Scenario, world: World) -> list[ContactPatch]:
    """Return the contact of each axle's wheels as the train stands."""
    contact, axles = scenario.contact, world.axles
    return [
        _patch(
            radius,
            scenario.rail.crown_radius,
            load,
            contact.wheel_profile_curvature,
            contact.elastic_modulus,
            contact.poisson_ratio,
        )
        for radius, load in zip(
            axles["wheel_radius"].tolist(), axles["wheel_load"].tolist(), strict=True
        )
    ]


def contact_areas(scenario: Scenario, world: World, log: Floats) -> Floats:
    """Return the area a round wheel had under its load as each lock of the log began. [m2]

    By Hertz, the area grows with load to the power 2/3; the load is the one with load transfer.
    """
    at_rest = np.array([patch.area for patch in _patches(scenario, world)])
    i_axle = log[:, LOCK_COLUMNS.index("axle")].astype(np.int64)
    share = log[:, LOCK_COLUMNS.index("wheel_load")] / world.axles["wheel_load"][i_axle]
    return np.asarray(at_rest[i_axle] * np.cbrt(share) ** 2)


def _flash_factor(patch: ContactPatch) -> float:
    """Return the flash temperature over P / (sqrt(u) + sqrt(v)). [K m^.5/(W s^.5)].

    Peak flux of the elliptic contact times C_q sqrt(a) over the effusivity; both bodies are steel.
    """
    shape = HEAT_PROFILES["hertz"]
    constant = shape.flash_constant * shape.peak_to_mean
    return constant * math.sqrt(patch.semi_axis_rolling) / (patch.area * STEEL.effusivity)


def _heat(scenario: Scenario, world: World, wheels: WheelDamage, tread: Floats) -> Heat:
    axles = world.axle_states
    factors = [_flash_factor(patch) for patch in _patches(scenario, world)]
    return Heat(
        flash=np.array(factors) * axles["flash_intensity"],
        flash_time=axles["flash_time"].copy(),
        flash_speed=axles["flash_train_speed"].copy(),
        locked=wheels.locked_temperature,
        tread=tread,
        brake=axles["hottest"].copy(),
        brake_time=axles["hottest_time"].copy(),
        brake_speed=axles["hottest_speed"].copy(),
    )


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


def _ride(scenario: Scenario, world: World) -> RideUse:
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
    plain = (
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
    return RideUse(
        **{name: float(train[name]) for name in plain},
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


def worth_summary(worth: Worth) -> dict[str, Any]:
    """Return the numbers of a stop's worth for its summary: SI, lists by axle; None for no such.

    Names, units and meanings: `slipbench.results.quantities.SUMMARY`.
    """
    adhesion, slide, wheels, heat = worth.adhesion, worth.slide, worth.wheels, worth.heat
    air, rail, ride, longest = worth.air, worth.rail, worth.ride, worth.slide.longest
    withdrawn = wheels.over_limit()
    numbers = {
        "adhesion_utilisation_by_axle": adhesion.utilisation.tolist(),
        "demanded_adhesion": _mean(adhesion.demanded),
        "used_adhesion": _mean(adhesion.used),
        "peak_adhesion": _mean(adhesion.peak),
        "initial_adhesion": adhesion.mean_initial,
        "re_spin_work": float(adhesion.re_spin_work.sum()),
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
        "flash_temperature": float(heat.flash.max(initial=0.0)),
        "locked_temperature": float(heat.locked.max(initial=0.0)),
        "tread_temperature": float(heat.tread.max(initial=0.0)),
        "brake_temperature": float(heat.brake.max(initial=0.0)),
        "air_vented": float(air.vented.sum()),
        "air_vented_litres": air.normal_litres,
        "vents_by_axle": air.cycles.tolist(),
        "lowest_reservoir": float(air.lowest_reservoir.min()),
        "next_application": float(air.next_application.min()),
        "lowest_main_pressure": float(air.lowest_main.min()),
        "air_compressed": air.compressed,
        "recharge_time": air.recharge_time,
        "air_residual": air.residual,
        "rail_heat_largest": rail.largest,
        "rail_heat_place": rail.worst_place,
        "rail_heat_length": rail.heated_length,
        "largest_jerk": ride.largest_jerk,
        "final_jerk": ride.final_jerk,
        "speedometer_error": ride.speedometer_error,
        "speedometer_wrong_time": ride.speedometer_wrong_time,
        "overrun": ride.overrun,
        "point_speed": ride.point_speed,
        "time_lost": ride.time_lost,
        "low_speed_vents": int(worth.vents.low_speed.sum()),
        "restored_brakes": int(worth.vents.restored.sum()),
        "short_pulses": int(worth.vents.short.sum()),
        "emergency_time": ride.emergency_time,
        "isolated_time": ride.isolated_time,
        "ignored_presses": ride.n_ignored_presses,
        "hold_margin": ride.hold_margin,
        **drive_summary(worth.drives),
        "dragged_distance": worth.drag.distance.tolist(),
        "dragged_depth_high": float(worth.drag.depth.high.max(initial=0.0)),
    }
    return {name: known_or_none(value) for name, value in numbers.items()}


def known_or_none(value: Any) -> Any:
    """Return a value, or list of values, with NaN replaced by None: equal to itself, and JSON."""
    if isinstance(value, list):
        return [known_or_none(item) for item in value]
    return None if isinstance(value, float) and math.isnan(value) else value


def _mean(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else math.nan

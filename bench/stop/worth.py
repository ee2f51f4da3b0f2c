"""What a stop was worth: the tallies of a finished run, handed to the measures.

The only place that reads the kernel's records for them. Nothing here needs traces, so the summary
of a campaign equals the one of a stop with traces.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from slipbench.contract import Floats
from slipbench.kernel.codes import ADHESION_WORKS
from slipbench.kernel.columns import FAULT_TIME, LOCK_COLUMNS, LOCK_LOCKED_DISTANCE, TRAIL_COLUMNS
from slipbench.kernel.records import World
from slipbench.measures.adhesion import AdhesionUse, adhesion_use
from slipbench.measures.air import AirUse
from slipbench.measures.drag import DragWear, drag_depth
from slipbench.measures.flash import HEAT_PROFILES
from slipbench.measures.locks import lock_samples
from slipbench.measures.materials import STEEL, TREAD_HEAT_SINK, ZERO_CELSIUS
from slipbench.measures.rail_heat import RailHeat, rail_heat
from slipbench.measures.ride import RideUse
from slipbench.measures.slide import SlideUse, depth_edges, speed_edges
from slipbench.measures.wheels import WheelDamage, wheel_damage
from slipbench.packing.contact import patch_of
from slipbench.scenario import Scenario
from slipbench.stop.air import air_use
from slipbench.stop.drives import DriveUse, drive_use
from slipbench.stop.ride import ride_use

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
        ride=ride_use(scenario, world),
        vents=_vents(axles),
        faults=_faults(world),
        brake_energy=axles["brake_energy"].copy(),
        drives=drive_use(world),
        left_out=_left_out(world),
        drag=_drag(scenario, world),
    )


def _vents(axles: Any) -> VentUse:
    return VentUse(
        low_speed=axles["low_speed_vents"].copy(),
        low_speed_time=axles["low_speed_vent_time"].copy(),
        low_speed_speed=axles["low_speed_vent_speed"].copy(),
        restored=axles["n_restored"].copy(),
        restored_time=axles["restored_time"].copy(),
        restored_speed=axles["restored_speed"].copy(),
        short=axles["short_pulses"].copy(),
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


def _patches(scenario: Scenario, world: World) -> list[Any]:
    """Return the contact of each axle's wheels as the train stands."""
    radii, loads = (world.axles[name].tolist() for name in ("wheel_radius", "wheel_load"))
    crown, contact = scenario.rail.crown_radius, scenario.contact
    return [
        patch_of(radius, crown, load, contact) for radius, load in zip(radii, loads, strict=True)
    ]


def contact_areas(scenario: Scenario, world: World, log: Floats) -> Floats:
    """Return the area a round wheel had under its load as each lock of the log began. [m2]

    By Hertz, the area grows with load to the power 2/3; the load is the one with load transfer.
    """
    at_rest = np.array([patch.area for patch in _patches(scenario, world)])
    i_axle = log[:, LOCK_COLUMNS.index("axle")].astype(np.int64)
    share = log[:, LOCK_COLUMNS.index("wheel_load")] / world.axles["wheel_load"][i_axle]
    return np.asarray(at_rest[i_axle] * np.cbrt(share) ** 2)


def _flash_factor(patch: Any) -> float:
    """Return the flash temperature over P / (sqrt(u) + sqrt(v)). [K m^.5/(W s^.5)].

    Peak flux of the elliptic contact times C_q sqrt(a) over the effusivity; both bodies are steel.
    """
    shape = HEAT_PROFILES["hertz"]
    constant = shape.flash_constant * shape.peak_to_mean
    return float(constant * math.sqrt(patch.semi_axis_rolling) / (patch.area * STEEL.effusivity))


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

"""Where the energy of a stop's brakes went, and what its dynamic brakes did on slides."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from slipbench.contract import Floats
from slipbench.kernel.records import World


@dataclass(frozen=True)
class DriveUse:
    """Dynamic and track brakes of a stop.

    Attributes
    ----------
    energy : (n_axles,)             what each axle's drive took, at the rim [J]
    recovered, resistor : float     of that, into the line and into resistors [J]
    track_energy : float            work of the track brakes on the rails [J]
    track_cleaning : float          of that, what cleaned one rail [J]
    vehicle : (n_drives,) int       that carries each drive, from 0
    out_time, out_speed : (n_drives,)   when it was first cut out or handed over; speed 0: never.
                                    [s], [m/s]
    """

    energy: Floats
    recovered: float
    resistor: float
    track_energy: float
    track_cleaning: float
    vehicle: Floats
    out_time: Floats
    out_speed: Floats


def drive_use(world: World) -> DriveUse:
    """Return what dynamic and track brakes did in a finished run."""
    drives = world.drive_states
    return DriveUse(
        energy=world.axle_states["dynamic_energy"].copy(),
        recovered=float(drives["recovered"].sum()),
        resistor=float(drives["resistor"].sum()),
        track_energy=float(world.train_state["track_work"][0]),
        track_cleaning=float(world.magnet_states["cleaning_energy"].sum()),
        vehicle=world.drives["i_vehicle"].copy(),
        out_time=drives["out_time"].copy(),
        out_speed=drives["out_speed"].copy(),
    )


def drive_summary(use: DriveUse) -> dict[str, Any]:
    """Return its numbers for the summary of a stop."""
    return {
        "dynamic_energy": float(use.energy.sum()),
        "recovered_energy": use.recovered,
        "resistor_energy": use.resistor,
        "track_energy": use.track_energy,
        "track_cleaning": use.track_cleaning,
        "dynamic_cut_outs": int((use.out_speed > 0.0).sum()),
    }

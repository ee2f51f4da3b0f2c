"""The `World`: all records of a stop together, and their compiled types.

The kernel's functions change only its `*_state` parts. The records are declared in `fixed` and
`moving`, codes and sizes in `codes`.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numba
import numpy as np

from slipbench.kernel.fixed import (
    AXLE,
    CELL,
    DRIVE,
    DRIVER,
    FAULT,
    GROUP,
    HANDLE,
    LAW,
    MAGNET,
    PRESS,
    RUN,
    SANDER,
    TRAIN,
    VEHICLE,
)
from slipbench.kernel.moving import (
    AXLE_STATE,
    DRIVE_STATE,
    GROUP_STATE,
    LANES,
    MAGNET_STATE,
    SANDER_STATE,
    TRAIN_STATE,
    VEHICLE_STATE,
)

# One row of each record, as functions are handed it: numba types them, so to mypy they are `Any`.
Axle = Any
AxleState = Any
Cell = Any
Drive = Any
DriveState = Any
Driver = Any
Fault = Any
Group = Any
GroupState = Any
Lanes = Any
Law = Any
Magnet = Any
MagnetState = Any
Run = Any
Sander = Any
SanderState = Any
Train = Any
TrainState = Any
Vehicle = Any
VehicleState = Any


class World(NamedTuple):
    """Everything one stop needs. Fixed parts first, then what moves.

    Lengths: `n_axles` axles from the front, `n_cells` rail cells along the track, `n_groups`
    controllers, `n_entries` handle entries, `n_grades` gradient sections.
    """

    run: Any  # (1,) RUN
    train: Any  # (1,) TRAIN
    brakes: Any  # (n_vehicles,) TRAIN, each with the brake values that are its vehicle's own
    axles: Any  # (n_axles,) AXLE
    cells: Any  # (n_cells,) CELL
    grades: Any  # (n_grades, 2) from distance [m], rise [-]
    groups: Any  # (n_groups,) GROUP
    handle: Any  # (n_entries,) HANDLE
    vehicles: Any  # (n_vehicles,) VEHICLE
    demand_table: Any  # (n_steps + 2, n_vehicles) share of its emergency demand, by position [-]
    wire_table: Any  # (n_steps + 2, 1) control wires energised, a bit mask by handle position
    controller_table: Any  # (n_points, 1 + n_vehicles) level, shares of their emergency demands [-]
    curves: Any  # (n_curves, 2) from distance [m], resistance [N/kN]
    faults: Any  # (n_faults,) FAULT
    presses: Any  # (n_presses,) PRESS
    driver: Any  # (1,) DRIVER
    drives: Any  # (n_drives,) DRIVE
    magnets: Any  # (n_magnets,) MAGNET
    train_state: Any  # (1,) TRAIN_STATE
    axle_states: Any  # (n_axles,) AXLE_STATE
    lanes: Any  # (1,) LANES
    rail_work: Any  # (n_cells,) cleaning work W left by all wheels of one rail [J/m]
    rail_sand: Any  # (n_cells,) sand on one rail [kg/m]
    law: Any  # (1,) LAW
    sanders: Any  # (n_sanders,) SANDER
    sander_states: Any  # (n_sanders,) SANDER_STATE
    signals: Any  # (n_groups, n_signals) what the controllers tell the rest
    vehicle_states: Any  # (n_vehicles,) VEHICLE_STATE
    fault_states: Any  # (n_faults,) 1 where active
    fault_log: Any  # (n_faults, len(FAULT_COLUMNS))
    lock_log: Any  # (N_LOCK_LOG, len(LOCK_COLUMNS))
    lock_trail: Any  # (N_LOCK_TRAIL, len(TRAIL_COLUMNS))
    rail_heat: Any  # (n_cells,) heat under locked wheels, one rail [J/m]
    slide_histogram: Any  # (SLIDE_BANDS, SPEED_BANDS) axle seconds
    effective: Any  # (n_entries,) when an acted entry takes effect [s]
    group_states: Any  # (n_groups,) GROUP_STATE
    drive_states: Any  # (n_drives,) DRIVE_STATE
    magnet_states: Any  # (n_magnets,) MAGNET_STATE
    observation: Any  # (n_axles, n_observed)
    command: Any  # (n_axles, 2) valve, demand factor; a third column for the dynamic brake
    train_traces: Any  # (n_traces, len(TRACED_TRAIN))
    axle_traces: Any  # (n_traces, n_axles, len(TRACED_AXLE))


def _array(dtype: np.dtype[np.void]) -> Any:
    return numba.types.Array(numba.from_dtype(dtype), 1, "C")


_matrix = numba.float64[:, ::1]

_PART_TYPES = {
    "run": _array(RUN),
    "train": _array(TRAIN),
    "brakes": _array(TRAIN),
    "axles": _array(AXLE),
    "cells": _array(CELL),
    "groups": _array(GROUP),
    "handle": _array(HANDLE),
    "vehicles": _array(VEHICLE),
    "faults": _array(FAULT),
    "presses": _array(PRESS),
    "driver": _array(DRIVER),
    "drives": _array(DRIVE),
    "magnets": _array(MAGNET),
    "drive_states": _array(DRIVE_STATE),
    "magnet_states": _array(MAGNET_STATE),
    "law": _array(LAW),
    "sanders": _array(SANDER),
    "train_state": _array(TRAIN_STATE),
    "axle_states": _array(AXLE_STATE),
    "lanes": _array(LANES),
    "vehicle_states": _array(VEHICLE_STATE),
    "sander_states": _array(SANDER_STATE),
    "group_states": _array(GROUP_STATE),
    "rail_work": numba.float64[::1],
    "rail_sand": numba.float64[::1],
    "fault_states": numba.float64[::1],
    "rail_heat": numba.float64[::1],
    "effective": numba.float64[::1],
    "axle_traces": numba.float64[:, :, ::1],
}


def part_types(*names: str) -> list[Any]:
    """Return the compiled types of parts of the `World`."""
    return [_PART_TYPES.get(name, _matrix) for name in names]


WORLD_TYPE: Any = numba.types.NamedTuple(  # type: ignore[no-untyped-call]
    part_types(*World._fields), World
)
"""The compiled type of `World`: the loop is compiled for it once, before any call."""

UPDATE_SIGNATURE = numba.types.void(
    numba.float64[:, ::1],
    numba.float64[::1],
    numba.float64[:, ::1],
    numba.float64[:, ::1],
    numba.float64[::1],
)
"""update(observation, parameters, memory, command, signals): see slipbench.contract."""

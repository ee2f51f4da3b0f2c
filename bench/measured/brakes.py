"""Brake force at the rim from cylinder pressure, and pressure where only valves are known."""

from __future__ import annotations

import numpy as np

from slipbench.contract import FILL, VENT, Floats
from slipbench.measured.unit import Unit


def brake_forces(pressure: Floats, unit: Unit) -> Floats:
    """Return the force of the brakes at the rims. (n, n_axles) [N]

    Parameters
    ----------
    pressure : (n, n_axles)   of the cylinders [Pa]; NaN stays NaN

    Notes
    -----
    The return spring takes its part; friction of cylinder and rigging is backlash, as in
    `slipbench.kernel.cylinder`.
    """
    above = pressure - unit.spring
    if unit.spring > 0.0:  # without one noise about zero must stay even
        above = np.maximum(above, 0.0)
    if unit.hysteresis <= 0.0:
        return np.asarray(unit.gains * above)
    clamp = np.empty_like(above)
    kept = np.zeros(above.shape[1])
    widened = above / (1.0 - unit.hysteresis)
    for i, row in enumerate(above):
        kept = np.fmax(row, np.fmin(kept, np.maximum(widened[i], row)))
        clamp[i] = np.where(np.isnan(row), np.nan, kept)
        kept = np.nan_to_num(clamp[i])
    return np.asarray(unit.gains * clamp)


def pressures_from_valves(valve: Floats, demand: Floats, step: float, unit: Unit) -> Floats:
    """Return cylinder pressures that valves would give, where none are measured. (n, n_axles) [Pa]

    Parameters
    ----------
    valve : (n, n_axles)   0 fill, 1 hold, 2 vent; NaN counts as fill
    demand : (n,)          share of the emergency demand [-]

    Notes
    -----
    Ramps at the brake's fill and vent rates after its mechanical delays; loads as the unit's.
    """
    brake, train = unit.scenario.brake, unit.scenario.train
    laden = np.array([v.laden_mass + v.rotating_mass for v in train.vehicles])
    masses = np.array(train.vehicle_masses) + [v.rotating_mass for v in train.vehicles]
    share = (masses / laden if brake.variable_load else np.ones(len(laden)))[
        unit.vehicles.astype(int)
    ]
    full = (brake.full_pressure - brake.spring_pressure) * share
    wanted = np.nan_to_num(demand)[:, None] * full + np.where(
        np.nan_to_num(demand)[:, None] > 0.0, brake.spring_pressure, 0.0
    )
    late = max(0, round(0.5 * (brake.fill_delay + brake.vent_delay) / step))
    acting = np.nan_to_num(np.vstack([np.zeros((late, valve.shape[1])), valve]))[: len(valve)]
    pressure = np.zeros_like(valve)
    now = np.zeros(valve.shape[1])
    for i in range(len(valve)):
        toward = np.clip(wanted[i] - now, -brake.vent_rate * step, brake.fill_rate * step)
        vented = -np.minimum(now, brake.vent_rate * step)
        now = now + np.where(acting[i] == FILL, toward, np.where(acting[i] == VENT, vented, 0.0))
        pressure[i] = now
    return pressure

"""What a stop did to the train's air: the tallies of a finished run, handed to the measures."""

from __future__ import annotations

import math

import numpy as np

from slipbench.kernel.air import mass_of
from slipbench.kernel.codes import FLOW
from slipbench.kernel.records import World
from slipbench.measures.air import AirUse, next_application


def air_use(world: World) -> AirUse:
    """Return what a finished run used of its air, and what it left."""
    axles, vehicles, train = world.axle_states, world.vehicle_states, world.train[0]
    n_vehicles = len(vehicles)
    cylinders = np.bincount(
        world.axles["i_vehicle"], world.axles["cylinder_volume"], minlength=n_vehicles
    )
    is_modelled = world.brakes["air_model"] == FLOW
    spring = world.brakes["spring_pressure"]
    full = (world.brakes["full_pressure"] - spring) * world.demand_table[-1]
    full = full * world.vehicles["demand_share"]
    lowest = vehicles["lowest_reservoir"].copy()
    return AirUse(
        vented=axles["vented_mass"].copy(),
        released=axles["released_mass"].copy(),
        filled=axles["filled_mass"].copy(),
        cycles=axles["vent_count"].copy(),
        lowest_reservoir=np.where(is_modelled, lowest, math.nan),
        next_application=next_application(
            vehicles["reservoir"],
            world.brakes["reservoir_volume"] * is_modelled,
            cylinders,
            spring + full * vehicles["load_factor"],
        ),
        lowest_main=(
            vehicles["lowest_main"].copy() if train["has_main"] else np.full(n_vehicles, math.nan)
        ),
        compressed=float(vehicles["compressed_mass"].sum()),
        recharge_time=_recharge_time(world),
        residual=_air_residual(world),
    )


def _recharge_time(world: World) -> float:
    train, states = world.train[0], world.vehicle_states
    flow = float((world.vehicles["compressor_flow"] - world.vehicles["auxiliary_flow"]).sum())
    if not train["has_main"] or flow <= 0.0:
        return math.nan
    missing = np.maximum(train["cut_out"] - states["main"], 0.0) * world.vehicles["main_volume"]
    below = np.maximum(world.brakes["pipe_pressure"] - states["reservoir"], 0.0)
    missing = missing + below * world.brakes["reservoir_volume"]
    return float(mass_of.py_func(float(missing.sum()), 1.0)) / flow


def _air_residual(world: World) -> float:
    """Return what is missing of the train's air, over what came in or went through cylinders."""
    train, axles, states = world.train[0], world.axle_states, world.vehicle_states
    is_flow = world.brakes["air_model"] == FLOW
    stored = float((axles["pressure"] * world.axles["cylinder_volume"]).sum())
    came = np.where(is_flow, states["charged_mass"], states["drawn_mass"]).sum()
    gained = np.where(is_flow, states["reservoir"] - world.brakes["reservoir_pressure"], 0.0)
    stored += float((gained * world.brakes["reservoir_volume"]).sum())
    if train["has_main"]:
        gained = states["main"] - train["main_pressure"]
        stored += float((gained * world.vehicles["main_volume"]).sum())
        came = states["compressed_mass"].sum() - states["consumed_mass"].sum()
        came += states["drawn_mass"][~is_flow].sum()
    went = axles["vented_mass"].sum() + axles["released_mass"].sum()
    moved = float(axles["filled_mass"].sum() + abs(came))
    missing = float(came - went) - float(mass_of.py_func(stored, 1.0))
    return missing / moved if moved > 0.0 else missing

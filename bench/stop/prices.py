"""How far each axle is to count as limited by its brake alone, so that a floor gets long."""

from __future__ import annotations

from typing import Any

import numpy as np

from slipbench.contract import Floats
from slipbench.kernel.priced import weigh_place
from slipbench.kernel.records import World

_N_PLACES = 7
"""Places looked at between the start and where another floor ends."""

_N_STEPS = 60


def most_demanded(world: World) -> Floats:
    """Return the largest brake force of each axle at the rim, handle and load at their most. [N]

    Parameters
    ----------
    world : World   packed, its handle never eased, its cars weighed as heavily as they will be

    Returns
    -------
    (n_axles,) float64
    """
    axles = world.axles
    hardest = world.demand_table[world.handle["position"]].max(axis=0)
    full = world.brakes["full_pressure"] - world.brakes["spring_pressure"]
    pressures = full * world.brakes["demand_factor_limit"] * hardest
    pressures = pressures * world.vehicles["demand_share"] * world.vehicle_states["load_factor"]
    gains = axles["brake_gain"] * axles["pad_share"]
    return np.asarray(gains * pressures[axles["i_vehicle"]]) + _most_driven(hardest, world)


def _most_able(drive: Any) -> float:
    """Return the top of a drive's envelope: where its fade begins. [N]"""
    speed = float(drive["fade_from"])
    power = float(drive["power_limit"]) * min(1.0, float(drive["field_speed"]) / speed)
    return min(float(drive["force_limit"]), power / speed)


def _most_driven(hardest: Floats, world: World) -> Floats:
    """Return what each axle's drive gives at most, as in `kernel.floor.most_braking`. [N]"""
    axles, drives = world.axles, world.drives
    forces = np.zeros(len(axles))
    factors = world.vehicles["demand_share"] * world.vehicle_states["load_factor"]
    required = hardest * factors * world.vehicles["demand_force"]
    for i in np.flatnonzero(axles["i_drive"] >= 0):
        drive, i_vehicle = drives[axles["i_drive"][i]], axles["i_vehicle"][i]
        asked = required.sum() if world.train["blends_train"][0] else required[i_vehicle]
        able = _most_able(drive)
        factor = float(world.brakes["demand_factor_limit"][i_vehicle])
        forces[i] = factor * axles["drive_gain"][i] * min(able, drive["share"] * asked)
    return forces


def share_borne(train_speed: float, until: float, hardest: float, world: World) -> Floats:
    """Return the Lambda of each axle that makes the floor's braking weakest at one speed. [-]

    Parameters
    ----------
    train_speed : float   of all axles as they pass. [m/s]
    until : float         distance up to which the rail counts. [m]
    hardest : float       deceleration for which the axles are loaded. [m/s2]
    world : World         at the start of the stop

    Returns
    -------
    (n_axles,) float64   0: the rail limits it; 1: its brake does

    Notes
    -----
    The braking of the floor, sum of (1 - Lambda) F over the best passes plus Lambda times what the
    brakes can do, is convex in Lambda, and demanded less given force is a subgradient: projected
    steps, falling in size. Any Lambda gives a floor; this only looks for a long one.
    """
    n_axles, mass = len(world.axles), float(world.train["mass"][0])
    demanded = most_demanded(world)
    places = _places(until, world)
    speeds, passes = np.full(n_axles, train_speed), np.zeros((n_axles, 2))
    borne, least, best = np.zeros(n_axles), np.inf, np.zeros(n_axles)
    slowing = 0.5
    for i_step in range(_N_STEPS):
        # a wheel that keeps up with the train gives up momentum of its own
        net = demanded - world.axles["rotating_mass"] * slowing
        braking, given = float(borne @ net), np.zeros(n_axles)
        for i_cell, share in places:
            braking += share * float(
                weigh_place(i_cell, hardest, speeds, 1.0 - borne, passes, world)
            )
            given += share * passes[:, 0]
        if braking < least:
            least, best = braking, borne
            slowing = braking / mass
        step = 0.6 / (1.0 + 0.1 * i_step)
        borne = np.clip(borne - step * (net - given) / max(float(demanded.mean()), 1.0), 0.0, 1.0)
    return best


def _places(until: float, world: World) -> list[tuple[int, float]]:
    """Return cells between start and a distance, each kind once, and their shares of the way."""
    first = int(world.axle_states["i_cell"][0])
    last = min(first + int(until / float(world.train["cell_length"][0])), len(world.cells) - 1)
    cells = np.linspace(first, last, _N_PLACES + 2).astype(int)[1:-1].tolist()
    kinds: dict[Any, list[int]] = {}
    for i in cells:
        kinds.setdefault((world.cells[i].tobytes(), float(world.rail_work[i])), []).append(i)
    return [(own[0], len(own) / len(cells)) for own in kinds.values()]

"""Does the model reproduce a measured stop: its wheels under the measured brake forces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from slipbench.contract import Floats
from slipbench.measured.account import Account
from slipbench.measured.adhesion import slope_weights, weighed
from slipbench.measured.unit import make_world, moved_loads, resistance_force, rise_force
from slipbench.results.tables import plain_table
from slipbench.scenario import Scenario

FRESH = 2.0
"""Besides the whole stop, wheels are set back on the measured rims every so often. [s]"""


@dataclass(frozen=True, eq=False)
class Reproduction:
    """A stop run again, open loop.

    Attributes
    ----------
    rims, forces : (n, n_axles)        of the model over the whole stop [m/s], [N]
    fresh_rims, fresh_forces : (n, n_axles)   the same, set back on the measured rims now and then
    train : (n,)                       speed of a train slowed by `fresh_forces` [m/s]
    distance : float                   its way to standstill [m]
    """

    rims: Floats
    forces: Floats
    fresh_rims: Floats
    fresh_forces: Floats
    train: Floats
    distance: float


def reproduce(account: Account, scenario: Scenario, gains: Floats | None = None) -> Reproduction:
    """Return a measured stop run again on the rail of a scenario.

    Parameters
    ----------
    account : Account     the log; its pressures, with the brake gain found, drive the wheels
    scenario : Scenario   the rail; its train is the account's
    gains : (n_axles,)    brake gain of each axle over the unit's; None: the train's for all

    Notes
    -----
    Wheels follow the measured train speed. A slide past the peak of the creep curve grows by
    itself, so a small error of force becomes a large one of rim speed within seconds, until the
    wheel rolls again; so besides the whole stop wheels are set back every two seconds.
    """
    speed, unit = account.speed, account.unit
    own = np.full(unit.n_axles, speed.gain) if gains is None else gains
    rims, forces = _run(account, scenario, own, np.inf)
    fresh, fresh_forces = _run(account, scenario, own, FRESH)
    pull = resistance_force(unit, speed.train) + rise_force(unit, speed.distance)
    lost = (fresh_forces.sum(axis=1) + pull + unit.mass * speed.resistance) / unit.mass
    train = np.maximum(speed.train[0] - np.cumsum(lost) * speed.step, 0.0)
    way = float(np.sum(train) * speed.step)
    rest = float(train[-1])
    if rest > 0.0:  # what was left when the log ended, at the mean deceleration until then
        way += rest**2 / (2.0 * max(float(speed.train[0] - rest) / float(speed.time[-1]), 0.02))
    return Reproduction(rims, forces, fresh, fresh_forces, train, way)


def _run(
    account: Account, scenario: Scenario, gains: Floats, every: float
) -> tuple[Floats, Floats]:
    from slipbench.measured.drive import drive_compiled

    speed, unit = account.speed, account.unit
    world = make_world(scenario.replace({"initial_speed": max(float(speed.train[0]), 0.5)}))
    states = world.axle_states
    n = len(speed.time)
    brake = np.ascontiguousarray(np.maximum(gains * speed.brake, 0.0))
    loads = np.ascontiguousarray(moved_loads(unit, speed.deceleration))
    speeds = np.ascontiguousarray(speed.train)
    rims, forces = np.zeros_like(brake), np.zeros_like(brake)
    rows = max(2, round(every / speed.step)) if np.isfinite(every) else n
    for first in range(0, n - 1, rows):
        inside = slice(first, min(first + rows, n - 1) + 1)
        states["wheel_speed"] = np.maximum(speed.rim[first], 0.0)
        states["is_locked"] = (speed.rim[first] < 0.1).astype(np.int64)
        own_rims, own_forces = np.zeros_like(brake[inside]), np.zeros_like(brake[inside])
        drive_compiled(
            world.axles, states, world.cells, world.rail_work, world.rail_sand, world.train,
            world.law, speed.step, brake[inside], loads[inside], speeds[inside], own_rims,
            own_forces,
        )  # fmt: skip
        rims[inside], forces[inside] = own_rims, own_forces
    return rims, forces


@dataclass(frozen=True)
class Residual:
    """How far one axle of the model is from the log.

    Rms of rim speed [m/s] over the whole stop and set back every two seconds; rms and mean of rail
    force over load [-].
    """

    axle: int
    rim: float
    fresh_rim: float
    adhesion: float
    bias: float


def residuals_by_axle(
    account: Account, found: Reproduction, gains: Floats | None = None
) -> list[Residual]:
    """Return residuals axle by axle, while the train moves and the measured wheel is not locked."""
    a, speed = account.adhesion, account.speed
    half = max(2, round(0.21 / speed.step))
    modelled = weighed(found.fresh_forces, slope_weights(half)[1]) / a.load
    share = np.ones(account.unit.n_axles) if gains is None else gains / speed.gain
    measured = a.used + (share - 1.0) * a.brake / a.load
    rows = []
    for i in range(account.unit.n_axles):
        use = (speed.train > 3.0) & np.isfinite(a.used[:, i])
        rim = found.rims[use, i] - speed.rim[use, i]
        fresh = found.fresh_rims[use, i] - speed.rim[use, i]
        used = modelled[use, i] - measured[use, i]
        bias = float(np.mean(used)) if len(used) else np.nan
        rows.append(Residual(i + 1, _rms(rim), _rms(fresh), _rms(used), bias))
    return rows


def _rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(values**2))) if len(values) else float("nan")


def reproduction_text(account: Account, found: Reproduction, gains: Floats | None = None) -> str:
    """Return residuals by axle as a table, and how the train came to a stand."""
    measured = float(account.speed.distance[-1])
    rows: list[list[str] | str] = [
        [str(r.axle), f"{r.rim:.2f}", f"{r.fresh_rim:.2f}", f"{r.adhesion:.4f}", f"{r.bias:+.4f}"]
        for r in residuals_by_axle(account, found, gains)
    ]
    heads = ["axle", "rim m/s", "set back m/s", "adhesion", "its mean"]
    return "\n".join(
        [
            f"reproduced under the measured pressures (brake gain {account.speed.gain:.3f}), rms "
            "model less log:",
            plain_table(heads, rows, n_left=0),
            "",
            f"way of the log {measured:.0f} m; of a train slowed by the model's rail forces "
            f"{found.distance:.0f} m",
            f"'set back': wheels put on the measured rims every {FRESH:g} s, since a slide past "
            "the "
            "peak runs away by itself",
        ]
    )

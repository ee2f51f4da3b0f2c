"""What dynamic and track brakes of a train can give over speed, beside what its brake asks for."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from slipbench.contract import Controller, Floats
from slipbench.kernel.track_brake import CLEAN_FROM
from slipbench.packing import pack
from slipbench.scenario import Blending, DynamicBrake, Scenario, TrackBrake

_SLOWEST = 1e-3


class Envelopes(NamedTuple):
    """Forces of a train over its speed, on level rail.

    Attributes
    ----------
    speed : (n,)                  [m/s]
    dynamic : (n_vehicles, n)     what the drives of each vehicle give at most, line and resistor as
                                  the data say [N]
    demanded : (n_positions, n_vehicles)   what each handle position asks of each vehicle, from the
                                  first step on, emergency last [N]
    is_blended : (n_positions,)   whether the dynamic brake works there
    by_train : bool               whether dynamic and air share the whole train's demand
    track : (n,)                  all track brakes on a clean rail [N]
    track_on_film : (n,)          ... and under the film they meet where friction is .1 or less [N]
    """

    speed: Floats
    dynamic: Floats
    demanded: Floats
    is_blended: tuple[bool, ...]
    by_train: bool
    track: Floats
    track_on_film: Floats

    @property
    def has_dynamic(self) -> bool:
        """Whether there is any dynamic brake."""
        return bool(self.dynamic.any())

    @property
    def has_track(self) -> bool:
        """Whether there is any track brake."""
        return bool(self.track.any())

    def carried(self, i_position: int) -> Floats:
        """Return the share of a position's demand that the drives can carry over speed. (n,) [-]

        Of a vehicle no more than its own demand, where that is shared vehicle by vehicle.
        """
        asked = self.demanded[i_position]
        if not self.is_blended[i_position] or asked.sum() <= 0.0:
            return np.zeros(len(self.speed))
        if self.by_train:
            given = np.minimum(self.dynamic.sum(axis=0), asked.sum())
        else:
            given = np.minimum(self.dynamic, asked[:, None]).sum(axis=0)
        return np.asarray(given / asked.sum())


def dynamic_force(brake: DynamicBrake, speed: Floats) -> Floats:
    """Return the greatest force of one axle over its rim speed, as the kernel has it. [N]

    Parameters
    ----------
    brake : DynamicBrake
    speed : (n,) float64   [m/s]
    """
    moving = np.maximum(speed, _SLOWEST)
    force = np.minimum(brake.force_limit, brake.power_limit / moving)
    if brake.field_speed is not None:
        falling = brake.power_limit * brake.field_speed / moving**2
        force = np.where(speed > brake.field_speed, np.minimum(force, falling), force)
    force = force * np.clip((speed - brake.fade_to) / (brake.fade_from - brake.fade_to), 0.0, 1.0)
    taken = brake.receptivity * force
    return np.asarray(taken + np.minimum(force - taken, brake.resistor_power / moving))


def track_force(brake: TrackBrake, speed: Floats, friction: float) -> Floats:
    """Return the force of one bogie's track brakes over speed, lowered. [N]

    Parameters
    ----------
    brake : TrackBrake
    speed : (n,) float64   [m/s]
    friction : float       static friction of the rail, which says what film there is. [-]
    """
    if brake.kind == "eddy_current":
        share = np.maximum(speed, 1e-6) / (brake.critical_speed or 1.0)
        force = (brake.peak_force or 0.0) * 2.0 / (share + 1.0 / share)
    else:
        film = 1.0 if friction >= CLEAN_FROM else brake.film_factor
        falling = brake.friction / (1.0 + brake.friction_speed_term * speed)
        force = (brake.attraction or 0.0) * falling * film
    return np.asarray(2.0 * np.where(speed > brake.lowest_speed, force, 0.0))


def _ignore(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Stand in for a strategy: nothing moves here."""


_NOBODY = Controller(name="nobody", title="no strategy", update=_ignore, observes=())


def find_envelopes(scenario: Scenario, highest: float, n: int = 400) -> Envelopes:
    """Return what a train's dynamic and track brakes give from standstill up to a speed.

    Parameters
    ----------
    scenario : Scenario
    highest : float   [m/s]
    n : int           speeds
    """
    vehicles, world = scenario.train.vehicles, pack(scenario, _NOBODY, 0, False)
    speed = np.linspace(0.0, highest, n)
    dynamic, track, on_film = np.zeros((len(vehicles), n)), np.zeros(n), np.zeros(n)
    for i, vehicle in enumerate(vehicles):
        if vehicle.dynamic_brake is not None:
            force = dynamic_force(vehicle.dynamic_brake, speed)
            dynamic[i] = len(set(vehicle.motored_axles)) * force
        if vehicle.track_brake is not None:
            n_bogies = len(vehicle.magnet_places)
            track += n_bogies * track_force(vehicle.track_brake, speed, CLEAN_FROM)
            on_film += n_bogies * track_force(vehicle.track_brake, speed, 0.0)
    own = world.vehicles["demand_share"] * world.vehicle_states["load_factor"]
    demanded = world.demand_table[1:] * own * world.vehicles["demand_force"]
    blending = scenario.train.blending or Blending()
    is_blended = [True] * scenario.brake.n_steps + [blending.in_emergency == "blended"]
    by_train = blending.rule == "train"
    return Envelopes(speed, dynamic, demanded, tuple(is_blended), by_train, track, on_film)

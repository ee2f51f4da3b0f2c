"""A planned stop: how deep each axle slides at each place, held by ideal torque that knows all.

Such a stop can be made, if only by a train that knows its rail: so the shortest that a search has
found stands above the floor (`slipbench.stop.shortest`), and what lies between is not known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from slipbench.contract import COLUMN, DEMAND_FACTOR, FILL, VALVE, Controller, Floats, Parameter
from slipbench.ground.errors import InputError

DEEPEST = 0.53
"""Creepage of a wheel at depth one: there it cleans most, at the assumed cleaning shares. [-]"""

_SETTLING_TIME, _MOST_CHANGE = 0.1, 20.0
"""In which a wheel is brought to its creepage [s], and the rim acceleration asked for at most
[m/s2] (choices)."""

_SAMPLE_TIME = COLUMN["sample_time"]
_TRAIN_SPEED, _WHEEL_SPEED = COLUMN["train_speed"], COLUMN["wheel_speed"]
_PEAK_CREEPAGE, _DEMANDED_FORCE = COLUMN["peak_creepage"], COLUMN["demanded_force"]
_ROTATING_MASS, _ACCELERATION = COLUMN["rotating_mass"], COLUMN["train_acceleration"]

_BRAKE, _SPEED_BEFORE, _IS_KNOWN = 0, 1, 2  # of an axle's memory
_PLACE = 0  # of the train's


def _update(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Bring each wheel to its planned creepage; the rail force follows from its own motion."""
    n_axles = observation.shape[0]
    n_places = (len(parameters) - n_axles) // (n_axles + 1) + 1
    sample_time = observation[0, _SAMPLE_TIME]
    place = memory[n_axles, _PLACE]
    memory[n_axles, _PLACE] = place + observation[0, _TRAIN_SPEED] * sample_time
    after = 0  # place number of the first planned place ahead; its first stands at 0
    while after < n_places and (0.0 if after == 0 else parameters[after - 1]) <= place:
        after += 1
    first = n_places - 1
    for i in range(n_axles):
        row, own = observation[i], memory[i]
        last = min(after, n_places - 1)
        before = max(after - 1, 0)
        depth = parameters[first + i * n_places + before]
        if last > before:
            start = 0.0 if before == 0 else parameters[before - 1]
            share = (place - start) / (parameters[last - 1] - start)
            depth += share * (parameters[first + i * n_places + last] - depth)
        peak = min(row[_PEAK_CREEPAGE], 0.5)
        creepage = peak ** (1.0 - depth) * DEEPEST**depth
        speed, wheel_speed = row[_TRAIN_SPEED], row[_WHEEL_SPEED]
        force = own[_BRAKE]
        if own[_IS_KNOWN] == 1.0:
            force += row[_ROTATING_MASS] * (wheel_speed - own[_SPEED_BEFORE]) / sample_time
        missing = (speed * (1.0 - creepage) - wheel_speed) / _SETTLING_TIME
        wanted = row[_ACCELERATION] * (1.0 - creepage) + min(
            max(missing, -_MOST_CHANGE), _MOST_CHANGE
        )
        factor = 1.0
        if row[_DEMANDED_FORCE] > 0.0:
            brake = force - row[_ROTATING_MASS] * wanted
            factor = min(max(brake / row[_DEMANDED_FORCE], 0.0), 1.0)
        own[_BRAKE] = factor * row[_DEMANDED_FORCE]
        own[_SPEED_BEFORE], own[_IS_KNOWN] = wheel_speed, 1.0
        command[i, VALVE] = FILL
        command[i, DEMAND_FACTOR] = factor


@dataclass(frozen=True)
class Plan:
    """How deep each axle slides, from place to place.

    Attributes
    ----------
    places : (n_places,) floats            ascending from 0, of the train's front. [m]
    depths : n_axles times (n_places,)     0: at the peak of the creep curve (a flat one: half
                                           slip); 1: at `DEEPEST`; between them on a logarithm, and
                                           linear between places. [-]
    """

    places: tuple[float, ...]
    depths: tuple[tuple[float, ...], ...]

    def __post_init__(self) -> None:
        """Check that places ascend from the start and every axle has a depth at each."""
        if not self.places or self.places[0] != 0.0 or np.any(np.diff(self.places) <= 0.0):
            raise InputError(f"plan: places = {list(self.places)}; allowed: ascending from 0")
        if not self.depths or any(len(own) != len(self.places) for own in self.depths):
            raise InputError(f"plan: each axle needs {len(self.places)} depths, one a place")
        if not all(0.0 <= depth <= 1.0 for own in self.depths for depth in own):
            raise InputError("plan: depths must be from 0 (peak) to 1 (deepest)")

    @property
    def controller(self) -> Controller:
        """The plan as a strategy that sees the truth and acts on the torque at once."""
        names = [*(f"place_{k + 2}" for k in range(len(self.places) - 1))]
        own = [Parameter(name, 0.0, "m", 0.0, 1e7, "found by search") for name in names]
        for i in range(len(self.depths)):
            for k in range(len(self.places)):
                name = f"depth_{i + 1}_{k + 1}"
                own.append(Parameter(name, 0.0, "-", 0.0, 1.0, "found by search"))
        values = (*self.places[1:], *(depth for axle in self.depths for depth in axle))
        return Controller(
            name="planned",
            title="knows everything and holds each axle at a depth of sliding planned beforehand",
            update=_update,
            parameters=tuple(own),
            observes=(
                "sample_time",
                "train_speed",
                "wheel_speed",
                "peak_creepage",
                "demanded_force",
                "rotating_mass",
                "train_acceleration",
            ),
            n_memory=3,
            scope="train",
            uses_truth=True,
            actuator="ideal",
            values=tuple(float(value) for value in values),
        )

    @classmethod
    def of_axles(cls, depths: Sequence[float]) -> Plan:
        """Return the plan of one depth an axle, the same everywhere."""
        return cls((0.0,), tuple((float(depth),) for depth in depths))

    def refined(self, places: Sequence[float]) -> Plan:
        """Return the plan with more places, the depths between them unchanged as far as can be."""
        depths = tuple(tuple(np.interp(places, self.places, own).tolist()) for own in self.depths)
        return Plan(tuple(float(place) for place in places), depths)

    def with_depths(self, depths: Any) -> Plan:
        """Return the plan with other depths. depths : (n_axles * n_places,) floats [-]"""
        table = np.clip(np.asarray(depths, dtype=np.float64), 0.0, 1.0)
        rows = table.reshape(len(self.depths), len(self.places)).tolist()
        return Plan(self.places, tuple(tuple(own) for own in rows))

"""The equipment a seed draws: how each axle and car differs from what was designed."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from slipbench.contract import Floats
from slipbench.scenario import Scenario, Train
from slipbench.scenario.equipment import FARTHEST, Condition

(
    _PITCH_ERROR,
    _PITCH_PHASE,
    _JITTER,
    _WEAR,
    _SETTING,
    _VALVE,
    _PADS,
    _LOAD,
    LOSS,
    TEETH,
    TRANSDUCER,
    TRANSDUCER_GAIN,
) = range(12)
"""Streams: each quantity has its own, so that none moves another. LOSS and TEETH: first pulses."""


class Draw(NamedTuple):
    """The equipment of one seed; arrays are (n_axles,), SI.

    Attributes
    ----------
    wheel_radii, assumed_radii : float64   true, and as the slip control is set to [m]
    masses : (n_vehicles,)    with the loads drawn [kg]
    pad_factors : float64     friction of pads or blocks over the brake's own [-]
    valve_factors : float64   delays of the valves over the brake's own [-]
    pitch_errors, jitters : float64    of the toothed wheels [m]
    pitch_phases : float64    where in the turn the pitch error begins, from 0 to 1 [-]
    """

    wheel_radii: Floats
    assumed_radii: Floats
    masses: Floats
    pad_factors: Floats
    valve_factors: Floats
    pitch_errors: Floats
    jitters: Floats
    pitch_phases: Floats


def stream(seed: int, number: int) -> np.random.Generator:
    """Return the generator of one quantity of the equipment of a seed."""
    return np.random.default_rng([number, seed])


def deviates(seed: int, number: int, size: int) -> Floats:
    """Return normal numbers of mean 0 and standard deviation 1, cut where they get far."""
    drawn = stream(seed, number).standard_normal(size)
    return np.asarray(np.clip(drawn, -FARTHEST, FARTHEST), dtype=np.float64)


def _around(seed: int, number: int, size: int, spread: float) -> Floats:
    return 1.0 + spread * stream(seed, number).uniform(-1.0, 1.0, size)


def draw_equipment(scenario: Scenario, seed: int) -> Draw:
    """Return the equipment of a seed; the same for the same train in any process.

    Parameters
    ----------
    scenario : Scenario
    seed : int   >= 0

    Returns
    -------
    Draw

    Notes
    -----
    Numbers are drawn axle by axle from the front, whatever the grade, and then scaled: the same
    seed gives the same train, only nearer to its design or farther. Diameters, loads and scatter
    are independent of each other and from axle to axle (assumed).
    """
    condition, train = scenario.equipment.condition, scenario.train
    size = train.n_axles
    spread = condition.sensor_spread
    valves = 1.0 + condition.valve_delay_scatter * deviates(seed, _VALVE, size)
    wheel_radii, assumed_radii = _draw_wheels(train, condition, seed)
    return Draw(
        wheel_radii=wheel_radii,
        assumed_radii=assumed_radii,
        masses=_draw_masses(train, condition.load_scatter, seed),
        pad_factors=1.0 + condition.pad_friction_scatter * deviates(seed, _PADS, size),
        valve_factors=condition.valve_delay_factor * valves,
        pitch_errors=condition.pitch_error * _around(seed, _PITCH_ERROR, size, spread),
        jitters=condition.jitter * _around(seed, _JITTER, size, spread),
        pitch_phases=stream(seed, _PITCH_PHASE).random(size),
    )


def _draw_wheels(train: Train, condition: Condition, seed: int) -> tuple[Floats, Floats]:
    """Return the radii of the wheels, and those the slip control is set to, as given or drawn."""
    size = train.n_axles
    lost = 0.5 * condition.wheel_wear * stream(seed, _WEAR).random(size)
    factors = 1.0 + condition.diameter_setting_error * deviates(seed, _SETTING, size)
    true, assumed = np.empty(size), np.empty(size)
    first = 0
    for vehicle in train.vehicles:
        own = slice(first, first + vehicle.n_axles)
        is_given = vehicle.wheel_diameters is not None
        true[own] = np.array(vehicle.radii) - (0.0 if is_given else lost[own])
        if vehicle.assumed_wheel_diameters is None:
            assumed[own] = true[own] * factors[own]
        else:
            assumed[own] = vehicle.assumed_radii
        first += vehicle.n_axles
    return true, assumed


def _draw_masses(train: Train, scatter: float, seed: int) -> Floats:
    """Return the mass of each vehicle, its load as given or drawn about the train's. [kg]"""
    more = scatter * deviates(seed, _LOAD, len(train.vehicles))
    loads = np.clip(train.load + more, 0.0, 1.0).tolist()
    return np.array(
        [
            vehicle.mass_at(drawn if vehicle.load is None else vehicle.load)
            for vehicle, drawn in zip(train.vehicles, loads, strict=True)
        ]
    )

"""What strategies are tried on: a short stop, trains of odd sizes, observations from the edge."""

from __future__ import annotations

import dataclasses

import numpy as np

from slipbench.contract import COLUMN, OBSERVED, SAMPLE_TIME, TRUTH, WHEEL_SPEED, Controller, Floats
from slipbench.scenario import Equipment, Scenario, Vehicle, load_scenario

EXTREMES = {
    "measured_wheel_speed": (0.0, 1e-12, 0.01, 1.0, 30.0, 200.0),
    "measured_pressure": (0.0, 1.0, 3e5, 1e6),
    "brake_demand": (0.0, 1e-9, 0.5, 1.0),
    "train_speed": (0.0, 1e-9, 1.0, 30.0, 200.0),
    "wheel_speed": (0.0, 1e-9, 1.0, 30.0, 200.0),
    "peak_force": (0.0, 1.0, 1e4, 1e5),
    "peak_creepage": (1e-6, 0.01, 0.2, 1.0),
    "demanded_force": (0.0, 1e-6, 1e4, 1e5),
    "rotating_mass": (10.0, 600.0, 3000.0),
    "train_acceleration": (-5.0, -0.5, 0.0, 1.0),
    "dynamic_force": (0.0, 1e3, 1.5e4),
    "dynamic_demand": (0.0, 1.0, 1.5e4),
}
"""Values from the edge of what can be asked, SI; the sample time is chosen by the caller."""

FAST = 33.0
"""Where the fast stops begin: 75 mph. [m/s]"""


def patchy_stop() -> Scenario:
    """Return the stop the checks use: two cars, 12 m/s, film and dry rail by turns, dry at the end.

    Short, since it is run in plain Python: film to 70 m, dry to 85 m, film to 120 m; given up
    after 60 s, about three times what any shipped strategy needs. The equipment overrules no vent,
    so that the strategy shows what it does by itself.
    """
    leaf, dry = load_scenario("wet_leaf"), load_scenario("dry")
    film, clean = leaf.rail.sections[0], dry.rail.sections[0]
    sections = [
        dataclasses.replace(section, from_distance=start)
        for section, start in ((film, 0.0), (clean, 70.0), (film, 85.0), (clean, 120.0))
    ]
    changes = {
        "initial_speed": 12.0,
        "train.vehicles": leaf.train.vehicles[:2],
        "rail.sections": sections,
        "brake.vent_time_limit": 1e4,
        "run.maximum_time": 60.0,
    }
    return leaf.replace(changes)


def fast_stop() -> Scenario:
    """Return a stop from 33 m/s of one car of four axles: film and dry rail by turns, dry at last.

    Film to 200 m and from 300 to 500 m; given up after 90 s, about twice what any shipped strategy
    needs. Here, too, the equipment overrules no vent.
    """
    slow = patchy_stop()
    film, clean = slow.rail.sections[:2]
    sections = [
        dataclasses.replace(section, from_distance=start)
        for section, start in ((film, 0.0), (clean, 200.0), (film, 300.0), (clean, 500.0))
    ]
    return slow.replace(
        {
            "initial_speed": FAST,
            "train.vehicles": slow.train.vehicles[:1],
            "rail.sections": sections,
            "run.maximum_time": 90.0,
        }
    )


def dry_stop() -> Scenario:
    """Return a stop from 33 m/s on dry rail, two cars, equipment as it is in service."""
    dry = load_scenario("dry")
    return dry.replace(
        {
            "initial_speed": FAST,
            "train.vehicles": dry.train.vehicles[:2],
            "equipment": Equipment(grade="service"),
        }
    )


def _vehicle_of(n_axles: int) -> Vehicle:
    """Return a vehicle of single axles 3 m apart, above eight of bogies 4 m apart."""
    has_bogies = n_axles > 8
    if has_bogies:
        centres = tuple(3.0 + 4.0 * i for i in range(n_axles // 2))
    else:
        centres = tuple(2.0 + 3.0 * i for i in range(n_axles))
    return Vehicle(
        name=f"vehicle of {n_axles} axles",
        length=centres[-1] + 3.0,
        tare_mass=10.4e3 * n_axles,
        laden_mass=13e3 * n_axles,
        bogie_centres=centres,
        bogie_wheelbase=2.0 if has_bogies else 0.0,
        wheel_diameter=0.84,
        wheelset_inertia=100.0,
    )


def odd_train(sizes: tuple[int, ...], longest: float = 3.0) -> Scenario:
    """Return the first seconds of a stop of a train of vehicles with these numbers of axles.

    Parameters
    ----------
    sizes : tuple of int   axles of each vehicle: 1 to 8, 10 or 12
    longest : float        when the computation ends [s]
    """
    vehicles = tuple(_vehicle_of(n_axles) for n_axles in sizes)
    return patchy_stop().replace({"train.vehicles": vehicles, "run.maximum_time": longest})


def speed_sweep(controller: Controller, sample_time: float = 0.01) -> Floats:
    """Return observations of two axles through every speed. (n_calls, 2, n_observed)

    Down from 120 m/s in steps of 0.05, the second axle sliding a little, then deeply, and up again
    with neither sliding: whole and even numbers of m/s are all met.
    """
    down = np.linspace(120.0, 0.0, 2401)
    speeds = np.concatenate([down, down[::-1]])
    slip = np.concatenate([0.4 * np.abs(np.sin(0.02 * np.arange(len(down)))), np.zeros(len(down))])
    seen = np.full((len(speeds), 2, len(OBSERVED)), np.nan)
    for name, values in EXTREMES.items():
        if controller.uses_truth or name not in TRUTH:
            seen[..., COLUMN[name]] = values[len(values) // 2]
    for name in ("measured_wheel_speed", "train_speed", "wheel_speed"):
        if controller.uses_truth or name not in TRUTH:
            seen[..., COLUMN[name]] = speeds[:, None]
    for name in ("measured_wheel_speed", "wheel_speed"):
        seen[:, 1, COLUMN[name]] *= 1.0 - slip
    seen[..., COLUMN["brake_demand"]] = 0.75
    seen[..., SAMPLE_TIME] = sample_time
    return seen


def for_axles(observations: Floats, n_axles: int) -> Floats:
    """Return observations of another number of axles: those there are, over and over."""
    return observations[:, np.arange(n_axles) % observations.shape[1]]


def extreme_observations(controller: Controller, n_axles: int, sample_time: float) -> Floats:
    """Return finite observations from the edge of what can be asked. (480, n_axles, n_observed)

    All wheels at rest, all at 200 m/s, every other one at rest, no demand; then every column of
    every axle drawn from `EXTREMES`, each set kept for 1 to 46 calls. Truth columns are NaN unless
    the strategy declares that it uses truth.
    """
    generator = np.random.default_rng(0)
    n_blocks = 30
    blocks = np.full((n_blocks, n_axles, len(OBSERVED)), np.nan)
    for name, values in EXTREMES.items():
        if controller.uses_truth or name not in TRUTH:
            blocks[:, :, COLUMN[name]] = generator.choice(values, size=(n_blocks, n_axles))
    blocks[:, :, SAMPLE_TIME] = sample_time
    for i_block, speed in ((0, 0.0), (1, 200.0), (3, 200.0), (4, 0.0)):
        blocks[i_block, :, WHEEL_SPEED] = speed
    blocks[2, :, WHEEL_SPEED] = np.where(np.arange(n_axles) % 2 == 0, 200.0, 0.0)
    blocks[3, :, COLUMN["brake_demand"]] = 0.0
    lengths = generator.permutation(np.tile([1, 2, 5, 12, 30, 46], n_blocks // 6))
    return np.repeat(blocks, lengths, axis=0)


def scrambled(observations: Floats, columns: list[int]) -> Floats:
    """Return a copy with columns shuffled over calls and axles, scaled and shifted at random.

    A column that is NaN throughout (truth withheld) gets numbers from 0 to 100.
    """
    generator = np.random.default_rng(1)
    result = observations.copy()
    shape = observations.shape[:2]
    for column in columns:
        values = generator.permutation(observations[..., column].ravel()).reshape(shape)
        values = values * generator.uniform(0.3, 3.0, shape) + generator.uniform(0.0, 1.0, shape)
        unknown = generator.uniform(0.0, 100.0, shape)
        result[..., column] = np.where(np.isfinite(values), values, unknown)
    return result

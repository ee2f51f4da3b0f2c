"""What a train can do: its brake on dry level rail, step by step, before any slide."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from slipbench.contract import Controller, Floats
from slipbench.kernel.train import GRAVITY
from slipbench.measures.air import next_application
from slipbench.scenario import Driver, Equipment, HandleEntry, Scenario, on_dry_rail
from slipbench.stop.simulation import simulate
from slipbench.stop.stop import Stop

SPEEDS = tuple(mph * 0.44704 for mph in (25.0, 50.0, 75.0, 100.0))
"""Speeds the dry distances are from. [m/s]"""

BUILT_UP = 0.9
"""Share of the settled braking force at which the brake counts as built up. [-]"""

SETTLING = 2.0
"""After the ramp of demand the braking force counts as settled. [s]"""

MOST_APPLICATIONS = 1000

_FROM = SPEEDS[2]  # what steps are told from is taken on a stop from there, at half of its speed


class StepAbility(NamedTuple):
    """One handle position, applied at once and kept, on dry level rail.

    Attributes
    ----------
    name : str                  `step 1` and so on, `emergency`
    demand : float              demanded deceleration [m/s2]
    reached : float             deceleration at half the speed it began from [m/s2]
    adhesion : (n_axles,)       rail force over the wheel loads of that moment, pitch included [-]
    built_up : float            time from the handle's movement to 90 % of the braking force [s]
    distances : (n_speeds,)     stopping distance from each speed; NaN if it did not stop [m]
    time, pressure : (n,)       mean cylinder pressure over time [s], [Pa]
    """

    name: str
    demand: float
    reached: float
    adhesion: Floats
    built_up: float
    distances: Floats
    time: Floats
    pressure: Floats


class Abilities(NamedTuple):
    """What a train can do.

    Attributes
    ----------
    scenario : Scenario                it was found on: dry, level, equipment as designed
    speeds : tuple of float            the distances are from [m/s]
    steps : tuple of StepAbility       emergency last
    applications : float               full applications of emergency from full reservoirs that are
                                       not recharged, the vehicle with the fewest; infinite where
                                       air cannot run out
    """

    scenario: Scenario
    speeds: tuple[float, ...]
    steps: tuple[StepAbility, ...]
    applications: float


def find_abilities(
    scenario: Scenario,
    controller: Controller,
    speeds: Sequence[float] = SPEEDS,
    tell: Callable[[], None] = lambda: None,
) -> Abilities:
    """Run a train's stops on dry level rail: every handle position, from several speeds.

    Parameters
    ----------
    scenario : Scenario       its train counts; rail, driver and faults are put aside
    controller : Controller   one that does nothing, since nothing slides
    speeds : of float         [m/s]
    tell : callable           called after each stop

    Returns
    -------
    Abilities

    Raises
    ------
    InputError   if the train cannot be run
    """
    base = on_dry_rail(scenario).replace(
        {
            "gradient": (), "curves": (), "faults": (), "sanders": (),
            "equipment": Equipment(grade="clean"), "contact.law": "polach",
            "rail.profile": None, "contact.measured_curve": None,
        }
    )  # fmt: skip
    steps = tuple(
        _step(base, controller, position, speeds, tell)
        for position in range(1, base.brake.emergency_position + 1)
    )
    return Abilities(base, tuple(speeds), steps, applications(base))


def _step(
    base: Scenario,
    controller: Controller,
    position: int,
    speeds: Sequence[float],
    tell: Callable[[], None],
) -> StepAbility:
    driver = Driver(programme=(HandleEntry(at_time=0.0, position=position),))

    def run(speed: float, with_traces: bool = False) -> Stop:
        started = base.replace({"driver": driver, "initial_speed": speed})
        stop = simulate(started, controller, with_traces=with_traces)
        tell()
        return stop

    shown = run(_FROM, with_traces=True)
    distances = [
        (shown if speed == _FROM else run(speed)).summary["stopping_distance"] for speed in speeds
    ]
    reached, adhesion = _at_half_speed(shown)
    time, pressure = shown.traces["time"], shown.traces["pressure"].mean(axis=1)
    force = shown.traces["rail_force"].sum(axis=1)
    settled = base.brake.demand_delay + base.brake.build_up_time + SETTLING
    is_up = force >= BUILT_UP * float(np.interp(settled, time, force))
    is_emergency = position == base.brake.emergency_position
    return StepAbility(
        name="emergency" if is_emergency else f"step {position}",
        demand=base.brake.demand_at(position),
        reached=reached,
        adhesion=adhesion,
        built_up=float(time[int(np.argmax(is_up))]) if is_up.any() else math.nan,
        distances=np.array(distances, dtype=np.float64),
        time=time,
        pressure=pressure,
    )


def _at_half_speed(stop: Stop) -> tuple[float, Floats]:
    """Return deceleration [m/s2] and adhesion used by each axle [-] at half the first speed."""
    traces = stop.traces
    i = int(np.argmax(traces["train_speed"] <= 0.5 * stop.scenario.initial_speed))
    near = slice(max(i - 10, 0), i + 11)
    slope = np.polyfit(traces["time"][near], traces["train_speed"][near], 1)[0]
    force = traces["rail_force"][near].mean(axis=0)
    return -float(slope), force / axle_loads(stop.scenario, -float(slope))


def axle_loads(scenario: Scenario, deceleration: float) -> Floats:
    """Return the load of every axle at a steady deceleration, pitch of body and bogies included.

    Parameters
    ----------
    scenario : Scenario
    deceleration : float   [m/s2]

    Returns
    -------
    (n_axles,) float64   [N]

    Notes
    -----
    The same moments as `slipbench.kernel.loads.transfer_load`, to which a test holds it.
    """
    loads: list[float] = []
    for vehicle, mass in zip(scenario.train.vehicles, scenario.train.vehicle_masses, strict=True):
        n_bogies = len(vehicle.bogie_centres)
        rest = mass * GRAVITY / vehicle.n_axles
        body = mass - n_bogies * vehicle.bogie_mass
        spacing = vehicle.bogie_centres[-1] - vehicle.bogie_centres[0]
        lever = vehicle.body_height - vehicle.pivot_height
        by_body = body * deceleration * lever / spacing if spacing > 0.0 else 0.0
        per_bogie = vehicle.n_axles // n_bogies
        for i in range(n_bogies):
            side = 1.0 if i == 0 else -1.0 if i == n_bogies - 1 else 0.0
            own = side * by_body / per_bogie
            radius = vehicle.radii[i * per_bogie]
            pitch = body * vehicle.pivot_height / n_bogies + vehicle.bogie_mass * radius
            if per_bogie == 1:
                loads.append(max(rest + own, 0.05 * rest))
                continue
            pitch *= deceleration / vehicle.bogie_wheelbase
            loads += [max(rest + own + pitch, 0.05 * rest), max(rest + own - pitch, 0.05 * rest)]
    return np.array(loads)


def applications(scenario: Scenario) -> float:
    """Return how many full emergency applications reservoirs give that are not recharged.

    Returns
    -------
    float   of the vehicle with the fewest; infinite where brake.air is not flow
    """
    brake, train = scenario.brake, scenario.train
    if brake.air != "flow":
        return math.inf
    fewest = math.inf
    for vehicle, mass in zip(train.vehicles, train.vehicle_masses, strict=True):
        cylinders = vehicle.cylinder_volume * sum(vehicle.braked_axles)
        if cylinders == 0.0:
            continue
        rotating = vehicle.rotating_mass if brake.weighs_rotating_mass else 0.0
        factor = (mass + rotating) / (vehicle.laden_mass + rotating) if brake.variable_load else 1.0
        share = brake.emergency_demand / brake.emergency
        full = (
            brake.spring_pressure + (brake.full_pressure - brake.spring_pressure) * share * factor
        )
        left, n = brake.reservoir_pressure, 0
        while n < MOST_APPLICATIONS:
            reach = next_application(left, brake.reservoir_volume, cylinders, full)
            if float(reach) < 1.0:
                break
            left -= cylinders * full / brake.reservoir_volume
            n += 1
        fewest = min(fewest, n)
    return fewest

"""Small scenarios for tests, a strategy of random commands, and a run that keeps its world.

The plain train has one axle and nothing that blurs a closed form: no delay, no ramp, no running
resistance, no cleaning, a creep curve that stays flat once it is saturated, and clean equipment.
"""

import dataclasses
import math
from collections.abc import Mapping
from functools import cache
from typing import Any

import numpy as np

from slipbench.contract import Controller, Parameter
from slipbench.controllers import by_name, none
from slipbench.kernel.loop import run_compiled
from slipbench.kernel.plain import advance_compiled
from slipbench.kernel.records import World
from slipbench.packing import pack
from slipbench.scenario import (
    Brake,
    Contact,
    Driver,
    Equipment,
    GradientSection,
    HandleEntry,
    Rail,
    RailSection,
    Run,
    Scenario,
    Sensing,
    SlipControl,
    Train,
    Vehicle,
    load_scenario,
)
from slipbench.stop.simulation import simulate
from slipbench.strategies.update import compile_update

FLAT = {
    "friction_ratio": 1.0,
    "friction_decay": 0.0,
    "adhesion_reduction": 1.0,
    "slip_reduction": 1.0,
}
"""A creep curve that never falls."""

FALLING = {
    "friction_ratio": 0.4,
    "friction_decay": 0.2,
    "adhesion_reduction": 0.3,
    "slip_reduction": 0.1,
}
"""Shape of the wet set of Polach, Wear 258 (2005) 992-1000 (from memory, not verified)."""

DRY = {
    "friction_ratio": 0.4,
    "friction_decay": 0.6,
    "adhesion_reduction": 1.0,
    "slip_reduction": 0.4,
}
"""Shape of the dry set of the same paper (from memory, not verified)."""

NEARLY_AT_ONCE = {"full_pressure": 2e4, "fill_rate": 1e7, "vent_rate": 1e7}
"""The fastest cylinder a scenario may have: full in 2 ms."""

FILL_TIME = NEARLY_AT_ONCE["full_pressure"] / NEARLY_AT_ONCE["fill_rate"]


def film(friction: float, from_distance: float = 0.0, **changes: float) -> RailSection:
    """Return a rail section; it does not clean and has the flat curve unless told otherwise."""
    values: dict[str, float] = {
        "recovered_friction": changes.get("recovered_friction", friction),
        "cleaning_work": 1e4,
        **FLAT,
    }
    values.update(changes)
    return RailSection(from_distance=from_distance, friction=friction, **values)


def patches(
    lengths: list[float], frictions: list[float], **changes: float
) -> tuple[RailSection, ...]:
    """Return sections of these lengths one after the other, their frictions taken in turn."""
    starts = np.cumsum([0.0, *lengths[:-1]])
    return tuple(
        film(frictions[i % len(frictions)], float(start), **changes)
        for i, start in enumerate(starts)
    )


def on_one_axle(scenario: Scenario) -> Scenario:
    """Return a scenario with one vehicle of its train, on a single axle that carries 10 t."""
    car = dataclasses.replace(
        scenario.train.vehicles[0],
        tare_mass=10e3,
        laden_mass=10e3,
        bogie_centres=(10.0,),
        bogie_wheelbase=0.0,
        wheelset_inertia=100.0,
    )
    return scenario.replace({"train.vehicles": (car,)})


def one_axle(
    mass: float = 15e3, wheelset_inertia: float = 100.0, wheel_diameter: float = 0.84
) -> Vehicle:
    """Return a vehicle on a single axle."""
    return Vehicle(
        name="one axle",
        length=5.0,
        tare_mass=mass,
        laden_mass=mass,
        bogie_centres=(2.5,),
        bogie_wheelbase=0.0,
        wheel_diameter=wheel_diameter,
        wheelset_inertia=wheelset_inertia,
    )


def car(
    mass: float = 40e3, wheelset_inertia: float = 100.0, wheel_diameter: float = 0.84
) -> Vehicle:
    """Return a car on two bogies."""
    return Vehicle(
        name="car",
        length=20.0,
        tare_mass=mass,
        laden_mass=1.25 * mass,
        bogie_centres=(3.0, 17.0),
        bogie_wheelbase=2.6,
        wheel_diameter=wheel_diameter,
        wheelset_inertia=wheelset_inertia,
    )


def train_of(*vehicles: Vehicle, load: float = 0.0) -> Train:
    """Return a train without running resistance."""
    return Train(
        name="train",
        vehicles=vehicles,
        resistance_constant=0.0,
        resistance_linear=0.0,
        resistance_quadratic=0.0,
        load=load,
    )


def brake_of(
    deceleration: float, demand_delay: float = 0.0, build_up_time: float = 0.0, **changes: Any
) -> Brake:
    """Return a brake of one service step that is the emergency brake too, nearly at once."""
    values: dict[str, Any] = {"release_time": 0.0, "fill_delay": 0.0, "vent_delay": 0.0}
    values.update(NEARLY_AT_ONCE)
    values.update(changes)
    return Brake(
        steps=(deceleration,),
        emergency=deceleration,
        demand_delay=demand_delay,
        build_up_time=build_up_time,
        **values,
    )


def full_brake() -> Driver:
    """Return the driver who puts on the first step at once."""
    return Driver(programme=(HandleEntry(at_time=0.0, position=1),))


def plain_stop(
    initial_speed: float,
    friction: float = 0.3,
    deceleration: float = 0.9,
    **parts: Any,
) -> Scenario:
    """Return a stop of the one-axle train on one flat film, with some parts exchanged.

    `parts` are fields of Scenario, or `sections` for the rail's.
    """
    sections = parts.pop("sections", (film(friction),))
    values: dict[str, Any] = {
        "train": train_of(one_axle()),
        "brake": brake_of(deceleration),
        "rail": Rail(sections=sections),
        "driver": full_brake(),
        "sensing": Sensing(teeth=90, zero_timeout=0.2),
        "equipment": Equipment(grade="clean"),
        "slip_control": SlipControl(),
        "run": Run(maximum_distance=5e3, maximum_time=600.0),
    }
    values.update(parts)
    return Scenario(name="plain", title="plain", initial_speed=initial_speed, **values)


def level_then(*grades: tuple[float, float]) -> tuple[GradientSection, ...]:
    """Return gradient sections from (distance, rise) pairs."""
    return tuple(GradientSection(from_distance=place, rise=rise) for place, rise in grades)


def packed(scenario: Scenario, controller: Controller = none.CONTROLLER, seed: int = 0) -> World:
    """Return the world of a stop about to begin; its records serve unit tests of the kernel."""
    return pack(scenario, controller, seed)


def is_finite(value: Any) -> bool:
    """Return whether every number of a summary's entry is finite; None stands for no number."""
    numbers = [number for number in np.ravel(np.array(value, dtype=object)) if number is not None]
    return bool(np.isfinite(np.array(numbers, dtype=np.float64)).all())


def advance_unsampled(until: float, world: World) -> None:
    """Advance a packed stop to a time [s] on the step's own grid: no controller ever samples."""
    world.group_states["next_sample"] = math.inf
    assert advance_compiled(until, world) == -1


def run_world(world: World, controller: Controller = none.CONTROLLER) -> World:
    """Run a packed stop to its end and return its world."""
    memory = np.zeros((len(world.axles) + len(world.groups), controller.n_memory))
    update = compile_update(controller.update)
    assert run_compiled(world, update, controller.parameter_values, memory) == -1
    return world


def clean(name: str, **changes: Any) -> Scenario:
    """Return a shipped scenario with equipment as designed, so that theory can be held to it."""
    return load_scenario(name).replace({"equipment.grade": "clean", **changes})


@cache
def shipped_summary(scenario: str, controller: str) -> Mapping[str, Any]:
    """Return the summary of a shipped scenario under a shipped strategy, simulated once."""
    return simulate(scenario, by_name(controller), with_traces=False).summary


@cache
def clean_summary(scenario: str, controller: str) -> Mapping[str, Any]:
    """Return the same with equipment as designed."""
    return simulate(clean(scenario), by_name(controller), with_traces=False).summary


def wheel_on(friction: float, **film_values: Any) -> tuple[Any, Any, Any]:
    """Return axle, its state and the creep law of the one-axle train on one film.

    `film_values` are those of `film`; `law` names the creep law; `mass` [kg] and
    `wheelset_inertia` [kg m2] are the vehicle's. Writing to the records changes them, not copies.
    """
    law = film_values.pop("law", "polach")
    vehicle = one_axle(film_values.pop("mass", 15e3), film_values.pop("wheelset_inertia", 100.0))
    world = packed(
        plain_stop(
            20.0,
            sections=(film(friction, **film_values),),
            train=train_of(vehicle),
            contact=Contact(law=law),
        )
    )
    return world.axles[0], world.axle_states[0], world.law[0]


# Park and Miller's generator: state <- 16807 state mod (2^31 - 1), exact in a double.
_MULTIPLIER, _MODULUS = 16807.0, 2147483647.0
_SEED, _CHANGE_CHANCE, _FILL_SHARE, _VENT_SHARE, _FACTOR_LIMIT = 0, 1, 2, 3, 4


def _random_commands(observation, parameters, memory, command, signals):
    n_axles = observation.shape[0]
    own = memory[n_axles]
    state = own[0] if own[0] > 0.0 else parameters[_SEED]
    for i_axle in range(n_axles):
        state = (_MULTIPLIER * state) % _MODULUS
        is_first = memory[i_axle, 0] == 0.0
        if is_first or state / _MODULUS < parameters[_CHANGE_CHANCE]:
            state = (_MULTIPLIER * state) % _MODULUS
            drawn = state / _MODULUS
            memory[i_axle, 1] = 1.0  # hold
            if drawn < parameters[_FILL_SHARE]:
                memory[i_axle, 1] = 0.0
            elif drawn < parameters[_FILL_SHARE] + parameters[_VENT_SHARE]:
                memory[i_axle, 1] = 2.0
            state = (_MULTIPLIER * state) % _MODULUS
            # half of the draws lie above the limit: then the limit itself
            memory[i_axle, 2] = min(1.0, 2.0 * state / _MODULUS) * parameters[_FACTOR_LIMIT]
            memory[i_axle, 0] = 1.0
        command[i_axle, 0] = memory[i_axle, 1]
        command[i_axle, 1] = memory[i_axle, 2]
    own[0] = state


def _random_parameter(name: str, default: float, low: float, high: float) -> Parameter:
    return Parameter(name, default, "-", low, high, "assumed")


RANDOM_COMMANDS = Controller(
    name="random_commands",
    title="valves and demand factors at random, the same for the same seed parameter",
    update=_random_commands,
    parameters=(
        _random_parameter("seed", 1.0, 1.0, _MODULUS - 1.0),
        _random_parameter("change_chance", 0.1, 0.0, 1.0),
        _random_parameter("fill_share", 0.7, 0.0, 1.0),
        _random_parameter("vent_share", 0.15, 0.0, 1.0),
        _random_parameter("factor_limit", 1.0, 0.0, 3.0),
    ),
    observes=(),
    n_memory=3,
)

RANDOM_TORQUE = Controller(
    name="random_torque",
    title="the same with the factor acting on the torque at once",
    update=_random_commands,
    parameters=RANDOM_COMMANDS.parameters,
    observes=(),
    n_memory=3,
    uses_truth=True,
    actuator="ideal",
)

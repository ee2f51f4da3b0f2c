"""Observed order of the time stepping against the declared one (two), and the time of lock-up.

Samples of a controller cut the steps of its axles, and few pieces are of full length.
So these tests advance a packed world straight to a given instant, with no sample in between: the
step governs. `slipbench.kernel.step.advance` is what every stop runs on, and without commands the
valves stay in fill, as under `none`.

Compared are states at a fixed time before the slide: while it grows, errors of the speeds change
sign with time and no one instant shows a slope. The slide as a whole is measured by the time of
lock, locked wheels by the distance to standstill. The *time* of standstill is left out: the last
5 mm/s are one parabola with the mean deceleration of the step before, whose length is arbitrary, so
it carries an error of about a microsecond at any step.
"""

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from tests.support_stops import advance_unsampled, clean, on_one_axle

from slipbench.contact import contact_patch, contact_stiffness
from slipbench.controllers import by_name
from slipbench.kernel.codes import STOPPED
from slipbench.kernel.records import World
from slipbench.packing import pack
from slipbench.scenario import Scenario

DECLARED_ORDER = 2.0
STEPS = np.array([10e-3, 5e-3, 2.5e-3, 1.25e-3])  # [s]
REFERENCE_STEP = STEPS[-1] / 8  # [s]; its own error lifts the slope by less than 0.01
FALLING_RAILS = ("grease", "wet_leaf", "detergent")
NEVER = 1e9  # [s]


def smooth_case(rail: str, n_axles: int, **changes: float) -> Scenario:
    """A shipped rail without cleaning: nothing jumps at cell borders. Loads stay put too."""
    scenario = clean(rail).replace(
        {"train.vehicles.*.body_height": 0.0, "train.vehicles.*.pivot_height": 0.0}
    )
    if n_axles == 1:
        scenario = on_one_axle(scenario)
    friction = scenario.rail.sections[0].friction
    return scenario.replace(
        {"rail.sections.0.recovered_friction": friction, "brake.demand_delay": 0.0, **changes}
    )


def packed(scenario: Scenario, step: float) -> World:
    world = pack(
        scenario.replace({"run.maximum_step": step}), by_name("none"), seed=0, with_traces=False
    )
    return world


def observed_order(measure: Callable[[float], float], steps: np.ndarray = STEPS) -> float:
    """Return the least-squares slope of ln(error) against ln(step)."""
    limit = measure(REFERENCE_STEP)
    errors = [abs(measure(step) - limit) for step in steps.tolist()]
    return float(np.polyfit(np.log(steps), np.log(errors), 1)[0])


@pytest.mark.parametrize("measured", ["train_speed", "wheel_speed", "distance"])
@pytest.mark.parametrize("n_axles", [1, 16])
@pytest.mark.parametrize(
    ("rail", "at_time"),
    [
        ("wet", 12.0),  # adhering throughout
        ("grease", 13.0),  # creepage 1.5 %, nearing the peak of a falling curve
    ],
)
def test_rolling_stop_converges_as_declared(
    rail: str, at_time: float, n_axles: int, measured: str
) -> None:
    scenario = smooth_case(rail, n_axles, **{"brake.build_up_time": 20.0})

    def measure(step: float) -> float:
        world = packed(scenario, step)
        advance_unsampled(at_time, world)
        assert world.axle_states["is_locked"].max() == 0
        train = world.train_state[0]
        return float(
            {
                "train_speed": train["speed"],
                "wheel_speed": world.axle_states["wheel_speed"][-1],
                "distance": train["distance"],
            }[measured]
        )

    assert observed_order(measure) == pytest.approx(DECLARED_ORDER, abs=0.2)


def test_rolling_stop_with_load_transfer_converges_as_declared() -> None:
    shipped = clean("grease").train.vehicles[0]
    heights = {
        "train.vehicles.*.body_height": shipped.body_height,
        "train.vehicles.*.pivot_height": shipped.pivot_height,
    }
    assert min(heights.values()) > 0.0
    scenario = smooth_case("grease", 16, **{"brake.build_up_time": 20.0}).replace(heights)

    def measure(step: float) -> float:
        world = packed(scenario, step)
        advance_unsampled(13.0, world)
        return float(world.axle_states["wheel_speed"][-1])

    assert observed_order(measure) == pytest.approx(DECLARED_ORDER, abs=0.2)


@pytest.mark.parametrize("n_axles", [1, 16])
@pytest.mark.parametrize("rail", ["grease", "wet_leaf", "tough_film"])
def test_distance_from_lock_to_standstill_converges_as_declared(rail: str, n_axles: int) -> None:
    scenario = smooth_case(rail, n_axles, initial_speed=10.0)

    def measure(step: float) -> float:
        world = packed(scenario, STEPS[-1])
        advance_unsampled(4.0, world)  # every run starts from this same state, after the lock
        assert world.axle_states["is_locked"].min() == 1
        world.run["maximum_step"] = step
        advance_unsampled(NEVER, world)
        train = world.train_state[0]
        assert train["status"] == STOPPED and world.axle_states["is_locked"].min() == 1
        return float(train["distance"])

    assert observed_order(measure) == pytest.approx(DECLARED_ORDER, abs=0.2)


def time_of_lock(scenario: Scenario, step: float, until: float = 10.0) -> float:
    """Return when the first axle's rim comes to rest: until then no time counts as locked. [s]"""
    only_at_rest = {"run.locked_wheel_speed": 1e-9, "run.locked_train_speed": 1e-9}
    world = packed(scenario.replace(only_at_rest), step)
    advance_unsampled(until, world)
    first = world.axle_states[0]
    assert first["n_locks"] == 1 and first["is_locked"] == 1
    return until - float(first["locked_time"])


@pytest.mark.parametrize("n_axles", [1, 16])
@pytest.mark.parametrize("rail", FALLING_RAILS)
def test_time_of_lock_converges_as_declared(rail: str, n_axles: int) -> None:
    scenario = smooth_case(rail, n_axles)
    order = observed_order(lambda step: time_of_lock(scenario, step))
    assert order == pytest.approx(DECLARED_ORDER, abs=0.2)


def stiff_slide(scenario: Scenario) -> tuple[float, float]:
    """Return when the slip of a one-axle train passes 1 m/s and when it locks, by scipy. [s]

    Train and wheel as in one line each; the brake's ramp ends at a border between two integrations.
    """
    train, brake, film = scenario.train, scenario.brake, scenario.rail.sections[0]
    car = train.vehicles[0]
    mass, rotating = car.tare_mass, car.wheelset_inertia / car.wheel_radius**2
    load = 0.5 * mass * 9.80665
    patch = contact_patch(car.wheel_radius, scenario.rail.crown_radius, load)
    stiffness = contact_stiffness(patch)
    ramp = brake.build_up_time
    full = (mass + rotating) * brake.steps[-1]
    a, b, c = train.resistance_constant, train.resistance_linear, train.resistance_quadratic
    ratio, decay = film.friction_ratio, film.friction_decay

    def rates(time: float, y: np.ndarray) -> list[float]:
        speed, wheel = y
        slip = speed - wheel
        limit = load * film.friction * (ratio + (1.0 - ratio) * math.exp(-decay * abs(slip)))
        e = 0.25 * math.pi * stiffness * slip / speed / limit
        sticking, slipping = film.adhesion_reduction * e, film.slip_reduction * e
        force = 4.0 / math.pi * limit * (sticking / (1.0 + sticking**2) + math.atan(slipping))
        brake_force = full * min(time / ramp, 1.0)
        return [-force / mass - (a + b * speed + c * speed**2), (force - brake_force) / rotating]

    def slips(_: float, y: np.ndarray) -> float:
        return float(y[0] - y[1] - 1.0)

    def locks(_: float, y: np.ndarray) -> float:
        return float(y[1])

    locks.terminal = True  # type: ignore[attr-defined]
    y, found = [scenario.initial_speed] * 2, []
    for span in ((0.0, ramp), (ramp, 60.0)):
        part = solve_ivp(
            rates, span, y, method="Radau", events=(slips, locks), rtol=1e-10, atol=1e-10
        )
        y = part.y[:, -1].tolist()
        found += [*part.t_events[0], *part.t_events[1]]
    return found[0], found[-1]


@pytest.mark.parametrize("initial_speed", [10.0, 33.5])
@pytest.mark.parametrize("rail", FALLING_RAILS)
def test_time_of_lock_at_the_default_step_is_that_of_a_stiff_solver(
    rail: str, initial_speed: float
) -> None:
    """The bench claims 1 per cent; the slide alone is the yardstick, not the time before it."""
    scenario = smooth_case(rail, 1, initial_speed=initial_speed)
    slide_begins, locked = stiff_slide(scenario)
    got = time_of_lock(scenario, scenario.run.maximum_step)
    # A thousandth of the claim: 5e-7 was found. Second order leaves microseconds of a slide of
    # seconds, first order would leave milliseconds.
    assert got - slide_begins == pytest.approx(locked - slide_begins, rel=1e-5)

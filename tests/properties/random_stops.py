"""Hypothesis strategies: random rails, trains, gradients and drivers, and how long to search.

The profile "stops" is bounded and always the same, so a test run is short and repeatable, failing
or not; "stops_search" draws twenty times as many anew and shrinks what fails. The environment
variable SLIPBENCH_STOPS names the one to use.
"""

import os
from typing import Any

from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from tests.support_stops import car, film, level_then, one_axle, patches, plain_stop, train_of

from slipbench.scenario import Brake, Driver, HandleEntry, Rail, RailSection, Run, Scenario

_COMMON: dict[str, Any] = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile(
    "stops",
    max_examples=1,
    derandomize=True,
    database=None,
    phases=[Phase.explicit, Phase.generate],
    **_COMMON,
)
settings.register_profile("stops_search", max_examples=20, print_blob=True, **_COMMON)


def examples(n_examples: int) -> settings:
    """Return the chosen profile for a test of so many examples; it decorates the test."""
    profile = settings.get_profile(os.environ.get("SLIPBENCH_STOPS", "stops"))
    return settings(profile, max_examples=n_examples * profile.max_examples)


def numbers(low: float, high: float) -> st.SearchStrategy[float]:
    """Return numbers between two bounds, rounded so that a failing example can be read."""
    return st.floats(low, high).map(lambda x: min(max(float(f"{x:.4g}"), low), high))


@st.composite
def curves(draw: Any, is_falling: bool | None = None) -> dict[str, float]:
    """Draw the shape of a creep curve within what a scenario may hold."""
    adhesion = draw(numbers(0.1, 1.0))
    falls = draw(st.booleans()) if is_falling is None else is_falling
    return {
        "friction_ratio": draw(numbers(0.2, 0.95)) if falls else 1.0,
        "friction_decay": draw(numbers(0.05, 1.0)) if falls else 0.0,
        "adhesion_reduction": adhesion,
        "slip_reduction": adhesion * draw(numbers(0.15, 1.0)),
    }


@st.composite
def cleanings(draw: Any, friction: float) -> dict[str, float]:
    """Draw how a film of this friction cleans; half of them do not."""
    if draw(st.booleans()):
        return {"recovered_friction": friction}
    return {
        "recovered_friction": friction + draw(numbers(0.01, 0.3)),
        "cleaning_work": draw(numbers(1e3, 1e5)),
        "cleaning_exponent": draw(st.sampled_from([0.7, 1.0, 2.0])),
    }


@st.composite
def rails(draw: Any) -> tuple[RailSection, ...]:
    """Draw rail of one film, of a few, or of patches alternating every 5 to 30 m."""
    kind = draw(st.sampled_from(["alternating", "few"]))
    curve = draw(curves())
    if kind == "alternating":
        length = draw(numbers(5.0, 30.0))
        pair = [0.02, 0.3] if draw(st.booleans()) else [0.3, 0.02]
        return patches([length] * 62, pair, **curve)
    sections, place = [], 0.0
    for _ in range(draw(st.integers(1, 4))):
        friction = draw(numbers(0.02, 0.35))
        sections.append(film(friction, place, **curve, **draw(cleanings(friction))))
        place += draw(numbers(3.0, 120.0))
    return tuple(sections)


@st.composite
def trains(draw: Any) -> Any:
    """Draw a train of one to three vehicles."""
    inertia = draw(numbers(60.0, 300.0))
    if draw(st.booleans()):
        vehicle = one_axle(draw(numbers(8e3, 20e3)), inertia)
    else:
        vehicle = car(draw(numbers(30e3, 60e3)), inertia)
    return train_of(*[vehicle] * draw(st.integers(1, 3)), load=draw(numbers(0.0, 1.0)))


@st.composite
def brakes(draw: Any) -> Brake:
    """Draw a brake of three steps, sluggish or quick."""
    return Brake(
        steps=(0.3, 0.6, 0.9),
        emergency=draw(numbers(0.9, 5.0)),
        demand_delay=draw(numbers(0.0, 1.0)),
        build_up_time=draw(numbers(0.0, 4.0)),
        release_time=draw(numbers(0.0, 4.0)),
        full_pressure=3e5,
        fill_rate=draw(numbers(5e4, 1e6)),
        vent_rate=draw(numbers(5e4, 1e6)),
        fill_delay=draw(numbers(0.0, 0.1)),
        vent_delay=draw(numbers(0.0, 0.1)),
        demand_factor_limit=draw(st.sampled_from([1.0, 1.0, 1.3, 3.0])),
        pad_friction=draw(numbers(0.3, 0.4)),
    )


@st.composite
def drivers(draw: Any, initial_speed: float) -> Driver:
    """Draw a handle programme that brakes at once and then changes its mind a few times."""
    entries = [HandleEntry(at_time=0.0, position=draw(st.integers(1, 4)))]
    for _ in range(draw(st.integers(0, 3))):
        trigger = draw(
            st.one_of(
                numbers(0.0, 20.0).map(lambda x: {"at_time": x}),
                numbers(0.0, initial_speed).map(lambda x: {"at_speed": x}),
                numbers(0.0, 200.0).map(lambda x: {"at_distance": x}),
            )
        )
        entries.append(HandleEntry(position=draw(st.integers(0, 4)), **trigger))
    return Driver(programme=tuple(entries))


@st.composite
def gradients(draw: Any) -> Any:
    """Draw up to three slopes, mild enough that most brakes still stop the train."""
    places = sorted({-1e3, *draw(st.lists(numbers(0.0, 300.0), max_size=2))})
    if draw(st.booleans()):
        return ()
    return level_then(*[(place, draw(numbers(-0.015, 0.03))) for place in places])


@st.composite
def stops(draw: Any, fastest: float = 15.0) -> Scenario:
    """Draw a whole scenario; it gives up soon, for the sake of the tests' time."""
    speed = draw(numbers(2.0, fastest))
    train = draw(trains())
    resistance = draw(numbers(0.0, 0.01))
    scenario = plain_stop(
        speed,
        train=train,
        brake=draw(brakes()),
        rail=Rail(sections=draw(rails()), cell_length=draw(st.sampled_from([0.5, 1.0, 1.25]))),
        driver=draw(drivers(speed)),
        gradient=draw(gradients()),
        run=Run(maximum_distance=300.0, maximum_time=60.0),
    )
    return scenario.replace(
        {"train.resistance_constant": resistance, "train.resistance_quadratic": 2e-5}
    )


def random_parameters(factor_limit: float) -> st.SearchStrategy[dict[str, float]]:
    """Draw parameters of the strategy of random commands."""
    return st.fixed_dictionaries(
        {
            "seed": st.integers(1, 2**31 - 2).map(float),
            "change_chance": numbers(0.01, 1.0),
            "fill_share": numbers(0.5, 1.0),
            "vent_share": numbers(0.0, 0.5),
            "factor_limit": st.just(factor_limit),
        }
    )

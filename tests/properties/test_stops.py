"""What holds for every stop, however wild the scenario."""

import math

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st
from tests.properties.random_stops import (
    curves,
    examples,
    numbers,
    random_parameters,
    stops,
)
from tests.support_stops import RANDOM_COMMANDS, RANDOM_TORQUE, film, full_brake, is_finite, patches

from slipbench.controllers import ALL_CONTROLLERS, none
from slipbench.scenario import Rail
from slipbench.stop.simulation import simulate

NOT_A_NUMBER_UNLESS_STOPPED = {"stopping_distance", "stopping_time", "mean_deceleration"}


@examples(50)
@given(stops(), st.sampled_from([RANDOM_COMMANDS, RANDOM_TORQUE, *ALL_CONTROLLERS]), st.data())
def test_every_stop_is_physical(scenario, strategy, data):
    if strategy in (RANDOM_COMMANDS, RANDOM_TORQUE):
        limit = scenario.brake.demand_factor_limit
        strategy = strategy.with_parameters(**data.draw(random_parameters(limit)))
    stop = simulate(scenario, strategy, data.draw(st.integers(0, 2**63 - 1), label="seed"))
    assert_finite(stop)
    assert_wheels_never_turn_backwards(stop)
    assert_pressure_within_limits(stop)
    assert_train_only_slows_or_falls(stop)
    assert abs(stop.summary["energy_residual"]) < 1e-3


def assert_finite(stop):
    for name, trace in stop.traces.items():
        assert np.isfinite(trace).all(), name
    for name, value in stop.summary.items():
        if name in NOT_A_NUMBER_UNLESS_STOPPED and not stop.summary["is_stopped"]:
            assert math.isnan(value), name
        elif name == "adhesion_utilisation" and not stop.traces["demand"].any():
            continue
        elif not isinstance(value, str):
            assert is_finite(value), (name, value)
    assert np.isfinite(stop.rail_after.work).all()


def assert_wheels_never_turn_backwards(stop):
    assert (stop.traces["wheel_speed"] >= 0.0).all()
    assert (stop.traces["measured_wheel_speed"] >= 0.0).all()


def assert_pressure_within_limits(stop):
    brake = stop.scenario.brake
    pressure = stop.traces["pressure"]
    assert (pressure >= 0.0).all()
    # the target is a product of three numbers: rounding
    assert pressure.max() <= brake.full_pressure * brake.demand_factor_limit * (1.0 + 1e-12)


def assert_train_only_slows_or_falls(stop):
    """Without a falling gradient no speed is gained, and no way is lost."""
    speed, distance = stop.traces["train_speed"], stop.traces["distance"]
    assert (np.diff(distance) >= 0.0).all()
    if all(grade.rise >= 0.0 for grade in stop.scenario.gradient):
        # Over a step the train's course is foreseen from the step before. A wheel that spins up
        # meanwhile (up to 3.5 m/s2 of the train's deceleration) ends faster than the train by up to
        # that times the step and gives it back, with up to a fifth of the train's mass.
        assert np.diff(speed).max() <= 0.2 * 4.0 * stop.scenario.run.maximum_step


@examples(20)
@given(
    stops(),
    curves(),
    numbers(0.01, 0.3),
    numbers(1.0, 3.0),
    st.one_of(st.none(), numbers(5.0, 30.0)),
    numbers(0.2, 1.0),
)
def test_more_friction_never_lengthens_an_uncontrolled_stop(
    scenario, curve, friction, factor, patch, lower
):
    """No cleaning, flat or falling curve, the brake put on once: one film or patches of two."""

    def on_rail(scale):
        pair = [scale * friction, scale * lower * friction]
        if patch is None:
            sections = (film(pair[0], **curve),)
        else:
            sections = patches([patch] * 62, pair, **curve)
        changed = {"rail": Rail(sections=sections), "driver": full_brake()}
        return simulate(scenario.replace(changed), none.CONTROLLER, with_traces=False).summary

    less, more = on_rail(1.0), on_rail(factor)
    assume(less["is_stopped"])
    assert more["is_stopped"]
    # both distances carry the error of the time stepping, measured below 1e-5 of themselves
    assert more["stopping_distance"] <= less["stopping_distance"] * (1.0 + 2e-5) + 1e-4


@examples(10)
@given(stops(), st.integers(0, 2**63 - 1))
def test_same_seed_gives_the_same_stop(scenario, seed):
    strategy = RANDOM_COMMANDS.with_parameters(seed=4711.0)
    first, second = (simulate(scenario, strategy, seed) for _ in range(2))
    for name, trace in first.traces.items():
        assert np.array_equal(trace, second.traces[name]), name

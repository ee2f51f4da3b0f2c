"""A toothed wheel that is not true: pitch error, jitter, lost pulses, a wrong diameter."""

import math

import numpy as np
import pytest
from tests.support_stops import packed, plain_stop

from slipbench.kernel.pulses import watch_pulses
from slipbench.kernel.sensing import measure_speed
from slipbench.scenario import Equipment, Sensing

SPEED, SAMPLE, TEETH = 20.0, 0.01, 90
PITCH = math.pi * 0.84 / TEETH


def errors(n_samples=400, assumed=None, speed=SPEED, teeth=TEETH, **equipment):
    """Return relative errors of the measured speed at a constant one, sample by sample."""
    stop = plain_stop(
        speed,
        sensing=Sensing(teeth=teeth, zero_timeout=0.2, clock_tick=0.0),
        equipment=Equipment(grade="clean", **equipment),
    )
    if assumed:
        stop = stop.replace({"train.vehicles.0.assumed_wheel_diameters": (assumed,)})
    world = packed(stop, seed=3)
    train, axle, state = world.train[0], world.axles[0], world.axle_states[0]
    found = []
    for i in range(n_samples):
        watch_pulses(i * SAMPLE, SAMPLE, speed, 0.0, axle, state)
        found.append(measure_speed((i + 1) * SAMPLE, speed, train, axle, state) / speed - 1.0)
    return np.array(found[20:])


def test_pitch_error_goes_round_with_the_wheel_and_leaves_the_mean():
    """Amplitude 1 mm once a turn: speed swings by 2 pi e / circumference, 0.24 %."""
    found = errors(pitch_error=1e-3)
    swing = 2.0 * math.pi * 1e-3 / (math.pi * 0.84)
    # a period spans 6 or 7 teeth of 90: the chord of that arc is 1 % below it
    assert np.percentile(np.abs(found), 99) == pytest.approx(swing, rel=0.05)
    assert abs(found.mean()) < 0.1 * swing
    assert np.abs(found).max() < 1.001 * swing


def test_jitter_scatters_by_its_size_over_the_period():
    """Two ends of a period of 200 mm, each off by 0.5 mm: standard deviation 0.35 %."""
    found = errors(jitter=0.5e-3)
    # 380 samples: 4 % of scatter of a standard deviation, three times that allowed
    assert np.std(found) == pytest.approx(math.sqrt(2.0) * 0.5e-3 / (SPEED * SAMPLE), rel=0.12)
    assert abs(found.mean()) < 1e-3


def test_lost_pulses_make_the_wheel_seem_slower():
    found = errors(dropout=0.1)
    assert found.mean() == pytest.approx(-0.1, abs=0.02)  # 2600 pulses: 0.6 % of scatter
    assert found.max() < 0.05


@pytest.mark.parametrize("assumed", [0.80, 0.86])
def test_wrong_diameter_scales_the_speed(assumed):
    found = errors(assumed=assumed)
    assert found == pytest.approx(assumed / 0.84 - 1.0, abs=1e-9)


def test_errors_are_the_same_for_the_same_seed():
    assert (errors(50, jitter=1e-3) == errors(50, jitter=1e-3)).all()


@pytest.mark.parametrize("burst", [1, 5])
def test_the_share_lost_is_that_asked_for_however_long_a_loss_is(burst):
    """8000 pulses, 800 of them lost; a burst of 1 to 5 counts as some three of one: 6 %."""
    equipment = Equipment(grade="clean", dropout=0.1, dropout_burst=burst)
    world = packed(plain_stop(SPEED, equipment=equipment), seed=3)
    axle, state = world.axles[0], world.axle_states[0]
    seen = []
    for i in range(1200):
        watch_pulses(i * SAMPLE, SAMPLE, SPEED, 0.0, axle, state)
        seen.append(float(state["n_pulses"]))
        state["n_pulses"] = 0.0
    passed = 1200 * SAMPLE * SPEED / PITCH
    assert sum(seen) / passed == pytest.approx(0.9, abs=0.018)


def false_accelerations(speed, **equipment):
    """Return what a wheel at a constant speed seems to accelerate by, sample by sample. [m/s2]"""
    found = speed * errors(4000, speed=speed, teeth=300, **equipment)
    return np.diff(found) / SAMPLE


def test_false_acceleration_of_pitch_error_matches_its_closed_form():
    """Derived: eps v^2 / r with eps = A / r: 4.08 m/s2 for 0.8 mm on 0.42 m at 30 m/s.

    Speeds are means over 10 ms, 0.71 rad of the turn, and so are their differences.
    """
    found = false_accelerations(30.0, pitch_error=0.8e-3)
    half = 0.5 * 30.0 * SAMPLE / 0.42
    assert 0.5 * np.ptp(found) == pytest.approx(4.08 * (math.sin(half) / half) ** 2, rel=0.02)


def test_false_acceleration_of_jitter_matches_its_closed_form():
    """Derived: sqrt(6) sigma / T^2 between adjacent windows: 3.67 m/s2 for 0.15 mm, 10 ms."""
    found = false_accelerations(30.0, jitter=0.15e-3)
    assert np.std(found) == pytest.approx(3.67, rel=0.04)  # 4000 correlated samples: 1.5 %


def test_jitter_is_nearly_normal():
    """Sum of four even numbers: kurtosis 2.7, none beyond 3.5 standard deviations."""
    stop = plain_stop(SPEED, equipment=Equipment(grade="clean", jitter=1e-3))
    world = packed(stop, seed=3)
    train, axle, state = world.train[0], world.axles[0], world.axle_states[0]
    found = []
    for i in range(6000):
        watch_pulses(i * SAMPLE, SAMPLE, SPEED, 0.0, axle, state)
        measure_speed((i + 1) * SAMPLE, SPEED, train, axle, state)
        found.append(float(state["deviate"]))
    drawn = np.array(found[1:])
    assert drawn.mean() == pytest.approx(0.0, abs=0.04)
    assert drawn.std() == pytest.approx(1.0, abs=0.03)
    assert (drawn**4).mean() == pytest.approx(2.7, abs=0.2)
    assert abs(drawn).max() < 3.5
    assert abs(np.corrcoef(drawn[1:], drawn[:-1])[0, 1]) < 0.04

"""A toothed wheel that is not true: pitch error, jitter, lost pulses, a wrong diameter."""

import math

import numpy as np
import pytest
from tests.support_stops import packed, plain_stop

from slipbench.kernel.sensing import measure_speed, watch_pulses
from slipbench.scenario import Equipment, Sensing

SPEED, SAMPLE, TEETH = 20.0, 0.01, 90
PITCH = math.pi * 0.84 / TEETH


def errors(n_samples=400, assumed=None, **equipment):
    """Return relative errors of the measured speed at a constant one, sample by sample."""
    stop = plain_stop(
        SPEED,
        sensing=Sensing(teeth=TEETH, zero_timeout=0.2, clock_tick=0.0),
        equipment=Equipment(grade="clean", **equipment),
    )
    if assumed:
        stop = stop.replace({"train.vehicles.0.assumed_wheel_diameters": (assumed,)})
    world = packed(stop, seed=3)
    train, axle, state = world.train[0], world.axles[0], world.axle_states[0]
    found = []
    for i in range(n_samples):
        watch_pulses(i * SAMPLE, SAMPLE, SPEED, 0.0, axle, state)
        found.append(measure_speed((i + 1) * SAMPLE, SPEED, train, axle, state) / SPEED - 1.0)
    return np.array(found[20:])


def test_pitch_error_goes_round_with_the_wheel_and_leaves_the_mean():
    """Amplitude 1 mm once a turn: speed swings by 2 pi e / circumference, 0.24 %."""
    found = errors(pitch_error=1e-3)
    swing = 2.0 * math.pi * 1e-3 / (math.pi * 0.84)
    # a period spans 6 or 7 teeth of 90: the chord of that arc is 1 % below it
    assert np.percentile(np.abs(found), 99) == pytest.approx(swing, rel=0.05)
    assert abs(found.mean()) < 0.1 * swing
    # A tooth that comes early is noticed only where a true one would pass. A sample in between, one
    # in some hundred, is held down by the bound without pulses, by at most 1 mm in a pitch.
    assert np.abs(found).max() < 1e-3 / PITCH
    assert (np.abs(found) > 1.05 * swing).mean() < 0.02


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

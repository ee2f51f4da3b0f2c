"""What the shared part makes of sensors with known errors: filter, doubt, diameters, votes."""

import numpy as np
import pytest

from slipbench.contract import DEMAND, OBSERVED, SAMPLE_TIME, WHEEL_SPEED, Floats
from slipbench.controllers.parts.wheels import (
    ACCELERATION,
    FOLLOWING_TIME,
    FROZEN,
    HAS_NO_VOTE,
    LONGEST_DOUBT,
    N_WHEEL,
    SCALE,
    SPEED,
    sense_wheels,
)

SAMPLE, RADIUS = 0.01, 0.42


def sensed(readings: Floats, demand: float = 1.0) -> Floats:
    """Return the axles' memory after each call; a row of readings a call."""
    memory = np.zeros((readings.shape[1] + 1, N_WHEEL))
    found = []
    for speeds in readings:
        observation = np.full((len(speeds), len(OBSERVED)), np.nan)
        observation[:, WHEEL_SPEED] = speeds
        observation[:, SAMPLE_TIME], observation[:, DEMAND] = SAMPLE, demand
        sense_wheels(observation, memory)
        found.append(memory[:-1].copy())
    return np.array(found)


def ramp(start: float, rate: float, duration: float, n_axles: int = 1) -> Floats:
    times = np.arange(round(duration / SAMPLE)) * SAMPLE
    return np.repeat((start + rate * times)[:, None], n_axles, axis=1)


@pytest.mark.parametrize("rate", [-0.9, -12.0, 10.0])
def test_a_ramp_is_followed_without_lag(rate: float) -> None:
    found = sensed(ramp(20.0, rate, 1.0))[-1, 0]
    assert found[SPEED] == pytest.approx(20.0 + rate * 0.99, abs=1e-6)
    assert found[ACCELERATION] == pytest.approx(rate, rel=1e-6)


def test_run_out_gives_an_eighth_of_its_false_acceleration() -> None:
    """0.8 mm at 30 m/s: 4.1 m/s2 once a turn, after two lags 1 / (1 + (w tau)^2) of that."""
    times = np.arange(300) * SAMPLE
    rate = 30.0 / RADIUS
    waver = 0.8e-3 / RADIUS * 30.0 * np.sin(rate * times)
    found = sensed((30.0 + waver)[:, None])[100:, 0, ACCELERATION]
    raw = np.abs(np.diff(waver)).max() / SAMPLE
    assert raw == pytest.approx(4.08, rel=0.05)
    expected = 4.08 / (1.0 + (rate * FOLLOWING_TIME) ** 2)
    assert np.abs(found).max() == pytest.approx(expected, rel=0.25)


@pytest.mark.parametrize("speed", [30.0, 10.0, 4.0])
def test_a_lost_pulse_is_not_believed(speed: float) -> None:
    """One of the pulses of a sample, 29 mm each: the reading is low by its share."""
    readings = ramp(speed, -0.9, 1.0)
    clean = sensed(readings)[:, 0, SPEED]
    readings[50] -= min(0.029 / SAMPLE, 0.5 * speed)
    assert np.abs(sensed(readings)[:, 0, SPEED] - clean).max() < 0.02


def test_what_lasts_is_believed() -> None:
    readings = ramp(20.0, 0.0, 1.0)
    readings[50:] = 15.0
    found = sensed(readings)[:, 0, SPEED]
    n_doubted = round(LONGEST_DOUBT / SAMPLE)
    assert found[50 + n_doubted - 2] == pytest.approx(20.0)
    assert found[50 + n_doubted + 1] == pytest.approx(15.0)


@pytest.mark.parametrize("rate", [-8.0, -13.6, -22.0])
def test_a_wheel_that_locks_is_seen_to_lock(rate: float) -> None:
    """13.6 m/s2: full service brake, no rail force; 22: emergency, laden. No sensor is dead."""
    readings = np.maximum(ramp(20.0, rate, 4.0, 4), 0.0)
    readings[:, 1:] = 20.0
    found = sensed(readings)[:, 0]
    assert found[-1, SPEED] == pytest.approx(0.0, abs=1e-6)
    assert (found[:, HAS_NO_VOTE] == 0.0).all()


def test_diameters_are_learned_while_coasting_and_only_then() -> None:
    errors = np.array([0.006, -0.004, 0.001, -0.003])
    readings = ramp(33.0, -0.05, 0.4, 4) * (1.0 + errors)
    coasting = sensed(readings, demand=0.0)[-1]
    assert np.ptp(coasting[:, SCALE] + errors) < 1e-4
    assert np.ptp(coasting[:, SPEED]) < 0.01
    assert (sensed(readings, demand=0.3)[-1, :, SCALE] == 0.0).all()


def test_a_sliding_wheel_teaches_no_diameter() -> None:
    readings = ramp(33.0, -0.05, 0.4, 4)
    readings[:, 2] *= 0.9
    assert (sensed(readings, demand=0.0)[-1, :, SCALE] == 0.0).all()


@pytest.mark.parametrize("since", [0.0, 0.5])
def test_a_dead_sensor_loses_its_vote_and_its_axle_does_what_the_others_do(since: float) -> None:
    readings = ramp(30.0, -0.9, 1.5, 4)
    readings[round(since / SAMPLE) :, 1] = 0.0
    found = sensed(readings)[-1]
    assert found[1, HAS_NO_VOTE] != 0.0
    assert (found[[0, 2, 3], HAS_NO_VOTE] == 0.0).all()
    assert found[1, SPEED] == pytest.approx(found[0, SPEED])
    assert found[1, ACCELERATION] == pytest.approx(found[0, ACCELERATION])


def test_a_stuck_sensor_loses_its_vote_and_a_living_one_gets_it_back() -> None:
    readings = ramp(30.0, -0.9, 3.0, 4)
    readings[50:150, 2] = readings[50, 2]
    found = sensed(readings)[:, 2, HAS_NO_VOTE]
    assert (found[:100] == 0.0).all()
    assert found[50 + round(FROZEN / SAMPLE) + 5] != 0.0
    assert found[-1] == 0.0


def test_a_train_at_rest_has_no_dead_sensors() -> None:
    assert (sensed(np.zeros((100, 4)))[-1, :, HAS_NO_VOTE] == 0.0).all()

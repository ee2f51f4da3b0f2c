"""Shared parts of strategies, each against what it promises: force, pulses, pressure, vents."""

import numpy as np
import pytest

from slipbench.contract import (
    FILL,
    HOLD,
    OBSERVED,
    PRESSURE,
    SAMPLE_TIME,
    VENT,
    WHEEL_SPEED,
    Floats,
)
from slipbench.controllers.parts.adhesion import ACCELERATION, FORCE, N_ADHESION, estimate_force
from slipbench.controllers.parts.pulses import (
    LONGEST_VENT,
    N_QUEUE,
    end_vent,
    expected_pressure,
    pulse,
    steer_pressure,
)

SAMPLE = 0.01
MASS, GAIN = 700.0, 0.05
VALVES = np.array([3e5, 5e5, 6.5e5, 0.04, 0.03, GAIN, MASS, 1e4])
"""Full pressure, fill and vent rates, delays; brake gain, rotating mass, axle mass. SI."""


def row(speed: float = 20.0, pressure: float = 0.0) -> Floats:
    observation = np.full(len(OBSERVED), np.nan)
    observation[WHEEL_SPEED], observation[PRESSURE] = speed, pressure
    observation[SAMPLE_TIME] = SAMPLE
    return observation


@pytest.mark.parametrize("rail_force", [2e3, 6e3])
@pytest.mark.parametrize("pressure", [0.0, 1e5, 2e5])
def test_the_rail_force_follows_from_a_sliding_wheels_motion(rail_force, pressure):  # type: ignore[no-untyped-def]
    """Momentum: m du/dt = F - B, so F is found whether the wheel slows or spins up."""
    own = np.zeros(N_ADHESION)
    acceleration = (rail_force - GAIN * pressure) / MASS
    for i in range(60):
        found = estimate_force(row(20.0 + acceleration * SAMPLE * i, pressure), VALVES, 0.05, own)
    # 0.6 s are twelve time constants
    assert own[ACCELERATION] == pytest.approx(acceleration, rel=1e-3)
    assert found == own[FORCE] == pytest.approx(rail_force, rel=1e-3)


def test_a_pressure_ramp_on_a_rolling_wheel_is_rail_force_as_it_grows():
    """A wheel that keeps rolling passes the brake on, no more: late by the smoothing time."""
    own = np.zeros(N_ADHESION)
    for i in range(50):
        estimate_force(row(20.0, 4e5 * SAMPLE * i), VALVES, 0.05, own)
    late = 4e5 * (SAMPLE * 49 - 0.05)
    assert own[FORCE] == pytest.approx(GAIN * late, rel=1e-3)


def test_a_locked_wheel_passes_its_rail_force_for_the_whole_brake():
    """The stated limit: at rest the wheel's motion says nothing more."""
    own = np.zeros(N_ADHESION)
    for _ in range(60):
        found = estimate_force(row(0.0, 2e5), VALVES, 0.05, own)
    assert found == pytest.approx(GAIN * 2e5)


@pytest.mark.parametrize("duty", [-1.0, -0.6, -0.2, 0.0, 0.2, 0.4, 1.0])
def test_pulses_give_their_duty(duty):  # type: ignore[no-untyped-def]
    own = np.zeros(1)
    valves = [pulse(duty, 0.05, SAMPLE, own) for _ in range(100)]
    assert valves.count(FILL if duty > 0.0 else VENT) == round(100 * abs(duty)) or duty == 0.0
    assert valves.count(HOLD) == 100 - round(100 * abs(duty))


def test_commands_on_their_way_are_reckoned_in():
    """Three fills commanded, the first acts after 40 ms: 30 ms at 5 bar/s are still to come."""
    queue = np.full(N_QUEUE, HOLD, dtype=float)
    queue[:3] = FILL
    expected = expected_pressure(row(pressure=1e5), False, VALVES, queue)
    assert expected == pytest.approx(1e5 + 5e5 * 0.03, rel=1e-12)
    assert expected_pressure(row(pressure=1e5), True, VALVES, queue) == 1e5
    queue[:] = FILL
    assert expected_pressure(row(pressure=1e5), False, VALVES, queue) == pytest.approx(1.2e5)


@pytest.mark.parametrize("wanted", [0.4e5, 1e5, 2.4e5])
def test_the_pressure_comes_to_what_is_wanted_and_stays(wanted):  # type: ignore[no-untyped-def]
    """A cylinder with the delays assumed: no step too far, then no more valve commands."""
    queue, pressure = np.full(N_QUEUE, HOLD, dtype=float), 1.5e5
    commands = [HOLD] * 8
    for _ in range(200):
        commands.append(steer_pressure(wanted, False, row(pressure=pressure), VALVES, queue))
        if commands[-1 - 4] == FILL:  # 40 ms ago
            pressure += 5e5 * SAMPLE
        elif commands[-1 - 3] == VENT:
            pressure -= 6.5e5 * np.sqrt(pressure / 3e5) * SAMPLE
    assert set(commands[-100:]) == {HOLD}
    assert abs(pressure - wanted) < 0.8 * 6.5e5 * SAMPLE


def test_a_vent_ends_by_itself_and_the_brake_comes_back_for_a_second():
    own = np.zeros(1)
    valves = [end_vent(VENT, row(0.0), own) for _ in range(1500)]
    first = valves.index(FILL)
    assert first * SAMPLE == pytest.approx(LONGEST_VENT, abs=2 * SAMPLE)
    assert set(valves[first:]) == {FILL}  # the wheel reads zero: a dead sensor, or locked
    turning = [end_vent(VENT, row(5.0), own) for _ in range(150)]
    assert turning.index(VENT) * SAMPLE == pytest.approx(1.0, abs=2 * SAMPLE)

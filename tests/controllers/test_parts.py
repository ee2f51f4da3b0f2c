"""Shared parts of strategies, each against what it promises: force, pulses, pressure, vents."""

import numpy as np
import pytest

from slipbench.contract import (
    DEMAND,
    FILL,
    HOLD,
    OBSERVED,
    PRESSURE,
    SAMPLE_TIME,
    VENT,
    WHEEL_SPEED,
    Floats,
)
from slipbench.controllers.parts.adhesion import FORCE, N_ADHESION, estimate_force
from slipbench.controllers.parts.pulses import (
    LONGEST_VENT,
    N_QUEUE,
    N_VALVE,
    end_vent,
    expected_pressure,
    learn_delays,
    pulse,
    steer_pressure,
)
from slipbench.controllers.parts.wheels import ACCELERATION, FOLLOWING_TIME, sense_wheels

SAMPLE = 0.01
MASS, GAIN = 700.0, 0.05
VALVES = np.array([3e5, 5e5, 6.5e5, 0.04, 0.03, GAIN, MASS, 1e4])
"""Full pressure, fill and vent rates, delays; brake gain, rotating mass, axle mass. SI."""


def row(speed: float = 20.0, pressure: float = 0.0) -> Floats:
    observation = np.full(len(OBSERVED), np.nan)
    observation[WHEEL_SPEED], observation[PRESSURE] = speed, pressure
    observation[SAMPLE_TIME], observation[DEMAND] = SAMPLE, 1.0
    return observation


def force_of(memory: Floats, seen: Floats) -> float:
    """Let one axle be sensed, then its force be estimated. [N]"""
    sense_wheels(seen[None], memory)
    return float(estimate_force(seen, VALVES, memory[0]))


@pytest.mark.parametrize("rail_force", [2e3, 6e3])
@pytest.mark.parametrize("pressure", [0.0, 1e5, 2e5])
def test_the_rail_force_follows_from_a_sliding_wheels_motion(rail_force, pressure):  # type: ignore[no-untyped-def]
    """Momentum: m du/dt = F - B, so F is found whether the wheel slows or spins up."""
    memory = np.zeros((2, N_ADHESION))
    acceleration = (rail_force - GAIN * pressure) / MASS
    for i in range(60):
        found = force_of(memory, row(20.0 + acceleration * SAMPLE * i, pressure))
    # 0.6 s are fifteen time constants
    assert memory[0, ACCELERATION] == pytest.approx(acceleration, rel=1e-3)
    assert found == memory[0, FORCE] == pytest.approx(rail_force, rel=1e-3)


def test_a_pressure_ramp_on_a_rolling_wheel_is_rail_force_as_it_grows():
    """A wheel that keeps rolling passes the brake on, no more: late by two lags."""
    memory = np.zeros((2, N_ADHESION))
    for i in range(80):
        force_of(memory, row(20.0, 4e5 * SAMPLE * i))
    late = 4e5 * (SAMPLE * 79 - 2.0 * FOLLOWING_TIME)
    assert memory[0, FORCE] == pytest.approx(GAIN * late, rel=1e-3)


def test_a_locked_wheel_passes_its_rail_force_for_the_whole_brake():
    """The stated limit: at rest the wheel's motion says nothing more."""
    memory = np.zeros((2, N_ADHESION))
    for _ in range(60):
        found = force_of(memory, row(0.0, 2e5))
    assert found == pytest.approx(GAIN * 2e5)


@pytest.mark.parametrize("duty", [-1.0, -0.6, -0.2, 0.0, 0.2, 0.4, 1.0])
def test_pulses_give_their_duty(duty):  # type: ignore[no-untyped-def]
    own = np.zeros(1)
    valves = [pulse(duty, 0.05, SAMPLE, own) for _ in range(100)]
    assert valves.count(FILL if duty > 0.0 else VENT) == round(100 * abs(duty)) or duty == 0.0
    assert valves.count(HOLD) == 100 - round(100 * abs(duty))


def told(*valves: int) -> Floats:
    """Return a valve's memory: positions commanded, latest first, before them hold."""
    memory = np.zeros(N_VALVE)
    memory[:N_QUEUE] = HOLD
    memory[: len(valves)] = valves
    return memory


def test_commands_on_their_way_are_reckoned_in():
    """Three fills, the first acts in 10 ms; a hold told now acts in 30: 20 ms at 5 bar/s."""
    memory = told(FILL, FILL, FILL)
    expected = expected_pressure(row(pressure=1e5), False, VALVES, memory)
    assert expected == pytest.approx(1e5 + 5e5 * 0.02, rel=1e-12)
    assert expected_pressure(row(pressure=1e5), True, VALVES, memory) == 1e5


def test_a_fill_that_a_hold_overtakes_does_nothing():
    """A single one of 10 ms: its delay of 40 ms ends when the hold's of 30 does."""
    assert expected_pressure(row(pressure=1e5), False, VALVES, told(FILL)) == pytest.approx(1e5)


@pytest.mark.parametrize("fill_delay", [0.04, 0.06, 0.09])
@pytest.mark.parametrize("vent_delay", [0.03, 0.06])
def test_valve_delays_are_learned_from_pressures(fill_delay, vent_delay):  # type: ignore[no-untyped-def]
    """Spells of 60 ms, each by itself, from data of 40 and 30 ms: within a sample."""
    memory, commands, pressure, last = told(), [HOLD] * 20, 1.5e5, 1.5e5
    for i in range(1200):
        learn_delays(row(pressure=pressure), last, False, VALVES, memory)
        valve = HOLD if i % 60 >= 6 else FILL if (i // 60) % 2 else VENT
        memory[1:N_QUEUE] = memory[: N_QUEUE - 1].copy()
        memory[0] = valve
        commands.append(valve)
        last = pressure
        if commands[-1 - round(fill_delay / SAMPLE)] == FILL:
            pressure += 5e5 * SAMPLE
        elif commands[-1 - round(vent_delay / SAMPLE)] == VENT:
            pressure = max(pressure - 6.5e5 * np.sqrt(pressure / 3e5) * SAMPLE, 0.0)
    later = memory[N_QUEUE : N_QUEUE + 2]
    assert later[0] == pytest.approx(fill_delay - 0.04, abs=SAMPLE)
    assert later[1] == pytest.approx(vent_delay - 0.03, abs=SAMPLE)


@pytest.mark.parametrize("wanted", [0.4e5, 1e5, 2.4e5])
def test_the_pressure_comes_to_what_is_wanted_and_stays(wanted):  # type: ignore[no-untyped-def]
    """A cylinder with the delays assumed: no step too far, then no more valve commands."""
    memory, pressure = told(), 1.5e5
    commands = [HOLD] * 8
    for _ in range(200):
        commands.append(steer_pressure(wanted, False, row(pressure=pressure), VALVES, memory))
        if commands[-1 - 4] == FILL:  # 40 ms ago
            pressure += 5e5 * SAMPLE
        elif commands[-1 - 3] == VENT:
            pressure -= 6.5e5 * np.sqrt(pressure / 3e5) * SAMPLE
    assert set(commands[-100:]) == {HOLD}
    assert abs(pressure - wanted) < 0.8 * 6.5e5 * SAMPLE


def test_a_vent_ends_by_itself_and_the_brake_comes_back_for_a_second():
    own = np.zeros(1)
    valves = [end_vent(VENT, 0.0, SAMPLE, own) for _ in range(1500)]
    first = valves.index(FILL)
    assert first * SAMPLE == pytest.approx(LONGEST_VENT, abs=2 * SAMPLE)
    assert set(valves[first:]) == {FILL}  # the wheel reads zero: a dead sensor, or locked
    turning = [end_vent(VENT, 5.0, SAMPLE, own) for _ in range(150)]
    assert turning.index(VENT) * SAMPLE == pytest.approx(1.0, abs=2 * SAMPLE)

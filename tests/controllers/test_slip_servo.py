"""The servo with equipment as it comes: what it believes, what it refuses to do."""

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
from slipbench.controllers.parts.reference import REFERENCE
from slipbench.controllers.parts.slip_servo import (
    FULL_SEEN,
    N_MOTION,
    N_SERVO,
    demanded_force,
    sense_motion,
    servo_valve,
    slide_lasts,
    wanted_pressure,
)

SAMPLE, FULL, GAIN = 0.01, 3e5, 0.05
VEHICLE = np.array([FULL, 5e5, 6.5e5, 0.04, 0.03, GAIN, 700.0, 1e4])


def seen(speeds: list[float], pressures: list[float], demand: float = 0.6) -> Floats:
    observation = np.full((len(speeds), len(OBSERVED)), np.nan)
    observation[:, WHEEL_SPEED], observation[:, PRESSURE] = speeds, pressures
    observation[:, SAMPLE_TIME], observation[:, DEMAND] = SAMPLE, demand
    return observation


def fresh(n_axles: int) -> Floats:
    return np.zeros((n_axles + 1, max(N_SERVO, N_MOTION)))


def step(observation: Floats, memory: Floats, slip: float = 0.05) -> tuple[float, list[int]]:
    """Call once as a strategy does; return the reference and the valves."""
    reference, slowing = sense_motion(observation, 5.0, 0.8, VEHICLE, memory)
    slide_lasts(observation, reference, 0.02, 0.8, memory)
    valves = []
    for i_axle, row in enumerate(observation):
        own = memory[i_axle]
        wanted = wanted_pressure(slip, reference, slowing, 0.2, VEHICLE, own)
        valves.append(int(servo_valve(wanted, 1.0, row, VEHICLE, own)))
    return reference, valves


def test_a_transducers_zero_does_not_pass_for_a_full_cylinder() -> None:
    """As the brake builds up it shows 0.1 bar that does not rise yet: no emergency pressure."""
    memory = fresh(2)
    for _ in range(60):
        sense_motion(seen([20.0] * 2, [1e4, 0.0]), 5.0, 0.8, VEHICLE, memory)
        for own in memory[:2]:
            servo_valve(10.0 * FULL, 1.0, seen([20.0], [1e4])[0], VEHICLE, own)
    state = memory[2]
    assert state[FULL_SEEN] == 0.0
    force = demanded_force(seen([20.0] * 2, [1e4, 0.0]), 0.0, VEHICLE, state)
    assert force == pytest.approx(GAIN * FULL * 0.6)


def test_a_wheel_that_rolls_is_not_vented_and_its_fills_get_longer() -> None:
    """Its transducer shows far more than the rail can bear; the other wheel slides."""
    memory = fresh(2)
    longest = 0
    n_on_end = 0
    for i in range(300):
        train = 20.0 - 0.3 * SAMPLE * i
        _, valves = step(seen([train, 0.9 * train], [1.2e5, 1.2e5]), memory)
        if i > 100:
            assert valves[0] != VENT
        n_on_end = n_on_end + 1 if valves[0] == FILL else 0
        longest = max(longest, n_on_end)
    assert longest >= 5


@pytest.mark.parametrize("is_effective", [True, False])
def test_it_yields_to_equipment_that_has_given_the_brake_back(is_effective: bool) -> None:
    """A vent without effect for 0.4 s is let go for longer than the 0.5 s that timers want."""
    memory, pressure, held = fresh(1), 1.8e5, []
    for i in range(200):
        row = seen([20.0], [pressure])[0]
        valve = int(servo_valve(-1.0, 1.0, row, VEHICLE, memory[0]))
        held.append(valve == HOLD)
        if is_effective and valve == VENT:
            pressure = max(pressure - 4e3, 0.0)
        if i < 35:
            assert valve == VENT
    n_held = sum(held[40:120])
    assert n_held == 0 if is_effective else n_held > 60


def test_an_axle_without_a_speed_gets_the_others_pressure() -> None:
    memory = fresh(4)
    for i in range(400):
        train = 25.0 - 0.3 * SAMPLE * i
        sliding = 0.95 * train
        # its own cylinder has drifted empty, the others bear 1 bar
        _, valves = step(seen([sliding, sliding, 0.0, sliding], [1e5, 1e5, 0.0, 1e5]), memory)
        if i > 350:
            assert valves[2] == FILL


def test_wheels_that_hardly_brake_draw_the_reference_down() -> None:
    """Carried 0.8 m/s too high it would see all wheels slide, and keep their brakes empty."""
    memory = fresh(4)
    for _ in range(30):
        step(seen([20.0] * 4, [5e4] * 4), memory)
    memory[4, REFERENCE] = 20.8
    for i in range(150):
        train = 20.0 - 0.3 * SAMPLE * i
        reference, _ = step(seen([train] * 4, [5e3] * 4), memory)
    assert reference == pytest.approx(train, abs=0.1)


def test_a_deep_slide_of_all_wheels_does_not_draw_it_down() -> None:
    memory = fresh(4)
    for _ in range(30):
        step(seen([20.0] * 4, [5e4] * 4), memory)
    for i in range(100):
        reference, _ = step(seen([max(20.0 - 0.2 * i, 8.0)] * 4, [5e3] * 4), memory)
    assert reference > 19.0


def test_coasting_wheels_correct_a_first_sample_of_a_single_tooth() -> None:
    """One of four begins 5 per cent too high; a reference that only rises would keep that."""
    memory = fresh(4)
    sense_motion(seen([30.0, 30.0, 31.5, 30.0], [0.0] * 4, demand=0.0), 5.0, 0.8, VEHICLE, memory)
    assert memory[4, REFERENCE] > 30.5
    for _ in range(60):
        observation = seen([30.0] * 4, [0.0] * 4, demand=0.0)
        reference, _ = sense_motion(observation, 5.0, 0.8, VEHICLE, memory)
    assert reference == pytest.approx(30.0, abs=0.03)

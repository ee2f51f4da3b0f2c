"""Wheel-speed sensing: pulse instants inside a step, period timing, clock, missing pulses."""

import itertools
import math

import pytest

from bench.kernel.sensing import measure_speed, watch_pulses
from bench.scenario import Sensing
from tests.support_stops import packed, plain_stop

PITCH = math.pi * 0.84 / 90


class Sensor:
    """One toothed wheel turned by hand."""

    def __init__(self, clock_tick=0.0, zero_timeout=0.2):
        sensing = Sensing(teeth=90, clock_tick=clock_tick, zero_timeout=zero_timeout)
        world = packed(plain_stop(20.0, sensing=sensing))
        self.train, self.axle, self.state = world.train[0], world.axles[0], world.axle_states[0]
        self.time = 0.0

    def turn(self, duration, before, after=None):
        watch_pulses(
            self.time, duration, before, before if after is None else after, self.axle, self.state
        )
        self.time += duration

    def measure(self):
        return measure_speed(self.time, self.train, self.axle, self.state)


def test_resolution_matches_closed_form():
    """Derived: 90 teeth on 0.84 m give a pulse every 29.32 mm."""
    assert pytest.approx(29.32e-3, abs=0.01e-3) == float(Sensor().axle["pulse_pitch"])


@pytest.mark.parametrize("speed", [3.0, 20.0, 61.7])
@pytest.mark.parametrize("step", [0.001, 0.005, 0.05])
def test_constant_speed_is_measured_exactly_by_a_perfect_clock(speed, step):
    """However many pulses fall into a step, their instants are found inside it."""
    sensor = Sensor()
    for _ in range(round(0.5 / step)):
        sensor.turn(step, speed)
        sensor.measure()
    # pulse times near 0.5 s are rounded to 1e-16; their difference is a pitch over the speed
    assert sensor.measure() == pytest.approx(speed, rel=1e-12)


@pytest.mark.parametrize("speed", [3.0, 20.0, 61.7])
@pytest.mark.parametrize("tick", [1e-6, 1e-4])
def test_constant_speed_is_measured_to_the_clock_tick(speed, tick):
    sensor = Sensor(clock_tick=tick)
    sensor.turn(0.05, speed)
    sensor.measure()
    errors = []
    for _ in range(40):
        sensor.turn(0.01, speed)
        errors.append(abs(sensor.measure() / speed - 1.0))
    # Both ends of a period are rounded down by less than a tick, so the period is wrong by less
    # than one; the shortest spans as many whole pulses as 10 ms are sure to hold, at least one.
    shortest = max(1, math.floor(0.01 * speed / PITCH)) * PITCH / speed
    assert max(errors) < tick / (shortest - tick)
    assert max(errors) > 0.0


def test_slowing_wheel_is_measured_at_its_pulse_instants():
    """Mean speed between two known pulses, from the quadratic course of the rim."""
    sensor = Sensor()
    speed, slowing, step = 20.0, 3.0, 0.01
    first = float(sensor.state["next_pulse"])
    for i in range(50):
        before = speed - slowing * step * i
        sensor.turn(step, before, before - slowing * step)
        before_measuring = float(sensor.state["sampled_pulse_time"])
        n_pulses = int(sensor.state["n_pulses"])
        measured = sensor.measure()
        latest = float(sensor.state["pulse_time"])
        n_seen = (float(sensor.state["next_pulse"]) - first) / PITCH
        travel = first + (round(n_seen) - 1.0) * PITCH
        expected = 2.0 * travel / (speed + math.sqrt(speed**2 - 2.0 * slowing * travel))
        assert latest == pytest.approx(expected, abs=1e-12)
        assert measured == pytest.approx(n_pulses * PITCH / (latest - before_measuring), rel=1e-12)


def test_speed_without_pulses_is_bounded_by_the_pitch_over_the_wait():
    sensor = Sensor(zero_timeout=1.0)
    sensor.turn(0.1, 20.0)
    assert sensor.measure() == pytest.approx(20.0, rel=1e-12)
    for _ in range(30):
        sensor.turn(0.01, 0.0)
        waited = sensor.time - float(sensor.state["pulse_time"])
        assert sensor.measure() == pytest.approx(min(20.0, PITCH / waited), rel=1e-12)


def test_estimate_without_pulses_never_rises():
    sensor = Sensor(zero_timeout=1.0)
    sensor.turn(0.1, 2.0)
    estimates = [sensor.measure()]
    for _ in range(20):
        sensor.turn(0.001, 0.1)
        estimates.append(sensor.measure())
    assert all(b <= a for a, b in itertools.pairwise(estimates))


def test_speed_is_zero_after_the_timeout():
    sensor = Sensor(zero_timeout=0.2)
    sensor.turn(0.1, 20.0)
    sensor.measure()
    last = float(sensor.state["pulse_time"])
    sensor.turn(0.2 - (sensor.time - last) - 1e-6, 0.0)
    assert sensor.measure() > 0.0
    sensor.turn(2e-6, 0.0)
    assert sensor.measure() == 0.0


def test_wheel_that_turns_again_is_measured_again():
    sensor = Sensor(zero_timeout=0.2)
    sensor.turn(0.1, 20.0)
    sensor.measure()
    sensor.turn(1.0, 0.0)
    assert sensor.measure() == 0.0
    for _ in range(4):
        sensor.turn(0.01, 10.0)
        sensor.measure()
    assert sensor.measure() == pytest.approx(10.0, rel=1e-12)


def test_pulses_split_by_steps_are_those_of_one_long_step():
    one, many = Sensor(), Sensor()
    one.turn(0.3, 20.0, 14.0)
    for i in range(3000):
        many.turn(1e-4, 20.0 - 2e-3 * i, 20.0 - 2e-3 * (i + 1))
    assert one.state["n_pulses"] == many.state["n_pulses"]
    assert one.state["pulse_time"] == pytest.approx(float(many.state["pulse_time"]), abs=1e-9)

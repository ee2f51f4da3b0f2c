"""Wheel-speed sensing: pulse instants inside a step, period timing, clock, missing pulses."""

import itertools
import math

import numpy as np
import pytest
from tests.support_stops import clean, packed, plain_stop

from slipbench.controllers import by_name, none
from slipbench.kernel.codes import QUEUE_LENGTH
from slipbench.kernel.fixed import GROUP
from slipbench.kernel.pulses import watch_pulses
from slipbench.kernel.sensing import keep_sample, measure_speed, sense
from slipbench.packing import pack
from slipbench.scenario import Sensing
from slipbench.stop.simulation import run_sample_by_sample

PITCH = math.pi * 0.84 / 90


class Sensor:
    """One toothed wheel turned by hand."""

    def __init__(self, clock_tick=0.0, zero_timeout=0.2):
        sensing = Sensing(teeth=90, clock_tick=clock_tick, zero_timeout=zero_timeout)
        world = packed(plain_stop(20.0, sensing=sensing))
        self.train, self.axle, self.state = world.train[0], world.axles[0], world.axle_states[0]
        self.time = 0.0

    def turn(self, duration, before, after=None):
        acceleration = 0.0 if after is None else (after - before) / duration
        watch_pulses(self.time, duration, before, acceleration, self.axle, self.state)
        self.time += duration

    def measure(self):
        return measure_speed(self.time, 20.0, self.train, self.axle, self.state)


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


SPEED, SLOWING, SAMPLE, PHASE = 20.0, 6.0, 0.01, 0.004


def found_by_samples(pieces):
    """Return speeds and pressures that samples find while a wheel slows through these pieces."""
    sensor = Sensor(clock_tick=1e-6)
    group = np.zeros(1, GROUP)[0]
    group["sample_time"], group["phase"] = SAMPLE, PHASE
    time, found = 0.0, []
    for piece in pieces:
        before = int(sensor.state["n_sensed"])
        speed, pressure = SPEED - SLOWING * time, 1e5 + 4e5 * time
        sense(
            time,
            piece,
            speed,
            -SLOWING,
            pressure,
            4e5,
            group,
            sensor.train,
            sensor.axle,
            sensor.state,
        )
        time += piece
        for i in range(before, int(sensor.state["n_sensed"])):
            place = i % QUEUE_LENGTH
            found.append(
                (sensor.state["sensed_speed"][place], sensor.state["sensed_pressure"][place])
            )
    return np.array(found)


@pytest.mark.parametrize("piece", [0.001, 0.004, 0.01, 0.03])
def test_samples_find_the_same_however_pieces_lie(piece):
    """Six samples in 60 ms: in the middle of a piece, at its end, several in one."""
    found = found_by_samples([piece] * round(0.06 / piece))
    at_samples = found_by_samples([PHASE, *[SAMPLE] * 5, 0.06 - PHASE - 5 * SAMPLE])
    assert found.shape == at_samples.shape == (6, 2)
    # a pulse time next to a tick may be rounded the other way: a tick of 10 ms
    assert found[:, 0] == pytest.approx(at_samples[:, 0], rel=1.1e-4)
    assert found[:, 1] == pytest.approx(1e5 + 4e5 * (PHASE + SAMPLE * np.arange(6)), rel=1e-12)


def observed(controller, lookahead):
    """Return time and what each sample of the first vehicle observes in a dry stop from 10 m/s."""
    world = pack(clean("dry").replace(initial_speed=10.0), controller, 3, False)
    if not lookahead:
        world.groups["lookahead"] = 0.0
    memory = np.zeros((len(world.axles) + len(world.groups), controller.n_memory))
    rows = []
    samples = run_sample_by_sample(world, controller, controller.update, memory)
    for _ in samples:
        rows.append((float(world.train_state["clock"][0]), *world.observation[0, :3]))
    return np.array(rows[1:])  # a row shows what the sample before it observed


def test_running_ahead_of_a_sample_does_not_change_what_it_finds():
    """Axles moved on by the valve's delay before the controller is asked, and not moved on."""
    assert float(pack(clean("dry"), none.CONTROLLER, 3, False).groups["lookahead"][0]) > 0
    ahead, not_ahead = observed(none.CONTROLLER, True), observed(none.CONTROLLER, False)
    assert len(ahead) == len(not_ahead) > 1000
    assert ahead[:, 0] == pytest.approx(not_ahead[:, 0], abs=1e-9)
    assert ahead[:, 3] == pytest.approx(not_ahead[:, 3], abs=1e-9)
    is_fast = ahead[:, 1] > 1.0
    apart = np.abs(ahead[is_fast, 1] / not_ahead[is_fast, 1] - 1.0)
    assert np.quantile(apart, 0.95) < 2e-4  # a tick of the clock over a sample time is 1e-4
    assert apart.max() < 5e-3  # a tooth that passes at a sample may count for the next
    assert ahead[:, 2] == pytest.approx(not_ahead[:, 2], abs=30.0)


@pytest.mark.parametrize("name", ["slip_band", "peak_follower"])
def test_no_command_acts_before_its_delay(name):
    """An axle is never further than the controller's next command can reach back."""
    controller = by_name(name)
    world = pack(clean("wet_leaf").replace(initial_speed=10.0), controller, 3, False)
    memory = np.zeros((len(world.axles) + len(world.groups), controller.n_memory))
    ahead = []
    for _ in run_sample_by_sample(world, controller, controller.update, memory):
        state = world.train_state[0]
        ahead.append(float(state["time"] + state["elapsed"] - state["clock"]))
    delay = 0.0 if name == "peak_follower" else 0.03
    assert max(ahead[:-1]) <= delay + 1e-9
    assert (max(ahead[:-1]) > 0.5 * 0.02) is (delay > 0.0)


def test_transducer_shows_gain_and_offset_and_follows_with_its_lag():
    """Steps of pressure: 2 % and .1 bar too much; with lag 1 - e^-1 of it a sample."""
    sensor = Sensor()
    axle, state = sensor.axle, sensor.state
    axle["transducer_gain"], axle["transducer_offset"] = 1.02, 1e4
    keep_sample(0.0, 2e5, axle, state)
    assert state["sensed_pressure"][0] == 1.02 * 2e5 + 1e4
    axle["transducer_share"] = 1.0 - math.exp(-1.0)
    for _ in range(3):
        keep_sample(0.0, 1e5, axle, state)
    shown = 1e5 * (1.0 - math.exp(-3.0))
    assert state["sensed_pressure"][3] == pytest.approx(1.02 * shown + 1e4, rel=1e-12)
    axle["transducer_offset"] = -2e5
    keep_sample(0.0, 1e5, axle, state)
    assert state["sensed_pressure"][4] == 0.0

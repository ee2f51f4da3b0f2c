"""The handle programme: triggers, their moments, delays, ramps and order."""

import numpy as np
import pytest
from tests.support_stops import (
    FILL_TIME,
    NEARLY_AT_ONCE,
    advance_unsampled,
    packed,
    plain_stop,
    run_world,
)

from slipbench.kernel.codes import STOPPED
from slipbench.kernel.driver import time_to_travel
from slipbench.scenario import Brake, Driver, HandleEntry

STEPS = {"steps": (0.3, 0.6, 0.9), "emergency": 1.2}


def brake(delay=0.0, build_up=0.0, release=0.0):
    return Brake(
        demand_delay=delay,
        build_up_time=build_up,
        release_time=release,
        fill_delay=0.0,
        vent_delay=0.0,
        **STEPS,
        **NEARLY_AT_ONCE,
    )


def programme(*entries):
    return Driver(programme=tuple(HandleEntry(**entry) for entry in entries))


DELAY = 0.5
"""Of the stops below, so that the brake still acts as before at the moment of a trigger."""


def finished(driver, **of_brake):
    """Return the world of a stop from 30 m/s, and when each entry of its programme acted. [s]"""
    world = run_world(packed(plain_stop(30.0, driver=driver, brake=brake(DELAY, **of_brake))))
    assert world.train_state["status"][0] == STOPPED
    return world, world.effective - DELAY


def speed_at(world, time):
    """Return the train's speed and distance at a time, from the traces (piecewise parabolas)."""
    n = int(world.train_state["n_traces"][0])
    traces = world.train_traces[:n]
    i = int(np.searchsorted(traces[:, 0], time)) - 1
    share = (time - traces[i, 0]) / (traces[i + 1, 0] - traces[i, 0])
    speed = traces[i, 2] + share * (traces[i + 1, 2] - traces[i, 2])
    distance = traces[i, 1] + 0.5 * (traces[i, 2] + speed) * (time - traces[i, 0])
    return speed, distance


class Handle:
    """The demand of a braking train at chosen times."""

    def __init__(self, driver, **of_brake):
        self.world = packed(plain_stop(30.0, driver=driver, brake=brake(**of_brake)))
        self.state = self.world.train_state[0]

    def run(self, until):
        """Move on to a time and return the demand over the emergency's."""
        advance_unsampled(until, self.world)
        assert self.state["time"] == until
        return float(self.world.vehicle_states["demand"][0])


def test_time_trigger_acts_at_its_moment():
    driver = programme({"at_time": 0.0, "position": 1}, {"at_time": 2.3456, "position": 3})
    assert finished(driver)[1][1] == pytest.approx(2.3456, abs=1e-9)


@pytest.mark.parametrize("trigger", [25.0, 12.3456, 1.0])
def test_speed_trigger_acts_at_its_speed(trigger):
    driver = programme({"at_time": 0.0, "position": 2}, {"at_speed": trigger, "position": 3})
    world, acted = finished(driver)
    # the step is cut by the deceleration of the step before, which creep moves by less than 1e-5
    # of itself; the trigger allows 1e-7 m/s
    assert speed_at(world, acted[1])[0] == pytest.approx(trigger, abs=2e-7)
    # braking begins after the delay and half of the cylinder's filling to a half; until the wheel
    # creeps (0.04 %) it gives up momentum of its own, 4 % of 0.012 m/s: 0.8 ms at 0.6 m/s2
    expected = DELAY + 0.25 * FILL_TIME + (30.0 - trigger) / 0.6
    assert acted[1] == pytest.approx(expected, abs=1e-3)


def test_speed_trigger_within_a_ramp_misses_by_less_than_the_ramp_bends():
    """The cut foresees constant deceleration; over a step of 20 ms a ramp bends by 1.2e-4 m/s."""
    driver = programme({"at_time": 0.0, "position": 3}, {"at_speed": 29.7, "position": 2})
    world, acted = finished(driver, build_up=3.0)
    bend = 0.9 / 3.0 * 0.02**2
    between_traces = 0.9 / 3.0 * 0.02**2 / 8.0  # a parabola read off as a straight line
    assert speed_at(world, acted[1])[0] == pytest.approx(29.7, abs=bend + between_traces)


@pytest.mark.parametrize("trigger", [100.0, 333.33, 700.0])
def test_distance_trigger_acts_at_its_place(trigger):
    driver = programme({"at_time": 0.0, "position": 2}, {"at_distance": trigger, "position": 3})
    world, acted = finished(driver)
    assert speed_at(world, acted[1])[1] == pytest.approx(trigger, abs=1e-6)


def test_distance_trigger_at_the_start_acts_at_once():
    driver = programme({"at_time": 0.0, "position": 2}, {"at_distance": 0.0, "position": 3})
    assert finished(driver)[1][1] == 0.0


def test_delay_runs_from_each_movement():
    handle = Handle(
        programme({"at_time": 1.0, "position": 1}, {"at_time": 1.3, "position": 4}), delay=0.5
    )
    assert handle.run(1.5 - 1e-6) == 0.0
    assert handle.run(1.5 + 1e-6) == pytest.approx(0.25)
    assert handle.run(1.8 - 1e-6) == pytest.approx(0.25)
    assert handle.run(1.8 + 1e-6) == 1.0
    assert int(handle.state["position"]) == 4


def test_handle_is_seen_before_the_delay():
    handle = Handle(programme({"at_time": 1.0, "position": 3}), delay=0.5)
    handle.run(1.1)
    assert int(handle.state["position"]) == 3
    assert int(handle.state["acting_position"]) == 0
    assert float(handle.world.vehicle_states["demand"][0]) == 0.0


@pytest.mark.parametrize("position", [1, 2, 3, 4])
def test_build_up_takes_its_time_whatever_the_step(position):
    handle = Handle(programme({"at_time": 0.0, "position": position}), build_up=2.0)
    full = (0.3, 0.6, 0.9, 1.2)[position - 1] / 1.2
    for time in (0.5, 1.0, 1.99):
        assert handle.run(time) == pytest.approx(full * time / 2.0, rel=1e-12)
    assert handle.run(2.0 + 1e-9) == full
    assert handle.run(10.0) == full


def test_release_takes_its_own_time():
    handle = Handle(
        programme({"at_time": 0.0, "position": 4}, {"at_time": 3.0, "position": 0}),
        build_up=1.0,
        release=4.0,
    )
    assert handle.run(3.0) == 1.0
    assert handle.run(4.0) == pytest.approx(0.75, rel=1e-12)
    assert handle.run(7.0 + 1e-9) == 0.0
    assert handle.run(9.0) == 0.0


def test_newer_change_starts_from_where_the_demand_is():
    """Half way up to emergency the handle goes back to step 1: from 0.5 to 0.25 in release time."""
    handle = Handle(
        programme({"at_time": 0.0, "position": 4}, {"at_time": 1.0, "position": 1}),
        build_up=2.0,
        release=5.0,
    )
    assert handle.run(1.0) == pytest.approx(0.5, rel=1e-9)
    assert handle.run(3.0) == pytest.approx(0.5 - 0.25 * 2.0 / 5.0, rel=1e-9)
    assert handle.run(6.0 + 1e-9) == 0.25


def test_same_position_again_leaves_the_ramp_alone():
    driver = programme({"at_time": 0.0, "position": 4}, {"at_time": 1.0, "position": 4})
    handle = Handle(driver, build_up=2.0)
    assert handle.run(1.5) == pytest.approx(0.75, rel=1e-9)
    assert handle.run(2.0 + 1e-9) == 1.0


def test_entries_act_in_the_order_listed():
    """The second is armed only when the first has acted, so it acts at that moment, not at 1 s."""
    driver = programme({"at_time": 4.0, "position": 2}, {"at_time": 1.0, "position": 3})
    handle = Handle(driver)
    assert handle.run(3.9) == 0.0
    assert int(handle.state["n_handled"]) == 0
    assert handle.run(4.0) == pytest.approx(0.75)
    assert int(handle.state["n_handled"]) == 2


def test_each_entry_acts_once():
    """A speed trigger whose condition goes on being true does not act again."""
    driver = programme({"at_speed": 40.0, "position": 2}, {"at_time": 2.0, "position": 0})
    handle = Handle(driver)
    assert handle.run(1.0) == pytest.approx(0.5)
    assert handle.run(5.0) == 0.0


@pytest.mark.parametrize(
    ("distance", "speed", "acceleration", "expected"),
    [
        (0.0, 10.0, -1.0, 0.0),
        (-1.0, 10.0, -1.0, 0.0),
        (100.0, 10.0, 0.0, 10.0),
        (50.0, 10.0, -1.0, 10.0),
        (50.1, 10.0, -1.0, np.inf),
        (18.0, 10.0, -1.0, 2.0),
        (60.0, 10.0, 1.0, -10.0 + np.sqrt(220.0)),
        (1.0, 0.0, -1.0, np.inf),
    ],
)
def test_time_to_travel_is_the_first_root(distance, speed, acceleration, expected):
    assert time_to_travel(distance, speed, acceleration) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("ramp", [5e-324, 2.2e-308, 1e-11])
def test_ramp_too_short_to_follow_is_a_step(ramp):
    """Its rate would pass the largest number; once this hung the bench."""
    driver = programme({"at_time": 0.0, "position": 2})
    world, _ = finished(driver, build_up=ramp)
    at_once, _ = finished(driver, build_up=0.0)
    assert world.train_state["distance"][0] == at_once.train_state["distance"][0]

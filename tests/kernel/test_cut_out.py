"""The low-speed cut-out and its reference speed: it survives slides, and ends where it should."""

import numpy as np
import pytest

from slipbench.controllers import by_name
from slipbench.kernel.cut_out import follow_speed, watch_cut_out
from slipbench.kernel.fixed import TRAIN
from slipbench.kernel.moving import GROUP_STATE
from slipbench.scenario import Fault, load_scenario
from slipbench.stop.simulation import simulate
from slipbench.strategies.registry import known_controllers

SAMPLE = 0.02
SIX_MPH = 6.0 * 0.44704
BACK = SIX_MPH + 2.0 / 3.6


def followed(fastest, demand=0.75):
    """Return the reference speed behind a row of fastest measured wheels, and the cut-outs."""
    train, state = np.zeros(1, TRAIN), np.zeros(1, GROUP_STATE)
    train["emergency_deceleration"] = 1.2
    train["cut_out_speed"], train["cut_out_hysteresis"] = SIX_MPH, 2.0 / 3.6
    reference, is_out = np.empty(len(fastest)), np.empty(len(fastest), dtype=bool)
    for i, speed in enumerate(fastest):
        follow_speed(float(speed), demand, SAMPLE, train[0], state[0])
        watch_cut_out(train[0], state[0])
        reference[i], is_out[i] = state["reference"][0], state["is_cut_out"][0]
    return reference, is_out


def times(duration):
    return np.arange(0.0, duration, SAMPLE)


def test_a_rolling_wheel_is_the_reference_down_to_standstill():
    wheel = np.maximum(20.0 - 0.9 * times(24.0), 0.0)
    reference, is_out = followed(wheel)
    assert reference == pytest.approx(wheel, abs=1e-9)
    assert wheel[np.argmax(is_out)] == pytest.approx(SIX_MPH, abs=0.02)
    assert is_out[-1]


def test_all_wheels_locked_at_speed_do_not_pass_for_standstill():
    """The fastest wheel reads zero for 40 s: on the falling reference it takes over 100 s."""
    train = np.maximum(30.0 - 0.3 * times(60.0), 0.0)
    wheel = np.where(times(60.0) < 5.0, train, np.maximum(train - 8.0 * (times(60.0) - 5.0), 0.0))
    reference, is_out = followed(wheel)
    assert not is_out[: int(45.0 / SAMPLE)].any()
    assert reference[int(45.0 / SAMPLE)] > 15.0


def test_a_steady_deep_slide_of_all_wheels_does_not_cut_out_at_speed():
    """Every wheel at 40 % of the train's speed, which is 4.7 m/s when the wheels do 1.9."""
    t = times(12.0)
    train = 12.0 - 0.6 * t
    wheel = np.where(t < 1.0, train, np.maximum(0.4 * train, train - 12.0 * (t - 1.0)))
    _, is_out = followed(wheel)
    fastest_wheel_below = np.argmax(wheel < SIX_MPH)
    assert train[fastest_wheel_below] > 6.0
    assert not is_out.any() or train[np.argmax(is_out)] < 5.2


def test_wheels_that_roll_again_found_the_reference_anew():
    t = times(20.0)
    train = 25.0 - 0.8 * t
    wheel = np.where((t > 2.0) & (t < 8.0), 0.0, train)
    reference, _ = followed(wheel)
    assert reference[int(7.9 / SAMPLE)] > train[int(7.9 / SAMPLE)] + 1.0  # fell too slowly
    assert reference[int(12.0 / SAMPLE) :] == pytest.approx(train[int(12.0 / SAMPLE) :], abs=0.05)


def test_it_cuts_in_again_only_above_the_hysteresis():
    up = np.concatenate([np.linspace(2.0, 3.1, 100), np.linspace(3.1, 3.5, 100)])
    down = np.concatenate([np.linspace(4.0, 2.0, 300), up])
    reference, is_out = followed(down, demand=1.0)
    assert reference == pytest.approx(down, abs=0.2)
    came_back = np.flatnonzero(~is_out[300:])
    assert is_out[299] and reference[300 + came_back[0]] > BACK
    assert reference[300 + came_back[0] - 1] <= BACK


def test_without_a_cut_out_speed_it_never_cuts_out():
    train, state = np.zeros(1, TRAIN), np.zeros(1, GROUP_STATE)
    for _ in range(1000):
        follow_speed(0.0, 1.0, SAMPLE, train[0], state[0])
        watch_cut_out(train[0], state[0])
    assert state["is_cut_out"][0] == 0


@pytest.mark.parametrize("rail", ["wet_leaf", "tough_film", "frost"])
@pytest.mark.parametrize("name", ["slip_band", "cleaning_balance", "deep_slip", "phase_logic"])
def test_slip_control_without_fault_is_still_below_six_miles_an_hour(rail, name):
    """So the finding of low-speed activity means a fault."""
    stop = simulate(load_scenario(rail).replace(initial_speed=13.4), by_name(name), 1)
    assert stop.summary["low_speed_vents"] == 0
    assert not [f for f in stop.findings if f.kind == "low-speed activity"]
    assert stop.summary["vent_count"] > 0


def test_a_stuck_sensor_keeps_it_from_cutting_out_and_is_found():
    base = load_scenario("wet_leaf").replace(initial_speed=13.4)
    broken = base.replace(faults=(Fault(kind="sensor_stuck", axle=1, at_time=0.5),))
    stop = simulate(broken, by_name("slip_band"), 1, with_traces=False)
    assert stop.summary["low_speed_vents"] > 0
    assert [f for f in stop.findings if f.kind == "low-speed activity"]


def test_shipped_strategies_leave_their_own_cut_out_below_that_of_the_shipped_unit():
    unit = load_scenario("dry").slip_control
    assert unit.cut_out_speed == pytest.approx(SIX_MPH)
    assert unit.cut_out_speed + unit.cut_out_hysteresis == pytest.approx(BACK)
    found = 0
    for known in known_controllers().values():
        own = [p for p in known.controller.parameters if p.name == "cut_out_speed"]
        found += len(own)
        assert all(p.default < p.high < unit.cut_out_speed for p in own)
    assert found > 5

"""Brake response through the whole kernel: delay and linear ramp, exactly."""

import numpy as np
import pytest
from tests.support_stops import brake_of, car, packed, plain_stop, train_of

from slipbench.controllers import none
from slipbench.kernel.friction import rim_force
from slipbench.scenario import Run
from slipbench.stop.simulation import simulate

DELAY, RAMP, FULL = 0.4, 1.5, 3e5


@pytest.fixture(scope="module")
def traces():
    stop = plain_stop(
        30.0,
        train=train_of(car(), car()),
        brake=brake_of(0.9, DELAY, RAMP, full_pressure=FULL, fill_rate=4e5, vent_rate=5e5),
        run=Run(trace_interval=1e-4),
    )
    return simulate(stop, none.CONTROLLER).traces


def ramp(time):
    return np.clip((time - DELAY) / RAMP, 0.0, 1.0)


def test_demand_is_a_delayed_ramp(traces):
    assert np.abs(traces["demand"] - ramp(traces["time"])).max() < 1e-9


def test_pressure_follows_the_ramp(traces):
    """2 bar/s of ramp are within the 4 bar/s the valve can fill; a tare car gets less of it."""
    rotating = 4 * 100.0 / 0.42**2
    expected = FULL * (40e3 + rotating) / (50e3 + rotating) * ramp(traces["time"])[:, np.newaxis]
    assert np.abs(traces["pressure"] - expected).max() < 1e-8 * FULL


def test_brake_force_follows_the_pressure(traces):
    """Each axle brakes the mass it carries and its own: 10 t + 567 kg at 0.9 m/s2."""
    braked = 10e3 + 100.0 / 0.42**2
    expected = 0.9 * braked * ramp(traces["time"])[:, np.newaxis]
    is_rolling = traces["wheel_speed"] > 0.0
    assert np.abs(traces["brake_force"] - expected)[is_rolling].max() < 1e-8 * expected.max()


def test_slow_cylinder_lags_the_ramp():
    """At 1 bar/s the cylinder needs 3 s for what the demand does in 1.5 s."""
    stop = plain_stop(
        30.0,
        brake=brake_of(0.9, DELAY, RAMP, full_pressure=FULL, fill_rate=1e5, vent_rate=5e5),
        run=Run(trace_interval=1e-4),
    )
    traces = simulate(stop, none.CONTROLLER).traces
    expected = np.clip(1e5 * (traces["time"] - DELAY), 0.0, FULL)
    assert np.abs(traces["pressure"][:, 0] - expected).max() < 1e-8 * FULL


def test_pad_friction_scales_the_force():
    worn = simulate(plain_stop(30.0).replace({"brake.pad_friction": 0.28}), none.CONTROLLER)
    nominal = simulate(plain_stop(30.0), none.CONTROLLER)
    share = worn.traces["brake_force"][200, 0] / nominal.traces["brake_force"][200, 0]
    assert share == pytest.approx(0.28 / 0.35, rel=1e-12)


def test_rim_force_is_gain_times_pressure():
    world = packed(plain_stop(30.0))
    axle, state = world.axles[0], world.axle_states[0]
    gain = float(axle["brake_gain"])
    assert rim_force(1e4, 2e3, 0.5, 0, axle, state) == (gain * 1e4, gain * 2e3)
    assert rim_force(1e4, 2e3, 0.5, 1, axle, state) == (0.5 * gain * 1e4, 0.5 * gain * 2e3)
    assert rim_force(-1.0, 0.0, 1.0, 0, axle, state)[0] == 0.0

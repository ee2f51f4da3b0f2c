"""The isolation button, rule by rule as common practice describes it (no source)."""

import numpy as np
import pytest
from tests.support_stops import NEARLY_AT_ONCE, advance_unsampled, packed, plain_stop

from slipbench.contract import Controller
from slipbench.controllers import none
from slipbench.kernel.columns import FILL, VENT
from slipbench.scenario import Brake, Driver, Fault, HandleEntry, IsolationPress, Run
from slipbench.stop.simulation import simulate

RELEASE, EMERGENCY = 0, 4
TIME = 5.0
"""Slip control is out for so long here; two minutes is the default. [s]"""

BRAKE = {
    "steps": (0.3, 0.6, 0.9),
    "emergency": 1.2,
    "demand_delay": 0.0,
    "build_up_time": 0.0,
    "release_time": 0.0,
    "fill_delay": 0.0,
    "vent_delay": 0.0,
    "isolation_time": TIME,
    **NEARLY_AT_ONCE,
}


def _always_vent(observation, parameters, memory, command, signals):
    for i in range(len(command)):
        command[i, 0] = 2.0
        command[i, 1] = 1.0


ALWAYS_VENT = Controller(name="always_vent", title="vents", update=_always_vent, observes=())


def stop_with(handle, presses, *, speed=60.0, faults=(), **brake):
    """Return a dry stop; `handle` is (time, position) pairs, `presses` are times. [s]"""
    entries = tuple(
        HandleEntry(at_time=time, position=1, level=place)
        if isinstance(place, float)
        else HandleEntry(at_time=time, position=place)
        for time, place in handle
    )
    buttons = tuple(IsolationPress(at_time=time) for time in presses)
    return plain_stop(
        speed,
        brake=Brake(**{**BRAKE, **brake}),
        driver=Driver(programme=entries, presses=buttons),
        faults=faults,
        run=Run(maximum_time=100.0),
    )


def state_at(time, stop):
    """Return the train's and the vehicle's state at a time, no slip control at work."""
    world = packed(stop)
    advance_unsampled(time, world)
    return world.train_state[0], world.vehicle_states[0]


def demand_at(time, *stop, **changes):
    return float(state_at(time, stop_with(*stop, **changes))[1]["demand"])


def test_two_minutes_is_the_default():
    assert Brake.__dataclass_fields__["isolation_time"].default == 120.0


@pytest.mark.parametrize("position", [0, 1, 2, 3])
def test_it_works_only_in_emergency_and_another_press_is_noted(position):
    train, _ = state_at(3.0, stop_with([(0.0, position)], [1.0, 2.0]))
    assert train["isolated_until"] == 0.0
    assert train["n_ignored_presses"] == 2


def test_it_takes_slip_control_out_for_its_time():
    stop = stop_with([(0.0, EMERGENCY)], [2.0], vent_time_limit=1e3)
    traces = simulate(stop, ALWAYS_VENT).traces
    valve = {
        t: traces["valve"][np.searchsorted(traces["time"], t), 0] for t in (1.5, 2.5, 6.5, 7.5)
    }
    assert valve == {1.5: VENT, 2.5: FILL, 6.5: FILL, 7.5: VENT}


def test_second_press_adds_its_time():
    train, _ = state_at(4.0, stop_with([(0.0, EMERGENCY)], [1.0, 3.0]))
    assert train["isolated_until"] == pytest.approx(1.0 + 2.0 * TIME, abs=1e-6)
    assert train["n_ignored_presses"] == 0


def test_second_press_out_of_emergency_adds_nothing():
    train, _ = state_at(4.0, stop_with([(0.0, EMERGENCY), (2.0, 2)], [1.0, 3.0]))
    assert train["isolated_until"] == pytest.approx(1.0 + TIME, abs=1e-6)
    assert train["n_ignored_presses"] == 1


@pytest.mark.parametrize(("step", "demand"), [(2, 0.5), (1, 0.25)])
def test_while_out_lower_steps_reduce_the_pressure(step, demand):
    handle = [(0.0, EMERGENCY), (2.0, step)]
    assert demand_at(3.0, handle, [1.0]) == pytest.approx(demand)


def test_while_out_selecting_release_gives_a_full_application():
    handle = [(0.0, EMERGENCY), (2.0, 1), (3.0, RELEASE)]
    assert demand_at(2.5, handle, [1.0]) == pytest.approx(0.25)
    assert demand_at(3.5, handle, [1.0]) == 1.0


@pytest.mark.parametrize(
    "way",
    [
        {},
        {"faults": (Fault(kind="control_supply_lost", at_time=2.5),)},
        {"faults": (Fault(kind="control_wire_broken", wire=1, at_time=2.5),)},
    ],
    ids=["release", "step without supply", "step 1 without its wire"],
)
def test_no_release_is_possible_until_the_time_has_run(way):
    handle = [(0.0, EMERGENCY), (2.0, 1 if way else RELEASE)]
    assert demand_at(1.0 + TIME - 0.1, handle, [1.0], **way) == 1.0
    assert demand_at(1.0 + TIME + 0.1, handle, [1.0], **way) == 0.0


def test_continuous_controller_at_zero_does_not_release_either():
    table = {"controller_levels": (0.0, 1.0), "controller_demands": (0.0, 0.9)}
    handle = [(0.0, EMERGENCY), (2.0, 0.0)]
    assert demand_at(3.0, handle, [1.0], **table) == 1.0
    assert demand_at(1.0 + TIME + 0.1, handle, [1.0], **table) == 0.0


def test_standstill_does_not_shorten_it_and_the_rest_is_in_the_traces():
    """From 5 m/s the train stands after 4 s, handle at release, brake full on."""
    stop = stop_with([(0.0, EMERGENCY), (2.0, RELEASE)], [1.0], speed=5.0, isolation_time=60.0)
    traces = simulate(stop, none.CONTROLLER).traces
    time, left = traces["time"], traces["isolation_left"]
    assert traces["train_speed"][-1] == 0.0
    assert traces["handle"][-1] == RELEASE
    assert traces["demand"][-1] == 1.0
    assert time[-1] < 10.0
    out = time > 1.01
    # the trace shows the end of a step or its beginning: half a step of 5 ms
    assert left[out] == pytest.approx(61.0 - time[out], abs=1e-6)
    assert (left[time < 0.99] == 0.0).all()

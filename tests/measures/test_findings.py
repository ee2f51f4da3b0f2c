"""Findings: each names axle, time, speed and number, and is there when it should be."""

import dataclasses
import math

import pytest
from tests.support_stops import car, plain_stop, train_of

from slipbench.controllers import by_name, none
from slipbench.scenario import Fault, HandleEntry, IsolationPress, load_scenario
from slipbench.stop.simulation import simulate

EMERGENCY = 4


def kinds(stop):
    return {finding.kind for finding in stop.findings}


def stop_with(rail="wet_leaf", controller="slip_band", speed=15.0, **changes):
    scenario = load_scenario(rail).replace({"initial_speed": speed, **changes})
    return simulate(scenario, by_name(controller), with_traces=False)


def test_long_lock_names_axle_time_speed_and_number():
    stop = simulate(plain_stop(20.0, friction=0.03), none.CONTROLLER)
    found = {finding.kind: finding for finding in stop.findings}
    lock = found["longest lock"]
    assert (lock.axle, lock.unit) == (1, "s")
    assert lock.value == stop.summary["longest_lock"]
    assert 0.0 < lock.time < 2.0
    assert lock.speed == stop.summary["longest_lock_speed"]
    assert f"{lock.value:.2f} s" in lock.text
    assert {"flat over limit", "rail heat", "speedometer"} <= set(found)
    assert "mm" in found["flat over limit"].text


def test_dry_stop_has_no_findings():
    assert stop_with("dry", "none").findings == ()


def test_emergency_left_in_is_told():
    stop = stop_with("dry", **{"driver.programme": (HandleEntry(at_time=0.0, position=EMERGENCY),)})
    (found,) = [one for one in stop.findings if one.kind == "emergency to standstill"]
    assert found.speed == pytest.approx(15.0, abs=0.1)
    assert found.value == pytest.approx(stop.summary["stopping_time"], abs=0.1)


def test_isolation_is_told_with_what_it_cost():
    changes = {
        "driver.programme": (HandleEntry(at_time=0.0, position=EMERGENCY),),
        "driver.presses": (IsolationPress(at_time=2.0),),
    }
    stop = stop_with(**changes)
    (found,) = [one for one in stop.findings if one.kind == "slip control isolated"]
    assert found.time == pytest.approx(2.0, abs=0.01)
    assert found.value > 5.0
    assert found.value == pytest.approx(sum(stop.summary["locked_time"]), rel=0.2)


def test_ignored_press_is_told():
    stop = stop_with("dry", **{"driver.presses": (IsolationPress(at_time=2.0),)})
    assert stop.summary["ignored_presses"] == 1
    assert "press ignored" in kinds(stop)


def test_activity_below_six_miles_an_hour_is_told():
    stop = stop_with(**{"slip_control.cut_out_speed": 0.0})
    (found,) = [one for one in stop.findings if one.kind == "low-speed activity"]
    assert found.value == stop.summary["low_speed_vents"] > 0
    assert found.speed < 6.0 * 0.44704


def test_vent_limit_is_told():
    """A brake kept off beyond the limit, here of a second, is put back on by the equipment."""
    dead = Fault(kind="sensor_dead", axle=3, at_time=3.0)
    changes = {"faults": (dead,), "brake.vent_time_limit": 1.0, "equipment.grade": "clean"}
    stop = stop_with("detergent", **changes)
    (found,) = [one for one in stop.findings if one.kind == "vent limit"]
    assert found.value == stop.summary["restored_brakes"] > 0
    assert 1 <= found.axle <= 16
    assert found.time > 1.0  # it may have vented already when the sensor died


def test_low_air_is_told():
    changes = {"brake.reservoir_volume": 0.05, "slip_control.cut_out_speed": 0.0}
    stop = stop_with("wet_leaf", "deceleration", 30.0, **changes)
    (found,) = [one for one in stop.findings if one.kind == "low air"]
    assert found.unit == "bar"
    assert stop.summary["next_application"] < 1.0


def test_hot_brake_is_told():
    small = dataclasses.replace(car(), heat_capacity=1e4, cooling=0.0, cooling_speed_term=0.0)
    stop = simulate(plain_stop(30.0, train=train_of(small)), none.CONTROLLER, with_traces=False)
    (found,) = [one for one in stop.findings if one.kind == "hot brake"]
    # A quarter of 40 t, rotating mass on top, from 30 m/s, into 10 kJ/K that lose nothing.
    rotating = 100.0 / 0.42**2
    assert found.value == pytest.approx(0.5 * (10e3 + rotating) * 900.0 / 1e4, rel=0.01)


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (Fault(kind="sensor_dead", axle=3, at_time=0.0), ["sensor dead, axle 3", "against"]),
        (Fault(kind="valve_stuck_vent", axle=2, at_time=1.0), ["valve stuck vent, axle 2", "MJ"]),
        (Fault(kind="car_unbraked", vehicle=2, at_time=0.0), ["car unbraked, vehicle 2"]),
        (Fault(kind="control_supply_lost", at_time=4.0), ["service steps are gone"]),
        (Fault(kind="control_wire_broken", wire=1, at_time=0.0), ["wire 1 from vehicle 1 on"]),
        (Fault(kind="supply_isolated", vehicle=1, at_time=0.0), ["reservoir fell to"]),
        (Fault(kind="sensor_dead", axle=1, at_distance=9e5), ["never acted"]),
    ],
)
def test_fault_is_named_with_its_effect(fault, words):
    stop = stop_with("detergent", "slip_band", 12.0, faults=(fault,), **{"run.maximum_time": 120.0})
    (found,) = [one for one in stop.findings if one.kind == f"fault {fault.kind}"]
    for word in words:
        assert word in found.text
    if fault.at_distance is None:
        assert found.time == pytest.approx(fault.at_time, abs=0.02)
        assert found.speed > 0.0
    else:
        assert math.isnan(found.time)


def test_stop_shows_its_findings_in_terminal_and_notebook():
    stop = simulate(plain_stop(20.0, friction=0.03), none.CONTROLLER)
    assert all(finding.text in repr(stop) for finding in stop.findings)
    assert stop._repr_html_().count("<li>") == len(stop.findings)


def test_emergency_eased_under_way_is_told():
    """Emergency as a service brake, eased to step 2 at 4 s; left in, it is another finding."""
    eased = (HandleEntry(at_time=0.0, position=EMERGENCY), HandleEntry(at_time=4.0, position=2))
    stop = stop_with("dry", **{"driver.programme": eased})
    (found,) = [one for one in stop.findings if one.kind == "emergency eased"]
    assert found.time == pytest.approx(4.0, abs=0.05) and found.value == pytest.approx(4.0, abs=0.1)
    assert "selected at 0.0 s" in found.text and "was eased again at 4.0 s" in found.text
    held = stop_with("dry", **{"driver.programme": eased[:1]})
    assert "emergency eased" not in kinds(held) and "emergency to standstill" in kinds(held)

"""What the usual ways of braking do to a stop: distance, jolt, where braking begins."""

import pytest
from tests.support_stops import NEARLY_AT_ONCE, clean, packed, plain_stop, run_world

from slipbench.controllers import none
from slipbench.scenario import Brake, Driver, Routine

MPH = 0.44704
SMOOTH = 0.75
"""Assumed. [m/s3]"""


def end_of(routine, *, stopping_point=None, scenario=None):
    """Return the train's state at the end of a dry stop from 20 m/s."""
    scenario = scenario or clean("dry").replace({"initial_speed": 20.0})
    driver = Driver(routine=routine, stopping_point=stopping_point)
    return run_world(packed(scenario.replace({"driver": driver}))).train_state[0]


@pytest.fixture(scope="module")
def held():
    return end_of(Routine(kind="hold", position=3))


def largest_jolt(train):
    return max(float(train["final_jerk"]), float(train["stop_jerk"]))


def test_stop_held_to_the_end_jolts(held):
    """Deceleration of step 3 gone at standstill, over the 0.5 s it is smoothed by: 1.8 m/s3."""
    assert held["stop_jerk"] == pytest.approx(0.9 / 0.5, rel=0.03)  # running resistance adds 1 %


def test_final_easing_is_smooth_and_costs_little(held):
    eased = end_of(Routine(kind="final_easing", position=3, ease_speeds=(8 * MPH, 3.5 * MPH)))
    assert largest_jolt(eased) < SMOOTH
    assert 0.0 < eased["distance"] - held["distance"] < 5.0


def test_easing_too_early_runs_far_past(held):
    early = end_of(Routine(kind="final_easing", position=3, ease_speeds=(30 * MPH, 15 * MPH)))
    assert largest_jolt(early) < SMOOTH
    assert early["distance"] - held["distance"] > 30.0


def test_pausing_in_lower_steps_lengthens_the_stop(held):
    paused = end_of(Routine(kind="pause", position=3, pause_time=2.0))
    # 2 s at 0.3 and 2 s at 0.6 instead of 0.9 m/s2: 1.8 m/s kept, 2 s more at some 18 m/s
    assert paused["distance"] - held["distance"] == pytest.approx(40.0, abs=15.0)


def test_release_and_reapply_lengthens_the_stop(held):
    fanned = end_of(Routine(kind="release_and_reapply", position=3, n_repeats=3))
    assert fanned["distance"] > 1.2 * held["distance"]


def test_emergency_left_in_to_standstill(held):
    emergency = end_of(Routine(kind="hold", position=4))
    assert emergency["distance"] < held["distance"]
    assert emergency["stop_jerk"] > held["stop_jerk"]


@pytest.mark.parametrize("lead", [300.0, 400.0])
def test_braking_begins_by_the_lead_distance(lead, held):
    end = end_of(Routine(kind="hold", position=3, lead_distance=lead), stopping_point=500.0)
    # the entry acts within 1e-7 m of its place
    assert end["brake_start"] == pytest.approx(500.0 - lead, abs=1e-6)
    # coasting there costs a little speed
    assert end["distance"] - end["brake_start"] == pytest.approx(held["distance"], rel=0.05)


def test_slow_approach_arrives_slowly():
    """12 m/s at most where braking begins, so about 80 m of braking and build-up from there."""
    routine = Routine(kind="slow_approach", position=3, approach_speed=12.0, lead_distance=150.0)
    end = end_of(routine, stopping_point=900.0)
    assert end["brake_start"] == 0.0  # step 1, at the start
    assert end["speed"] == 0.0
    assert 750.0 < end["distance"] < 870.0


def test_entry_after_another_counts_from_it():
    brake = Brake(
        steps=(0.3, 0.6, 0.9),
        emergency=1.2,
        demand_delay=0.0,
        build_up_time=0.0,
        release_time=0.0,
        fill_delay=0.0,
        vent_delay=0.0,
        **NEARLY_AT_ONCE,
    )
    routine = Routine(kind="pause", position=3, pause_time=1.234, lead_distance=80.0)
    driver = Driver(routine=routine, stopping_point=100.0)
    world = run_world(packed(plain_stop(20.0, brake=brake, driver=driver), none.CONTROLLER))
    start = world.effective[0]
    assert start == pytest.approx(1.0, abs=1e-6)  # 20 m at 20 m/s
    assert world.effective - start == pytest.approx([0.0, 1.234, 2.468], abs=1e-8)

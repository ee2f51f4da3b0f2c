"""One run at the desk without a network: clock, what each page is told, names."""

import json

import pytest
from tests.practice.desk import lesson_desk, scenario_desk

from slipbench.ground.errors import InputError
from slipbench.practice.session import (
    BRAKE_AFTER,
    CAB_KEYS,
    ENDED,
    FROZEN,
    RUNNING,
    Session,
    checked_name,
)


@pytest.fixture
def session(short):
    return Session(scenario_desk(short))


def test_the_clock_runs_freezes_and_changes_pace(session):
    session.begin(100.0)
    session.advance(101.0)
    assert session.live.time == pytest.approx(1.0, abs=0.03)
    session.freeze(101.0)
    session.advance(150.0)
    assert session.state == FROZEN and session.live.time == pytest.approx(1.0, abs=0.03)
    session.resume(150.0)
    session.set_pace(150.0, 2.0)
    session.advance(151.0)
    assert session.live.time == pytest.approx(3.0, abs=0.06)
    session.set_pace(151.0, 0.5)
    session.advance(153.0)
    assert session.live.time == pytest.approx(4.0, abs=0.09)
    with pytest.raises(InputError, match=r"0.5, 1, 2"):
        session.set_pace(153.0, 3.0)


def test_a_sleeping_machine_does_not_run_the_train_on(session):
    session.begin(0.0)
    session.advance(1.0)
    session.skip(60.0)
    session.advance(62.0)
    assert session.live.time == pytest.approx(2.0, abs=0.03)


def test_the_handle_is_dead_before_and_after(session):
    session.select(0.0, 3)
    session.press(0.0)
    assert session.live.position == 0 and not session.live.scenario.driver.presses
    session.begin(0.0)
    session.select(0.1, 3)
    assert session.live.position == 3
    session.advance(1000.0)
    assert session.state == ENDED
    session.select(1001.0, 0)
    assert session.live.position == 3


def test_cab_frames_hold_cab_data_only(session):
    session.begin(0.0)
    session.select(0.5, 3)
    n_slid = 0
    for i in range(1, 400):
        session.advance(0.05 * i)
        frame = session.cab()
        assert set(frame) == CAB_KEYS
        axles, state = session.live.world.axle_states, session.live.state
        assert frame["speed"] == round(float(axles["measured_speed"][0]), 1)
        assert frame["cylinders"] == [round(float(p) / 1e5, 2) for p in axles["pressure"][:2]]
        n_slid += frame["speed"] < float(state["speed"]) - 1.0
    assert n_slid > 20  # what it shows is not the train's speed


def test_dead_presses_are_noted_and_live_ones_count_down(session):
    session.begin(0.0)
    session.press(0.5)
    session.select(1.0, 4)
    session.press(1.5)
    session.press(1.6)
    session.advance(2.0)
    assert session.cab()["isolation"] == pytest.approx(239.5, abs=0.3)  # two times two minutes
    assert session.scene()["ignored"] == 1
    assert [("dead" in text) for _, text in session.notes] == [True, False, False]
    session.select(2.5, 0)  # release now gives a full application
    session.advance(6.0)
    assert session.live.state["demand"] == pytest.approx(1.0)


def test_the_scene_is_the_truth(session):
    session.begin(0.0)
    session.select(0.1, 3)
    session.advance(4.0)
    scene, world = session.scene(), session.live.world
    assert scene["speed"] == pytest.approx(float(world.train_state["speed"][0]), abs=0.006)
    assert len(scene["wheels"]) == len(scene["valves"]) == 16
    assert set(scene["wheels"]) <= {0, 1, 2, 3} and max(scene["wheels"]) > 0
    lowest, highest = min(scene["rail"]), max(scene["rail"])
    assert 0.02 < lowest <= highest < 0.2
    behind = int((scene["front"] - 85.0 - scene["rail_start"]) / scene["rail_cell"])
    assert scene["rail"][behind] >= scene["rail"][-1]  # cleaned, if anything
    json.dumps(scene, allow_nan=False)


def test_wheels_locked_at_the_end_are_shown_so(short):
    session = Session(scenario_desk(short, "none"))
    session.begin(0.0)
    session.select(0.1, 3)
    for i in range(2000):
        session.advance(0.1 * i)
        scene = session.scene()
        if session.state == ENDED:
            break
    assert scene["wheels"] == [3] * 16 and scene["speed"] == 0.0


def test_a_scenario_without_a_marker_gets_one_where_holding_stops(short):
    session = Session(scenario_desk(short.replace({"driver.stopping_point": None})))
    marker = session.start.driver.stopping_point
    session.begin(0.0)
    session.advance(BRAKE_AFTER)
    session.select(BRAKE_AFTER, 3)
    session.advance(1000.0)
    assert session.live.state["distance"] == pytest.approx(marker, abs=11.0)


def test_a_lesson_offers_its_runs_and_other_rails():
    desk = lesson_desk("earlier")
    card = Session(desk).card()
    assert card["sentence"] == desk.lesson.sentence and len(card["choices"]) == 2
    assert Session(desk, 1).start.initial_speed == pytest.approx(90 * 0.44704)
    other = Session(desk, 0, "dry")
    assert other.start.rail != Session(desk).start.rail
    assert other.start.driver.stopping_point == Session(desk).start.driver.stopping_point
    json.dumps(card, allow_nan=False)


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("Ann", "Ann"), ("  Ann  Lee ", "Ann Lee"), ("=1+1", "11"), ("<b>x</b>", "bxb"),
        ("-a", "a"), ("x" * 90, "x" * 40), (None, ""), (7, ""), ("\n\x1b[31m", "31m"),
    ],
)  # fmt: skip
def test_names_may_stand_in_tables(given, kept):
    assert checked_name(given) == kept


def test_ending_by_hand_ends(session):
    session.begin(0.0)
    session.select(0.1, 1)
    session.advance(2.0)
    assert session.state == RUNNING
    session.end()
    assert session.state == ENDED and session.is_cut
    assert session.replayed().summary["is_stopped"]

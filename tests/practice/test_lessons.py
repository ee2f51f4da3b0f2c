"""The lessons: all there, all read, and what they claim holds in the model."""

import re
from functools import cache

import numpy as np
import pytest

from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.practice.debrief import debrief
from slipbench.practice.handout import handout_page
from slipbench.practice.lessons import FOLDER, lesson_names, load_lesson
from slipbench.scenario import HandleEntry, IsolationPress
from slipbench.stop.simulation import simulate
from slipbench.strategies.registry import find_controller

KNOWN = find_controller("slip_band")
HOLD = ((8.0, 3),)


@cache
def ran(name, *hands, choice=0):
    """Return a lesson's stop, driven by pairs of time and position, or time and "press"."""
    scenario = load_lesson(name).scenarios[choice]
    entries = [HandleEntry(at_time=at, position=to) for at, to in hands if to != "press"]
    presses = tuple(IsolationPress(at_time=at) for at, to in hands if to == "press")
    programme = (*scenario.driver.programme, *entries)
    driver = {"driver.programme": programme, "driver.presses": presses}
    return simulate(scenario.replace(driver), KNOWN.controller, 0)


def distance(stop):
    return stop.summary["final_distance"]


def test_there_are_ten_in_order():
    names = lesson_names()
    assert len(names) == 10 and names[0] == "holding"
    assert [load_lesson(name).number for name in names] == list(range(1, 11))


@pytest.mark.parametrize("name", lesson_names())
def test_a_lesson_is_whole(name):
    lesson = load_lesson(name)
    assert lesson.common_practice and len(lesson.quiz) == 3
    assert all(len(one.answers) == 3 and one.why for one in lesson.quiz)
    assert lesson.sentence.endswith(".") and len(lesson.notice) == 3
    for scenario in lesson.scenarios:
        assert scenario.driver.stopping_point and "invented" in scenario.train.name
        assert [entry.position for entry in scenario.driver.programme] == [0]
    page = handout_page(lesson)
    assert CAUTION in page and "Common practice, no source" in page and "{{" not in page
    assert page.count("<ol type='a'>") == 3 and not re.search(r"https?://|src=", page)


@pytest.mark.parametrize(
    ("name", "choice"),
    [("holding", 0), ("pumping", 0), ("earlier", 0), ("earlier", 1), ("isolation", 0),
     ("below_6_mph", 0), ("final_easing", 0), ("final_easing", 1), ("sand", 1), ("dead_car", 1)],
)  # fmt: skip
def test_held_from_8_s_it_stops_at_the_marker(name, choice):
    """As the lesson's file says; within 8 m, a tenth of the train."""
    stop = ran(name, *HOLD, choice=choice)
    assert distance(stop) == pytest.approx(stop.scenario.driver.stopping_point, abs=8.0)


def test_holding_is_shorter_than_easing_where_it_is_taught():
    assert distance(ran("holding", *HOLD, (14.0, 1), (22.0, 3))) > distance(ran("holding", *HOLD))


def test_pumping_is_longer_and_empties_the_leading_cylinders_for_longer():
    pumped = [(8.0 + 6.0 * i + d, p) for i in range(8) for d, p in ((0.0, 3), (4.0, 0))]
    held, other = ran("pumping", *HOLD), ran("pumping", *pumped, (60.0, 3))
    assert distance(other) > 1.05 * distance(held)


def test_from_90_mph_it_takes_some_four_tenths_more():
    coasted = [8.0 * 0.44704 * mph for mph in (75, 90)]
    braked = [distance(ran("earlier", *HOLD, choice=i)) - coasted[i] for i in (0, 1)]
    assert braked[1] / braked[0] == pytest.approx(1.44, abs=0.08)
    emergency = distance(ran("earlier", (8.0, 4)))
    assert emergency == pytest.approx(distance(ran("earlier", *HOLD)), rel=0.02)


def test_easing_right_early_and_late():
    held = ran("final_easing", *HOLD)
    lasts, yard = held.summary["stopping_time"], 0.9144

    def eased(*hands):
        return (distance(ran("final_easing", *HOLD, *hands)) - distance(held)) / yard

    speeds, times = held.traces["train_speed"][::-1], held.traces["time"][::-1]
    at_6, at_20 = (float(np.interp(v * 0.44704, speeds, times)) for v in (6.0, 20.0))
    right = eased((at_6, 2), (at_6 + 1.5, 1))
    assert 0.2 < right < 3.0
    assert eased((at_20, 2), (at_20 + 3.0, 1)) > 10.0 * right
    assert abs(eased((lasts - 0.5, 1))) < 0.05


def test_emergency_and_isolation():
    held = distance(ran("emergency", *HOLD))
    left_in = ran("emergency", (8.0, 4))
    assert distance(left_in) == pytest.approx(held, rel=0.01)
    eased = ran("emergency", (8.0, 4), (14.0, 1))
    assert distance(eased) > distance(left_in)
    assert "emergency eased" in [finding.kind for finding in eased.findings]
    isolated = ran("isolation", (8.0, 4), (11.0, "press"))
    assert distance(isolated) > 1.2 * held
    flats = [s.worth.wheels.flat_length.high for s in (left_in, isolated)]
    assert (flats[1] > 0.05).all() and flats[1].max() > 3.0 * flats[0].max()


def test_the_gauge_shows_less_than_the_train_has():
    stop = ran("gauge", *HOLD)
    pressure = stop.traces["pressure"] / 1e5
    shown, mean = pressure[:, :2].max(axis=1), pressure.mean(axis=1)
    is_fast = stop.traces["train_speed"] > 5.0
    assert ((shown < 0.3) & (mean > 1.0) & is_fast).any()
    rail = [float(stop.traces["friction"][is_fast, i].mean()) for i in (0, -1)]
    assert rail[1] > 1.1 * rail[0]


def test_the_defect_below_6_mph_is_found_and_costs_little():
    bad, good = (ran("below_6_mph", *HOLD, choice=i) for i in (0, 1))
    assert "low-speed activity" in [finding.kind for finding in bad.findings]
    assert "low-speed activity" not in [finding.kind for finding in good.findings]
    assert distance(bad) == pytest.approx(distance(good), rel=0.01)
    told = debrief(bad.scenario, KNOWN, 0).moments
    assert any("report it" in moment.text for moment in told)


def test_sand_and_a_dead_car():
    without, with_sand = (ran("sand", *HOLD, choice=i) for i in (0, 1))
    assert distance(without) > 2.0 * distance(with_sand)
    at_once = ran("sand", (0.1, 3))
    assert distance(at_once) > at_once.scenario.driver.stopping_point  # no handle makes it
    eased = ran("sand", *HOLD, (12.0, 1), choice=1)
    assert sum(eased.summary["sand_used"]) < 0.5 * sum(with_sand.summary["sand_used"])
    dead, whole = (ran("dead_car", *HOLD, choice=i) for i in (0, 1))
    assert distance(dead) > 1.1 * distance(whole)
    earlier = ran("dead_car", (0.1, 3))
    assert distance(earlier) < earlier.scenario.driver.stopping_point


WHOLE = (FOLDER / "holding.toml").read_text(encoding="utf-8").replace(
    "scenarios/autumn_75.toml", "wet_leaf"
)  # fmt: skip


def test_a_lesson_of_one_s_own_is_read(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(WHOLE, encoding="utf-8")
    lesson = load_lesson(str(path))
    assert lesson.name == "mine" and lesson.scenarios[0].name == "wet_leaf"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("sentence =", "sentense =", "unknown key"),
        ('sentence = "', 'sentence = 7 # "', "must be text"),
        ("right = 1", "right = 4", "number of an answer"),
        ("number = 1", "number = -1", "whole number"),
        ('scenario = "wet_leaf"', 'scenario = "wet_lef"', "wet_leaf"),
        ("[[quiz]]", "[[quizz]]", "quizz"),
        ("\nwhy =", "\nwhy = 3 #", "why"),
        ("notice = [", "notice = 3 #", "TOML"),
        ('rail = "Wet', 'rail = "' + "x" * 500 + '"#', "at most 400"),
    ],
)
def test_a_bad_lesson_is_one_line(tmp_path, old, new, said):
    path = tmp_path / "bad.toml"
    assert old in WHOLE
    path.write_text(WHOLE.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError, match=said) as caught:
        load_lesson(str(path))
    assert "\n" not in str(caught.value) and "bad.toml" in str(caught.value)


def test_commands_tell_and_print_them(run, tmp_path):
    listed = run("lesson")
    assert listed.code == 0 and all(name in listed.out for name in lesson_names())
    told = run("lesson", "gauge")
    assert told.code == 0 and "leading bogie" in told.out and CAUTION in told.out
    path = tmp_path / "gauge.html"
    assert run("lesson", "gauge", "--handout", path).code == 0
    assert "Notes" in path.read_text(encoding="utf-8")
    path.write_text("mine", encoding="utf-8")
    refused = run("lesson", "gauge", "--handout", path)
    assert refused.code == 2 and path.read_text(encoding="utf-8") == "mine"
    assert run("lesson", "gage").code == 2 and run("lesson", "--handout", path).code == 2

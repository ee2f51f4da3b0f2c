"""Driver routines and handle logs: what they are written out as, and what is refused."""

from pathlib import Path

import pytest

from slipbench import load_scenario
from slipbench.ground.errors import InputError
from slipbench.results.scenario_file import scenario_file
from slipbench.scenario import Driver, HandleEntry, Routine, handle_log

MPH = 0.44704


def written_out(stopping_point=None, **routine):
    """Return a routine as (trigger, value, position)."""
    driver = Driver(routine=Routine(**routine), stopping_point=stopping_point)
    assert driver.routine is None
    names = ("at_time", "at_speed", "at_distance", "after")
    return [
        next((name, getattr(e, name), e.position) for name in names if getattr(e, name) is not None)
        for e in driver.programme
    ]


@pytest.mark.parametrize(
    ("routine", "expected"),
    [
        ({"kind": "hold", "position": 3}, [("at_time", 0.0, 3)]),
        ({"kind": "hold", "position": 4}, [("at_time", 0.0, 4)]),
        (
            {"kind": "pause", "position": 3, "pause_time": 1.5},
            [("at_time", 0.0, 1), ("after", 1.5, 2), ("after", 1.5, 3)],
        ),
        (
            {"kind": "final_easing", "position": 3, "ease_speeds": (4.0, 2.0)},
            [("at_time", 0.0, 3), ("at_speed", 4.0, 2), ("at_speed", 2.0, 1)],
        ),
        (
            {"kind": "release_and_reapply", "position": 2, "n_repeats": 2},
            [
                ("at_time", 0.0, 2),
                ("after", 4.0, 0),
                ("after", 2.0, 2),
                ("after", 4.0, 0),
                ("after", 2.0, 2),
            ],
        ),
    ],
)
def test_routine_is_written_out(routine, expected):
    assert written_out(**routine) == expected


def test_lead_distance_counts_back_from_the_stopping_point():
    routine = {"kind": "hold", "position": 3, "lead_distance": 700.0}
    assert written_out(1000.0, **routine) == [("at_distance", 300.0, 3)]


def test_slow_approach_slows_first_and_brakes_at_its_point():
    routine = {
        "kind": "slow_approach",
        "position": 3,
        "approach_speed": 15.0,
        "lead_distance": 200.0,
    }
    assert written_out(1000.0, **routine) == [
        ("at_time", 0.0, 1),
        ("at_speed", 15.0, 0),
        ("at_distance", 800.0, 3),
    ]


@pytest.mark.parametrize(
    ("stopping_point", "routine", "word"),
    [
        (None, {"kind": "hold", "position": 3, "lead_distance": 10.0}, "stopping_point"),
        (5.0, {"kind": "hold", "position": 3, "lead_distance": 10.0}, "at least"),
        (None, {"kind": "final_easing", "position": 3}, "ease_speeds"),
        (None, {"kind": "final_easing", "position": 3, "ease_speeds": (2.0, 4.0)}, "falling"),
        (None, {"kind": "final_easing", "position": 2, "ease_speeds": (4.0, 2.0)}, "1 to 1"),
        (None, {"kind": "slow_approach", "position": 3, "lead_distance": 9.0}, "approach_speed"),
        (None, {"kind": "slow_approach", "position": 3, "approach_speed": 9.0}, "lead_distance"),
        (None, {"kind": "hope", "position": 3}, "one of"),
    ],
)
def test_incomplete_routine_is_refused_in_one_line(stopping_point, routine, word):
    with pytest.raises(InputError) as refused:
        written_out(stopping_point, **routine)
    assert word in str(refused.value)
    assert "\n" not in str(refused.value)


def test_routine_takes_the_place_of_a_programme():
    dry = load_scenario("dry")
    paused = dry.replace({"driver.routine": Routine(kind="pause", position=2)})
    assert [entry.position for entry in paused.driver.programme] == [1, 2]


@pytest.mark.parametrize(
    ("driver", "word"),
    [
        ({}, "at least 1 handle movement"),
        ({"programme": (HandleEntry(after=1.0, position=1),)}, "none before it"),
        ({"programme": (HandleEntry(at_time=0.0, position=1),), "log": "x.csv"}, "scenario files"),
    ],
)
def test_driver_without_a_usable_programme_is_refused(driver, word):
    with pytest.raises(InputError, match=word):
        Driver(**driver)


HANDLE = "[[driver.handle]]\nat_time_s = 0\nposition = 3\n"
ROUTINE = (
    '[driver.routine]\nkind = "final_easing"\nposition = "emergency"\nease_speeds_mph = [10, 5]\n'
)


def test_routine_in_a_file(load, minimal):
    programme = load(minimal.replace(HANDLE, ROUTINE)).driver.programme
    assert [entry.position for entry in programme] == [4, 3, 2]
    assert programme[1].at_speed == pytest.approx(10 * MPH)


def test_routine_of_a_file_replaces_the_programme_below_and_the_other_way_round(load, minimal):
    load(minimal, "lower.toml")
    upper = load('based_on = "lower.toml"\n' + ROUTINE, "upper.toml")
    assert [entry.position for entry in upper.driver.programme] == [4, 3, 2]
    top = load('based_on = "upper.toml"\n' + HANDLE, "top.toml")
    assert [entry.position for entry in top.driver.programme] == [3]


def test_two_programmes_in_one_file_are_refused(load, minimal):
    with pytest.raises(InputError, match="handle and routine both say"):
        load(minimal.replace(HANDLE, HANDLE + ROUTINE))


LOG = """# written every half second
time_s,position
0.0,release
0.5,1
1.0,1
1.5,3
4.0,emergency
"""


def test_handle_log_keeps_what_changes(load, minimal, tmp_path: Path):
    (tmp_path / "handle.csv").write_text(LOG)
    driver = load(minimal.replace(HANDLE, '[driver]\nlog = "handle.csv"\n')).driver
    assert [(e.at_time, e.position) for e in driver.programme] == [
        (0.0, 0),
        (0.5, 1),
        (1.5, 3),
        (4.0, 4),
    ]
    assert driver.log is None
    assert driver.programme == handle_log(tmp_path / "handle.csv", 3)


def test_handle_log_of_a_continuous_controller(tmp_path: Path):
    path = tmp_path / "levels.csv"
    path.write_text("time_s,position,level\n0,1,0.2\n1,1,0.2\n2,1,0.6\n3,emergency,\n")
    assert [(e.at_time, e.position, e.level) for e in handle_log(path, 3)] == [
        (0.0, 1, 0.2),
        (2.0, 1, 0.6),
        (3.0, 4, None),
    ]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ["at least one row"]),
        ("time_s,position\n", ["at least one row"]),
        ("time,position\n0,1\n", ["line 1", "needed: time_s, position"]),
        ("time_s,position\n0,5\n", ["line 2", "position", "0 to 4"]),
        ("time_s,position\n0,x\n", ["line 2", "'x'"]),
        ("time_s,position\n2,1\n1,2\n", ["line 3", "before 2 s"]),
        ("time_s,position\nnan,1\n", ["line 2", "time_s", "finite"]),
        ("time_s,position\n-1,1\n", ["line 2", "at_time"]),
        ("time_s,position,level\n0,1,2\n", ["line 2", "level"]),
        ("time_s,position\n0\n", ["line 2", "1 values"]),
    ],
)
def test_broken_log_is_refused_in_one_line(tmp_path: Path, text, words):
    path = tmp_path / "log.csv"
    path.write_text(text)
    with pytest.raises(InputError) as refused:
        handle_log(path, 3)
    message = str(refused.value)
    assert message.startswith(f"{path}: ")
    assert "\n" not in message
    assert all(word in message for word in words), message


def test_missing_log_is_refused_in_one_line(load, minimal):
    with pytest.raises(InputError, match=r"none\.csv: no such file; a handle log"):
        load(minimal.replace(HANDLE, '[driver]\nlog = "none.csv"\n'))


def test_driver_written_to_a_file_is_read_back_equal(load, minimal):
    routine = ROUTINE + "position = 3\n"
    routine = routine.replace('position = "emergency"\n', "")
    text = minimal.replace(HANDLE, "[driver]\nstopping_point_m = 900\n" + routine)
    text += "[[driver.isolation_press]]\nat_speed_mph = 20\n[driver.easing]\nposition = 1\n"
    text += '[[fault]]\nkind = "sensor_dead"\naxle = 2\nat_time_s = 3\n'
    scenario = load(text)
    assert load(scenario_file(scenario), "again.toml") == scenario.replace(name=scenario.name)

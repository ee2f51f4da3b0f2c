"""What is said of a run is what happened; what is saved repeats it to the bit."""

import csv
import json
import re

import numpy as np
import pytest
from tests.practice.desk import lesson_desk, scenario_desk

from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.practice.debrief import debrief, held_instead, place_words, table_row
from slipbench.practice.debrief_page import debrief_page, eased_stretches
from slipbench.practice.saving import (
    COLUMNS,
    RECORD,
    rows_of,
    run_files,
    save_run,
    write_table,
)
from slipbench.practice.session import Session
from slipbench.scenario import load_scenario
from slipbench.stop.simulation import simulate
from slipbench.strategies.registry import find_controller

KNOWN = find_controller("slip_band")


def driven(desk, *hands):
    """Drive a run: pairs of time and position, or time and "press"."""
    session = Session(desk)
    session.begin(0.0)
    for at, hand in hands:
        if hand == "press":
            session.press(at)
        else:
            session.select(at, hand)
    session.advance(10_000.0)
    return session.live.scenario


@pytest.fixture(scope="module")
def eased(short):
    """Held 2 s, eased to step 1 for 6 s, then held again; a dead press."""
    return driven(scenario_desk(short), (1.0, 3), (1.5, "press"), (3.0, 1), (9.0, 3))


@pytest.fixture(scope="module")
def found(eased):
    return debrief(eased, KNOWN, 0)


def test_a_saved_run_is_read_again_to_the_same_bits(eased, found, tmp_path):
    files = run_files(eased, found.held.scenario, 'driven by "Ann"')
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    for name, stop in (("run.toml", found.you), ("held.toml", found.held)):
        again = simulate(load_scenario(tmp_path / name), KNOWN.controller, 0)
        for trace, values in stop.traces.items():
            assert np.array_equal(values, again.traces[trace], equal_nan=True), trace
        assert repr(dict(again.summary)) == repr(dict(stop.summary))  # NaN is not itself
    assert CAUTION in files["handle.csv"] and CAUTION in files["run.toml"]


def test_stop_compare_and_playback_read_it(eased, found, tmp_path, run, monkeypatch):
    row = table_row(found, "Ann", "", "slip_band")
    path = save_run(tmp_path, run_files(eased, found.held.scenario, "driven"), row)
    stop = run("stop", path / "run.toml", "--strategy", "slip_band", "--json")
    assert json.loads(stop.out)["stopping_distance"] == row["distance_m"]
    compared = run(
        "compare", path / "run.toml", path / "held.toml", "--strategy", "slip_band",
        "--seeds", "1", "--workers", "1", "--json",
    )  # fmt: skip
    rows = {entry["scenario"]: entry for entry in json.loads(compared.out)["rows"]}
    assert rows["run"]["stopping_distance"] == row["distance_m"]
    assert rows["held"]["stopping_distance"] == row["held_distance_m"]
    assert rows["run"]["longest_lock"] == row["longest_lock_s"]
    played = run(
        "playback", path / "run.toml", "--beside", path / "held.toml", "--out", tmp_path / "p"
    )
    assert played.code == 0 and "step 3 held" in played.out
    shown = run("practice", "--table", "--out", tmp_path)
    assert shown.code == 0 and "run-001" in shown.out and "Ann" in shown.out


def test_the_headline_says_where_both_stopped(found):
    you, held = found.you, found.held
    past = (you.summary["stopping_distance"] - 120.0) / 0.9144
    assert found.headline.startswith(f"You stopped {past:.0f} yards past the marker")
    assert "holding step 3" in found.headline
    assert place_words(held) != place_words(you)
    longer = (you.summary["stopping_distance"] - held.summary["stopping_distance"]) / 0.9144
    assert longer > 5.0 and f"easing cost {longer:.0f} yards" in found.verdict


def test_holding_is_from_the_same_place_rail_and_seed(eased, found):
    assert found.held.scenario.rail == eased.rail and found.held.seed == found.you.seed
    programme = found.held.scenario.driver.programme
    assert [entry.position for entry in programme] == [0, 3]
    assert programme[1].at_time == eased.driver.programme[1].at_time
    assert not found.held.scenario.driver.presses
    never = eased.replace({"driver.programme": eased.driver.programme[:1]})
    assert held_instead(never) is None


def test_three_moments_in_order_with_the_easing_among_them(found):
    assert len(found.moments) == 3
    assert [m.time for m in found.moments] == sorted(m.time for m in found.moments)
    words = " ".join(moment.text for moment in found.moments)
    assert "you eased from step 3 to step 1" in words and "isolation button" in words


def test_an_easing_that_takes_the_cleaning_away_is_told_so():
    long = debrief(driven(lesson_desk("holding"), (8.0, 3), (14.0, 1), (22.0, 3)), KNOWN, 0)
    easing = next(m.text for m in long.moments if "eased" in m.text)
    assert "stopped cleaning the rail" in easing
    assert "friction" in long.verdict and "went on cleaning" in long.verdict


def test_easing_that_costs_nothing_is_said():
    """On grease, one step less under this slip setting is shorter: the debrief has to say so."""
    grease = debrief(driven(scenario_desk(load_scenario("grease")), (8.0, 3), (12.0, 2)), KNOWN, 0)
    assert grease.you.summary["stopping_distance"] < grease.held.summary["stopping_distance"]
    assert "easing cost nothing" in grease.verdict and "shorter than holding" in grease.verdict
    dry = debrief(
        driven(scenario_desk(load_scenario("dry").replace(initial_speed=9.0)), (1.0, 3)), KNOWN, 0
    )
    assert "you held it too" in dry.verdict


def test_a_train_never_braked_is_told_so(short):
    slow = short.replace({"run.maximum_distance": 150.0})
    never = debrief(driven(scenario_desk(slow)), KNOWN, 0)
    assert never.held is None and never.headline.startswith("You never braked")
    assert "0 movements" not in debrief_page(never, "", None)
    assert table_row(never, "", "", "x")["held_distance_m"] is None


def test_the_page_is_whole_safe_and_carries_the_numbers(found):
    page = debrief_page(found, "Ann", None, repeat=["slipbench stop </pre><script>"])
    assert found.headline in page and CAUTION in page and "<script>\n" in page
    assert "</pre><script>" not in page.replace("&lt;/pre&gt;&lt;script&gt;", "")
    assert f"{found.you.summary['stopping_distance']:.1f} m" in page
    assert page.count("<svg") == 3 and page.count("<polyline") == 4
    assert page.count('class="bar you"') == 16
    assert not re.search(r"""(?:src|href)\s*=\s*["'](?!data:)""", page)
    assert "{{" not in page


def test_the_eased_way_is_shaded(found):
    (one,) = eased_stretches(found.you)
    time, place = found.you.traces["time"], found.you.traces["distance"] / 0.9144
    began, ended = (np.interp(at, time, place) for at in (3.03, 9.03))
    assert one == pytest.approx((began, ended), abs=1.0)


def test_a_class_s_runs_make_one_table(eased, found, tmp_path):
    row = table_row(found, "Ann", "holding", "slip_band")
    files = run_files(eased, None, "driven")
    for name in ("Ann", "Bob"):
        save_run(tmp_path, files, {**row, "name": name})
    (tmp_path / "run-004").mkdir()
    (tmp_path / "run-004" / RECORD).write_text('{"row": {}}', encoding="utf-8")  # not ours
    save_run(tmp_path, files, {**row, "name": "Cat"})
    write_table(tmp_path)
    with open(tmp_path / "class.csv", encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [r["name"] for r in rows] == ["Ann", "Bob", "Cat"]
    assert [r["run"] for r in rows] == ["run-001", "run-002", "run-005"]
    assert tuple(rows[0]) == COLUMNS and float(rows[0]["distance_m"]) == row["distance_m"]
    assert len(rows_of(tmp_path)) == 3


def test_a_table_that_is_the_user_s_is_not_replaced(eased, tmp_path):
    (tmp_path / "class.csv").write_text("mine", encoding="utf-8")
    save_run(tmp_path, run_files(eased, None, "driven"), {})
    with pytest.raises(InputError, match=r"class.csv"):
        write_table(tmp_path)
    assert (tmp_path / "class.csv").read_text(encoding="utf-8") == "mine"

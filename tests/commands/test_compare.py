"""The comparison: its numbers, its files, its independence of workers, and how it ends early."""

import csv
import io
import json
import math
import multiprocessing
import signal
import time

import pytest

import slipbench.comparison.compare
from slipbench.comparison.compare import (
    ComparedStop,
    Comparison,
    Yardsticks,
    as_csv,
    compare,
    find_yardsticks,
    half_width,
)
from slipbench.comparison.tables import comparison_table
from slipbench.controllers import by_name
from slipbench.ground.errors import InputError
from slipbench.results.quantities import head
from slipbench.scenario import RandomFriction, load_scenario
from slipbench.stop.simulation import simulate
from slipbench.strategies.registry import Known, find_controller

FIXED = [
    "scenario",
    "strategy",
    "seed",
    "uses_truth",
    "initial_speed",
    "shortest_possible",
    "best_found",
    "dry_distance",
]
LINE = ("compare", "frost", "--speed", "20mph", "--workers", "1", "--seeds", "1")


def slow(name: str):
    return load_scenario(name).replace(initial_speed=9.0)


def made_up(distances: dict[str, list[float]], truthful: tuple[str, ...] = ()) -> Comparison:
    """Return a comparison on dry rail with the given distances, a list over the seeds each."""
    rows, strategies = [], []
    marks = Yardsticks(dry_distance=100.0, shortest_possible=80.0)
    for name, values in distances.items():
        known = find_controller("peak_follower" if name in truthful else "none")
        strategies.append(Known(_renamed(known.controller, name), name, "made up"))
        for seed, distance in enumerate(values):
            summary = {
                "stopping_distance": distance,
                "is_stopped": math.isfinite(distance),
                "longest_lock": 0.5 * seed,
                "flat_risk": 0.25,
                "vent_count": 10,
            }
            rows.append(ComparedStop("dry", 30.0, name, name in truthful, seed, marks, summary))
    n_seeds = len(next(iter(distances.values())))
    return Comparison(
        (load_scenario("dry"),), tuple(strategies), n_seeds, {"dry": marks}, tuple(rows)
    )


def _renamed(controller, name):
    import dataclasses

    return dataclasses.replace(controller, name=name)


def test_json_rows_have_every_summary_name(run):
    ran = run(*LINE, "--strategy", "none,peak_follower", "--seeds", "2", "--json")
    rows = json.loads(ran.out)["rows"]
    names = simulate(slow("frost"), by_name("none"), with_traces=False).summary
    assert [list(row) for row in rows] == [[*FIXED, *names]] * 4
    assert [(row["strategy"], row["seed"]) for row in rows] == [
        ("none", 0),
        ("none", 1),
        ("peak_follower", 0),
        ("peak_follower", 1),
    ]
    assert [row["uses_truth"] for row in rows] == [False, False, True, True]
    assert ran.err == ""


def test_rows_are_what_simulate_gives():
    scenario = slow("wet_leaf")
    done = compare([scenario], [find_controller("slip_band")], n_seeds=2, n_workers=1)
    for seed, row in enumerate(done.rows):
        assert row.summary == dict(
            simulate(scenario, by_name("slip_band"), seed, with_traces=False).summary
        )


def test_yardsticks_are_those_of_the_seeds_own_train():
    scenario = slow("frost").replace(initial_speed=6.0)
    done = compare([scenario], [find_controller("none")], n_seeds=2, n_workers=1)
    assert [row.yardsticks for row in done.rows] == [find_yardsticks(scenario, s) for s in (0, 1)]
    dry = [row.yardsticks.dry_distance for row in done.rows]
    assert dry[0] != dry[1]
    assert done.yardsticks["frost"].dry_distance == sum(dry) / 2
    assert done.scores("frost")[0].over_dry == pytest.approx(
        sum(row.summary["stopping_distance"] for row in done.rows) / sum(dry)
    )


def test_half_width_is_students_interval():
    """Two values 8 apart: 12.706 (t of one degree of freedom, common tables) times 4."""
    assert half_width([96.0, 104.0]) == pytest.approx(12.706 * 4.0, rel=1e-4)
    assert math.isnan(half_width([96.0])) and math.isnan(half_width([96.0, math.inf]))


def test_compare_runs_several_trains_unless_told_otherwise(run, tmp_path):
    line = ("compare", "frost", "--speed", "12mph", "--workers", "1", "--strategy", "none")
    ran = run(*line, "--out", tmp_path)
    assert "Means over 4 seeds" in ran.out and "±" in ran.out
    record = json.loads((tmp_path / "compare.json").read_text())
    assert [row["seed"] for row in record["rows"]] == [0, 1, 2, 3]
    assert len({row["stopping_distance"] for row in record["rows"]}) == 4
    assert record["command"] == "slipbench compare frost --strategy none --speed 12mph"


def test_dry_yardstick_is_the_dry_preset_from_the_same_speed():
    marks = find_yardsticks(slow("wet_leaf"))
    dry = simulate(slow("dry"), by_name("none"), with_traces=False)
    assert marks.dry_distance == dry.summary["stopping_distance"]


def test_no_strategy_beats_the_shortest_possible():
    strategies = [find_controller(name) for name in ("none", "slip_band", "peak_follower")]
    done = compare([slow("wet_leaf")], strategies, n_workers=1)
    assert all(score.over_shortest >= 1.0 for score in done.scores("wet_leaf"))


def test_unknown_shortest_possible_shows_a_dash_and_the_reason(run, tmp_path, monkeypatch):
    def refuse(scenario, seed):
        raise InputError("the proof needs what is not there")

    monkeypatch.setattr(slipbench.comparison.compare, "shortest_possible", refuse)
    table = run(*LINE, "--strategy", "none", "--out", tmp_path).out
    assert "cannot be shorter than -" in table
    assert "No floor for frost: the proof needs what is not there" in table
    row = json.loads((tmp_path / "compare.json").read_text())["rows"][0]
    assert row["shortest_possible"] is None
    assert row["dry_distance"] > 0.0


def test_infinite_shortest_possible_is_unknown_too(tmp_path):
    path = tmp_path / "short.toml"
    path.write_text('based_on = "dry"\n[run]\nmaximum_distance_m = 5\n')
    marks = find_yardsticks(load_scenario(path))
    assert math.isnan(marks.shortest_possible) and math.isnan(marks.dry_distance)
    assert "no stop within" in marks.reason


def test_csv_has_the_columns_of_the_json(run, tmp_path):
    run(*LINE, "--strategy", "none", "--out", tmp_path)
    table = list(csv.DictReader(io.StringIO((tmp_path / "compare.csv").read_text())))
    record = json.loads((tmp_path / "compare.json").read_text())
    assert [list(row) for row in table] == [[*map(head, row)] for row in record["rows"]]
    assert float(table[0]["stopping_distance_m"]) == record["rows"][0]["stopping_distance"]
    n_axles = load_scenario("frost").train.n_axles
    assert len(table[0]["locked_time_s"].split(";")) == n_axles


def test_csv_leaves_what_does_not_exist_empty():
    assert as_csv(made_up({"a": [math.nan]}).rows).splitlines()[1].endswith(",,false,0.0,0.25,10")


def test_dry_yardstick_knows_nothing_of_a_random_film():
    """Its friction is drawn instead of the sections' own, so it must go with them."""
    plain = load_scenario("wet_leaf").replace(initial_speed=6.0)
    drawn = plain.replace({"rail.random": RandomFriction(seed=3)})
    assert find_yardsticks(drawn).dry_distance == find_yardsticks(plain).dry_distance


def test_table_of_a_real_run(run, tmp_path):
    ran = run(*LINE, "--strategy", "peak_follower,none", "--out", tmp_path)
    assert "started from 8.94 m/s instead" in ran.out
    order = ["frost:", "    none ", "sees truth, ranked apart", "    peak_follower "]
    places = [ran.out.index(text) for text in order]
    assert places == sorted(places)
    assert f"written to {tmp_path}: compare.json, compare.csv" in ran.out
    look = "slipbench picture frost --strategy none --speed 20mph"
    assert f"next: slipbench report {tmp_path}, or {look}\n" in ran.out
    assert ran.err == ""
    again = run(*LINE, "--strategy", "peak_follower,none", "--out", tmp_path, "--report")
    assert f"next: {look}\n" in again.out  # the page is there already


def test_json_alone_writes_no_file(run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    run(*LINE, "--strategy", "none", "--json")
    assert list(tmp_path.iterdir()) == []


def test_files_go_to_the_named_default(run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    run(*LINE, "--strategy", "none")
    assert (tmp_path / "slipbench-results" / "compare" / "compare.png").is_file()


def test_scores_rank_by_overruns_then_distance():
    done = made_up(
        {
            "long": [120.0, 130.0],
            "often": [math.nan, math.nan],
            "once": [90.0, math.nan],
            "short": [90.0, 100.0],
        }
    )
    assert [score.controller for score in done.scores("dry")] == ["short", "long", "once", "often"]


def test_overrun_is_never_left_out_of_a_mean():
    score = made_up({"a": [90.0, math.nan, 110.0]}).scores("dry")[0]
    assert (score.n_runs, score.n_stopped) == (3, 2)
    assert math.isinf(score.distance) and math.isinf(score.longest_run)
    assert score.shortest_run == 90.0
    assert math.isnan(score.over_dry) and math.isnan(score.over_shortest)


def test_table_counts_overruns_and_shows_the_spread():
    text = comparison_table(made_up({"a": [90.0, math.nan], "b": [96.0, 104.0]}))
    assert "1 of 2 not stopped" in text
    assert "90.0 to overrun" in text
    assert "96.0 to 104.0" in text
    assert "1 of 4 runs did not stop" in text
    line_of_b = next(line for line in text.splitlines() if line.startswith("    b "))
    assert (
        " ".join(line_of_b.split())
        == "b 100.0 ±50.8 96.0 to 104.0 1.00 1.25 0.25 0.50 0.25 10 best"
    )


def test_table_sets_truth_apart_even_when_it_is_best():
    text = comparison_table(made_up({"seer": [81.0], "plain": [99.0]}, truthful=("seer",)))
    assert text.index("    plain") < text.index("sees truth, ranked apart") < text.index("    seer")


def test_result_does_not_depend_on_the_workers(strategy_file):
    scenarios = [slow("frost").replace(initial_speed=6.0)]
    strategies = [find_controller(name) for name in ("slip_band", f"{strategy_file}:MINE")]
    alone = compare(scenarios, strategies, n_seeds=2, n_workers=1)
    pooled = compare(scenarios, strategies, n_seeds=2, n_workers=2)
    # as records: a best found that is not known is NaN, which equals nothing
    assert [r.as_record() for r in pooled.rows] == [r.as_record() for r in alone.rows]
    assert len({row.summary["stopping_distance"] for row in alone.rows}) == 4


def test_interrupted_pool_leaves_no_process():
    before = set(multiprocessing.active_children())

    def interrupt() -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        compare([slow("frost")], [find_controller("none")], 8, n_workers=2, tell=interrupt)
    deadline = time.monotonic() + 10.0
    while set(multiprocessing.active_children()) - before and time.monotonic() < deadline:
        time.sleep(0.05)
    assert set(multiprocessing.active_children()) <= before


def test_interrupt_says_what_was_written_and_exits_130(run, tmp_path, monkeypatch):
    done = []

    def run_one_then_interrupt(scenario, known, seed, **_):
        if done:
            signal.raise_signal(signal.SIGINT)
        done.append(seed)
        return simulate(scenario, known.controller, seed, with_traces=False)

    monkeypatch.setattr(slipbench.comparison.compare, "run_stop", run_one_then_interrupt)
    ran = run(*LINE, "--strategy", "none,slip_band", "--out", tmp_path / "new")
    assert ran.code == 130
    assert ran.err == "slipbench: interrupted after 1 of 3 runs; nothing was written\n"
    assert ran.out == ""
    assert not (tmp_path / "new").exists()

"""The wide table, its intervals, and the frontier, on numbers made up and on one real run."""

import dataclasses
import json
import math

import numpy as np
import pytest
from scipy import stats

from slipbench.comparison.compare import ComparedStop, Comparison, Yardsticks
from slipbench.comparison.standing import cases, frontier_text, half_width, standing_table
from slipbench.scenario import load_scenario
from slipbench.strategies.registry import Known, find_controller

Numbers = dict[str, list[tuple[float, float]]]
"""Strategy to distance [m] and flat risk of each run."""


def made_up(rails: dict[str, Numbers], truthful: str = "", **more: object) -> Comparison:
    marks = Yardsticks(dry_distance=100.0, shortest_possible=80.0)
    dry = load_scenario("dry")
    strategies, rows = [], []
    for name in next(iter(rails.values())):
        controller = find_controller("peak_follower" if name == truthful else "none").controller
        strategies.append(Known(dataclasses.replace(controller, name=name), name, "made up"))
    for rail, numbers in rails.items():
        for name, runs in numbers.items():
            for seed, (distance, risk) in enumerate(runs):
                summary = {
                    "stopping_distance": distance,
                    "is_stopped": math.isfinite(distance),
                    "longest_lock": 0.5,
                    "flat_risk": risk,
                    "vent_count": 10 + seed,
                    **more,
                }
                rows.append(ComparedStop(rail, 30.0, name, name == truthful, seed, marks, summary))
    n_seeds = len(next(iter(next(iter(rails.values())).values())))
    scenarios = tuple(dry.replace(name=rail) for rail in rails)
    return Comparison(
        scenarios, tuple(strategies), n_seeds, dict.fromkeys(rails, marks), tuple(rows)
    )


def line_of(text: str, name: str) -> str:
    line = next(line for line in text.splitlines() if line.strip().startswith(name))
    return " ".join(line.split())


def test_the_interval_is_students() -> None:
    values = [96.0, 104.0, 101.0, 99.5]
    low, high = stats.t.interval(0.95, 3, np.mean(values), stats.sem(values))
    assert half_width(values) == pytest.approx(0.5 * (high - low), rel=1e-9)
    assert math.isnan(half_width([100.0]))
    assert math.isnan(half_width([100.0, math.inf]))


def test_a_row_has_means_and_half_widths() -> None:
    """Of 96 and 104: 100, half-width 12.706 x 4 = 50.8; of 10 and 11 vents: 12.706 x 0.5 = 6."""
    text = standing_table(made_up({"r": {"a": [(96.0, 0.25), (104.0, 0.25)]}}))
    assert line_of(text, "a ") == "a 100.0 ±50.8 1.250 ±0.635 0.50 ±0.00 0.250 ±0.000 10 ±6"
    assert "Means over 2 seeds" in text


def test_an_overrun_is_told_and_never_averaged_away() -> None:
    text = standing_table(made_up({"r": {"a": [(96.0, 0.0), (math.nan, 0.0)]}}))
    assert line_of(text, "a ").startswith("a 1 of 2 not stopped - ")


def test_measures_a_row_has_get_columns() -> None:
    numbers: dict[str, Numbers] = {"r": {"a": [(96.0, 0.0)]}}
    assert "normal L" not in standing_table(made_up(numbers))
    more = {
        "flat_length_low": [0.0, 0.02],
        "flat_length_high": [0.0, 0.06],
        "air_vented_litres": 410.0,
        "low_speed_vents": 7,
    }
    text = standing_table(made_up(numbers, **more))
    assert line_of(text, "a ").endswith("20 60 10 410 7.0")
    assert "One seed, so no intervals" in text


FIELD: dict[str, Numbers] = {
    "one": {"a": [(90.0, 0.0)] * 2, "b": [(95.0, 0.0)] * 2},
    "equal": {"a": [(90.0, 0.0)] * 2, "b": [(90.05, 0.0)] * 2},
    "risky": {"a": [(90.0, 0.1)] * 2, "b": [(95.0, 0.0)] * 2},
    "other": {"a": [(90.0, 0.0)] * 2, "b": [(80.0, 0.0)] * 2},
    "noisy": {"a": [(90.0, 0.0), (94.0, 0.0)], "b": [(94.0, 0.0), (91.0, 0.0)]},
    "overrun": {"a": [(90.0, 0.0)] * 2, "b": [(95.0, 0.0), (math.nan, 0.0)]},
}


def test_who_is_best_where() -> None:
    found = {case.scenario: case for case in cases(made_up(FIELD), "a")}
    assert [name for name, case in found.items() if case.is_best] == ["one", "noisy", "overrun"]
    assert found["one"].is_told and found["overrun"].is_told and not found["noisy"].is_told
    assert found["equal"].shorter == ("b",) and found["other"].shorter == ("b",)
    assert found["risky"].safer == ("b",) and not found["risky"].shorter


def test_the_frontier_says_where_not() -> None:
    text = " ".join(frontier_text(made_up(FIELD)).split())
    assert "a stops shorter than every other strategy" in text
    assert "in 3 of 6 cases, in 2 of them by more than the 95 % interval" in text
    assert "not on equal: as short or shorter: b not on risky: less flat risk: b" in text
    assert "at most it is 12.5 % behind the shortest, on other" in text
    assert "b does so in 1 case" in text


def test_the_frontier_leaves_truth_out() -> None:
    numbers: dict[str, Numbers] = {"r": {"a": [(90.0, 0.0)], "b": [(95.0, 0.0)], "t": [(80, 0.0)]}}
    text = frontier_text(made_up(numbers, truthful="t"))
    assert "a stops shorter" in text and "1 of 1 cases" in text
    assert frontier_text(made_up({"r": {"a": [(9.0, 0.0)], "t": [(8.0, 0.0)]}}, "t")) == ""


def test_nobody_best_is_said() -> None:
    numbers: dict[str, Numbers] = {"r": {"a": [(90.0, 0.5)], "b": [(95.0, 0.0)]}}
    assert "no strategy stops shorter" in frontier_text(made_up(numbers))


def test_several_speeds_give_one_table_and_named_rows(run, tmp_path) -> None:  # type: ignore[no-untyped-def]
    line = ("compare", "frost", "--speed", "10mph,15mph", "--workers", "1")
    ran = run(*line, "--strategy", "none,slip_band", "--seeds", "2", "--out", tmp_path)
    rows = json.loads((tmp_path / "compare.json").read_text())["rows"]
    assert {row["scenario"] for row in rows} == {"frost at 10mph", "frost at 15mph"}
    assert len({row["initial_speed"] for row in rows}) == 2
    assert "±" in ran.out and "Frontier: " in ran.out
    table = (tmp_path / "table.txt").read_text()
    assert table.split("\n\nSimulation")[0] in ran.out


@pytest.mark.parametrize("speeds", ["10mph,", "10mph,10mph", "10mph,fast"])
def test_bad_lists_of_speeds_are_refused(run, speeds: str) -> None:  # type: ignore[no-untyped-def]
    ran = run("compare", "frost", "--speed", speeds)
    assert ran.code == 2 and ran.err.count("\n") == 1

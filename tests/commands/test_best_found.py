"""The command `best-found`, the plans that come with the package, and what a plan does."""

import json
import math
import re

import pytest
from tests.places import ROOT

from slipbench.comparison.possible.plan import DEEPEST, Plan
from slipbench.comparison.possible.search import Found, distance_of, plan_of_numbers, planned_places
from slipbench.comparison.possible.store import (
    best_found,
    found_for,
    key_of,
    plans_in,
    plans_text,
    shipped_plans,
)
from slipbench.contract import COLUMN
from slipbench.ground.errors import InputError
from slipbench.scenario import load_scenario, scenario_names
from slipbench.stop.shortest import shortest_possible
from slipbench.stop.simulation import simulate


def test_every_shipped_scenario_has_a_plan_that_keeps_what_it_says():
    for name in scenario_names():
        found = found_for(load_scenario(name), shipped_plans())
        assert found is not None, name
        assert found.n_tried > 50
    scenario = load_scenario("detergent")
    kept = found_for(scenario, shipped_plans())
    # the equipment may have changed by what a version does; a plan is never worthless for that
    assert distance_of(scenario, kept.plan) == pytest.approx(kept.distance, rel=0.01)


def test_floor_and_best_found_are_within_ten_per_cent_on_wet_leaf():
    scenario = load_scenario("wet_leaf")
    floor, best = shortest_possible(scenario), best_found(scenario)
    assert 0.9 * best < floor < best


GAPS = re.compile(r"\| `(\w+)` \| ([\d,.]+) m \| ([\d,.]+) m \| ([\d.]+) % \|")
TOLD = GAPS.findall((ROOT / "bench/guide/how-sure.md").read_text(encoding="utf-8"))


def test_the_handbook_tells_the_gap_of_every_shipped_rail():
    assert [row[0] for row in TOLD] == list(scenario_names())
    for _, floor, best, gap in TOLD:
        floor, best = (float(number.replace(",", "")) for number in (floor, best))
        assert float(gap) == pytest.approx(100.0 * (best - floor) / best, abs=0.06)


@pytest.mark.slow
@pytest.mark.parametrize("row", TOLD, ids=lambda row: row[0])
def test_the_gap_told_is_that_of_the_stops_and_within_ten_per_cent(row):
    scenario = load_scenario(row[0])
    floor, best = shortest_possible(scenario), best_found(scenario)
    told = [float(number.replace(",", "")) for number in row[1:3]]
    assert [floor, best] == pytest.approx(told, rel=1e-3)
    assert 0.9 * best < floor < best


def test_a_plan_holds_each_axle_at_its_depth():
    scenario = load_scenario("wet_leaf").replace(initial_speed=20.0)
    stop = simulate(scenario, Plan.of_axles([1.0] * 4 + [0.0] * 12).controller)
    speed = stop.traces["train_speed"]
    late = (speed > 8.0) & (speed < 15.0)
    slip = 1.0 - stop.traces["wheel_speed"][late] / speed[late, None]
    assert slip[:, :4] == pytest.approx(DEEPEST, abs=0.02)
    assert slip[:, 4].max() < 0.15


def test_depths_run_linearly_between_places_and_hold_beyond():
    plan = Plan((0.0, 100.0), ((0.0, 1.0),))
    assert plan.controller.parameter_values.tolist() == [100.0, 0.0, 1.0]
    memory = [[0.0] * 3 for _ in range(2)]
    found = []
    import numpy as np

    own = np.array(memory)
    row = np.zeros((1, len(COLUMN)))
    for place in (0.0, 50.0, 100.0, 150.0):
        own[:] = 0.0
        own[1, 0] = place

        row[0, COLUMN["train_speed"]], row[0, COLUMN["wheel_speed"]] = 20.0, 20.0
        row[0, COLUMN["peak_creepage"]], row[0, COLUMN["sample_time"]] = 0.02, 0.01
        row[0, COLUMN["demanded_force"]], row[0, COLUMN["rotating_mass"]] = 1e9, 1.0
        command, signals = np.zeros((1, 2)), np.zeros(2)
        plan.controller.update(row, plan.controller.parameter_values, own, command, signals)
        # the force is that of slowing to the planned creepage within a tenth of a second
        slip = command[0, 1] * 1e9 * 0.1 / 20.0
        found.append(min(slip, 0.1))  # asked for at most 2 m/s in that time
    assert found == pytest.approx([0.02, 0.1, 0.1, 0.1])


def test_numbers_of_deep_axles_make_a_plan():
    plan = plan_of_numbers(3, [0.0, 10.0], [1.5, 0.0])
    assert plan.depths == ((1.0, 0.0), (0.5, 0.0), (0.0, 0.0))
    expected = [0.0, 293.3, 586.7, 880.0, 936.0, 976.0]
    assert planned_places(1000.0, 80.0, 6) == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize(
    "plan", [((1.0,), ((0.0,),)), ((0.0, 0.0), ((0.0, 0.0),)), ((0.0,), ((1.5,),)), ((0.0,), ())]
)
def test_a_plan_that_makes_no_sense_is_refused(plan):
    with pytest.raises(InputError, match="plan"):
        Plan(*plan)


def test_plans_are_read_as_they_were_written(tmp_path):
    scenario = load_scenario("frost")
    kept = {key_of(scenario): Found(Plan((0.0, 5.0), ((0.25, 1.0),) * 16), 700.0, 9)}
    file = tmp_path / "plans.json"
    file.write_text(plans_text(kept, "by hand"))
    assert plans_in(file) == kept
    assert found_for(scenario, kept) == kept[key_of(scenario)]
    assert found_for(scenario.replace(initial_speed=10.0), kept) is None
    assert math.isnan(best_found(scenario.replace(initial_speed=10.0)))


@pytest.mark.parametrize("text", ["", "[]", '{"format": "x"}', '{"format": "slipbench plans 1"}'])
def test_a_file_without_plans_is_one_line(tmp_path, text):
    file = tmp_path / "plans.json"
    file.write_text(text)
    with pytest.raises(InputError, match=r"plans\.json"):
        plans_in(file)


def test_the_command_prints_the_gap_and_writes_what_it_found(run, tmp_path):
    file = tmp_path / "plans.json"
    line = ("best-found", "frost", "--speed", "15mph", "--budget", "20", "--workers", "1")
    ran = run(*line, "--to", file)
    assert "cannot be shorter" in ran.out and "frost" in ran.out
    kept = json.loads(file.read_text())
    assert kept["command"] == "slipbench best-found frost --budget 20 --speed 15mph"
    (plan,) = kept["plans"].values()
    numbers = next(row for row in ran.out.splitlines() if row.startswith("frost")).split()
    assert float(numbers[1]) < float(numbers[2])
    assert plan["distance"] == pytest.approx(float(numbers[2]), abs=0.1)

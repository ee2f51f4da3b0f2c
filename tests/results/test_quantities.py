"""One table of every result: nothing a stop returns is missing in it, and it feeds all files."""

import csv
import io
import json
import math

import numpy as np
import pandas as pd
import pytest

import slipbench
from slipbench.campaign.campaign import run_campaign
from slipbench.campaign.export import to_frame
from slipbench.campaign.plan import Plan
from slipbench.campaign.store import Store
from slipbench.commands.main import main
from slipbench.ground.errors import InputError
from slipbench.kernel.columns import TRACED_AXLE, TRACED_TRAIN
from slipbench.results.quantities import (
    AXLE_TRACE,
    AXLES,
    BANDS,
    BESIDE,
    QUANTITIES,
    SANDERS,
    SUMMARY,
    TRACED,
    TRACES,
    head,
)
from slipbench.running.candidate import candidate_of
from slipbench.running.runners import make_runner
from slipbench.strategies.registry import find_controller

SHORT = slipbench.load_scenario("wet_leaf").replace(initial_speed=3.0)


@pytest.fixture(scope="module")
def stop() -> slipbench.Stop:
    return slipbench.simulate(SHORT, "none")


def test_the_table_is_complete(stop):
    assert {q.name for q in SUMMARY} == set(stop.summary)
    assert [q.name for q in TRACES] == [*TRACED_TRAIN, *TRACED_AXLE]
    assert {q.name for q in TRACES if q.of == AXLE_TRACE} == set(TRACED_AXLE)


def test_the_table_says_how_many_values_there_are(stop):
    counts = {AXLES: SHORT.train.n_axles, SANDERS: len(SHORT.sanders), BANDS: 7}
    for name, value in stop.summary.items():
        quantity = QUANTITIES[name]
        assert isinstance(value, list) == quantity.is_list, name
        if quantity.is_list:
            assert len(value) == counts[quantity.of] or quantity.of == BANDS, name


def test_every_line_of_the_table_is_filled_in_once():
    names = [q.name for q in (*SUMMARY, *BESIDE)]
    assert len(set(names)) == len(names)
    heads = [head(name) for name in names]
    assert len(set(heads)) == len(heads)
    for q in (*SUMMARY, *BESIDE, *TRACES):
        assert q.meaning and q.origin and q.meaning[0].islower(), q.name


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("stopping_distance", "stopping_distance_m"),
        ("final_speed", "final_speed_m_per_s"),
        ("mean_deceleration", "mean_deceleration_m_per_s2"),
        ("locked_time.12", "locked_time_s.12"),
        ("rail_heat_largest", "rail_heat_largest_j_per_m"),
        ("vent_count", "vent_count"),
        ("is_stopped", "is_stopped"),
        ("parameter.look_ahead", "parameter.look_ahead"),
        ("made_up", "made_up"),
    ],
)
def test_a_head_carries_the_unit(name, expected):
    assert head(name) == expected


def test_every_unit_of_the_table_has_a_suffix_or_is_none():
    for q in (*SUMMARY, *BESIDE):
        has_none = q.unit in ("", "-", "normal litres")
        assert (head(q.name) == q.name) == has_none, q


def test_json_says_schema_and_units(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    line = ["dry", "--speed", "5mph", "--strategy", "none", "--json"]
    assert main(["stop", *line]) == 0
    one = json.loads(capsys.readouterr().out)
    assert one["schema_version"] == 1
    assert one["units"]["stopping_distance"] == "m" and one["strategy"] == "none"
    assert main(["compare", *line, "--workers", "1", "--out", "here"]) == 0
    many = json.loads(capsys.readouterr().out)
    assert many["schema_version"] == 1
    assert many["units"]["shortest_possible"] == "m"
    row = many["rows"][0]
    assert set(row) - {q.name for q in (*SUMMARY, *BESIDE)} <= {"failure"}
    table = csv.reader(io.StringIO((tmp_path / "here" / "compare.csv").read_text()))
    assert next(table) == [head(name) for name in row]
    assert json.loads((tmp_path / "here" / "compare.json").read_text())["schema_version"] == 1


def test_a_stop_as_a_frame(stop):
    frame = stop.to_frame()
    assert len(frame) == 1
    assert frame.loc[0, "stopping_distance"] == stop.summary["stopping_distance"]
    assert frame.loc[0, "locked_time.16"] == stop.summary["locked_time"][15]
    assert frame.attrs["units"]["stopping_distance"] == "m"


def test_a_stop_as_a_dataset(stop):
    dataset = stop.to_dataset()
    assert dataset.sizes == {"time": len(stop.traces["time"]), "axle": 16}
    for name in TRACED:
        assert dataset[name].attrs["units"] == TRACED[name].unit
        np.testing.assert_array_equal(dataset[name].values, stop.traces[name])
    assert dataset.attrs["strategy"] == "none"
    assert dataset.attrs["stopping_distance"] == stop.summary["stopping_distance"]
    assert float(dataset["wheel_speed"].sel(axle=1)[0]) == stop.traces["wheel_speed"][0, 0]


def test_a_stop_without_traces_has_no_dataset():
    with pytest.raises(InputError, match="no traces"):
        slipbench.simulate(SHORT, "none", with_traces=False).to_dataset()


def test_a_missing_library_is_one_line(stop, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "pandas", None)
    with pytest.raises(InputError, match="extra `tables`"):
        stop.to_frame()


def test_a_campaign_as_a_frame(tmp_path):
    plan = Plan([SHORT], (candidate_of(find_controller("none")),), seeds=range(2))
    with Store(tmp_path / "c.sqlite") as store:
        run_campaign(plan, store, make_runner(1), is_quiet=True)
        frame = to_frame(store)
    assert isinstance(frame, pd.DataFrame) and list(frame["seed"]) == [0, 1]
    assert frame.attrs["units"]["stopping_distance"] == "m"
    assert math.isfinite(frame["stopping_distance"].sum())

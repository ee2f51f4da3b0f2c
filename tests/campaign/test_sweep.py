"""Factors read with units, refused out of range; sweeps of one value; varied values in exports."""

import csv
import json

import numpy as np
import pytest
from tests.figures.legibility import faults

from slipbench.campaign.export import column_names, columns, varied_values
from slipbench.campaign.factors import factor_lines, read_factor
from slipbench.campaign.plan import Plan, design_scenarios
from slipbench.campaign.sweep import read_setting, run_sweep
from slipbench.campaign.variation import RAIL_ASSUMPTIONS, fitted, scenario_at
from slipbench.commands.sweep import sweep_csv, sweep_text
from slipbench.controllers import by_name
from slipbench.figures import style
from slipbench.figures.sweep import draw_sweep
from slipbench.ground.errors import InputError
from slipbench.running.runners import HereRunner
from slipbench.scenario import load_scenario
from slipbench.statistics.designs import Factor
from slipbench.strategies.registry import find_controller

SLIP_BAND = (by_name("slip_band"),)
GRID = Factor("rail.sections.*.friction", 0.1, 0.3, levels=(0.3, 0.1))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("fill_slip=0.05:0.3", Factor("fill_slip", 0.05, 0.3)),
        ("fill_slip=5%:30%", Factor("fill_slip", 0.05, 0.3)),
        ("film.friction=0.5:2:log", Factor("film.friction", 0.5, 2.0, is_log=True)),
        ("film.friction=0.5x:2x", Factor("film.friction", 0.5, 2.0)),
        ("brake.fill_delay=20ms:60ms", Factor("brake.fill_delay", 0.02, 0.06)),
        ("brake.fill_delay=20:60ms", Factor("brake.fill_delay", 0.02, 0.06)),
        ("rail.section.friction=0.3,0.1", GRID),
        ("initial_speed=36km/h:72km/h", Factor("initial_speed", 10.0, 20.0)),
        ("sensing.teeth=80:120", Factor("sensing.teeth", 80.0, 120.0)),
    ],
)  # fmt: skip
def test_factor_is_read_with_its_unit(text, expected):
    found, _, varied = read_factor(text, SLIP_BAND)
    assert found == expected
    assert varied.is_multiplier == (found.name == "film.friction")


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("a", "write KEY=LOW:HIGH"),
        ("=1:2", "write KEY=LOW:HIGH"),
        ("brake.fill_delay=20:60", "a unit is needed; allowed: a number with its unit: s, ms, us"),
        ("brake.fill_delay=20mph:60ms", "unknown unit 'mph'"),
        ("brake.fil_delay=20ms:60ms", "did you mean fill_delay?"),
        ("film.frictoin=1:2", "did you mean film.friction?"),
        ("fil_slip=1:2", "did you mean fill_slip?"),
        ("brake.air=1:2", "holds no single number"),
        ("brake.steps=1m/s2:2m/s2", "holds no single number"),
        ("sensing.teeth=80:90.5", "whole numbers"),
        ("fill_slip=0.3:0.1", "the lower one first"),
        ("fill_slip=1:2:lin", "write KEY=LOW:HIGH"),
        ("fill_slip=0:1:log", "a logarithmic scale needs > 0"),
    ],
)
def test_factor_that_cannot_be_read_is_one_line(text, hint):
    with pytest.raises(InputError) as caught:
        read_factor(text, SLIP_BAND)
    assert hint in str(caught.value) and len(str(caught.value).splitlines()) == 1


def test_lines_say_what_is_a_multiplier_and_in_which_unit():
    space = tuple(read_factor(t)[0] for t in ("film.friction=0.5:2", "brake.fill_delay=20:60ms"))
    first, second = factor_lines(space)
    assert first.startswith("varied: film.friction from 0.5 to 2; a multiplier: times")
    assert second.startswith("varied: brake.fill_delay from 0.02 to 0.06 s; Mechanical delay")


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("film.friction", 3.0), ("film.friction", 0.005), ("film.recovery", 20.0),
        ("film.cleaning_work", 1e6), ("film.stiffness", 1.5), ("brake.fill_delay", 2.0),
    ],
)  # fmt: skip
def test_what_leaves_the_physical_range_is_refused_not_clamped(name, value):
    base = load_scenario("dry" if name in ("film.friction", "film.stiffness") else "detergent")
    with pytest.raises(InputError, match=r"leaves its range|out of range"):
        scenario_at(base, (Factor(name, value, value),), (value,))


def test_bounds_nobody_chose_are_fitted_to_the_rail():
    dry, leaf = load_scenario("dry"), load_scenario("wet_leaf")
    for scenarios in ([dry], [leaf], [dry, leaf]):
        space = fitted(RAIL_ASSUMPTIONS, scenarios)
        for factor, wide in zip(space, RAIL_ASSUMPTIONS, strict=True):
            assert wide.low <= factor.low < factor.high <= wide.high
            for scenario in scenarios:
                for end in (factor.low, factor.high):
                    scenario_at(scenario, (factor,), (end,))


def test_values_that_stay_keep_their_source():
    leaf = load_scenario("wet_leaf")
    made = scenario_at(leaf, (Factor("film.friction", 1.0, 2.0),), (2.0,))
    kept = made.provenance
    assert "rail.sections.0.friction" not in kept
    assert kept["rail.sections.0.cleaning_work"] == leaf.provenance["rail.sections.0.cleaning_work"]


@pytest.fixture(scope="module")
def swept():
    known = [find_controller("none"), find_controller("slip_band")]
    scenario = load_scenario("wet_leaf").replace(initial_speed=8.0)
    setting = read_setting("brake.fill_delay=20ms:60ms:3", [k.controller for k in known])
    return run_sweep(scenario, known, ["none", "slip_band"], setting, 2, HereRunner())


def test_sweep_is_the_stops_with_the_value_set(swept):
    from slipbench import simulate

    scenario = swept.scenario.replace({"brake.fill_delay": 0.04})
    alone = simulate(scenario, "slip_band", 1, with_traces=False)
    assert swept.summaries[1][1][1]["stopping_distance"] == alone.summary["stopping_distance"]
    assert [swept.setting.written(v) for v in swept.setting.values] == ["20", "40", "60"]


def test_table_csv_and_picture_of_a_sweep(swept):
    text = sweep_text(swept)
    assert "brake.fill_delay\n" in text.replace("  ", "") or "[ms]" in text
    assert "Mean of 2 seeds (least to greatest)." in text and "Mechanical delay" in text
    rows = list(csv.DictReader(sweep_csv(swept).splitlines()))
    assert len(rows) == 3 * 2 * 2
    assert {row["brake.fill_delay [s]"] for row in rows} == {"0.02", "0.04", "0.06"}
    found = [float(row["stopping_distance_m"]) for row in rows if row["strategy"] == "none"]
    expected = [s["stopping_distance"] for row in swept.summaries for s in row[0]]
    assert found == expected
    figure = draw_sweep(swept, style.looks(["none", "slip_band"]))
    assert figure.axes[-1].get_xlabel() == "brake.fill_delay [ms]"
    assert faults(figure) == []
    assert all("[" in axes.get_ylabel() for axes in figure.axes)


def test_parameter_is_swept_too():
    known = find_controller("slip_band")
    setting = read_setting("fill_slip=5%:20%:2", [known.controller])
    scenario = load_scenario("wet_leaf").replace(initial_speed=6.0)
    found = run_sweep(scenario, [known], ["slip_band"], setting, 1, HereRunner())
    assert setting.values == (0.05, 0.2) and len(found.summaries) == 2


@pytest.mark.parametrize("text", ["brake.fill_delay", "brake.fill_delay=1ms", "sensing.teeth=8:9:1",
                                  "fill_slip=0.1:0.2:many"])  # fmt: skip
def test_setting_that_cannot_be_read_is_one_line(text):
    with pytest.raises(InputError) as caught:
        read_setting(text, SLIP_BAND)
    assert len(str(caught.value).splitlines()) == 1


def test_sweep_out_of_range_is_refused_before_anything_is_run(run_line, tmp_path):
    code, _, err = run_line("sweep", "brake.fill_delay=20ms:9s", "dry", "--strategy", "none")
    assert code == 2 and err.count("\n") == 1 and "brake.fill_delay" in err


@pytest.fixture
def run_line(capsys, tmp_path, monkeypatch):
    from slipbench.commands.main import main

    monkeypatch.chdir(tmp_path)

    def run(*words):
        code = main(list(words))
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


def test_varied_values_are_columns_of_an_export(small, stub, tmp_path, candidates):
    from slipbench.campaign.campaign import run_campaign
    from slipbench.campaign.store import Store

    base = small
    space = (Factor("film.friction", 0.5, 2.0), Factor("brake.fill_delay", 0.02, 0.06))
    points = np.array([[0.5, 0.02], [2.0, 0.06]])
    made = Plan(design_scenarios(base, space, points), tuple(candidates))
    with Store(tmp_path / "varied.sqlite") as store:
        run_campaign(made, store, stub(), is_quiet=True)
        names = column_names(store)
        table = columns(store)
        values = varied_values(store)
    assert "scenario.brake.fill_delay_s" in names
    friction = next(n for n in names if n.startswith("scenario.rail.sections") and "friction" in n)
    assert set(table["scenario.brake.fill_delay_s"].tolist()) == {0.02, 0.06}
    own = base.rail.sections[0].friction
    assert sorted(set(table[friction].tolist())) == pytest.approx([0.5 * own, 2.0 * own])
    assert json.dumps(values)

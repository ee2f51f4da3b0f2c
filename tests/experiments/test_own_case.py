"""Experiments ask their question of the user's own train, rail, driver and strategy."""

import json
import math
import re

import pytest

from slipbench.commands.main import main
from slipbench.experiments import (
    ALL_EXPERIMENTS,
    how_locked_wheels_clean,
    what_breaks_first,
    what_the_low_speed_cut_out_costs,
    when_to_ease,
)
from slipbench.experiments.asked import (
    NOTHING,
    PARTS,
    Asked,
    asking,
    own_rails,
    own_scenario,
    own_strategies,
    own_strategy,
)
from slipbench.experiments.notebook import Options
from slipbench.ground.errors import InputError

QUICK = Options(is_quick=True)


def test_nothing_asked_is_the_experiment_s_own():
    with asking(NOTHING):
        assert own_scenario("wet_leaf").name == "wet_leaf"
        assert own_rails(("a", "b")) == ("a", "b")
        assert own_strategy("slip_band").name == "slip_band"


def test_parts_asked_for_stand_instead():
    with asking(Asked(rail="grease", strategy="deep_slip, none", train="four_cars_dynamic")):
        scenario = own_scenario("wet_leaf")
        assert own_rails(("wet_leaf", "frost")) == ("grease",)
        assert own_strategies(("slip_band",)) == ("deep_slip", "none")
        assert own_strategy("slip_band").name == "deep_slip"
        assert any(car.dynamic_brake is not None for car in scenario.train.vehicles)
        grease = own_scenario("grease").rail.sections
        assert scenario.rail.sections == grease
        kept = own_scenario("dry", keeps_rail=True)
        assert kept.rail.sections != grease
    assert own_scenario("wet_leaf").rail.sections != grease  # put back


def test_every_experiment_knows_what_it_sets_itself():
    for item in ALL_EXPERIMENTS:
        experiment = item.load()
        assert set(experiment.sets) <= set(PARTS)
        for part, why in experiment.sets.items():
            with pytest.raises(
                InputError, match=re.escape(f"--{part}: {item.name} sets it itself: {why}")
            ):
                experiment.answer(QUICK, Asked(**{part: "x"}))


def test_an_answer_is_of_the_rail_and_strategy_asked_for():
    experiment = what_the_low_speed_cut_out_costs.EXPERIMENT
    answer = experiment.answer(QUICK, Asked(rail="frost", strategy="deep_slip"))
    assert {row["rail"] for row in answer.rows} == {"frost"}
    assert {row["strategy"] for row in answer.rows} == {"deep_slip"}
    own = experiment.answer(QUICK)
    assert {row["rail"] for row in own.rows} == {"wet_leaf"}


def test_an_answer_is_of_the_train_asked_for():
    dynamic = Asked(train="four_cars_dynamic")
    one, other = (when_to_ease.EXPERIMENT.answer(QUICK, asked) for asked in (NOTHING, dynamic))
    assert one.notes != other.notes  # braking begins elsewhere
    assert all(math.isfinite(row["past_the_platform_end"]) for row in other.rows)


def test_faults_a_train_has_no_part_for_are_told_and_left_out():
    found, without = what_breaks_first.can_break(what_breaks_first.faults())
    assert without == ["dynamic brake lost", "track brake lost", "line lost"]
    with asking(Asked(train="four_cars_dynamic")):
        scenario = what_breaks_first.scenario_with((), is_quick=True)
    assert scenario.train.name != what_breaks_first.scenario_with((), is_quick=True).train.name
    assert "nothing" in found


@pytest.mark.parametrize(
    "line",
    [["how_locked_wheels_clean", "--strategy", "none"], ["when_to_ease", "--rail", "no_such_rail"]],
)
def test_what_does_not_fit_is_one_line(line, capsys, tmp_path):
    out = tmp_path / "out"
    assert main(["experiment", *line, "--quick", "--out", str(out)]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and ("sets it itself" in said or "no_such_rail" in said)
    assert not out.exists()
    assert how_locked_wheels_clean.EXPERIMENT.sets["strategy"]


def test_all_questions_are_one_page(tmp_path, capsys):
    folder = tmp_path / "page"
    line = ["experiment", "--all", "--html", str(folder), "--quick"]
    only = ["--only", "when_to_ease,what_sand_buys", "--rail", "dry"]
    assert main([*line, *only]) == 0
    assert "1 of 2 questions answered" in capsys.readouterr().out
    page = (folder / "experiments.html").read_text(encoding="utf-8")
    record = json.loads((folder / "experiments.json").read_text())
    assert record["rail"] == "dry"
    told = record["answers"]["when_to_ease"]
    assert told[1:] in page and page.count("data:image/png;base64,") == 1
    assert "Not asked of this case: --rail: what_sand_buys sets it itself" in page
    assert page.count("approves nothing") == 2 and "http" not in page.replace("http-equiv", "")
    assert (folder / "when_to_ease.csv").exists() and not (folder / "what_sand_buys.csv").exists()
    assert main(["experiment", "--all"]) == 2
    assert "--html" in capsys.readouterr().err
    assert main(["experiment", "--all", "--html", str(tmp_path), "--only", "nothing"]) == 2

"""Sentences of the experiments on sand, strategies and certainty agree with their tables."""

import pytest

from experiments import how_sure_are_we, what_sand_buys, which_strategy
from experiments.notebook import Options, as_csv, as_text

QUICK = Options(is_quick=True)
ALL = [
    what_sand_buys,
    *(pytest.param(m, marks=pytest.mark.slow) for m in (how_sure_are_we, which_strategy)),
]


@pytest.mark.parametrize("module", ALL, ids=lambda module: module.__name__.split(".")[-1])
def test_experiment_answers_with_table_picture_and_sentence(module):
    answer = module.investigate(QUICK)
    name = module.__name__.split(".")[-1]
    assert module.EXPERIMENT.name == name
    assert answer.sentence.endswith(".") and "nan" not in answer.sentence
    assert list(answer.figures) == [name]
    assert as_csv(answer).count("\n") == len(answer.rows) + 1
    assert answer.sentence in as_text(answer)


def test_sand_shortens_in_the_order_of_the_trial():
    rows = what_sand_buys.investigate(QUICK).rows
    distances = [row["distance"] for row in rows]
    assert distances == sorted(distances, reverse=True)
    assert rows[0]["sand_used"] == 0.0 < min(row["sand_used"] for row in rows[1:])
    said = what_sand_buys.sentence(rows)
    assert f"{distances[-1]:.0f} m instead of {distances[0]:.0f} m" in said
    assert f"{max(abs(row['off_by']) for row in rows[1:]):.0f} %" in said


def standing(strategy, over):
    return {"rail": "ice", "strategy": strategy, "over_shortest_possible": over}


def test_sentence_on_strategies_counts_cases():
    rows = [standing("a", 1.2), standing("b", 1.4)]
    assert "in none of 1 cases" in which_strategy.sentence(rows, {"a": 0, "b": 0})
    said = which_strategy.sentence(rows, {"a": 1, "b": 0})
    assert said.startswith("a stops shorter") and "1 of 1 cases" in said and "1.20 to 1.20" in said


def cause(kind, width):
    row = {"strategy": "a", "kind": kind, "what": f"{kind} thing", "half_width": width}
    return {**row, "lower": -width, "upper": width}


@pytest.mark.parametrize(
    ("widths", "end"),
    [((0.1, 0.5, 20.0), "not the arithmetic."), ((5.0, 0.5, 6.0), "not fine enough here.")],
)
def test_sentence_on_certainty_compares_numerics_with_assumptions(widths, end):
    kinds = (how_sure_are_we.NUMERICS, how_sure_are_we.CHANCE, how_sure_are_we.ASSUMED)
    rows = [cause(kind, width) for kind, width in zip(kinds, widths, strict=True)]
    said = how_sure_are_we.sentence(rows)
    assert said.endswith(end)
    assert f"{widths[0]:.2f} %" in said


def test_changed_value_is_the_scenarios_times_the_factor():
    scenario = how_sure_are_we.load_scenario("wet_leaf")
    own = how_sure_are_we.changed(scenario, "rail.sections.0.cleaning_work", 2.0)
    expected = 2.0 * scenario.rail.sections[0].cleaning_work
    assert own.rail.sections[0].cleaning_work == expected

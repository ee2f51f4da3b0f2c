"""Sentences of the experiments on rail, strategies and confidence agree with their tables."""

import pytest

from experiments import why_holding_beats_easing
from experiments.notebook import Options, as_csv, as_text

QUICK = Options(is_quick=True)


@pytest.fixture(scope="module")
def answered():
    """Return a function that runs an experiment once."""
    kept = {}

    def answer(module):
        if module not in kept:
            kept[module] = module.investigate(QUICK)
        return kept[module]

    return answer


ALL = (why_holding_beats_easing,)


@pytest.mark.parametrize("module", ALL, ids=lambda module: module.__name__.split(".")[-1])
def test_experiment_answers_with_table_picture_and_sentence(module, answered):
    answer = answered(module)
    name = module.__name__.split(".")[-1]
    assert module.EXPERIMENT.name == name
    assert answer.sentence == module.sentence(answer.rows)
    assert answer.sentence.endswith(".")
    assert "nan" not in answer.sentence
    assert next(iter(answer.figures)) == name
    assert as_csv(answer).count("\n") == len(answer.rows) + 1
    assert answer.sentence in as_text(answer)


def test_easing_costs_most_where_sliding_cleans(answered):
    answer = answered(why_holding_beats_easing)
    rows = {(row["rail"], row["brake"]): row for row in answer.rows}
    way = why_holding_beats_easing.EASED
    cleaned, tough = (rows[rail, way] for rail in why_holding_beats_easing.DRAWN_RAILS)
    assert cleaned["share_longer"] > 0.15 > tough["share_longer"]
    for row in (cleaned, tough):
        assert f"runs {row['longer_than_held']:.0f} m" in answer.sentence


def test_sentence_on_easing_says_where_it_costs_nothing():
    """On a table made up for the test."""
    row = {"rail": "glass", "brake": "held", "distance": 500.0, "longer_than_held": 0.0}
    rows = [{**row, "share_longer": 0.0}]
    for way, share in (("eased to step 1", 0.004), ("released and re-applied", 0.2)):
        rows.append({**row, "brake": way, "longer_than_held": 500 * share, "share_longer": share})
    sentence = why_holding_beats_easing.sentence(rows)
    assert "released and re-applied it runs 100 m (20%) farther" in sentence
    assert "eased to step 1 it does not stop later (within 1%)" in sentence

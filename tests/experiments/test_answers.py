"""What every experiment answers with: a table, a picture of its name, a sentence from the rows."""

import os
from pathlib import Path

import pytest
from tests.figures.legibility import faults

from slipbench.experiments import (
    disc_or_tread,
    does_load_matter,
    how_deep_should_it_slip,
    how_locked_wheels_clean,
    how_sure_are_we,
    how_the_brake_builds_up,
    what_breaks_first,
    what_isolation_costs,
    what_moved_demand_gains,
    what_real_equipment_costs,
    what_sand_buys,
    what_the_dynamic_brake_does,
    what_the_low_speed_cut_out_costs,
    when_to_ease,
    where_the_verdict_turns,
    where_to_start_braking,
    which_cleaning_law_fits,
    which_strategy,
    who_cleans_the_rail,
    why_holding_beats_easing,
)
from slipbench.experiments.notebook import as_csv, as_text
from slipbench.figures import style

QUICK_ONES = (
    disc_or_tread,
    does_load_matter,
    how_deep_should_it_slip,
    how_locked_wheels_clean,
    how_the_brake_builds_up,
    what_breaks_first,
    what_isolation_costs,
    what_moved_demand_gains,
    what_real_equipment_costs,
    what_sand_buys,
    what_the_dynamic_brake_does,
    what_the_low_speed_cut_out_costs,
    when_to_ease,
    where_to_start_braking,
    which_cleaning_law_fits,
    which_strategy,
    who_cleans_the_rail,
    why_holding_beats_easing,
)
SLOW_ONES = (how_sure_are_we, where_the_verdict_turns)
"""Past ten seconds in their quick form."""
ALL = [*QUICK_ONES, *(pytest.param(module, marks=pytest.mark.slow) for module in SLOW_ONES)]


@pytest.mark.parametrize("module", ALL, ids=lambda module: module.__name__.split(".")[-1])
def test_answer_has_table_picture_and_sentence(module, answered):
    answer = answered(module)
    name = module.__name__.split(".")[-1]
    assert module.EXPERIMENT.name == name
    assert answer.sentence == module.sentence(answer.rows)
    assert answer.sentence.endswith(".")
    assert "nan" not in answer.sentence
    assert next(iter(answer.figures)) == name
    assert as_csv(answer).count("\n") == len(answer.rows) + 1
    assert answer.sentence in as_text(answer)


READ = [*QUICK_ONES, pytest.param(how_sure_are_we, marks=pytest.mark.slow)]
"""Its planes are those of `figures/verdict.py`, which names keys of the scenario without units."""


@pytest.mark.parametrize("module", READ, ids=lambda module: module.__name__.split(".")[-1])
def test_pictures_of_answers_can_be_read(module, answered):
    for name, figure in answered(module).figures.items():
        keep(name, figure)
        assert faults(figure) == [], name


def keep(name, figure):
    """Write a picture where KEEP_PICTURES names a folder, to be looked at."""
    if folder := os.environ.get("KEEP_PICTURES"):
        with style.styled():
            figure.savefig(Path(folder) / f"{name}.png", dpi=100)

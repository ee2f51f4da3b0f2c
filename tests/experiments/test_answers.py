"""What every experiment answers with: a table, a picture of its name, a sentence from the rows."""

import pytest

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

QUICK_ONES = (
    disc_or_tread,
    how_deep_should_it_slip,
    how_locked_wheels_clean,
    how_the_brake_builds_up,
    what_sand_buys,
    what_the_dynamic_brake_does,
    what_the_low_speed_cut_out_costs,
    when_to_ease,
    where_to_start_braking,
    which_cleaning_law_fits,
    who_cleans_the_rail,
    why_holding_beats_easing,
)
SLOW_ONES = (
    does_load_matter,
    how_sure_are_we,
    what_breaks_first,
    what_isolation_costs,
    what_moved_demand_gains,
    what_real_equipment_costs,
    where_the_verdict_turns,
    which_strategy,
)
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

"""The headline of README and handbook is how often one stops shorter where little is known."""

import pytest
from tests.guide.headline import PAGES, table, written
from tests.places import ROOT

from slipbench import load_scenario
from slipbench.campaign.store import IN_MEMORY, Store
from slipbench.campaign.verdict import (
    SLIPPERY,
    Situations,
    distances,
    driver_sides,
    make_design,
    shares_of,
    strategy_side,
)
from slipbench.experiments.where_the_verdict_turns import EASED_TO, Effort
from slipbench.running.runners import make_runner
from slipbench.statistics.intervals import wilson
from slipbench.strategies.registry import find_controller

N_SITUATIONS = 2 * Effort().size
ROWS = written(PAGES[0])


def test_both_pages_tell_the_same_pairs_and_shares() -> None:
    assert len(ROWS) == 6
    assert all(written(page) == ROWS for page in PAGES)


@pytest.mark.parametrize(("topic", "rows"), [("our-strategy", ROWS[:4]), ("trainer", ROWS[4:])])
def test_a_page_that_repeats_shares_repeats_these(topic, rows) -> None:
    text = (ROOT / "bench" / "guide" / f"{topic}.md").read_text(encoding="utf-8")
    for row in rows:
        share, low, high = (round(100.0 * value) for value in row[2:5])
        assert f"{share} % [{low}, {high}]" in text


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row[0]}-{row[1]}")
def test_an_interval_is_that_of_its_share(row) -> None:
    """Wilson's, over as many situations as the experiment draws."""
    share, low, high, first, second = row[2:]
    expected = wilson(round(share * N_SITUATIONS), N_SITUATIONS)
    assert (low, high) == pytest.approx((expected.low, expected.high), abs=0.006)
    assert first <= share + 0.006 and second <= 1.0 - share + 0.006


def test_a_row_of_the_experiment_becomes_a_row_of_the_table(tmp_path) -> None:
    path = tmp_path / "found.csv"
    path.write_text(
        "first,second,hangs_most_on,then_on,rails,share_first [-],at_least [-],at_most [-],"
        "first_clearly [-],second_clearly [-]\n"
        "a,b,film.friction,rail,x,0.422,0.309,0.544,0.38,0.44\n"
    )
    assert table(path).endswith(
        "| `a` | `b` | 42 % [31, 54] | 38 % | 44 % | `film.friction`, `rail` |\n"
    )


@pytest.mark.slow
@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row[0]}-{row[1]}")
def test_a_share_is_that_of_the_stops(row) -> None:
    """The same situations again; two may fall otherwise on another type of machine."""
    first, second, share = row[:3]
    if first.startswith("held"):
        sides = driver_sides(find_controller(first.removeprefix("held (")[:-1]), EASED_TO)
    else:
        sides = tuple(strategy_side(find_controller(name)) for name in (first, second))
    situations = Situations([load_scenario(name) for name in SLIPPERY])
    points = make_design(situations, Effort().size).points[:N_SITUATIONS]
    runner = make_runner(1)
    try:
        with Store(IN_MEMORY) as store:
            found = distances(situations, sides, points, store, runner)
    finally:
        runner.close()
    shares = shares_of(*found)
    assert shares.first.estimate == pytest.approx(share, abs=2.5 / N_SITUATIONS)
    assert shares.clearly_first == pytest.approx(row[5], abs=2.5 / N_SITUATIONS)
    assert shares.clearly_second == pytest.approx(row[6], abs=2.5 / N_SITUATIONS)

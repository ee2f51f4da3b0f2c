"""Holding against easing: who is compared, what is concluded, and only from the numbers."""

import math

import numpy as np
import pytest

from slipbench.commands.main import main
from slipbench.figures.holding import draw_proof, proof_csv, proof_sheet, proof_text
from slipbench.ground.caution import CAUTION
from slipbench.guidance.holding import (
    HELD,
    PUMPED,
    Proof,
    compared,
    deep_share,
    driver_of,
    leading,
    sentence,
    ways_of,
)
from slipbench.guidance.spread import Spread
from slipbench.running.candidate import candidate_of
from slipbench.scenario import load_scenario
from slipbench.strategies.registry import known_controllers

WAYS = ways_of(3)


def summary(distance, deep=0.0, used=0.03):
    depths = [1.0, 10.0 * (1 - deep), 0.0, 10.0 * deep, 0.0, 0.0]
    is_stopped = math.isfinite(distance)
    return {"stopping_distance": distance if is_stopped else math.nan, "is_stopped": is_stopped,
            "time_by_slide_depth": depths, "used_adhesion": used}  # fmt: skip


def rows_with(rail, by_way, deep_held=0.1, deep=0.1, used=(0.03, 0.03)):
    held = [summary(1000.0 + i, deep_held, used[0]) for i in range(8)]
    return [
        compared(rail, "s", way, held,
                 [summary(1000.0 + i + longer, deep, used[1]) for i in range(8)])
        for way, longer in zip(WAYS[1:], by_way, strict=True)
    ]  # fmt: skip


def proof_of(*rows):
    return Proof(tuple(rows), tuple(WAYS), ("train",), Spread(), 8, (("s", 900.0),))


def test_the_ways_are_those_of_the_trade():
    assert WAYS == [HELD, "eased to step 2", "eased to step 1", "eased to release", PUMPED]
    assert driver_of(HELD, 3, 1.0).programme[0].position == 3
    assert driver_of("eased to step 1", 3, 1.7).easing.position == 1
    assert driver_of("eased to step 1", 3, 1.7).easing.reaction_time == 1.7
    assert driver_of("eased to release", 3, 1.0).easing.position == 0
    pumped = driver_of(PUMPED, 3, 1.0).programme
    assert [entry.position for entry in pumped[:4]] == [3, 0, 3, 0]


def test_differences_are_paired_and_a_train_that_runs_on_is_not_left_out():
    held = [summary(1000.0), summary(1000.0), summary(math.inf)]
    eased = [summary(1100.0), summary(1005.0), summary(math.inf)]
    row = compared("r", "s", "eased to step 2", held, eased)
    assert (row.n_longer, row.n_shorter, row.n) == (1, 0, 3)  # 5 m count as alike
    gone = compared("r", "s", "w", held[:2], [summary(math.inf), summary(900.0)])
    assert (gone.n_longer, gone.n_shorter) == (1, 1)
    assert not math.isfinite(gone.longer.estimate)


def test_deep_slip_is_that_beyond_a_fifth():
    """By hand: 1 s rolling does not count, 3 of 10 s of sliding lie deeper."""
    assert deep_share([summary(100.0, deep=0.3)]) == pytest.approx(0.3)
    assert deep_share([{"time_by_slide_depth": [5.0, 0, 0, 0, 0, 0]}]) == 0.0


def test_where_every_easing_is_longer_the_advice_is_to_hold():
    said = sentence(proof_of(*rows_with("leaf", (50.0, 200.0, 400.0, 300.0))))
    assert "eased to step 2 is longer in 100% of 8 stops, shorter in 0% (+50 m" in said
    assert "Nowhere is eased to step 2 clearly shorter" in said
    assert said.endswith("So, for the cab: hold.")


def test_where_easing_one_step_is_shorter_it_says_so_and_why():
    deep = rows_with("grease", (-80.0, 20.0, 200.0, 100.0), 0.6, 0.2, (0.03, 0.04))
    usual = rows_with("leaf", (120.0, 200.0, 400.0, 300.0))
    said = sentence(proof_of(*deep, *usual))
    assert "clearly shorter on grease under s (-80 m, -8%)" in said
    assert "In 1 of these 1 slip is held too deep" in said
    assert "neither the film nor the strategy" in said
    assert said.endswith("hold.")  # over both, easing still costs


def test_the_reason_is_not_given_where_the_numbers_do_not_show_it():
    said = sentence(proof_of(*rows_with("grease", (-80.0, 20.0, 200.0, 100.0))))
    assert "In 0 of these 1 slip is held too deep" in said
    assert "do not tell why" in said
    assert "for the cab: do not ease to step 1" in said


def test_many_exceptions_are_counted_and_the_largest_named():
    rows = []
    for i in range(9):
        longer = (-20.0 - 10.0 * i, 20.0, 200.0, 100.0)
        rows += rows_with(f"film{i}, train tram", longer, 0.6, 0.2, (0.03, 0.04))
    said = sentence(proof_of(*rows))
    assert "film8, train tram under s (-100 m, -10%)" in said
    assert "film1, train tram" not in said
    assert "and 3 more of 9" in said


class MadeUp:
    """Distances by strategy: the later in the list, the shorter."""

    def __init__(self, candidates):
        self.labels = [candidate.label for candidate in candidates]
        self.asked = []

    def distances(self, asked):
        self.asked += asked
        return np.array([1000.0 - 10.0 * self.labels.index(a.candidate.label) for a in asked])


def test_the_leading_ones_are_the_shortest_that_do_not_see_the_truth():
    known = [one for one in known_controllers().values() if one.is_shipped]
    candidates = [candidate_of(one) for one in known]
    assert any(candidate.uses_truth for candidate in candidates)
    runs = MadeUp(candidates)
    rails = [load_scenario(name) for name in ("wet_leaf", "frost")]
    found = leading(rails, candidates, runs)
    fair = [candidate.label for candidate in candidates if not candidate.uses_truth]
    assert [candidate.label for candidate, _ in found] == fair[::-1][:5]
    assert {asked.scenario.equipment.grade for asked in runs.asked} == {"service"}
    assert {asked.scenario.driver.programme[0].position for asked in runs.asked} == {3}


def test_the_pages_say_it_with_the_caution():
    proof = proof_of(*rows_with("leaf", (50.0, 200.0, 400.0, 300.0)))
    page = proof_sheet(proof, b"<svg/>", "slipbench hold-or-ease")
    assert CAUTION in page
    assert sentence(proof) in proof_text(proof)
    assert len(proof_csv(proof).splitlines()) == 5
    assert CAUTION in {text.get_text() for text in draw_proof(proof).texts}


def test_the_command_runs(tmp_path, capsys):
    line = (
        "hold-or-ease wet_leaf --strategy slip_band --also tram --speed 8mph --draws 3 --workers 1 "
        "--quiet"
    )
    assert main([*line.split(), "--out", str(tmp_path / "out")]) == 0
    out = capsys.readouterr().out
    assert "for the cab:" in out
    assert "wet_leaf, train tram" in out and "wet_leaf  " in out
    assert CAUTION in out
    assert (tmp_path / "out" / "advice.html").is_file()

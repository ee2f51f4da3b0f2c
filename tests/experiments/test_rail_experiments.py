"""Sentences of the experiments on rail, strategies and confidence agree with their tables."""

import math

import pytest
from tests.places import ROOT

from slipbench.contract import Controller
from slipbench.controllers import by_name
from slipbench.experiments import (
    how_deep_should_it_slip,
    how_locked_wheels_clean,
    how_sure_are_we,
    what_sand_buys,
    what_the_low_speed_cut_out_costs,
    where_to_start_braking,
    which_cleaning_law_fits,
    which_strategy,
    who_cleans_the_rail,
    why_holding_beats_easing,
)
from slipbench.experiments.notebook import MPH, Options
from slipbench.statistics.intervals import wilson

QUICK = Options(is_quick=True)


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
    assert "released and re-applied it runs 100 m farther (20%)" in sentence
    assert "eased to step 1 it stops there too (within 1%)" in sentence


def test_every_axle_finds_better_rail_than_the_first(answered):
    answer = answered(who_cleans_the_rail)
    for row in answer.rows:
        assert row["first_axle_adhesion"] < row["fifth_axle_adhesion"] <= row["last_axle_adhesion"]
    by_case = {(row["cars"], row["leading_slip"]): row for row in answer.rows}
    alike = by_case[4, who_cleans_the_rail.GRIP]
    assert alike["distance"] < by_case[2, who_cleans_the_rail.GRIP]["distance"]
    assert by_case[4, 0.5]["distance"] < 0.9 * alike["distance"]
    assert f"uses {alike['last_over_first']:.2f} times" in answer.sentence
    assert f"shorten that stop of 4 cars to {by_case[4, 0.5]['distance']:.0f} m" in answer.sentence


def test_the_cleaning_share_of_locked_wheels_decides_what_no_slip_control_comes_to(answered):
    """On the shipped leaf film; strategies that let no wheel lock hardly know the share."""
    answer = answered(how_locked_wheels_clean)
    none, _ = how_locked_wheels_clean.sensitivity(answer.rows, "none")
    slip_band, _ = how_locked_wheels_clean.sensitivity(answer.rows, "slip_band")
    assert none > 2.0
    assert slip_band < 1.02
    assert f"moves by up to {100 * (none - 1):.1f} % (on wet_leaf)" in answer.sentence
    assert "slip_band by up to" in answer.sentence


@pytest.mark.parametrize(
    ("at_one", "moved", "turned"),
    [
        (80.0, "by up to 150.0 % (on b)", "slip control on b at 1."),
        (150.0, "by up to 100.0 % (on a)", "slip control nowhere in this table."),
        (math.inf, "between a stop and none on b", "slip control nowhere in this table."),
    ],
)
def test_sentence_on_the_cleaning_share_tells_sensitivity_and_turn(at_one, moved, turned):
    """On tables made up for the test; a train that does not stop is not left out."""
    rows = [
        {"rail": rail, "share": share, "none": none, "slip_band": band}
        for rail, share, none, band in (
            ("a", 0.05, 400.0, 100.0),
            ("a", 1.0, 200.0, 101.0),
            ("b", 0.05, 200.0, 100.0),
            ("b", 1.0, at_one, 100.5),
        )
    ]
    sentence = how_locked_wheels_clean.sentence(rows)
    assert sentence.startswith("from a share of 0.05 to 1 the distance without slip control moves")
    assert f"moves {moved}, with slip_band by up to 1.0 % (on a)" in sentence
    assert sentence.endswith(turned)


def test_leading_axles_slide_only_where_asked():
    alike = who_cleans_the_rail.strategy_with(16, who_cleans_the_rail.GRIP)
    deep = who_cleans_the_rail.strategy_with(16, 0.3)

    def value(controller: Controller, name: str) -> float:
        names = [parameter.name for parameter in controller.parameters]
        return controller.parameter_values[names.index(name)]

    assert value(alike, "cleaning_share") == 0.0
    assert value(deep, "cleaning_share") == who_cleans_the_rail.N_LEADING / 16
    assert value(deep, "deep_slip") == 0.3


def test_best_slip_is_deeper_for_a_longer_train_on_a_falling_curve(answered):
    answer = answered(how_deep_should_it_slip)
    best = how_deep_should_it_slip.best_targets(answer.rows)
    full = how_deep_should_it_slip.FULL_CLEANING
    assert best["steeply falling", 2, full] < best["steeply falling", 8, full]
    assert "0.1 or less for 2 cars and 0.5 for 8" in answer.sentence


def test_sentence_on_slip_names_one_target_for_all_lengths_and_what_cleaning_moves():
    """On a table made up for the test."""
    row = {"creep_curve": "falling", "cars": 2, "full_cleaning_up_to": 0.5, "slip_target": 0.3}
    rows = [{**row, "longer_than_best": 0.0}, {**row, "slip_target": 0.1, "longer_than_best": 0.2}]
    rows += [{**known, "cars": 12} for known in rows]
    moved = {**row, "cars": 4, "full_cleaning_up_to": 0.8, "slip_target": 0.7}
    rows.append({**moved, "longer_than_best": 0.0})
    sentence = how_deep_should_it_slip.sentence(rows)
    assert "on a falling curve 0.3 for 2 and 12 cars" in sentence
    assert sentence.endswith("4 cars, 0.7 if cleaning is full up to 0.8.")


def test_braking_table_counts_overruns_and_says_both_units(answered):
    answer = answered(where_to_start_braking)
    for row in answer.rows:
        assert row["earlier_metres"] == pytest.approx(0.9144 * row["earlier_yards"])
        assert row["speed_in_km/h"] == pytest.approx(1.609344 * row["speed_in_mph"])
        assert 0.0 <= row["at_least"] <= row["passes"] <= row["at_most"] <= 1.0
        assert row["earlier_yards"] <= row["most_yards"]
    fast = max(answer.rows, key=lambda row: row["speed_in_mph"])
    assert f"{fast['earlier_yards']:.0f} yd ({fast['earlier_metres']:.0f} m)" in answer.sentence


def test_a_train_that_never_stops_counts_as_passing():
    """One of four stops goes on without end, one is longer than the rule allows."""
    on_dry = {"is_stopped": True, "stopping_distance": 600.0, "stopping_time": 36.0}
    stops = [{**on_dry, "stopping_distance": 600.0 + extra} for extra in (10.0, 200.0, 400.0)]
    stops.append({"is_stopped": False, "stopping_distance": math.nan, "stopping_time": math.nan})
    row = where_to_start_braking._row(("wet_leaf", "level", 75), on_dry, stops)
    expected = wilson(2, 4)
    assert (row["passes"], row["at_least"], row["at_most"]) == (0.5, expected.low, expected.high)
    assert row["earlier_metres"] == 300.0
    assert row["most_metres"] == math.inf
    stopped = where_to_start_braking._row(("wet_leaf", "level", 75), on_dry, stops[:1])
    # 10 m more at the same time: later than running on at 75 mph by no more than minus 0.3 s
    assert stopped["time_lost"] == pytest.approx(-10.0 / (75 * MPH))


def test_gradient_acts_and_draws_are_shared_between_speeds():
    make = where_to_start_braking.scenario_with
    down = make("wet_leaf", "1 in 100 down", 30, 3)
    assert down.gradient[0].rise == -0.01
    assert not make("wet_leaf", "level", 30, 3).gradient
    assert down.rail.random == make("wet_leaf", "level", 75, 3).rail.random
    assert down.rail.random != make("wet_leaf", "level", 75, 4).rail.random


def test_sand_table_stands_beside_the_published_distances(answered):
    """Order as published; the size is checked in tests/validation/test_sanding_trial.py."""
    answer = answered(what_sand_buys)
    models = [row["model"] for row in answer.rows]
    assert models == sorted(models, reverse=True)
    assert [row["published"] for row in answer.rows] == [1200.0, 800.0, 650.0, 600.0, 400.0]
    worst = max(abs(row["model_over_published"] - 1.0) for row in answer.rows[1:])
    assert f"it is off by up to {worst:.0%}" in answer.sentence
    assert "calibrated" in answer.sentence


def strategy_row(name, ratio, risk, ahead, ranked="yes"):
    row = {"strategy": name, "ranked": ranked, "mean_over_shortest": ratio, "flat_risk": risk}
    return {**row, "cases_ahead": ahead, "of_cases": 4}


def test_frontier_keeps_whom_none_beats_in_both():
    """On a table made up for the test."""
    rows = [
        strategy_row("a", 1.2, 0.3, 2),
        strategy_row("b", 1.3, 0.0, 1),
        strategy_row("c", 1.4, 0.1, 0),
        strategy_row("d", 1.1, 0.0, 0, which_strategy.YES),
    ]
    assert which_strategy.frontier(rows) == ["a", "b"]
    sentence = which_strategy.sentence(rows)
    assert sentence.startswith("a stops shortest on the mean (1.20 times the shortest possible")
    assert "in 2 of 4 cases, b in 1, so no strategy is best everywhere" in sentence
    assert sentence.endswith("a, b are beaten by none.")


def test_sentence_on_confidence_names_the_largest_of_each_kind():
    """On a table made up for the test."""
    rows = [
        {"kind": kind, "what": what, "moves_the_distance_by": size}
        for kind, what, size in (
            ("computation", "time step", 0.5),
            ("computation", "rail cell", 0.25),
            ("chance", "seed", 2.0),
            ("rail", "film.friction", 50.0),
            ("rail", "film.recovery", 100.0),
        )
    ]
    sentence = how_sure_are_we.sentence(rows)
    assert "computation 0.5 m (time step), chance 2 m (seed), rail 100 m (film.reco" in sentence
    assert sentence.endswith("the rail decides; what the computation is unsure of is 0.5 m.")


def test_factors_have_a_kind_and_a_range_with_unit():
    strategy = by_name("slip_band")
    space = how_sure_are_we.space_of(strategy, is_quick=False)
    assert {how_sure_are_we.kind_of(f) for f in space} == {"strategy", "equipment", "rail"}
    ranges = {f.name: how_sure_are_we.change_of(f, strategy) for f in space}
    assert ranges["film.friction"] == "0.5 to 2 times"
    assert ranges["film.friction_ratio"] == "0.4 to 1"
    assert ranges["brake.vent_delay"] == "0.02 to 0.05 s"
    assert ranges["patience"].endswith(" s")


@pytest.mark.slow
def test_rail_moves_the_distance_more_than_the_computation(answered):
    rows = answered(how_sure_are_we).rows
    largest = {}
    for row in rows:
        size = row["moves_the_distance_by"]
        largest[row["kind"]] = max(size, largest.get(row["kind"], 0.0))
    assert largest["computation"] < 2.0
    assert largest["rail"] > 20.0 * largest["computation"]


@pytest.mark.slow
def test_strategy_table_counts_cases_within_bounds(answered):
    rows = answered(which_strategy).rows
    assert sum(row["cases_ahead"] for row in rows) <= rows[0]["of_cases"]
    assert all(row["mean_over_shortest"] >= 1.0 for row in rows)
    none = next(row for row in rows if row["strategy"] == "none")
    assert none["flat_risk"] > 0.5


def test_sentence_on_the_cut_out_tells_flats_metres_and_vents():
    """On a table made up for the test."""
    rows = [
        {
            "rail": "a", "strategy": name, "cut_out": speed, "distance": distance,
            "longest_lock": lock, "flat_low": low, "flat_high": high, "flat_risk": 0.0,
            "vents_below_6_mph": vents,
        }
        for name, speed, distance, lock, low, high, vents in (
            ("x", 0.0, 100.0, 0.0, 0.0, 1.0, 40.0),
            ("x", 6.0 * 0.44704, 97.5, 2.0, 7.0, 21.0, 0.0),
            ("y", 0.0, 200.0, 0.5, 3.0, 9.0, 90.0),
            ("y", 6.0 * 0.44704, 201.0, 3.04, 8.0, 30.0, 1.0),
        )
    ]  # fmt: skip
    assert what_the_low_speed_cut_out_costs.price(rows) == (7.0, 21.0, -2.5)
    assert what_the_low_speed_cut_out_costs.sentence(rows) == (
        "cut out at 6 mph, wheels lock at walking pace for up to 3.0 s: flats grow by up to 7 mm "
        "(low end of the band) to 21 mm (high end), to 30 mm at most, and stops get up to 2.5 m "
        "shorter; vents below 6 mph fall from up to 90 a stop to 1."
    )


def test_the_cut_out_quiets_walking_pace_and_costs_flats(answered):
    rows = answered(what_the_low_speed_cut_out_costs).rows
    low, high, _ = what_the_low_speed_cut_out_costs.price(rows)
    assert 0.0 < low < high < 40.0
    for row in rows:
        if row["cut_out"] > 2.6:
            assert row["vents_below_6_mph"] == 0.0
        elif row["cut_out"] == 0.0:
            assert row["vents_below_6_mph"] > 0.0


@pytest.mark.slow
def test_the_handbook_tells_what_the_cut_out_costs():
    """Longest flats 6 to 32 mm with it, none to 10 without; distance within 2 m; 600 vents."""
    page = (ROOT / "bench/guide/assumptions.md").read_text(encoding="utf-8")
    assert "6 to 32 mm by the high end, none to 10 without" in page
    rows = what_the_low_speed_cut_out_costs.investigate(Options(n_seeds=2)).rows
    cut, free = ([row for row in rows if row["cut_out"] == speed] for speed in (6 * MPH, 0.0))
    ends = [round(row["flat_high"]) for row in cut]
    assert (min(ends), max(ends)) == pytest.approx((6, 32), abs=1.1)
    assert max(row["flat_high"] for row in free) < 11.0
    assert max(row["vents_below_6_mph"] for row in free) == pytest.approx(600.0, rel=0.1)
    assert abs(what_the_low_speed_cut_out_costs.price(rows)[2]) < 2.0


@pytest.mark.slow
def test_the_handbook_tells_which_cleaning_law_fits_which_trial():
    page = (ROOT / "bench/guide/assumptions.md").read_text(encoding="utf-8")
    table = page[page.index("| trial | published |") : page.index("| fits |")]
    told = [[cell.strip() for cell in line.split("|")[3:6]] for line in table.splitlines()[2:]]
    rows = which_cleaning_law_fits.investigate(Options()).rows
    assert len(told) == len(rows)
    for cells, row in zip(told, rows, strict=True):
        for cell, law in zip(
            cells, ("rail_memory", "contact_only", "rail_and_contact"), strict=True
        ):
            number = float(cell.strip("*").replace(",", ""))
            assert row[law] == pytest.approx(number, rel=0.01)
            assert row[f"{law}_fits"] == (not cell.startswith("**"))

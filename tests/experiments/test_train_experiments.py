"""Sentences of the experiments on the train as fitted agree with their tables."""

import pytest

from slipbench.experiments import (
    disc_or_tread,
    does_load_matter,
    how_the_brake_builds_up,
    what_breaks_first,
    what_isolation_costs,
    what_the_dynamic_brake_does,
    when_to_ease,
)
from slipbench.experiments.notebook import Options

QUICK = Options(is_quick=True)


def rows_by(answer, key):
    return {row[key]: row for row in answer.rows}


def test_cast_iron_climbs_and_discs_stay_flat(answered):
    """Check of the sentence's numbers, and of what must come out (nothing tuned for it)."""
    answer = answered(disc_or_tread)
    rows = rows_by(answer, "brake")
    growth = {brake: row["at_3_mph"] / row["at_60_mph"] for brake, row in rows.items()}
    assert abs(growth["disc"] - 1.0) < 0.01
    assert growth["cast iron"] > 2.0 > growth["composite"] > 1.1
    assert growth["cast iron"] > growth["mixed"] > growth["disc"]
    for brake in ("disc", "composite", "cast iron"):
        assert f"{growth[brake]:.2f} times" in answer.sentence


def test_easing_right_is_smooth_and_early_is_far_past(answered):
    answer = answered(when_to_ease)
    rows = rows_by(answer, "easing")
    assert abs(rows["right"]["past_the_platform_end"]) < 1.0
    assert rows["right"]["jolt"] < when_to_ease.SMOOTH < rows["too late"]["jolt"]
    assert rows["too early"]["past_the_platform_end"] > 20.0
    assert f"{rows['too early']['past_the_platform_end']:.0f} m past" in answer.sentence


def test_brake_builds_up_and_releases_in_its_times(answered):
    """Delay 0.4 s, ramps of 1.5 and 2.0 s: 10 and 90 % of the rise at 0.55 and 1.75 s."""
    answer = answered(how_the_brake_builds_up)
    rows = {(row["what"], row["direction"]): row for row in answer.rows}
    for step in ("step 1", "step 2", "step 3", "emergency"):
        up = rows[step, "build-up"]
        # linear between traces of 0.02 s
        assert up["from_command_to_10_%"] == pytest.approx(0.55, abs=0.01)
        assert up["from_command_to_90_%"] == pytest.approx(1.75, abs=0.01)
        assert rows[step, "release"]["from_command_to_90_%"] >= 0.4 + 0.9 * 2.0 - 0.01
    assert 2.0 < rows["valve", "fill"]["rate"] < 6.0
    assert 3.0 <= round(rows["valve", "vent"]["rate"], 1) < 8.0
    assert f"vents at {rows['valve', 'vent']['rate']:.1f} bar/s" in answer.sentence


def test_sentence_on_faults_names_the_worst():
    """On a table made up for the test."""
    row = {"fault": "nothing", "distance": 100.0, "longer_by": 0.0, "longest_lock": 0.0}
    rows = [row]
    for name, longer, lock in (("a", 5.0, 0.0), ("b", 30.0, 1.0), ("c", 0.5, 9.0)):
        changes = {"fault": name, "longer_by": longer, "distance": 100.0 + longer}
        rows.append({**row, **changes, "longest_lock": lock})
    sentence = what_breaks_first.sentence(rows)
    assert "b costs most metres (+30 m on 100 m) and c locks a wheel longest (9.0 s)" in sentence
    assert "1 of 3 faults" in sentence


def test_every_fault_is_in_the_table():
    kinds = {fault.kind for broken in what_breaks_first.faults().values() for fault in broken}
    listed = (
        *what_breaks_first.AXLE_FAULTS,
        *what_breaks_first.VEHICLE_FAULTS,
        *what_breaks_first.OTHER_FAULTS,
    )
    assert kinds == set(listed)


def test_sentence_on_isolation_says_where_it_would_pay():
    """On a table made up for the test: shorter at one share only."""
    rows = []
    for share, at_once in ((0.05, 200.0), (1.0, 80.0)):
        for button, distance in zip(
            what_isolation_costs.PRESSES, (100.0, at_once, 110.0), strict=True
        ):
            row = {"button": button, "locked_cleaning_share": share, "friction_ratio": 0.7}
            rows.append({**row, "distance": distance, "locked_wheel_distance": distance - 50.0})
    sentence = what_isolation_costs.sentence(rows)
    assert "the train stops in 100 m; pressed at once it stops in 200 m" in sentence
    assert sentence.endswith("pressing at once shortens the stop at: share 1, curve 0.7.")


@pytest.mark.slow
def test_isolating_at_speed_does_not_shorten_the_stop(answered):
    """On the shipped rail; with locked wheels that clean like others it does, and it says so."""
    answer = answered(what_isolation_costs)
    pick = what_isolation_costs._pick
    alone, at_once, late = (
        pick(answer.rows, button, 0.05, 0.7) for button in what_isolation_costs.PRESSES
    )
    assert at_once["distance"] > late["distance"] > alone["distance"]
    assert at_once["longest_lock"] > 60.0 > alone["longest_lock"]
    assert at_once["heat_from_locked_wheels"] > 1.0 > alone["heat_from_locked_wheels"]


@pytest.mark.slow
def test_faults_end_their_stops_and_audit(answered):
    for row in answered(what_breaks_first).rows:
        assert row["distance"] < 5000.0
        assert row["energy_residual"] < 1e-3


@pytest.mark.slow
def test_load_matters_only_without_weighing(answered):
    rows = rows_by(answered(does_load_matter), "brake")
    assert abs(rows[does_load_matter.WEIGHING]["crush_over_tare"]) < 1.0
    assert rows[does_load_matter.NO_CONTROL]["crush_over_tare"] > 10.0


def test_the_sentence_on_the_dynamic_brake_is_that_of_its_rows():
    rows = [
        {
            "rail": rail, "strategy": "x", "slide_rule": rule, "distance": distance,
            "over_friction": over, "recovered": energy, "flat_risk": 0.0, "vents": 0.0,
        }
        for rail, rule, distance, over, energy in (
            ("a", "friction alone", 1000.0, 0.0, 0.0),
            ("a", "restored", 1020.0, 2.0, 9.0),
            ("a", "cut out", 1010.0, 1.0, 2.0),
            ("a", "handed over", 1030.0, 3.0, 4.0),
            ("b", "friction alone", 500.0, 0.0, 0.0),
            ("b", "restored", 530.0, 6.0, 12.0),
            ("b", "cut out", 490.0, -2.0, 1.0),
            ("b", "handed over", 500.0, 0.0, 6.0),
        )
    ]  # fmt: skip
    found = what_the_dynamic_brake_does.prices(rows, "x")
    assert found == {"restored": 4.0, "cut out": -0.5, "handed over": 1.5}
    assert what_the_dynamic_brake_does.sentence(rows) == (
        "under x restored costs most, +4.0 % of the distance of friction brakes alone on the mean "
        "of the rails, and cut out least, -0.5 %; most energy is recovered where the dynamic brake "
        "is restored, up to 12 MJ (b)."
    )


def test_cutting_out_recovers_least_and_restoring_goes_on_braking(answered):
    rows = {row["slide_rule"]: row for row in answered(what_the_dynamic_brake_does).rows}
    assert rows["friction alone"]["recovered"] == 0.0
    assert 0.0 < rows["cut out"]["recovered"] < 0.5 * rows["restored"]["recovered"]
    assert rows["cut out"]["over_friction"] < 5.0

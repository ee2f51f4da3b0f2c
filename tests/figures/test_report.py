"""The report of a comparison: complete in itself, and what it says follows from the rows."""

import json
import math
import re
from dataclasses import replace

import numpy as np
import pytest

from slipbench.comparison.compare import ComparedStop, Yardsticks, scores_on
from slipbench.comparison.record import KeptComparison, KeptRail, KeptStrategy, KeptValue
from slipbench.figures import style
from slipbench.figures.distributions import draw_distributions
from slipbench.figures.pages import as_data, fill
from slipbench.figures.report import (
    answers,
    draw_report_pictures,
    grouped_findings,
    report_page,
)
from slipbench.figures.trade_off import draw_trade_off
from slipbench.figures.words import ONE_SEED
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.results.quantities import QUANTITIES
from slipbench.results.shown import MILES
from slipbench.statistics.intervals import median_interval

SUMMARY = {"is_stopped": True, "longest_lock": 0.0, "flat_risk": 0.1, "vent_count": 5,
           "energy_residual": 1e-7}  # fmt: skip
VALUE = KeptValue("rail.friction", "0.03", "-", "assumed", "chosen <here> & now")


def row(controller, seed, distance, findings=()):
    is_stopped = math.isfinite(distance)
    summary = {**SUMMARY, "stopping_distance": distance, "is_stopped": is_stopped}
    return ComparedStop("wet_leaf", 33.5, controller, controller == "seer", seed,
               Yardsticks(600.0, 800.0), summary, findings)  # fmt: skip


def kept(distances, n_seeds, findings=()):
    rows = [
        row(name, seed, float(distance), findings)
        for name, own in distances.items()
        for seed, distance in enumerate(own)
    ]
    return KeptComparison(
        command="slipbench compare wet_leaf --strategy 'a,b'",
        n_seeds=n_seeds,
        versions={"slipbench": "0.1.0", "numpy": "2"},
        machine={"processor": "p", "architecture": "x"},
        rails=(KeptRail("wet_leaf", "Wet leaf <film>", "A four-car train", "", (VALUE,)),),
        shared_values=(replace(VALUE, path="train.load"),),
        strategies=tuple(KeptStrategy(n, f"{n} title", "here", n == "seer") for n in distances),
        rows=tuple(rows),
    )


RNG = np.random.default_rng(1)
APART = {"first": 1000 + RNG.normal(0, 1, 8), "second": 1100 + RNG.normal(0, 1, 8),
         "seer": np.full(8, 900.0)}  # fmt: skip


def test_answer_names_the_shortest_that_does_not_see_truth():
    (sentence,) = answers(kept(APART, 8))
    mean = APART["first"].mean()
    assert sentence.startswith(f"On wet leaf, first stopped shortest, in {mean:.0f} m")
    assert f"{mean / 800.0:.2f} times the floor" in sentence
    assert "not told apart" not in sentence


def test_answer_says_when_intervals_do_not_tell_the_first_from_the_second():
    scatter = 30.0 * np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0, 1.0, -0.8])
    close = {"first": APART["first"], "second": APART["first"] + 4.0 + scatter}
    assert "By these runs second is not told apart from first." in answers(kept(close, 8))[0]
    one = {name: own[:1] for name, own in APART.items()}
    first, last = answers(kept(one, 1))
    assert "told apart" not in first and last == ONE_SEED
    few = {name: own[:4] for name, own in APART.items()}
    assert "told apart" not in " ".join(answers(kept(few, 4)))  # 100 m apart, scattering by 1 m


def test_answer_counts_overruns():
    over = {"first": APART["first"], "second": np.append(APART["first"][1:], np.inf)}
    assert "not stopped: second (1 of 8)" in answers(kept(over, 8))[0]
    nobody = {"first": np.full(8, np.inf)}
    assert answers(kept(nobody, 8)) == ["On wet leaf, first stopped in 0 of 8 runs."]


def test_page_holds_all_parts_and_fetches_nothing():
    page = report_page(kept(APART, 8, ("axle 3 locked at 31 m/s",)), {"compare": b"<svg/>"})
    for part in ("table", "figures", "findings", "sure", "scenarios", "repeat"):
        assert f'<section id="{part}">' in page
    assert page.count(CAUTION) == 2
    assert "chosen &lt;here&gt; &amp; now" in page and "Wet leaf &lt;film&gt;" in page
    assert "axle 3 locked at 31 m/s (8 runs)" in page
    assert "slipbench compare wet_leaf --strategy &#x27;a,b&#x27;" in page
    assert "Seeds 0 to 7" in page and "numpy 2" in page
    assert not re.search(r"https?://|url\(", page)
    assert "@media print" in page and "{{" not in page


def test_findings_are_grouped_the_gravest_first_and_repeats_folded():
    lock = "Axle {} was locked for {}.5 s, the longest lock."
    vent = "{} vents below 6 mph."
    made = {}
    for i, name in enumerate(("first", "second", "third")):
        made[name] = (lock.format(i + 1, i), vent.format(i + 3))
    rows = [
        replace(found, findings=made[found.controller])
        for found in kept({name: [1000.0, 1001.0] for name in made}, 2).rows
    ]
    groups = grouped_findings(rows)
    assert [where for _, where, _ in groups] == ["3 strategies on wet leaf, 6 runs"] * 2
    assert [said for said, *_ in groups] == [lock.format(1, 0), vent.format(3)]
    assert [len(own) for *_, own in groups] == [3, 3]
    page = report_page(replace(kept({"first": [1.0]}, 1), rows=tuple(rows)), {})
    assert page.count("<summary>Axle 1 was locked") == 1
    assert "(3 strategies on wet leaf, 6 runs)" in page


def test_page_speaks_one_unit_of_speed():
    made = kept(APART, 8)
    assert "from 121 km/h;" in report_page(made, {}) and "mph" not in report_page(made, {})
    assert "from 75 mph;" in report_page(made, {}, shown=MILES)


def test_page_says_that_one_seed_gives_no_interval():
    page = report_page(kept({"first": [1000.0], "second": [1100.0]}, 1), {})
    assert "no 95 % interval exists" in page
    assert "Hodges" not in page


def test_trade_off_joins_what_no_other_beats():
    scores = scores_on("wet_leaf", kept(APART, 8).rows)
    scores = [replace(s, vents=v) for s, v in zip(scores, (0.0, 9.0, 4.0), strict=True)]
    looks = style.looks(list(APART))
    figure = draw_trade_off({"wet_leaf": scores}, looks)
    front = figure.axes[1].lines[0].get_xydata()
    assert [s.controller for s in scores] == ["seer", "first", "second"]
    assert front[:, 1].tolist() == [9.0, 4.0]  # the one that sees truth is left out
    assert all("[" in axes.get_ylabel() for axes in figure.axes)


def test_distributions_show_every_run_median_and_interval():
    comparison = kept(APART, 8)
    figure = draw_distributions(comparison.scores(), comparison.rows, style.looks(list(APART)))
    left, right = figure.axes
    dots = [line for line in left.lines if line.get_marker() == "."]
    assert [len(line.get_xdata()) for line in dots] == [8, 8, 8]
    found = median_interval(APART["second"])
    bars = [line.get_xdata() for line in left.lines if len(line.get_xdata()) == 2]
    assert any(np.allclose(bar, [found.low, found.high]) for bar in bars)
    assert "[m]" in left.get_xlabel() and "[m]" in right.get_xlabel()


def test_pictures_of_a_report_come_as_vector_and_png():
    names = set(draw_report_pictures(kept(APART, 8)))
    assert names == {"trade_off.png", "trade_off.svg", "distributions.png", "distributions.svg"}


def test_median_interval_covers_as_often_as_it_says():
    """Of 2000 samples of ten from a skewed law 97.9 % are expected to cover; 3 sigma is 1 %."""
    rng = np.random.default_rng(3)
    found = [median_interval(sample) for sample in rng.exponential(1.0, (2000, 10))]
    covered = np.mean([i.low <= math.log(2.0) <= i.high for i in found])
    assert covered == pytest.approx(0.9785, abs=0.01)
    assert math.isinf(median_interval(np.arange(5.0)).low)
    assert median_interval(np.arange(6.0)).low == 0.0
    assert math.isinf(median_interval([1.0, math.inf, math.inf]).estimate)


def test_fill_wants_every_place_and_searches_nothing_put_in():
    assert fill("a {{x}} b", {"x": "{{y}}"}) == "a {{y}} b"
    with pytest.raises(KeyError):
        fill("a {{x}}", {})
    with pytest.raises(KeyError):
        fill("a", {"x": ""})


def test_data_survives_a_script_element():
    text = as_data({"a": "</script><!--"})
    assert "<" not in text and json.loads(text) == {"a": "</script><!--"}


def test_rows_come_back_from_their_records():
    for distance in (1000.0, math.nan):
        before = row("first", 0, distance)
        after = ComparedStop.from_record(json.loads(json.dumps(before.as_record())))
        assert after.as_record() == before.as_record()


def test_record_of_another_form_is_refused(tmp_path):
    from slipbench.comparison.record import read_record

    with pytest.raises(InputError, match="a folder that slipbench compare wrote"):
        read_record(tmp_path)
    record = {"written_by": "slipbench compare", "rows": []}
    (tmp_path / "compare.json").write_text(json.dumps(record))
    with pytest.raises(InputError, match="run slipbench compare again"):
        read_record(tmp_path)


def test_every_head_of_the_table_says_what_it_means(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """From the one table of results: a head without its meaning, or of no result, fails."""
    from slipbench.figures import report

    for head, name in report._HEADS.items():
        assert QUANTITIES[name].meaning, head
        unit = QUANTITIES[name].unit
        is_ratio = head.startswith("over ")
        assert is_ratio or unit in ("", "-") or f"[{unit}]" in head

"""What is printed, drawn and carried away."""

import csv
import io
import math
import re

import pytest

from slipbench.commands.main import main
from slipbench.figures.braking_points import draw_points, points_card, points_sheet
from slipbench.figures.style import save
from slipbench.ground.caution import CAUTION
from slipbench.guidance.answer import Answer, Rule
from slipbench.guidance.points import MPH, YARD, Place, Point
from slipbench.guidance.shapes import ANCHOR
from slipbench.guidance.tell import DOES_NOT_STOP, answer_csv, answer_text, rule_lines, why
from slipbench.statistics.intervals import wilson


def made_point(state, mph, rise, earlier, high=None):
    top = earlier if high is None else high
    return Point(
        Place(state, mph * MPH, rise), 600.0, 600.1, earlier, earlier, top, 0.4 * earlier, math.nan
    )


def made_rule(predicted=451.0, low=430.0, high=520.0):
    medians = {ANCHOR: 300 * YARD, 90 * MPH: predicted * YARD, 125 * MPH: 900 * YARD}
    ranges = {90 * MPH: (low * YARD, high * YARD), 125 * MPH: (826 * YARD, 1210 * YARD)}
    return Rule(0.98, 0.054, medians, ranges, wilson(40, 100), ())


@pytest.fixture
def answer(question):
    points = [
        made_point("good", 40, 0.0, 20.0),
        made_point("good", 75, 0.0, 40.0),
        made_point("autumn", 40, 0.0, 150.0, 190.0),
        made_point("autumn", 75, 0.0, 500.0, 690.0),
        made_point("autumn", 75, -0.02, 900.0, math.inf),
        made_point("very poor", 40, 0.0, 480.0),
        made_point("very poor", 75, 0.0, math.inf),
    ]
    return Answer(question, tuple(points), made_rule(), {"autumn": ()})


def test_a_point_that_does_not_hold_is_words_and_never_a_number(answer):
    for text in (answer_text(answer), answer_csv(answer), points_card(answer)):
        assert DOES_NOT_STOP in text
        assert not re.search(r"\binf\b|\bnan\b", text)
    rows = list(csv.DictReader(io.StringIO(answer_csv(answer))))
    assert rows[-1]["driver_yd"] == rows[-1]["earlier_m"] == DOES_NOT_STOP
    assert rows[-1]["time_lost_s"] == ""


def test_the_driver_gets_the_top_of_the_range_in_fifties(answer):
    """690 m are 754.6 yd."""
    assert answer.at("autumn", ANCHOR).yards == 800.0
    assert answer.at("autumn", ANCHOR).driver == pytest.approx(731.52)
    assert "800" in points_card(answer)
    assert answer.at("autumn", ANCHOR, -0.02).yards == math.inf


def test_no_card_and_no_sheet_without_the_caution(answer):
    assert CAUTION in points_card(answer)
    assert CAUTION in points_sheet(answer, {}, "slipbench braking-points")


def test_nothing_of_a_page_is_told_by_colour_alone(answer):
    """Black on white, so that nothing is lost in grey."""
    page = points_card(answer) + points_sheet(answer, {}, "")
    colours = set(re.findall(r"#[0-9a-fA-F]{3,6}\b", page))
    for colour in colours:
        digits = colour[1:] if len(colour) == 7 else "".join(2 * c for c in colour[1:])
        assert digits[0:2] == digits[2:4] == digits[4:6], colour


def test_the_picture_has_both_dots_and_says_which_was_calibrated_to(answer):
    drawn = draw_points(answer)
    said = " ".join(text.get_text() for axes in drawn.axes for text in axes.texts)
    assert "300 yd: calibrated to" in said
    assert "500 yd: not used" in said
    assert CAUTION in {text.get_text() for text in drawn.texts}
    assert save(drawn)["png"].startswith(b"\x89PNG")


def test_the_prediction_stands_beside_common_practice_in_yards():
    """Common practice, no source: 300 yards from 75 mph (calibrated to), 500 from 90."""
    text = "\n".join(rule_lines(made_rule()))
    assert "451 yd, predicted; common practice says 500 yd" in text
    assert "-10% of it, within 15%" in text
    assert "from 125 mph 826 to 1,210 yd" in text
    assert made_rule().agrees


def test_a_prediction_that_departs_is_told_why():
    far = made_rule(predicted=400.0, low=380.0, high=520.0)
    assert not far.agrees
    assert "NOT within 15%" in "\n".join(rule_lines(far))
    assert "the curve's shape decides it" in why(far)
    assert "no creep curve or cleaning law tried gives it" in why(made_rule(400.0, 380.0, 420.0))


def test_the_command_writes_all_it_says(tmp_path, capsys):
    words = "--quick --as-shipped --speed 12mph --confidence 50% --draws 3 --workers 1 --quiet"
    line = ["braking-points", *words.split(), "--out", str(tmp_path / "out")]
    assert main(line) == 0
    out = capsys.readouterr().out
    assert CAUTION in out
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"card.html", "sheet.html", "braking-points.csv", "braking_points.png",
            "braking_walk.png", "stops.sqlite"} <= names  # fmt: skip
    before = (tmp_path / "out" / "braking-points.csv").read_bytes()
    assert main(line) == 0  # from what is stored, to the same bytes
    assert (tmp_path / "out" / "braking-points.csv").read_bytes() == before


BROKEN = {
    "bare speed": (["--speed", "75"], "a unit is needed"),
    "above its own": (["--speed", "90mph", "--top-speed", "75mph"], "above the train's own, 75"),
    "gradient without sign": (["--gradient", "2"], "allowed: -5% to 5%"),
    "confidence of one": (["--confidence", "100%"], "allowed: 50% to 99.9%"),
    "too few draws": (["--draws", "10"], "needs at least 19"),
    "unknown spread": (["--spread", "wind=3"], "--spread"),
    "no step four": (["--step", "4"], "allowed: 1 to 3"),
    "state without rail": (["--state", "icy"], "write WORDS=SCENARIO"),
    "good redefined": (["--state", "good=wet"], "what all others are measured from"),
    "state of no scenario": (["--state", "icy=nowhere"], "--state icy"),
}


@pytest.mark.parametrize("case", BROKEN)
def test_a_broken_line_is_one_line(case, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    words, said = BROKEN[case]
    assert main(["braking-points", *words]) == 2
    error = capsys.readouterr().err
    assert said in error
    assert error.count("\n") == 1
    assert not list(tmp_path.iterdir())

"""`slipbench assess`: the sheet, its files, its judgement, and what it refuses."""

import csv
import math
from html.parser import HTMLParser
from pathlib import Path

import pytest
from tests.commands.conftest import Run

from slipbench.assess.flat_rules import RULES, flat_table, with_rule
from slipbench.assess.limits import Limit, read_limits
from slipbench.assess.page import sheet_page, sheet_text, verdict_words, worst_first
from slipbench.assess.sheet import Case, Result, Sheet, judge, programme
from slipbench.ground.errors import InputError
from slipbench.scenario import load_scenario

SLOW = 'based_on = "{rail}"\ninitial_speed_mph = {{ value = 15, mark = "assumed", source = "x" }}\n'
LIMIT = (
    '[[limit]]\nname = "lock"\nmeasure = "longest_lock"\nhigh = 0.4\nunit = "s"\n'
    'rails = "all"\ndocument = "mine"\nmark = "assumed"\nreading = "not read"\n'
)


@pytest.fixture
def rails(tmp_path: Path) -> list[str]:
    paths = []
    for rail in ("detergent", "wet_leaf"):
        path = tmp_path / f"slow_{rail}.toml"
        path.write_text(SLOW.format(rail=rail))
        paths.append(str(path))
    return paths


class Checker(HTMLParser):
    """Collects what a page would fetch, and its text."""

    def __init__(self) -> None:
        super().__init__()
        self.fetched: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.fetched += [f"{tag} {name}" for name, _ in attrs if name in ("src", "href")]

    def handle_data(self, data: str) -> None:
        self.text += data


def test_sheet_is_printed_and_written(run: Run, rails: list[str], tmp_path: Path) -> None:
    out = tmp_path / "out"
    ran = run("assess", *rails, "--strategy", "none", "--quick", "--out", out)
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("Acceptance sheet (indicative, not an approval): none")
    with (out / "assess.csv").open(encoding="utf-8") as stream:
        lines = list(csv.DictReader(stream))
    limits = read_limits()
    assert len(lines) == 2 * len(limits)
    by_key = {(line["limit"], line["rail"]): line for line in lines}
    assert by_key["locked axle", "slow_detergent"]["verdict"] == "fail"
    assert by_key["slip control on dry rail", "slow_wet_leaf"]["verdict"] == "pass"
    assert by_key["extension against dry", "slow_wet_leaf"]["verdict"] == "not judged"
    with (out / "stops.csv").open(encoding="utf-8") as stream:
        stops = list(csv.DictReader(stream))
    assert [stop["is_dry_reference"] for stop in stops] == ["true", "true", "false", "false"] * 2
    assert {stop["load"] for stop in stops} == {"tare", "laden"}
    page = (out / "assess.html").read_text(encoding="utf-8")
    checker = Checker()
    checker.feed(page)
    assert checker.fetched == []
    assert "indicative, not an approval" in checker.text
    for limit in limits:
        assert limit.document in checker.text and limit.reading in checker.text
    assert "slipbench assess" in checker.text


def test_programme_has_dry_first_then_three_speeds_two_loads() -> None:
    cases = programme([load_scenario("wet_leaf")])
    assert [case.is_dry for case in cases] == [True] * 6 + [False] * 6
    assert len({case.scenario.initial_speed for case in cases}) == 3
    assert {case.load: case.scenario.train.load for case in cases} == {"tare": 0.0, "laden": 1.0}
    assert len(programme([load_scenario("wet_leaf")], is_quick=True)) == 4


def test_every_shipped_limit_tells_its_source() -> None:
    for limit in read_limits():
        assert limit.document and limit.mark and limit.reading
        if limit.mark == "memory":
            assert limit.reading == "unverified: check your licensed copy"


def result(value: float, extension: float = 0.1, condition: float = 0.06, seed: int = 0) -> Result:
    case = Case("rail", False, "tare", load_scenario("wet_leaf"))
    return Result(case, seed, {"longest_lock": value, "initial_adhesion": condition}, extension)


LOCK = Limit("lock", "longest_lock", "s", "all", "mine", "assumed", "-", high=0.4)
BAND = Limit(
    "band", "initial_adhesion", "-", "low_adhesion", "mine", "assumed", "-", 0.05, 0.08, "", True
)
LONGER = Limit(
    "longer", "extension_over_dry", "-", "low_adhesion", "mine", "assumed", "-", high=0.25,
    requires="band",
)  # fmt: skip


@pytest.mark.parametrize(
    ("limit", "results", "verdict", "worst"),
    [
        (LOCK, [result(0.1), result(0.4, seed=1)], "pass", 0.4),
        (LOCK, [result(0.1), result(0.41, seed=1)], "fail", 0.41),
        (LOCK, [result(math.nan)], "not judged", math.nan),
        (BAND, [result(0.0), result(0.0, condition=0.04, seed=1)], "not met", 0.04),
        (BAND, [result(0.0)], "met", 0.06),
        (LONGER, [result(0.0, 0.2), result(0.0, 9.0, condition=0.04, seed=1)], "pass", 0.2),
        (LONGER, [result(0.0, math.inf)], "fail", math.inf),
        (LONGER, [result(0.0, condition=0.04)], "not judged", math.nan),
    ],
)
def test_verdict_goes_by_the_worst_stop_that_fits(
    limit: Limit, results: list[Result], verdict: str, worst: float
) -> None:
    line = judge(limit, "rail", results, (LOCK, BAND, LONGER))
    assert line.verdict == verdict
    assert line.worst == pytest.approx(worst, nan_ok=True)
    assert line.n_stops == len(results)


BROKEN = {
    "no TOML": ("= =", ["not valid TOML"]),
    "no limits": ("", ["at least one [[limit]]"]),
    "unknown table": (LIMIT + "[other]\n", ["'other'", "allowed: limit"]),
    "unknown key": (LIMIT + "hihg = 1\n", ["'hihg'", "high"]),
    "missing key": (LIMIT.replace('unit = "s"\n', ""), ["unit is missing"]),
    "no range": (LIMIT.replace("high = 0.4\n", ""), ["low or high is missing"]),
    "range upside down": (LIMIT + "low = 2.0\n", ["low = 2", "<= high = 0.4"]),
    "number as text": (LIMIT.replace("0.4", '"0.4"'), ["high = '0.4'", "finite number"]),
    "not finite": (LIMIT.replace("0.4", "inf"), ["high = inf", "finite number"]),
    "unknown rails": (LIMIT.replace('"all"', '"wet"'), ["'wet'", "low_adhesion, dry, all"]),
    "unknown mark": (LIMIT.replace('"assumed"', '"sure"'), ["'sure'", "published"]),
    "no boolean": (LIMIT + "is_condition = 1\n", ["is_condition = 1", "true or false"]),
    "name twice": (LIMIT + LIMIT, ["'lock'", "twice"]),
    "requires nothing known": (LIMIT + 'requires = "luck"\n', ["'luck'", "lock"]),
    "requires itself": (LIMIT + 'requires = "lock"\n', ["requires itself"]),
}


@pytest.mark.parametrize("case", BROKEN)
def test_broken_limits_are_one_clear_line(run: Run, tmp_path: Path, case: str) -> None:
    text, words = BROKEN[case]
    path = tmp_path / "mine.toml"
    path.write_text(text)
    refused(run, [*LINE, "--limits", path, "--out", tmp_path / "out"], ["mine.toml", *words])
    assert not (tmp_path / "out").exists()


LINE = ["assess", "dry", "--strategy", "none"]


def refused(run: Run, argv: list[object], words: list[str]) -> None:
    ran = run(*argv)
    assert (ran.code, ran.out) == (2, "")
    assert ran.err.count("\n") == 1
    for word in words:
        assert word in ran.err


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (["assess"], ["SCENARIO"]),
        (["assess", "dry"], ["--strategy"]),
        (["assess", "dyr", "--strategy", "none"], ["dyr", "dry"]),
        (["assess", "dry", "--strategy", "nine"], ["'nine'", "none"]),
        (["assess", "dry", "dry", "--strategy", "none"], ["two scenarios", "'dry'"]),
        ([*LINE, "--seeds", "0"], ["--seeds = 0", "1 to 1000"]),
        ([*LINE, "--seeds", "many"], ["--seeds", "whole number"]),
        ([*LINE, "--limits", "no/where.toml"], ["no/where.toml", "no such file"]),
        ([*LINE, "--out", " "], ["--out", "folder"]),
        ([*LINE, "--spede"], ["--spede"]),
    ],
)
def test_broken_lines_are_one_clear_line(run: Run, argv: list[object], words: list[str]) -> None:
    refused(run, argv, words)


def test_measure_no_stop_has_is_named(run: Run, rails: list[str], tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(LIMIT.replace("longest_lock", "longest_luck"))
    words = ["'longest_luck'", "no number of a stop's summary"]
    line = ["assess", rails[0], "--strategy", "none", "--quick", "--limits", path]
    refused(run, [*line, "--out", tmp_path / "out"], words)


def test_stop_command_prints_its_findings(run: Run, rails: list[str]) -> None:
    ran = run("stop", rails[1], "--strategy", "none")
    assert ran.code == 0
    assert "findings" in ran.out and "was locked for" in ran.out and "mm" in ran.out


@pytest.mark.parametrize(
    ("low", "high", "verdict", "worst"),
    [
        (0.9, math.inf, "fail", 0.8),
        (0.7, math.inf, "pass", 0.8),
        (-math.inf, 0.9, "fail", 0.95),
        (0.85, 0.91, "fail", 0.8),
        (0.75, 0.91, "fail", 0.95),
    ],
)
def test_of_a_list_the_farthest_out_of_the_limit_counts(low, high, verdict, worst):  # type: ignore[no-untyped-def]
    """Under a limit from below that is the least axle, not the largest."""
    limit = Limit("share", "share", "-", "all", "mine", "assumed", "-", low, high)
    case = Case("rail", False, "tare", load_scenario("wet_leaf"))
    stop = Result(case, 0, {"share": [0.9, 0.8, None, 0.95]}, 0.1)
    line = judge(limit, "rail", [stop], (limit,))
    assert (line.verdict, line.worst, line.mean) == (verdict, worst, worst)


def test_a_stop_that_comes_to_no_end_fails_every_limit(
    run: Run, rails: list[str], tmp_path: Path
) -> None:
    """And is told with its reason; the programme goes on to its end."""
    line = ["assess", *rails, "--strategy", "none", "--seeds", "1", "--quick", "--out", tmp_path]
    ran = run(*line, "--set", "run.maximum_pieces=1000")
    assert ran.err == "" and "came to no end, the first: scenario" in ran.out
    with (tmp_path / "assess.csv").open(encoding="utf-8") as stream:
        verdicts = {row["verdict"] for row in csv.DictReader(stream)}
    assert verdicts == {"fail", "not met"}
    assert "run.maximum_pieces" in (tmp_path / "assess.csv").read_text(encoding="utf-8")


def flats(low: list[float], high: list[float], seed: int = 0) -> Result:
    case = Case("rail", False, "tare", load_scenario("wet_leaf"))
    numbers = {"flat_length_low": low, "flat_length_high": high, "longest_lock": 1.0,
               "next_application": None}  # fmt: skip
    return Result(case, seed, numbers, 0.1)


FLAT = Limit("flat", "flat_length_high", "m", "all", "mine", "assumed", "-", high=0.05)


def sheet_of(results: list[Result], limits: tuple[Limit, ...]) -> Sheet:
    lines = tuple(judge(limit, "rail", results, limits) for limit in limits)
    return Sheet("made_up", 1, limits, tuple(results), lines)


def test_wheels_are_told_flat_by_every_rule_surely_and_perhaps() -> None:
    """A band of 45 to 62 mm: over 40 mm surely, over 60 perhaps, over 63.5 not at all."""
    sheet = sheet_of(
        [flats([0.0, 0.045], [0.0, 0.062]), flats([0.0, 0.0], [0.0, 0.01], 1)], (FLAT,)
    )
    found = {own.name: own for own in flat_table(sheet)}
    assert set(found) == set(RULES)
    assert (found["gcu-small"].surely, found["gcu-small"].perhaps) == ((2,), (2,))
    assert (found["gcu-large"].surely, found["gcu-large"].perhaps) == ((), (2,))
    assert (found["us-locomotives"].perhaps, found["us-locomotives"].rail) == ((), "")
    assert found["gcu-small"].where.endswith("seed 0")
    text, page = sheet_text(sheet), sheet_page(sheet, "made up")
    for name in RULES:
        assert name in text and name in page


def test_a_rule_can_be_chosen_to_judge_by() -> None:
    results = [flats([0.045], [0.055])]
    assert judge(FLAT, "rail", results, (FLAT,)).verdict == "fail"
    (chosen,) = with_rule((FLAT,), "gcu-large")
    assert (chosen.high, chosen.name) == (0.060, "flat length by gcu-large")
    assert judge(chosen, "rail", results, (chosen,)).verdict == "pass"
    with pytest.raises(InputError, match="--flat-limit 'gcu'"):
        with_rule((FLAT,), "gcu")
    with pytest.raises(InputError, match="judge no flat_length_high"):
        with_rule((LOCK,), "gcu-large")


def test_what_fails_comes_first_and_prints_without_backgrounds() -> None:
    results = [flats([0.0], [0.01])]
    sheet = sheet_of(results, (FLAT, LOCK))
    assert [line.limit.name for line in worst_first(sheet)] == ["lock", "flat"]
    assert verdict_words(sheet) == "1 of 2 judged limits fail."
    page = sheet_page(sheet, "made up")
    style = page.split("<style>")[1].split("</style>")[0]
    assert "background" not in style and "#fff" not in style
    assert "border:3px solid" in style.split(".fail{")[1].split("}")[0]
    assert page.index("<td>lock</td>") < page.index("<td>flat</td>")
    assert "class=failed" in page


def test_the_verdict_in_words_counts_what_could_not_be_judged() -> None:
    results = [flats([0.0], [0.01])]
    assert verdict_words(sheet_of(results, (FLAT,))) == "The one judged limit passes."
    assert "Nothing could be judged" in verdict_words(sheet_of(results, (BAND_LESS,)))


BAND_LESS = Limit("air", "next_application", "-", "low_adhesion", "mine", "assumed", "-", 1.0)

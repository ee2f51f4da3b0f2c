"""Odd files: each is refused in one line, at once, and never as a traceback."""

import os
from pathlib import Path

import pytest

from slipbench.assess.limits import read_limits
from slipbench.campaign.tuning.tuned_reader import load_tuned
from slipbench.contact.measured import read_measured_curve
from slipbench.ground import reading
from slipbench.ground.errors import InputError
from slipbench.ground.reading import regular_bytes, regular_text, regular_toml
from slipbench.ground.telling import message, shown, told, visible, visible_lines
from slipbench.scenario import load_scenario
from slipbench.scenario.handle_log import handle_log
from slipbench.scenario.profile import sections_from_csv
from slipbench.strategies.registry import find_controller

RAIL = load_scenario("wet_leaf").rail.sections[0]

READERS = {
    "scenario": (".toml", load_scenario),
    "limits": (".toml", read_limits),
    "tuned": (".toml", load_tuned),
    "curve": (".csv", read_measured_curve),
    "log": (".csv", lambda path: handle_log(path, 3)),
    "profile": (".csv", lambda path: sections_from_csv(path, RAIL)),
    "strategy": (".py", lambda path: find_controller(f"{path}:CONTROLLER")),
    "library": (".so", lambda path: find_controller(str(path))),
}


def refusal(read, *arguments) -> str:
    with pytest.raises(InputError) as caught:
        read(*arguments)
    text = str(caught.value)
    assert "\n" not in text
    assert len(text) < 700
    return text


@pytest.mark.parametrize("name", READERS)
def test_no_reader_opens_what_is_no_regular_file(name: str, tmp_path: Path) -> None:
    suffix, read = READERS[name]
    pipe = tmp_path / f"pipe{suffix}"
    os.mkfifo(pipe)
    (tmp_path / f"folder{suffix}").mkdir()
    (tmp_path / f"device{suffix}").symlink_to("/dev/zero")
    (tmp_path / f"loop{suffix}").symlink_to(tmp_path / f"loop{suffix}")
    for stem in ("pipe", "folder", "device"):
        text = refusal(read, tmp_path / f"{stem}{suffix}")
        assert "no regular file" in text or "is a directory" in text
    for path in (tmp_path / f"loop{suffix}", tmp_path / f"{'n' * 300}{suffix}"):
        refusal(read, path)
    refusal(read, f"{tmp_path}/a\0b{suffix}")


@pytest.mark.parametrize("name", [name for name in READERS if name != "library"])
def test_no_reader_takes_a_file_without_end(name: str, tmp_path: Path) -> None:
    suffix, read = READERS[name]
    path = tmp_path / f"huge{suffix}"
    with path.open("wb") as stream:
        stream.truncate(10 * reading.LONGEST_TEXT)  # sparse: no room on the disk
    assert "larger than" in refusal(read, path)


TOML = {
    "whole number of 5,000 digits": "x = 1" + "0" * 5000,
    "the same in base 16": "x = 0x" + "f" * 5000,
    "whole number of 65 bits": "x = 18446744073709551616",
    "3,000 dotted levels": ".".join(["a"] * 3000) + " = 1",
    "3,000 dotted levels of a table": "[" + ".".join(["a"] * 3000) + "]",
    "200 levels of quoted keys": ".".join(['"a"'] * 200) + " = 1",
    "3,000 lists": "x = " + "[" * 3000 + "]" * 3000,
    "900 tables": "x = " + "{a = " * 900 + "1" + "}" * 900,
    "60 tables": "x = " + "{a = " * 60 + "1" + "}" * 60,
    "a key without end": "k" * 3000 + " = 1",
    "a key that hides": '"a\\u001b[2Jb" = 1',
    "NUL": "x = 1\0",
    "not closed": 'x = "' + "y" * 5000,
}


@pytest.mark.parametrize("case", TOML)
def test_toml_that_no_reader_should_have_to_think_of(case: str, tmp_path: Path) -> None:
    path = tmp_path / "odd.toml"
    path.write_text(TOML[case])
    refusal(regular_toml, path, "TOML")
    for read in (load_scenario, read_limits, load_tuned):
        refusal(read, path)


def test_dotted_keys_of_a_usual_depth_are_read(tmp_path: Path) -> None:
    path = tmp_path / "usual.toml"
    path.write_text('a.b.c.d = 1 # a.b.c\ne = "x.y.z ... and so on"\n[f.g]\nh = [[1], [2.5]]\n')
    assert regular_toml(path, "TOML")["a"] == {"b": {"c": {"d": 1}}}


def test_a_chain_of_files_is_of_a_stated_length(tmp_path: Path) -> None:
    for i in range(1200):
        base = f"s{i + 1}.toml" if i < 1199 else "wet_leaf"
        (tmp_path / f"s{i}.toml").write_text(f'based_on = "{base}"\n')
    assert "at most 20" in refusal(load_scenario, tmp_path / "s0.toml")
    assert load_scenario(tmp_path / "s1190.toml").rail == load_scenario("wet_leaf").rail


def test_two_hundred_thousand_sections_are_refused_at_once(tmp_path: Path) -> None:
    path = tmp_path / "many.toml"
    path.write_text('based_on = "wet_leaf"\n' + "[[rail.section]]\nfrom_distance_m=0\n" * 200_000)
    assert "over 50000" in refusal(load_scenario, path)


def test_a_log_with_a_huge_position_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time_s,position\n0," + "9" * 5000 + "\n")
    assert "position = '999" in refusal(handle_log, path, 3)


@pytest.mark.parametrize(
    ("name", "hint"),
    [("x" * 61, "61 characters"), ("a\\u001b[31mb", "control"), ("a\\u0000b", "control")],
)
def test_a_scenario_has_a_name_that_can_be_shown(name: str, hint: str, tmp_path: Path) -> None:
    path = tmp_path / "named.toml"
    path.write_text(f'based_on = "wet_leaf"\nname = "{name}"\n')
    assert hint in refusal(load_scenario, path)


def test_a_scenario_is_named_after_a_file_of_any_name(tmp_path: Path) -> None:
    for stem in (b"\xff\xfe", b"n" * 240, b"a\x1bb", b"12"):
        path = os.path.join(os.fsencode(tmp_path), stem + b".toml")
        with open(path, "wb") as stream:
            stream.write(b'based_on = "wet_leaf"\n')
        name = load_scenario(os.fsdecode(path)).name
        assert name.isprintable() and name.encode() and len(name) <= 60


ENDS_BADLY = (
    "raise BaseException('x')",
    "class E(BaseException): pass\nraise E",
    "raise SystemExit",
    "raise GeneratorExit",
    "exit(3)",
    "(" * 5000,
    "x = 1\0",
    "import no_such_module_",
    "class E(Exception):\n    def __str__(self): 1/0\nraise E",
    "def f(): f()\nf()",
)


@pytest.mark.parametrize("text", ENDS_BADLY, ids=[f"{i}" for i in range(len(ENDS_BADLY))])
def test_a_strategy_file_that_ends_badly_is_one_line(text: str, tmp_path: Path) -> None:
    path = tmp_path / "own.py"
    path.write_text(text)
    assert str(path) in refusal(find_controller, f"{path}:CONTROLLER")


class Unprintable:
    def __repr__(self) -> str:
        raise RuntimeError("no")


def nested(depth: int) -> list:
    value: list = []
    for _ in range(depth):
        value = [value]
    return value


def test_whatever_is_shown_is_short_and_visible() -> None:
    for value, hint in (
        (10**5000, "digits"),
        (10**40, "41 digits"),
        (nested(100_000), "list with 1 items"),
        (Unprintable(), "Unprintable that cannot be printed"),
        ("x" * 10_000, "..."),
        ("a\x1b[31m\u202eb", "\\x1b"),
        ([10**5000], "list with 1 items"),
        (range(10), "range(0, 10)"),
    ):
        text = shown(value)
        assert len(text) <= 80 and text.isprintable() and hint in text


def test_what_is_told_is_one_visible_line() -> None:
    assert visible("a\tb\x07\u2028é漢") == "a\\tb\\x07\\u2028é漢"
    assert visible_lines("a\tb\n\x1bc\u2028") == "a\tb\n\\x1bc\\u2028"
    assert visible("\ud800") == "\\ud800"
    assert message("a\n  b\x00") == "a b\\x00"
    assert len(message("x" * 10_000)) < 1600
    assert len(told(ValueError("y" * 10_000))) <= 400


def test_bytes_and_text_say_what_they_were_to_be(tmp_path: Path) -> None:
    path = tmp_path / "latin.txt"
    path.write_bytes(b"\xef\xbb\xbfgr\xfcn")
    assert "latin.txt: byte 2 is not UTF-8 text; a note" in refusal(regular_text, path, "a note")
    assert regular_bytes(path, "a note") == b"\xef\xbb\xbfgr\xfcn"
    assert "no such file; look elsewhere" in refusal(
        lambda: regular_bytes(tmp_path / "none", "a note", missing="look elsewhere")
    )

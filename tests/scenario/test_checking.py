"""Every mistake of a file, one line each, and none that is not there."""

import random

import pytest
from tests.scenario.conftest import MINIMAL
from tests.scenario.test_broken_files import CASES

from slipbench.ground.errors import InputError
from slipbench.scenario import driver_names, load_scenario, scenario_names, train_names
from slipbench.scenario.chain import SHIPPED
from slipbench.scenario.checking import check_file

UNTOLD = {
    "malformed", "key twice", "deeply nested", "endless number", "huge whole number",
    "number for base", "unknown base", "missing base", "based on itself",
    "unknown far key", "position beyond emergency",
}  # fmt: skip
"""Mistakes after which little or nothing else can be told; a key nobody knows what was meant by,
whose value is then missing as well; and what cannot be known where the steps themselves are wrong.
"""

N_FILES, N_MISTAKES = 40, 4


def spoilt(seed: int) -> tuple[str, list[str]]:
    """Return the small file with several mistakes that do not touch each other, and their names."""
    draw = random.Random(seed)
    names = [name for name in CASES if name not in UNTOLD]
    draw.shuffle(names)
    text, spans, chosen = MINIMAL, [], []
    for name in names:
        good, bad, _, _ = CASES[name]
        at = MINIMAL.find(good)
        lines = set(range(MINIMAL[:at].count("\n"), MINIMAL[: at + len(good)].count("\n") + 1))
        table = MINIMAL[: at + len(good)].count("\n[")
        if text.count(good) != MINIMAL.count(good) or any(lines & s for s, _ in spans):
            continue
        if any(table == t for _, t in spans):  # of one table, one may hide another
            continue
        spans.append((lines, table))
        text = text.replace(good, bad, 1)
        chosen.append(name)
        if len(chosen) == N_MISTAKES:
            break
    return text, chosen


@pytest.mark.parametrize("seed", range(N_FILES))
def test_every_mistake_of_a_broken_file_is_told_in_one_line(tmp_path, seed):
    text, chosen = spoilt(seed)
    assert len(chosen) >= 3
    path = tmp_path / "case.toml"
    path.write_text(text)
    told = [str(problem) for problem in check_file(path).problems]
    for name in chosen:
        _, _, key, hint = CASES[name]
        assert any(key in line and hint in line for line in told), (name, told)
    assert len(told) == len(chosen), (chosen, told)
    assert all(len(line.splitlines()) == 1 and "case.toml: " in line for line in told)
    lines = [line for line in told if "missing" not in line]
    assert all("case.toml: line " in line for line in lines), lines


def test_lines_that_are_no_toml_do_not_hide_the_others(tmp_path):
    path = tmp_path / "unit.toml"
    path.write_text(
        MINIMAL.replace("teeth = 90", "teeth 90")
        .replace("= 1.2\n", "= 12\n")
        .replace("demand_delay_s = 0.4", "demand_delay_s = 0.4\ndemand_delay_s = 0.5")
        .replace("length_m = 20.0", "length_m = 20..0")
        .replace("[[driver.handle]]", "[[driver.handle]")
    )
    told = [(problem.line, str(problem)) for problem in check_file(path).problems]
    assert [line for line, _ in told] == [12, 22, 24, 46, 51]
    assert all("not valid TOML" in text for line, text in told if line != 22)
    assert "brake.emergency_m_per_s2 = 12: out of range" in told[1][1]


def test_mistakes_of_every_file_of_a_chain_are_told(tmp_path):
    (tmp_path / "unit.toml").write_text('based_on = "elderwick"\n[sensing]\nteeth = 0\n')
    (tmp_path / "rail.toml").write_text('based_on = "frost"\n[rail.section]\nfriction = 2\n')
    path = tmp_path / "case.toml"
    path.write_text(
        'title = "t"\ninitial_speed_mph = 500\ntrain = "unit.toml"\nrail = "rail.toml"\n'
        'driver = "nobody"\n'
    )
    told = [str(problem).split("/")[-1] for problem in check_file(path).problems]
    assert [text.split(": ")[0] for text in told] == [
        "case.toml",
        "case.toml",
        "rail.toml",
        "unit.toml",
    ]
    assert [text.split(": ")[1] for text in told] == ["line 2", "line 5", "line 3", "line 3"]


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ('based_on = "elderwick"\n[brake]\nfill_delay_ms = 50\n', "train"),
        ("[rail]\n[[rail.section]]\nfriction = 0.1\nrecovered_friction = 0.1\n"
         "friction_ratio = 0.4\nfriction_decay_s_per_m = 0.2\nadhesion_reduction = 0.3\n"
         "slip_reduction = 0.1\n", "rail"),
        ('based_on = "emergency"\n', "driver"),
        ('based_on = "dry"\n[rail.section]\nfriction = 0.3\n', "scenario"),
    ],
)  # fmt: skip
def test_kind_of_a_file_follows_from_what_it_gives(tmp_path, text, kind):
    path = tmp_path / "case.toml"
    path.write_text(text)
    checked = check_file(path)
    assert (checked.kind, checked.problems) == (kind, [])
    assert checked.scenario is not None


@pytest.mark.parametrize("what", ["scenario", "train", "driver"])
def test_nothing_is_found_in_what_is_shipped(what):
    names = {"scenario": scenario_names, "train": train_names, "driver": driver_names}[what]()
    for name in names:
        checked = check_file(SHIPPED[what] / f"{name}.toml")
        assert (checked.kind, checked.problems) == (what, [])
        if what == "scenario":
            assert checked.scenario == load_scenario(name)


def test_file_that_is_none_is_one_error(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        check_file(tmp_path / "none.toml")
    path = tmp_path / "latin.toml"
    path.write_bytes(b'title = "caf\xe9"\n')
    with pytest.raises(InputError, match="not UTF-8"):
        check_file(path)

"""The commands `new`, `keys` and `check`: files written, looked up, checked."""

import re
import tomllib

import pytest
from tests.scenario.conftest import MINIMAL

from slipbench.commands.own_files import KINDS
from slipbench.guide.key_list import all_keys, keys_text
from slipbench.results.template import template
from slipbench.scenario import Scenario, driver_names, load_scenario, train_names
from slipbench.scenario.checking import check_file
from slipbench.scenario.fields import specs_of


@pytest.mark.parametrize("kind", ["train", "rail", "driver", "scenario"])
def test_new_file_has_no_mistake_and_makes_what_it_was_written_from(tmp_path, kind):
    path = tmp_path / "own.toml"
    path.write_text(template(kind, "own.toml"))
    checked = check_file(path)
    assert (checked.kind, checked.problems) == (kind, [])
    made, dry = checked.scenario, load_scenario("dry")
    if kind == "train":
        same = made.train.name, (made.brake, made.slip_control, made.sensing, made.equipment)
        name = "My unit (numbers of an invented one)"
        assert same == (name, (dry.brake, dry.slip_control, dry.sensing, dry.equipment))
        assert made.train.vehicles == dry.train.vehicles
    elif kind == "rail":
        assert made.rail == load_scenario("wet_leaf").rail
    else:
        assert made.driver == dry.driver
    fields = {"train": ("train.", "brake."), "rail": ("rail.",), "driver": ("driver.",)}
    for path in made.provenance:  # a source must not outlive its value
        assert not path.startswith(fields.get(kind, ("fault",)))


@pytest.mark.parametrize(
    ("kind", "name"),
    [
        *(("train", name) for name in train_names()),
        *(("driver", name) for name in driver_names()),
        *(("rail", name) for name in ("frost", "tough_film", "autumn_guide")),
        ("scenario", "autumn_guide"),
    ],
)
def test_new_file_may_start_from_any_shipped_one(tmp_path, kind, name):
    path = tmp_path / "own.toml"
    path.write_text(template(kind, "own.toml", name))
    checked = check_file(path)
    assert (checked.kind, checked.problems) == (kind, [])
    made = checked.scenario
    whole = load_scenario(name) if kind == "scenario" else load_scenario("dry", **{kind: name})
    assert getattr(made, kind) == getattr(whole, kind) if kind != "scenario" else made.rail
    if kind == "train":
        same = ("brake", "slip_control", "sensing", "sanders", "equipment")
        assert [getattr(made, part) for part in same] == [getattr(whole, part) for part in same]
    if kind == "scenario":
        parts = ("train", "brake", "rail", "driver", "initial_speed")
        assert [getattr(made, part) for part in parts] == [getattr(whole, part) for part in parts]


def test_new_from_what_is_not_there_is_one_line(run, tmp_path):
    ran = run("new", "train", tmp_path / "own.toml", "--from", "tramm")
    assert ran.code == 2 and "--from: train 'tramm'" in ran.err and "mean tram?" in ran.err
    assert not (tmp_path / "own.toml").exists()
    ran = run("new", "strategy", tmp_path / "own.py", "--from", "slip_band")
    assert ran.code == 2 and ran.err.count("\n") == 1


@pytest.mark.parametrize("kind", ["train", "rail", "driver"])
def test_new_file_shows_every_key_of_its_tables(kind):
    text = template(kind, "own.toml")
    tables = set(re.findall(r"^\[\[?([\w.]+)\]\]?$", text, flags=re.M))
    assert len(tables) >= 2
    for key in all_keys():
        if key.table in tables:
            pattern = rf"^#?({'|'.join(key.spellings)}) = "
            assert re.search(pattern, text, flags=re.M), key.dotted


def test_line_behind_a_hash_is_a_key_that_can_be_used(tmp_path):
    text = template("train", "own.toml")
    spellings = "|".join({word for key in all_keys() for word in key.spellings})
    shown = re.findall(rf"^#((?:{spellings}) = .+)$", text, flags=re.M)
    shown = [line for line in shown if not line.endswith("...") and "value =" not in line]
    assert len(shown) > 20
    for line in shown:
        tomllib.loads(line)


def test_new_writes_what_runs_and_nothing_over_a_users_file(tmp_path, run, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for kind in KINDS:
        name = f"own.{'py' if kind == 'strategy' else 'toml'}"
        ran = run("new", kind, name, "--overwrite")
        assert ran.code == 0 and f"written: {name}" in ran.out
    (tmp_path / "own.toml").write_text("mine")
    ran = run("new", "train", "own.toml")
    assert ran.code == 2 and "--overwrite" in ran.err
    assert (tmp_path / "own.toml").read_text() == "mine"
    ran = run("stop", "wet_leaf", "--speed", "12mph", "--strategy", "own.py")
    assert ran.code == 0, ran.err


@pytest.mark.parametrize(
    ("words", "hint"),
    [
        (("wagon", "a.toml"), "allowed: train, rail"),
        (("train", "a.txt"), "must end in .toml"),
        (("strategy", "a.toml"), "must end in .py"),
        (("train", "none/a.toml"), "its folder is missing"),
    ],
)
def test_new_refuses_in_one_line(run, tmp_path, monkeypatch, words, hint):
    monkeypatch.chdir(tmp_path)
    ran = run("new", *words)
    assert (ran.code, ran.err.count("\n")) == (2, 1)
    assert hint in ran.err and not list(tmp_path.iterdir())


def test_check_tells_every_mistake_and_exits_with_two(run, tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(
        MINIMAL.replace("teeth = 90", "teeht = 90")
        .replace("= 1.2", "= 12")
        .replace("friction_ratio = 0.4", "friction_ratio = 4")
    )
    ran = run("check", path)
    assert ran.code == 2
    lines = ran.out.splitlines()
    assert len(lines) == 3 and all(re.match(r".*own\.toml: line \d+: \w", line) for line in lines)
    assert "did you mean teeth?" in lines[2]
    assert ran.err == f"slipbench: {path}: 3 mistakes\n"


def test_check_tells_twenty_at_most(run, tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(MINIMAL + "".join(f"odd_{i} = 1\n" for i in range(30)))
    ran = run("check", path)
    assert len(ran.out.splitlines()) == 20
    assert "30 mistakes, the first 20 of them told" in ran.err


def test_check_of_a_train_says_what_it_can_do(run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "unit.toml").write_text('based_on = "elderwick"\n[brake]\nair = "ramps"\n')
    ran = run("check", "unit.toml")
    assert ran.code == 0, ran.err
    for word in ("step 3", "emergency", "[%g]", "reservoirs cannot run out", "--train unit.toml"):
        assert word in ran.out
    assert (tmp_path / "slipbench-results" / "check" / "train.png").stat().st_size > 10_000


def test_check_of_rail_and_driver_says_what_they_are(run, tmp_path):
    rail, driver = tmp_path / "rail.toml", tmp_path / "driver.toml"
    rail.write_text('[rail.random]\nseed = 3\n[rail]\n[[rail.section]]\nrecovered_friction = 0.2\n'
                    "cleaning_work_kj_per_m = 10\nfriction_ratio = 0.4\nadhesion_reduction = 0.3\n"
                    "friction_decay_s_per_m = 0.2\nslip_reduction = 0.1\n")  # fmt: skip
    driver.write_text('based_on = "step_by_step"\n')
    ran = run("check", rail, "--out", tmp_path / "rail")
    assert ran.code == 0 and "friction drawn, seed 3: median 0.05" in ran.out
    ran = run("check", driver, "--out", tmp_path / "driver")
    assert ran.code == 0 and "2.0 s later  step 2" in ran.out
    for name in ("rail", "driver"):
        assert (tmp_path / name / f"{name}.png").stat().st_size > 10_000


def test_check_of_a_train_with_drives_tells_what_they_carry(run, tmp_path):
    (tmp_path / "unit.toml").write_text('based_on = "four_cars_dynamic"\n')
    ran = run("check", tmp_path / "unit.toml", "--out", tmp_path / "out")
    assert ran.code == 0, ran.err
    assert "Greatest force of the whole train at a speed" in ran.out
    (row,) = [line.split() for line in ran.out.splitlines() if line.startswith("75.0 ")]
    # 8 axles of 250 kW over 33.53 m/s; by vehicle, 85.2 t of 166 t motored, .9 m/s2 of step 3
    assert float(row[1]) == pytest.approx(8 * 250.0 / 33.528, abs=0.06)
    assert [float(one) for one in row[3:]] == pytest.approx([51.0, 51.0, 37.0], abs=1.0)


def test_every_key_is_found_by_each_of_its_names():
    keys = all_keys()
    assert len({key.dotted for key in keys}) == len(keys)
    top = {name for name, spec in specs_of(Scenario).items() if spec.kind != "record"}
    assert top <= {key.dotted for key in keys}
    for key in keys:
        for word in (key.dotted, *key.spellings):
            assert f"{key.dotted}\n" in f"{keys_text(word)}\n"


def test_keys_of_a_part_and_all_parts(run):
    assert run("keys", "brake").out.startswith("[brake]")
    assert "tables inside: [[train.vehicle]]" in run("keys", "train").out
    assert "[[driver.handle]]" in run("keys").out
    ran = run("keys", "fil_rate")
    assert ran.code == 2 and "did you mean fill_rate?" in ran.err


def test_rule_is_told_with_its_key():
    assert 'acts        with brake.air = "ramps"' in keys_text("brake.fill_rate")
    assert "acts        always" in keys_text("brake.emergency")


def test_check_tells_where_the_dynamic_brake_fades():
    from slipbench.commands.own_texts import _fades

    scenario = load_scenario("dry", train="four_cars_dynamic")
    (line,) = _fades(scenario)
    brake = next(v.dynamic_brake for v in scenario.train.vehicles if v.dynamic_brake)
    assert f"fades from {brake.fade_from / 0.44704:.1f} to" in line
    assert _fades(load_scenario("dry")) == []


def test_list_names_what_a_file_may_start_from(run):
    told = run("list").out.splitlines()
    assert "trains (--train)" in told and "drivers (--driver)" in told
    for name in (*train_names(), *driver_names()):
        assert any(line.startswith(f"  {name} ") for line in told), name
    assert any(
        line.split() == ["step_by_step", "step", "1,", "step", "2,", "step", "3"] for line in told
    )

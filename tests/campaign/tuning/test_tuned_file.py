"""Tuned settings as a file: read back, refused where it does not fit, and the code beside it."""

import tomllib

import pytest
from tests.campaign.tuning.test_tuning import DISTANCE, find

from slipbench.campaign.objectives import find_objectives
from slipbench.campaign.tuning.beside import code_of
from slipbench.campaign.tuning.judge import Goal
from slipbench.campaign.tuning.tuned_file import tuned_file
from slipbench.campaign.tuning.tuned_reader import load_tuned
from slipbench.ground.errors import InputError
from slipbench.strategies.registry import find_controller


def test_file_gives_the_tuned_strategy_back(slip_band, rails, bowl, tmp_path):
    tuned = find(slip_band, Goal(find_objectives("distance,lock")), rails, bowl(), budget=200)
    path = tmp_path / "tuned.toml"
    path.write_text(tuned_file(tuned, slip_band, 'slipbench "x"'), encoding="utf-8")
    loaded = load_tuned(path)
    assert loaded == slip_band.controller.with_parameters(**tuned.chosen.values)
    content = tomllib.loads(path.read_text(encoding="utf-8"))
    assert len(content["front"]) == len(tuned.front)
    low, high = content["held_out"]["difference"]["distance"]["mean_interval"]
    assert low <= content["held_out"]["difference"]["distance"]["mean"] <= high <= 0.0


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("source_hash = ", "source_hash = 'x' # ", "source has changed"),
        ("fill_slip = ", "fill_slap = ", "no parameter 'fill_slap'"),
        ("fill_slip = ", "fill_slip = 7 # ", "allowed: 0.01 to 0.5"),
        ("fill_slip = ", "fill_slip = true # ", "allowed: a number"),
        ("kind = ", "kind = 'x' # ", "no tuned settings"),
        ("kind = ", "kind ", "not valid TOML"),
        ('strategy = "slip_band"', 'strategy = "slap"', "unknown"),
        ('strategy = "slip_band"', 'strategy = "tuned.toml"', "a strategy's own name"),
        ('strategy = "slip_band"', 'strategy = "evil.py:CONTROLLER"', "code_sha256 is missing"),
        ('strategy = "slip_band"', 'strategy = "/tmp/evil.py:C"', "beside the settings"),
        ('strategy = "slip_band"', 'strategy = "../evil.so"', "beside the settings"),
        (
            'strategy = "slip_band"',
            'code_sha256 = "00"\nstrategy = "evil.py:CONTROLLER"',
            "is another file than the one tuned",
        ),
        ("compile = true", 'compile = "no"', "compile = 'no'"),
    ],
)
def test_a_file_that_does_not_fit_is_one_line(slip_band, rails, bowl, tmp_path, old, new, message):
    tuned = find(slip_band, DISTANCE, rails, bowl(), budget=100)
    path = tmp_path / "tuned.toml"
    text = tuned_file(tuned, slip_band)
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    (tmp_path / "evil.py").write_text("import os\nos.mkdir(__file__ + '-ran')\n")
    with pytest.raises(InputError, match=message) as problem:
        load_tuned(path)
    assert "\n" not in str(problem.value)
    assert not (tmp_path / "evil.py-ran").exists()


OWN = """from slipbench import Controller, Parameter

def update(observation, parameters, memory, command, signals):
    command[:, 0] = 0.0

CONTROLLER = Controller(
    name="own", title="fills", update=update,
    parameters=(Parameter("fill_slip", 0.1, "-", 0.01, 0.5, "assumed"),
                Parameter("vent_slip", 0.2, "-", 0.01, 0.5, "assumed")),
)
"""


def test_settings_of_a_file_go_with_the_file(rails, bowl, tmp_path):
    (tmp_path / "mine").mkdir()
    source = tmp_path / "mine" / "own.py"
    source.write_text(OWN)
    known = find_controller(f"{source}:CONTROLLER")
    tuned = find(known, DISTANCE, rails, bowl(), budget=100)
    path = tmp_path / "tuned.toml"
    code = code_of(known, path)
    assert code is not None and code.reference == "tuned.py:CONTROLLER"
    (tmp_path / code.name).write_bytes(code.content)
    path.write_text(tuned_file(tuned, known, "", code), encoding="utf-8")
    assert load_tuned(path).parameter_values.tolist() == list(tuned.chosen.values.values())
    (tmp_path / code.name).write_bytes(code.content + b"# edited\n")
    with pytest.raises(InputError, match="another file than the one tuned"):
        load_tuned(path)


def test_settings_of_a_unit_go_with_its_mapping(rails, bowl, tmp_path):
    from tests.exchange.units import build_unit

    (tmp_path / "mine").mkdir()
    known = find_controller(str(build_unit(tmp_path / "mine", 2)))
    tuned = find(known, DISTANCE, rails, bowl(), budget=100)
    path = tmp_path / "tuned.toml"
    code = code_of(known, path)
    assert code is not None and list(code.files) == ["tuned.fmu", "tuned.map.toml"]
    for name, content in code.files.items():
        (tmp_path / name).write_bytes(content)
    path.write_text(tuned_file(tuned, known, "", code), encoding="utf-8")
    found = {p.name: p.default for p in load_tuned(path).parameters}
    assert len(found) > len(tuned.chosen.values) == 2
    assert load_tuned(path).parameter_values[:2] == pytest.approx(
        [tuned.chosen.values[name] for name in list(found)[:2]]
    )
    beside = tmp_path / "tuned.map.toml"
    beside.write_bytes(code.mapping + b"# edited\n")
    with pytest.raises(InputError, match="another mapping than the one tuned with"):
        load_tuned(path)
    beside.unlink()
    with pytest.raises(InputError, match=r"'tuned.map.toml' beside it is missing"):
        load_tuned(path)


def test_a_missing_file_is_one_line(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        load_tuned(tmp_path / "none.toml")

import pytest

from slipbench.ground.errors import InputError
from slipbench.results.canonical import (
    first_difference,
    scenario_from_text,
    scenario_hash,
    scenario_text,
)
from slipbench.results.scenario_file import scenario_file
from slipbench.scenario import RandomFriction, load_scenario, scenario_names


@pytest.mark.parametrize("name", scenario_names())
def test_text_returns_the_scenario(name):
    scenario = load_scenario(name)
    assert scenario_from_text(scenario_text(scenario)) == scenario


def test_text_keeps_every_bit(small):
    scenario = small.replace(initial_speed=10.0 + 2e-15)  # the next floats after 10
    assert scenario_from_text(scenario_text(scenario)).initial_speed == 10.0 + 2e-15
    assert scenario_hash(scenario) != scenario_hash(small)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("brake.build_up_time", 1.25),
        ("rail.sections.0.friction", 0.031),
        ("rail.random", RandomFriction(seed=5)),
        ("train.vehicles.0.tare_mass", 40e3),
    ],
)
def test_any_change_changes_the_hash(small, path, value):
    changed = small.replace({path: value})
    assert scenario_hash(changed) != scenario_hash(small)
    assert path in first_difference(scenario_text(small), scenario_text(changed))


def test_content_of_a_named_file_is_hashed(small, tmp_path):
    curve = tmp_path / "curve.csv"
    curve.write_text("creepage,adhesion\n0,0\n0.01,0.03\n0.1,0.02\n", encoding="utf-8")
    changes = {
        "contact.law": "measured",
        "contact.measured_curve": str(curve),
        "rail.sections.*.friction_ratio": 1.0,
    }
    scenario = small.replace(changes)
    before = scenario_hash(scenario)
    curve.write_text("creepage,adhesion\n0,0\n0.01,0.04\n0.1,0.02\n", encoding="utf-8")
    assert scenario_hash(scenario) != before
    curve.unlink()
    with pytest.raises(InputError, match=r"curve\.csv: no such file"):
        scenario_hash(scenario)


def test_text_of_another_version_is_refused():
    with pytest.raises(InputError, match="stored scenario cannot be read"):
        scenario_from_text('{"name":"x","title":"y","a_field_of_the_future":1}')


@pytest.mark.parametrize("name", scenario_names())
def test_file_is_read_back_equal(name, tmp_path):
    scenario = load_scenario(name).replace(name="written")
    path = tmp_path / "written.toml"
    path.write_text(scenario_file(scenario, ["two\nlines"]), encoding="utf-8")
    assert load_scenario(path) == scenario


def test_file_keeps_marks_and_sources(tmp_path):
    scenario = load_scenario("tough_film")
    path = tmp_path / "written.toml"
    path.write_text(scenario_file(scenario), encoding="utf-8")
    origin = scenario.provenance["rail.sections.0.friction"]
    assert load_scenario(path).provenance["rail.sections.0.friction"] == origin
    assert "approves nothing" in path.read_text(encoding="utf-8")


def test_file_writes_random_rails_and_odd_titles(small, tmp_path):
    title = 'say "x" \\ $a$ ü'
    scenario = small.replace({"rail.random": RandomFriction(seed=7), "title": title})
    path = tmp_path / "written.toml"
    path.write_text(scenario_file(scenario), encoding="utf-8")
    # friction is drawn: the section's own cannot act and is not written
    read = load_scenario(path).replace({"rail.sections": scenario.rail.sections})
    assert read == scenario

"""Train, rail and driver as files of their own; lists of tables changed in place."""

import pytest

from slipbench.ground.errors import InputError
from slipbench.scenario import driver_names, load_scenario, train_names
from slipbench.scenario.provenance import Provenance

UNIT = """\
[train]
name = "two cars (invented)"
resistance_constant_m_per_s2 = 0.006
resistance_linear_per_s = 0.0001
resistance_quadratic_per_m = 0.00002

[[train.vehicle]]
name = "car"
repeat = 2
length_m = 20.0
tare_mass_t = { value = 40, mark = "published", source = "weigh-bridge" }
laden_mass_t = 50
bogie_centres_m = [3.0, 17.0]
bogie_wheelbase_m = 2.5
wheel_diameter_mm = 840
wheelset_inertia_kg_m2 = 100

[brake]
steps_m_per_s2 = [0.2, 0.4, 0.6, 0.8, 1.0]
emergency_m_per_s2 = 1.3
demand_delay_s = 0.4
build_up_time_s = 1.5
release_time_s = 2.0
full_pressure_bar = 3.0
fill_delay_ms = 40
vent_delay_ms = 30

[sensing]
teeth = 100
zero_timeout_s = 0.2
"""


@pytest.fixture
def unit(tmp_path):
    path = tmp_path / "unit.toml"
    path.write_text(UNIT)
    return path


def test_train_file_needs_nothing_else(unit):
    leaf = load_scenario("wet_leaf")
    scenario = load_scenario("wet_leaf", train=unit)
    assert (scenario.train.n_axles, scenario.sensing.teeth) == (8, 100)
    assert (scenario.rail, scenario.initial_speed) == (leaf.rail, leaf.initial_speed)
    assert scenario.driver.programme[0].position == 5  # full service of five steps, not step 3
    assert (scenario.name, scenario.title.endswith("train of unit")) == ("wet_leaf, train unit", 1)
    origin = Provenance("published", "weigh-bridge")
    assert scenario.provenance["train.vehicles.1.tare_mass"] == origin
    assert "brake.steps" not in scenario.provenance  # the shipped unit's source is not its own


def test_scenario_file_names_its_train_rail_and_driver(unit, load, tmp_path):
    (tmp_path / "rail.toml").write_text(
        'based_on = "frost"\n[[gradient]]\nfrom_distance_m = 0\nrise_permille = -8\n'
    )
    text = 'title = "t"\ninitial_speed_mph = 40\nrail = "rail.toml"\ndriver = "emergency"\n'
    scenario = load(f'{text}train = "unit.toml"\n')
    assert scenario.name == "case"
    assert scenario.rail == load_scenario("frost").rail
    assert scenario.gradient[0].rise == pytest.approx(-0.008)
    assert scenario.driver.programme[0].position == 6
    changed = load(f'{text}[train]\nfile = "unit.toml"\nload = 1.0\n')
    assert changed.train.load == 1.0
    assert changed.train.vehicles == scenario.train.vehicles


def test_part_replaces_that_of_the_file_below_and_leaves_the_rest(unit, load):
    scenario = load('based_on = "tough_film"\ntrain = "unit.toml"\n')
    assert (scenario.train.n_axles, scenario.brake.n_steps) == (8, 5)
    assert scenario.rail == load_scenario("tough_film").rail
    assert scenario.brake.air == "ramps"  # of the unit; the one below breathes by flow
    assert scenario.equipment.grade == "service"
    clean = load('based_on = "dry"\n[equipment]\ngrade = "clean"\n', "clean.toml")
    assert clean.equipment.grade == "clean"
    again = load('based_on = "clean.toml"\ntrain = "unit.toml"\n')
    assert again.equipment.grade == "clean"  # the unit says nothing of it


@pytest.mark.parametrize("name", driver_names())
def test_shipped_driver_suits_a_brake_of_any_number_of_steps(unit, name):
    for train in (None, unit):
        scenario = load_scenario("dry", driver=name, train=train)
        assert max(e.position for e in scenario.driver.programme) >= scenario.brake.n_steps


def test_shipped_train_is_found_by_name():
    assert "elderwick" in train_names()
    assert load_scenario("wet_leaf", train="elderwick").train == load_scenario("dry").train


@pytest.mark.parametrize(
    ("part", "given", "hint"),
    [
        ("train", "no_such", "--train: train 'no_such': no shipped train and no file"),
        ("train", "elderwik", "did you mean elderwick"),
        ("driver", "emergncy", "did you mean emergency"),
        ("rail", "driver.toml", "driver.toml: rail: missing; a rail needs the table [rail]"),
        ("train", "driver.toml", "driver.toml: train: missing; a train needs the table [train]"),
        ("driver", "no.toml", "no such file"),
    ],
)
def test_part_that_is_none_is_one_line(tmp_path, monkeypatch, part, given, hint):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "driver.toml").write_text("[driver]\nhandle = [{ at_time_s = 0, position = 1 }]\n")
    with pytest.raises(InputError) as caught:
        load_scenario("dry", **{part: given})
    message = str(caught.value)
    assert hint in message and len(message.splitlines()) == 1


def test_mistake_in_a_part_names_its_file_and_line(unit, load):
    unit.write_text(UNIT.replace("teeth = 100", "teeth = 0"))
    with pytest.raises(InputError, match=r"unit.toml: line 29: sensing.teeth = 0: out of range"):
        load('based_on = "dry"\ntrain = "unit.toml"\n')


def test_circle_of_parts_is_refused(load):
    with pytest.raises(InputError, match=r"train: goes round in a circle"):
        load('based_on = "dry"\ntrain = "case.toml"\n')


class TestItemsChangedInPlace:
    def test_one_value_of_every_section_is_changed_and_the_others_kept(self, load):
        leaf = load_scenario("wet_leaf")
        scenario = load('based_on = "wet_leaf"\n[rail.section]\nfriction = 0.05\n')
        assert (
            scenario.rail.sections[0]
            == leaf.replace({"rail.sections.0.friction": 0.05}).rail.sections[0]
        )
        marks = {value.path: (value.mark, value.source) for value in scenario.values()}
        assert marks["rail.sections.0.friction"] == ("given", "")
        assert marks["rail.sections.0.friction_ratio"][0] == "assumed"

    def test_one_item_is_changed_by_its_number(self, load):
        text = 'based_on = "dry"\n[train.vehicle]\nladen_mass_t = 60\n'
        text += "[train.vehicle.3]\ntare_mass_t = 50\n"
        scenario = load(text)
        assert [v.tare_mass for v in scenario.train.vehicles] == [41500.0, 41500.0, 41500.0, 50e3]
        assert {v.laden_mass for v in scenario.train.vehicles} == {60e3}

    @pytest.mark.parametrize(
        ("text", "hint"),
        [
            ("[rail.section.1]\nfriction = 0.1\n", "there are items 0 to 0"),
            ("[fault]\nkind = 'sensor_dead'\n", "changes a list that is not there"),
            ("[rail.section.0]\nfriktion = 0.1\n", "rail.section.0.friktion"),
            ("[rail.section]\n0 = 3\n", "must be a table, [rail.section.0]"),
        ],
    )
    def test_what_is_not_there_cannot_be_changed(self, load, text, hint):
        with pytest.raises(InputError) as caught:
            load(f'based_on = "dry"\n{text}')
        assert hint in str(caught.value)


def test_replaced_value_takes_no_provenance_along():
    leaf = load_scenario("wet_leaf")
    same = leaf.rail.sections[0]
    replaced = leaf.replace({"rail.sections": (same,)})  # equal numbers, of another origin
    assert not any(path.startswith("rail.sections") for path in replaced.provenance)
    one = leaf.replace({"rail.sections.0.friction": 0.05})
    assert "rail.sections.0.friction" not in one.provenance
    assert one.provenance["rail.sections.0.friction_ratio"].mark == "assumed"

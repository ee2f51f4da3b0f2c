"""Reading good files: units, defaults, repeats, words for positions, files based on others."""

import pytest

from slipbench.scenario import Run, SlipControl, load_scenario
from slipbench.scenario.provenance import Provenance


def test_minimal_file_is_read_into_si(load, minimal) -> None:
    scenario = load(minimal)
    assert scenario.name == "case"
    assert scenario.initial_speed == 25.0
    assert scenario.train.vehicles[0].tare_mass == 40e3
    assert scenario.train.vehicles[0].wheel_diameter == 0.84
    assert scenario.brake.full_pressure == 3e5
    assert scenario.brake.vent_rate == 5e5
    assert scenario.brake.fill_delay == 0.04
    assert scenario.rail.sections[0].cleaning_work == 10e3


def test_what_is_left_out_gets_the_default(load, minimal) -> None:
    scenario = load(minimal)
    assert scenario.run == Run()
    assert scenario.slip_control == SlipControl()
    assert scenario.gradient == ()
    assert scenario.rail.sections[0].cleaning_exponent == 1.0


@pytest.mark.parametrize(
    ("key", "expected"),
    [
        ("initial_speed_m_per_s = 25", 25.0),
        ("initial_speed_kmh = 90.0", 25.0),
        ("initial_speed_mph = 75", 33.528),
    ],
)
def test_key_names_the_unit(load, minimal, key: str, expected: float) -> None:
    scenario = load(minimal.replace("initial_speed_kmh = 90", key))
    assert scenario.initial_speed == pytest.approx(expected, rel=1e-15)


def test_suffix_that_is_part_of_another_field_is_not_mistaken(load, minimal) -> None:
    # friction_ratio is a field of its own, not friction in the unit "ratio".
    section = load(minimal).rail.sections[0]
    assert (section.friction, section.friction_ratio) == (0.05, 0.4)


@pytest.mark.parametrize(
    ("word", "expected"), [('"release"', 0), ("0", 0), ("3", 3), ("4", 4), ('"emergency"', 4)]
)
def test_position_may_be_a_word(load, minimal, word: str, expected: int) -> None:
    scenario = load(minimal.replace("position = 3", f"position = {word}"))
    assert scenario.driver.programme[0].position == expected


def test_emergency_follows_the_steps_of_the_file_on_top(load, minimal, tmp_path) -> None:
    base = minimal.replace("position = 3", 'position = "emergency"')
    (tmp_path / "base.toml").write_text(base)
    top = 'based_on = "base.toml"\n[brake]\nsteps_m_per_s2 = [0.5, 1.0]\n'
    assert load(top).driver.programme[0].position == 3


def test_repeat_stands_for_equal_vehicles(load, minimal) -> None:
    scenario = load(minimal.replace('name = "car"', 'name = "car"\nrepeat = 3'))
    assert len(scenario.train.vehicles) == 3
    assert len(set(scenario.train.vehicles)) == 1


def test_gradient_is_read(load, minimal) -> None:
    text = minimal + "\n[[gradient]]\nfrom_distance_yd = 100\nrise_permille = -5\n"
    section = load(text).gradient[0]
    assert section.from_distance == pytest.approx(91.44, rel=1e-15)
    assert section.rise == -0.005


def test_provenance_is_kept_by_field_path(load, minimal) -> None:
    text = minimal.replace(
        "friction = 0.05",
        'friction = { value = 0.05, mark = "published", source = "a paper" }',
        1,
    )
    scenario = load(text)
    assert scenario.provenance == {"rail.sections.0.friction": Provenance("published", "a paper")}
    assert scenario == load(minimal)
    assert hash(scenario) == hash(load(minimal))


class TestBasedOn:
    def test_tables_are_merged_and_the_rest_kept(self, load) -> None:
        scenario = load('based_on = "dry"\ntitle = "t"\n[brake]\nbuild_up_time_s = 3\n')
        dry = load_scenario("dry")
        assert scenario.brake.build_up_time == 3.0
        assert scenario.brake.emergency == dry.brake.emergency
        assert scenario.rail == dry.rail

    def test_other_unit_replaces_the_value_below(self, load) -> None:
        scenario = load('based_on = "dry"\ninitial_speed_kmh = 36\n')
        assert scenario.initial_speed == 10.0

    def test_lists_are_replaced_whole(self, load, minimal, tmp_path) -> None:
        (tmp_path / "base.toml").write_text(minimal)
        section = minimal[minimal.index("[[rail.section]]") : minimal.index("[[driver")]
        second = section.replace("from_distance_m = 0", "from_distance_m = 500")
        top = f'based_on = "base.toml"\n{section}\n{second}'
        assert [s.from_distance for s in load(top).rail.sections] == [0.0, 500.0]

    def test_name_is_the_file_s_own(self, load) -> None:
        scenario = load('based_on = "dry"\n', "mine.toml")
        assert scenario.name == "mine"
        assert scenario.title == f"changed from: {load_scenario('dry').title}"

    def test_name_and_title_of_the_base_are_not_inherited(self, load, minimal, tmp_path) -> None:
        (tmp_path / "base.toml").write_text('name = "other"\n' + minimal)
        scenario = load('based_on = "base.toml"\n', "mine.toml")
        assert (scenario.name, scenario.title) == ("mine", "changed from: One car on wet rail")

    def test_path_is_relative_to_the_file(self, load, minimal, tmp_path) -> None:
        (tmp_path / "inner").mkdir()
        (tmp_path / "base.toml").write_text(minimal)
        (tmp_path / "inner" / "middle.toml").write_text('based_on = "../base.toml"\n')
        assert load('based_on = "inner/middle.toml"\n').initial_speed == 25.0

    def test_provenance_comes_along_and_goes_with_a_new_value(self, load) -> None:
        scenario = load('based_on = "dry"\n[brake]\nemergency_m_per_s2 = 1.1\n')
        assert scenario.provenance["brake.steps"].mark == "memory"
        marks = {value.path: value.mark for value in scenario.values()}
        assert marks["brake.emergency"] == "given"


def test_path_may_be_text_or_path(load, minimal, tmp_path) -> None:
    expected = load(minimal)
    assert load_scenario(str(tmp_path / "case.toml")) == expected
    assert load_scenario(tmp_path / "case.toml") == expected

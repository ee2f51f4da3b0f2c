"""Changed copies: paths, wildcards, and the same checks as everywhere."""

import pytest

from slipbench.ground.errors import InputError
from slipbench.scenario import HandleEntry, Scenario, load_scenario


@pytest.fixture
def leaf() -> Scenario:
    return load_scenario("wet_leaf")


def test_keyword_dotted_path_and_mapping_agree(leaf: Scenario) -> None:
    a = leaf.replace({"initial_speed": 20.0, "brake.build_up_time": 2.0})
    b = leaf.replace(initial_speed=20.0, **{"brake.build_up_time": 2.0})
    assert a == b
    assert (a.initial_speed, a.brake.build_up_time) == (20.0, 2.0)
    assert leaf.initial_speed != 20.0


def test_nothing_changed_is_equal(leaf: Scenario) -> None:
    assert leaf.replace() == leaf
    assert leaf.replace().provenance == leaf.provenance


def test_item_of_a_list(leaf: Scenario) -> None:
    changed = leaf.replace({"train.vehicles.1.tare_mass": 35e3})
    assert [v.tare_mass for v in changed.train.vehicles] == [41.5e3, 35e3, 41.5e3, 41.5e3]


def test_wildcard_reaches_every_item(leaf: Scenario) -> None:
    changed = leaf.replace({"train.vehicles.*.wheel_diameter": 0.8, "train.load": 1})
    assert {v.wheel_diameter for v in changed.train.vehicles} == {0.8}
    assert changed.train.mass == 4 * 52e3


def test_changes_are_checked_together_not_one_by_one(leaf: Scenario) -> None:
    # Friction alone would exceed the recovered friction of 0.15.
    changed = leaf.replace(
        {"rail.sections.*.friction": 0.2, "rail.sections.*.recovered_friction": 0.3}
    )
    assert changed.rail.sections[0].friction == 0.2
    with pytest.raises(InputError, match="at least the untouched friction"):
        leaf.replace({"rail.sections.*.friction": 0.2})


def test_whole_part_can_be_replaced(leaf: Scenario) -> None:
    dry = load_scenario("dry")
    assert leaf.replace(rail=dry.rail).rail == dry.rail
    entries = (HandleEntry(at_time=0.0, position=1), HandleEntry(at_speed=10.0, position=3))
    assert leaf.replace({"driver.programme": entries}).driver.programme == entries


def test_changed_value_loses_its_provenance(leaf: Scenario) -> None:
    changed = leaf.replace({"brake.emergency": 1.1})
    assert "brake.emergency" in leaf.provenance
    assert "brake.emergency" not in changed.provenance
    assert "brake.steps" in changed.provenance


def test_emergency_stays_emergency_when_steps_are_added(leaf: Scenario) -> None:
    stop = leaf.replace({"driver.programme.0.position": 4})
    finer = stop.replace({"brake.steps": (0.2, 0.4, 0.6, 0.8, 1.0)})
    assert finer.driver.programme[0].position == finer.brake.emergency_position == 6
    # An entry at a service step stays at its number.
    assert leaf.replace({"brake.steps": (0.2, 0.4, 0.6, 0.8)}).driver.programme[0].position == 3


@pytest.mark.parametrize(
    ("changes", "parts"),
    [
        ({"brake.buildup_time": 1.0}, ["brake.buildup_time", "build_up_time"]),
        ({"brakes": 1.0}, ["brakes", "did you mean brake"]),
        ({"rail.sections.7.friction": 0.1}, ["rail.sections.7", "from 0 to 0", "*"]),
        ({"rail.sections.-1.friction": 0.1}, ["rail.sections.-1", "from 0 to 0"]),
        ({"rail.sections.x.friction": 0.1}, ["rail.sections.x"]),
        ({"gradient.*.rise": 0.1}, ["gradient", "empty"]),
        ({"initial_speed.x": 0.1}, ["initial_speed", "no parts"]),
        ({"": 0.1}, ["no field", "known: name"]),
        ({1: 0.1}, ["dotted text"]),
        ({"a\nb": 1}, ["no field"]),
        ({"initial_speed": 500}, ["initial_speed = 500", "from 0.5 to 120 m/s"]),
        ({"initial_speed": "75mph"}, ["initial_speed", "a number"]),
        ({"rail": 3}, ["rail = 3", "a Rail"]),
        ({"rail.sections": ()}, ["rail.sections", "at least 1"]),
        ({"rail.sections.0": 3}, ["rail.sections", "a RailSection"]),
        ({"rail.sections.0.friction": 2}, ["rail.sections.0.friction = 2", "0.002 to 0.9"]),
        ({"rail.cell_length": 3}, ["rail.cell_length = 3.0", "at most 1.3 m"]),
        ({"brake.steps": 3}, ["brake.steps = 3", "a list"]),
        ({"brake.steps": (0.9,)}, ["driver.programme.0.position = 3", "to 2"]),
        ({"provenance": {}}, ["provenance", "no field"]),
        ({"train.load": 1, "train": 2}, ["train", "give one of them"]),
    ],
)
def test_bad_change_is_refused_in_one_line(leaf: Scenario, changes, parts: list[str]) -> None:
    with pytest.raises(InputError) as refused:
        leaf.replace(changes)
    message = str(refused.value)
    assert len(message.splitlines()) == 1
    for part in parts:
        assert part in message

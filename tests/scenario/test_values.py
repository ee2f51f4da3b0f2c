"""The list of values: complete, in SI, honest about defaults."""

from slipbench.scenario import Scenario, load_scenario


def by_path(scenario: Scenario):
    return {value.path: value for value in scenario.values()}


def test_paths_are_unique_and_reach_the_value() -> None:
    scenario = load_scenario("dry")
    values = list(scenario.values())
    assert len({value.path for value in values}) == len(values)
    for value in values:
        same = scenario.replace({value.path: value.value})
        if value.source.startswith("grade "):  # given now, no longer the grade's: of equal effect
            assert same.equipment.condition == scenario.equipment.condition
        else:
            assert same == scenario


def test_default_is_listed_with_its_own_mark(load, minimal) -> None:
    value = by_path(load(minimal))["rail.locked_cleaning_share"]
    assert (value.value, value.unit, value.mark) == (0.05, "-", "default")
    assert value.source.startswith("assumed: ")


def test_bare_value_is_given(load, minimal) -> None:
    values = by_path(load(minimal))
    assert values["brake.full_pressure"][1:4] == (3e5, "Pa", "given")


def test_marked_value_keeps_mark_and_source() -> None:
    value = by_path(load_scenario("tough_film"))["rail.sections.0.friction"]
    assert value.mark == "published"
    assert "T1107" in value.source


def test_trigger_not_used_is_not_listed() -> None:
    values = by_path(load_scenario("dry"))
    assert "driver.programme.0.at_time" in values
    assert "driver.programme.0.at_speed" not in values


def test_default_written_in_the_file_with_a_mark_is_no_default(load, minimal) -> None:
    text = minimal.replace(
        "cell_length_m = 1.0", 'cell_length_m = { value = 1.0, mark = "assumed", source = "mine" }'
    )
    value = by_path(load(text))["rail.cell_length"]
    assert (value.mark, value.source) == ("assumed", "mine")

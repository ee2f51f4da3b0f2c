"""Broken files: one line each, with the file, the key and what is allowed."""

import os

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from slipbench.ground.errors import InputError
from slipbench.scenario import load_scenario

# (what stands in the good file, what stands there instead, key in the message, hint in it)
CASES = {
    "unknown key": ("teeth = 90", "teeht = 90", "sensing.teeht", "did you mean teeth"),
    "unknown table": ("[sensing]", "[sensign]", "sensign", "did you mean sensing"),
    "unknown top key": ("title =", "titel =", "titel", "did you mean title"),
    "unknown far key": ("teeth = 90", "xyzzy = 90", "sensing.xyzzy", "known: teeth"),
    "repeat misspelt": (
        'name = "car"',
        'name = "car"\nrepaet = 2',
        "train.vehicle.0.repaet",
        "repeat",
    ),
    "missing unit": ("full_pressure_bar", "full_pressure", "brake.full_pressure", "_kpa"),
    "unknown unit": ("full_pressure_bar", "full_pressure_psi", "brake.full_pressure_psi", "_bar"),
    "wrong unit": ("initial_speed_kmh", "initial_speed_s", "initial_speed_s", "initial_speed_mph"),
    "unit on a ratio": (
        "\nfriction = 0.05",
        "\nfriction_m = 0.05",
        "rail.section.0.friction_m",
        "takes no unit",
    ),
    "two units": (
        "build_up_time_s = 1.5",
        "build_up_time_s = 1.5\nbuild_up_time_ms = 1500",
        "brake.build_up_time_ms",
        "also as build_up_time_s",
    ),
    "text for number": ("= 40\n", '= "40"\n', "train.vehicle.0.tare_mass_t", "1 to 200 t"),
    "flag for number": ("= 1.2", "= true", "brake.emergency_m_per_s2", "at most 5 m/s2"),
    "date for number": ("= 1.2", "= 1979-05-27", "brake.emergency_m_per_s2", "a number"),
    "list for number": ("= 1.2", "= [1.2]", "brake.emergency_m_per_s2", "a number"),
    "number for text": ('name = "one car"', "name = 1", "train.name", "text"),
    "number for list": ("[0.3, 0.6, 0.9]", "0.3", "brake.steps_m_per_s2", "a list"),
    "text for list": ("[0.3, 0.6, 0.9]", '"abc"', "brake.steps_m_per_s2", "a list"),
    "text in list": ("[0.3, 0.6, 0.9]", '[0.3, "x"]', "brake.steps_m_per_s2", "a number"),
    "number for flag": (
        "[brake]",
        "[brake]\nvariable_load = 1",
        "brake.variable_load",
        "true or false",
    ),
    "fraction for count": ("teeth = 90", "teeth = 90.5", "sensing.teeth", "a whole number"),
    "empty text": ('name = "one car"', 'name = " "', "train.name", "not empty"),
    "two-line text": ('name = "one car"', 'name = "a\\nb"', "train.name", "one line"),
    "nan": ("= 1.5", "= nan", "brake.build_up_time_s", "from 0 to 30 s"),
    "infinity": ("= 1.5", "= inf", "brake.build_up_time_s", "finite"),
    "huge whole number": ("= 1.5", "= 1" + "0" * 400, "brake.build_up_time_s", "64 bits"),
    "too large": ("= 1.5", "= 31", "brake.build_up_time_s = 31", "from 0 to 30 s"),
    "too small in its unit": ("= 90\n\n", "= 1\n\n", "initial_speed_kmh", "from 1.8 to 432 km/h"),
    "at an open bound": (
        "cleaning_work_kj_per_m = 10",
        "cleaning_work_kj_per_m = 0",
        "rail.section.0.cleaning_work_kj_per_m",
        "above 0",
    ),
    "missing value": ("teeth = 90\n", "", "sensing.teeth", "missing"),
    "missing value with unit": (
        "wheel_diameter_mm = 840\n",
        "",
        "train.vehicle.0.wheel_diameter",
        "wheel_diameter_m",
    ),
    "missing table": ("[sensing]\nteeth = 90\nzero_timeout_s = 0.2\n", "", "sensing", "[sensing]"),
    "missing title": ('title = "One car on wet rail"\n', "", "title", "missing"),
    "empty list": ("[0.3, 0.6, 0.9]", "[]", "brake.steps_m_per_s2", "at least 1"),
    "too many items": ("[0.3, 0.6, 0.9]", str([0.1] * 16), "brake.steps", "at most 15"),
    "steps not increasing": ("[0.3, 0.6, 0.9]", "[0.3, 0.3]", "brake.steps_m_per_s2", "increase"),
    "emergency below last step": ("= 1.2", "= 0.8", "brake.emergency_m_per_s2", "0.9 m/s2"),
    "unknown position word": ('position = 3', 'position = "full"', "position", "emergency"),
    "position beyond emergency": ("position = 3", "position = 5", "driver.handle.0.position", "4"),
    "two triggers": (
        "at_time_s = 0",
        "at_time_s = 0\nat_speed_kmh = 50",
        "driver.handle.0.at_speed_kmh",
        "exactly one",
    ),
    "no trigger": ("at_time_s = 0\n", "", "driver.handle.0.at_time", "exactly one"),
    "no entries": ("[[driver.handle]]\nat_time_s = 0\nposition = 3", "[driver]\nhandle = []",
                   "driver.handle", "at least 1"),
    "table for list of tables": ("[[driver.handle]]", "[driver.handle]", "driver.handle", "[["),
    "list for table": ("[sensing]", "[[sensing]]", "sensing", "[sensing]"),
    "laden below tare": ("laden_mass_t = 50", "laden_mass_t = 30", "laden_mass_t = 30", "40000 kg"),
    "recovered below friction": (
        "recovered_friction = 0.15",
        "recovered_friction = 0.04",
        "rail.section.0.recovered_friction",
        "at least the untouched friction, 0.05",
    ),
    "falling creep curve": (
        "slip_reduction = 0.1",
        "slip_reduction = 0.02",
        "rail.section.0.slip_reduction",
        "from 0.03951 to 0.3",
    ),
    "slip above adhesion reduction": (
        "slip_reduction = 0.1",
        "slip_reduction = 0.4",
        "rail.section.0.slip_reduction",
        "to 0.3",
    ),
    "axles outside": ("[3.0, 17.0]", "[1.0, 17.0]", "bogie_centres_m", "0 to 20 m"),
    "bogies overlap": ("[3.0, 17.0]", "[3.0, 5.0]", "bogie_centres_m", "wheelbase of 2.5 m"),
    "heavy wheelset": (
        "wheelset_inertia_kg_m2 = 100",
        "wheelset_inertia_kg_m2 = 600",
        "wheelset_inertia_kg_m2",
        "below 30 %",
    ),
    "coarse cells": ("cell_length_m = 1.0", "cell_length_m = 1.5", "rail.cell_length_m",
                     "axle spacing of 2.5 m, so at most 1.25 m"),
    "delay beyond the buffer": ("vent_delay_ms = 30", "vent_delay_ms = 150", "vent_delay_ms = 150",
                                "at most 0.0896 s"),
    "rail begins ahead": ("from_distance_m = 0", "from_distance_m = 5",
                          "rail.section.0.from_distance_m", "at 0 m or before"),
    "repeat out of range": ('name = "car"', 'name = "car"\nrepeat = 21', "train.vehicle.0.repeat",
                            "from 1 to 20"),
    "bad mark": ("teeth = 90", 'teeth = { value = 90, mark = "sure" }', "sensing.teeth.mark",
                 "published"),
    "mark given": ("teeth = 90", 'teeth = { value = 90, mark = "given" }', "sensing.teeth.mark",
                   "assumed"),
    "unhashable mark": ("teeth = 90", "teeth = { value = 90, mark = [1] }", "sensing.teeth.mark",
                        "assumed"),
    "bad provenance key": ("teeth = 90", 'teeth = { value = 90, sauce = "x" }',
                           "sensing.teeth.sauce", "value, mark, source"),
    "provenance without value": ("teeth = 90", 'teeth = { mark = "memory" }', "sensing.teeth",
                                 "needs a value"),
    "published without source": ("teeth = 90", 'teeth = { value = 90, mark = "published" }',
                                 "sensing.teeth.source", "name its source"),
    "number for source": ("teeth = 90", "teeth = { value = 90, source = 1 }",
                          "sensing.teeth.source", "text"),
    "bad value with provenance": ("teeth = 90", "teeth = { value = 0 }", "sensing.teeth",
                                  "from 1 to 1000"),
    "malformed": ("teeth = 90", "teeth 90", "", "not valid TOML"),
    "key twice": ("teeth = 90", "teeth = 90\nteeth = 91", "", "not valid TOML"),
    "deeply nested": ("teeth = 90", "teeth = " + "[" * 20_000, "", "not valid TOML"),
    "endless number": ("teeth = 90", "teeth = 1" + "0" * 5000, "", "not valid TOML"),
    "number for base": ("title =", "based_on = 1\ntitle =", "based_on", "shipped name"),
    "unknown base": ("title =", 'based_on = "dryy"\ntitle =', "based_on", "did you mean dry"),
    "missing base": ("title =", 'based_on = "no.toml"\ntitle =', "based_on", "no file"),
    "based on itself": ("title =", 'based_on = "case.toml"\ntitle =', "based_on", "circle"),
}  # fmt: skip


def refused(do, *arguments) -> str:
    with pytest.raises(InputError) as caught:
        do(*arguments)
    message = str(caught.value)
    assert len(message.splitlines()) == 1
    return message


@pytest.mark.parametrize("case", CASES)
def test_broken_file_is_refused_in_one_line(load, minimal, case: str) -> None:
    good, bad, key, hint = CASES[case]
    assert good in minimal
    message = refused(load, minimal.replace(good, bad, 1))
    assert "case.toml: " in message
    assert f"{key}" in message.split("case.toml: ", 1)[1]
    assert hint in message
    assert len(message) < 700


def test_number_for_a_table_is_refused(load) -> None:
    message = refused(load, 'based_on = "dry"\nsensing = 3\n')
    assert "case.toml: line 2: sensing = 3: must be a table, [sensing]" in message


def test_sections_out_of_order_are_refused(load, minimal) -> None:
    section = minimal[minimal.index("[[rail.section]]") : minimal.index("[[driver")]
    message = refused(load, minimal + section)
    assert "rail.section.1.from_distance_m = 0" in message
    assert "above 0 m" in message


def test_gradients_out_of_order_are_refused(load, minimal) -> None:
    entry = "[[gradient]]\nfrom_distance_m = 10\nrise_percent = 1\n"
    message = refused(load, f"{minimal}\n{entry}\n{entry}")
    assert "gradient.1.from_distance_m" in message
    assert "above 10 m" in message


def test_problem_of_a_base_names_the_base(load, minimal, tmp_path) -> None:
    (tmp_path / "base.toml").write_text(minimal.replace("teeth = 90", "teeth = 0"))
    message = refused(load, 'based_on = "base.toml"\n')
    assert "base.toml: line 50: sensing.teeth" in message


def test_clash_of_two_files_names_the_file_of_the_value(load, minimal, tmp_path) -> None:
    (tmp_path / "base.toml").write_text(minimal)
    message = refused(load, 'based_on = "base.toml"\n[rail]\ncell_length_mm = 2000\n')
    assert "case.toml: line 3: rail.cell_length_mm = 2000" in message


def test_circle_of_two_files_is_refused(load, tmp_path) -> None:
    (tmp_path / "other.toml").write_text('based_on = "case.toml"\n')
    message = refused(load, 'based_on = "other.toml"\n')
    assert "case.toml -> other.toml -> case.toml" in message


@pytest.mark.parametrize(
    ("name", "hint"),
    [
        ("wet_leave", "did you mean wet_leaf"),
        ("something else", "known: autumn_guide, damp_oxide"),
        ("no/such.toml", "no such file"),
        ("", "a shipped name or a path"),
        ("x" * 5000, "no shipped scenario"),
        ("a\0b", "a shipped name or a path"),
        (None, "a shipped name or a path"),
        (b"dry", "a shipped name or a path"),
    ],
)
def test_unknown_scenario_is_refused(name, hint: str) -> None:
    message = refused(load_scenario, name)
    assert hint in message
    assert len(message) < 500


def test_directory_is_refused(tmp_path) -> None:
    assert "is a directory" in refused(load_scenario, tmp_path)
    assert "is a directory" in refused(load_scenario, str(tmp_path))


def test_pipe_is_refused(tmp_path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")
    assert "no regular file" in refused(load_scenario, tmp_path / "pipe.toml")


def test_circle_of_links_is_refused(tmp_path) -> None:
    (tmp_path / "a.toml").symlink_to(tmp_path / "a.toml")
    assert "a.toml" in refused(load_scenario, tmp_path / "a.toml")


def test_text_that_is_not_utf8_is_refused(tmp_path) -> None:
    path = tmp_path / "latin.toml"
    path.write_bytes(b'title = "caf\xe9"\n')
    message = refused(load_scenario, path)
    assert "latin.toml: byte 12 is not UTF-8" in message


# Whatever is done to a file: a scenario, or one line that says why not.
@settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(data=st.data())
def test_any_damage_gives_a_scenario_or_one_line(load, minimal, data) -> None:
    lines = minimal.splitlines()
    junk = st.sampled_from(
        ["", "x = 1", "[train]", "[[train.vehicle]]", "friction = -1", "[brake]", "teeth = {}",
         "position = []", "name = {value = 3}", "repeat = true", "[[gradient]]", "train = 3",
         "rise_ratio = 1e400", "based_on = {}", "steps_m_per_s2 = [[1]]", '"" = 1', '"\\n" = 1']
    )  # fmt: skip
    for _ in range(data.draw(st.integers(1, 4))):
        i = data.draw(st.integers(0, len(lines) - 1))
        action = data.draw(st.sampled_from(["replace", "insert", "delete", "swap"]))
        if action == "insert":
            lines.insert(i, data.draw(junk))
        elif action == "replace":
            lines[i] = data.draw(junk)
        elif action == "delete":
            del lines[i]
        else:
            j = data.draw(st.integers(0, len(lines) - 1))
            lines[i], lines[j] = lines[j], lines[i]
    try:
        load("\n".join(lines))
    except InputError as problem:
        assert len(str(problem).splitlines()) == 1
        assert "case.toml" in str(problem)

"""A rail read from CSV: what is taken from it, and one clear line for each way it can be wrong."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from slipbench.controllers import slip_band
from slipbench.ground.errors import InputError
from slipbench.packing import pack_cells
from slipbench.scenario import Scenario, load_scenario, sections_from_csv
from slipbench.stop.simulation import simulate

TEMPLATE = load_scenario("wet_leaf").rail.sections[0]

GOOD = """\
# surveyed on no line at all
distance_km,friction,recovered_friction,cleaning_work_kj_per_m

-0.1,0.05,0.20,12
0.25,0.03,0.15,15
  # a patch
0.4,0.3,0.3,15
"""


@pytest.fixture
def read(tmp_path: Path) -> Callable[[str | bytes], Scenario]:
    """Lay a CSV over the wet leaf rail."""

    def load(content: str | bytes) -> Scenario:
        data = content if isinstance(content, bytes) else content.encode()
        (tmp_path / "profile.csv").write_bytes(data)
        (tmp_path / "case.toml").write_text(
            'based_on = "wet_leaf"\n[rail]\nprofile = "profile.csv"\n'
        )
        return load_scenario(tmp_path / "case.toml")

    return load


def test_rows_become_sections_in_si(read: Callable[[str], Scenario]) -> None:
    sections = read(GOOD).rail.sections
    assert [section.from_distance for section in sections] == [-100.0, 250.0, 400.0]
    assert [section.friction for section in sections] == [0.05, 0.03, 0.3]
    assert [section.recovered_friction for section in sections] == [0.20, 0.15, 0.3]
    assert [section.cleaning_work for section in sections] == [12e3, 15e3, 15e3]


def test_what_a_row_does_not_say_comes_from_the_first_section(
    read: Callable[[str], Scenario],
) -> None:
    sections = read("distance_m,friction\n0,0.05\n100,0.2\n").rail.sections
    for section in sections:
        assert section.friction_ratio == TEMPLATE.friction_ratio
        assert section.cleaning_work == TEMPLATE.cleaning_work
    assert sections[0].recovered_friction == TEMPLATE.recovered_friction
    # cleaning does not lower friction, so it is lifted where the row's friction is above
    assert sections[1].recovered_friction == 0.2


def test_first_row_reaches_back_under_the_train(read: Callable[[str], Scenario]) -> None:
    scenario = read("distance_m,friction\n30,0.05\n100,0.2\n")
    assert scenario.rail.sections[0].from_distance == 0.0
    start, cells = pack_cells(scenario)
    assert start < -70.0
    places = start + np.arange(len(cells)) + 0.5
    assert (cells["friction"][places < 100.0] == 0.05).all()
    assert (cells["friction"][places > 100.0] == 0.2).all()


def test_byte_order_mark_of_a_spreadsheet_is_no_column(read: Callable[[bytes], Scenario]) -> None:
    assert read(b"\xef\xbb\xbfdistance_m,friction\r\n0,0.05\r\n").rail.sections[0].friction == 0.05


def test_units_of_distance_agree(tmp_path: Path) -> None:
    path = tmp_path / "p.csv"
    found = []
    for column, value in (("distance_mile", 0.5), ("distance_yd", 880), ("distance_m", 804.672)):
        path.write_text(f"{column},friction\n0,0.05\n{value},0.2\n")
        found.append(sections_from_csv(path, TEMPLATE)[1].from_distance)
    assert found == pytest.approx([804.672] * 3, rel=1e-15)


def test_a_stop_meets_the_patch_where_it_lies(read: Callable[[str], Scenario]) -> None:
    text = "distance_m,friction,recovered_friction\n0,0.3,0.3\n200,0.03,0.03\n300,0.3,0.3\n"
    scenario = read(text).replace({"rail.sections.*.friction_ratio": 1.0})
    stop = simulate(scenario, slip_band.CONTROLLER)
    place = stop.traces["distance"] - stop.scenario.train.axle_positions[0]
    friction = stop.traces["friction"][:, 0]
    assert (friction[(place > 200.1) & (place < 299.9)] == 0.03).all()
    assert (friction[(place < 199.9) | (place > 300.1)] == 0.3).all()


CASES: dict[str, tuple[str | bytes, tuple[str, ...]]] = {
    "empty": ("", ("header", "row")),
    "header only": ("distance_m,friction\n", ("at least one row",)),
    "comments only": ("# a\n# b\n", ("header",)),
    "no friction": ("distance_m\n0\n", ("line 1", "exactly one column for friction")),
    "open quote": ('distance_m,friction\n0,"0.1\n', ("line 2", "not CSV")),
    "no distance": ("friction\n0.05\n", ("line 1", "exactly one column for distance")),
    "two distances": ("distance_m,distance_km,friction\n0,0,0.1\n", ("one column for distance",)),
    "two of another": (
        "distance_m,friction,cleaning_work_j_per_m,cleaning_work_kj_per_m\n0,0.1,1,1\n",
        ("at most one column for cleaning_work",),
    ),
    "no unit": ("distance,friction\n0,0.05\n", ("line 1", "'distance'", "distance_km")),
    "unknown unit": ("distance_ft,friction\n0,0.05\n", ("line 1", "distance_ft")),
    "unknown column": ("distance_m,friction,colour\n0,0.05,1\n", ("line 1", "colour")),
    "semicolons": ("distance_m;friction\n0;0.05\n", ("line 1", "unknown column")),
    "text": ("distance_m,friction\n0,wet\n", ("line 2", "friction", "'wet'", "number")),
    "not finite": ("distance_m,friction\n0,nan\n", ("line 2", "friction", "finite")),
    "blank cell": ("distance_m,friction\n0,0.05\n,0.04\n", ("line 3", "distance_m = ''")),
    "digit groups": ("distance_m,friction\n0,0.05\n1_000,0.04\n", ("line 3", "1_000")),
    "too few": ("distance_m,friction\n0\n", ("line 2", "1 values", "has 2")),
    "too many": ("distance_m,friction\n\n#\n0,0.05,0.1\n", ("line 4", "3 values", "has 2")),
    "friction too high": ("distance_m,friction\n0,1.5\n", ("line 2", "friction = 1.5", "0.9")),
    "friction zero": ("distance_m,friction\n0,0\n", ("line 2", "friction = 0", "0.002")),
    "per cent": ("distance_m,friction\n0,5%\n", ("line 2", "'5%'")),
    "recovered below": (
        "distance_m,friction,recovered_friction\n0,0.1,0.05\n",
        ("line 2", "recovered_friction = 0.05", "at least", "0.1"),
    ),
    "no cleaning work": (
        "distance_m,friction,cleaning_work_kj_per_m\n0,0.1,0\n",
        ("line 2", "cleaning_work_kj_per_m = 0", "above 0"),
    ),
    "not ascending": (
        "distance_m,friction\n0,0.1\n200,0.2\n150,0.1\n",
        ("line 4", "150 m", "200 m"),
    ),
    "twice": ("distance_m,friction\n0,0.1\n0,0.2\n", ("line 3", "0 m", "rise")),
    "too far": ("distance_m,friction\n0,0.1\n1e9,0.2\n", ("line 3", "distance_m = 1e9")),
    "not text": (b"\xff\xfe\x00", ("byte 0", "not UTF-8")),
    "huge cell": (b"distance_m,friction\n0," + b"9" * 200_000 + b"\n", ("line 2", "not CSV")),
    "too long": (
        "distance_m,friction\n" + "".join(f"{i},0.1\n" for i in range(10_001)),
        ("10001 rows", "at most 10000"),
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_bad_profile_is_told_in_one_line_with_file_and_line(
    case: str, read: Callable[[str | bytes], Scenario]
) -> None:
    content, words = CASES[case]
    with pytest.raises(InputError) as caught:
        read(content)
    text = str(caught.value)
    assert "\n" not in text
    assert "profile.csv" in text
    assert len(text) < 500
    for word in words:
        assert word in text


def test_missing_file_and_folder_are_told(tmp_path: Path) -> None:
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(InputError, match=r"no such file|is a directory"):
            sections_from_csv(path, TEMPLATE)


def test_profile_beside_random_friction_is_refused(tmp_path: Path) -> None:
    (tmp_path / "p.csv").write_text("distance_m,friction\n0,0.05\n")
    (tmp_path / "c.toml").write_text(
        'based_on = "wet_leaf"\n[rail]\nprofile = "p.csv"\n[rail.random]\nseed = 1\n'
    )
    with pytest.raises(InputError, match=r"rail\.profile.*give one of them"):
        load_scenario(tmp_path / "c.toml")

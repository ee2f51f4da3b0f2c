"""Contact and measured curves that cannot be are refused in one line that names the key."""

from pathlib import Path

import pytest
from tests.kernel.test_creep_laws import on_measured_curve, on_wet_rail, packed
from tests.support_stops import clean

from slipbench.ground.errors import InputError


def complaint(act: object, *words: str) -> None:
    with pytest.raises(InputError) as caught:
        act()  # type: ignore[operator]
    text = str(caught.value)
    assert "\n" not in text
    for word in words:
        assert word in text


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"contact.law": "fastsim"}, ("contact.law", "fastsim", "strip", "measured")),
        ({"contact.law": 1}, ("contact.law", "one of")),
        ({"contact.law": "measured"}, ("contact.law", "measured_curve")),
        ({"contact.measured_curve": "x.csv"}, ("measured_curve", "measured only")),
        ({"contact.law": "carter", "contact.spin": 0.5}, ("spin", "strip only")),
        ({"contact.lateral_creepage": 0.01}, ("lateral_creepage", "strip only")),
        ({"contact.law": "strip", "contact.spin": 9.0}, ("spin", "-5 to 5")),
        ({"contact.law": "strip", "contact.lateral_creepage": 0.2}, ("lateral_creepage", "0.1")),
        ({"contact.elastic_modulus": -1.0}, ("elastic_modulus", "1e+10")),
        ({"contact.poisson_ratio": 0.7}, ("poisson_ratio", "0 to 0.5")),
        (
            {"contact.law": "measured", "contact.measured_curve": "x.csv"},
            ("friction_ratio", "must be 1"),
        ),
    ],
)
def test_bad_contact_is_refused_in_one_line(
    changes: dict[str, object], words: tuple[str, ...]
) -> None:
    complaint(lambda: clean("wet").replace(changes), *words)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (None, ("no such file",)),
        ("", ("empty",)),
        ("creepage,adhesion\n", ("no data",)),
        ("creepage\n0.1\n", ("adhesion", "missing")),
        ("creepage,adhesion,speed_knots\n0.1,0.1,3\n", ("speed_knots", "speed_kmh")),
        ("creepage,adhesion\n0.1,abc\n", ("line 2", "abc")),
        ("creepage,adhesion\n0.1,nan\n", ("line 2", "finite")),
        ("creepage,adhesion\n0.1,1.7\n", ("line 2", "0 to 1")),
        ("creepage,adhesion\n0.1,0.1\n0.1,0.1\n", ("line 3", "rise")),
        ("creepage,adhesion\n0.1,0.1\n", ("at least 2",)),
        (
            "creepage,adhesion,speed_kmh\n"
            + "".join(f"0.1,0.1,{v}\n0.2,0.1,{v}\n" for v in range(10, 100, 10)),
            ("9 speeds", "at most 8"),
        ),
    ],
)
def test_bad_curve_is_refused_in_one_line(
    text: str | None, words: tuple[str, ...], tmp_path: Path
) -> None:
    path = tmp_path / "bad.csv"
    if text is not None:
        path.write_text(text)
    complaint(lambda: packed(on_measured_curve(path)), "bad.csv", *words)


def test_wheel_worn_to_the_rails_own_curve_is_refused_in_one_line() -> None:
    """A hollow of 0.25 m on a crown of 0.3 m."""
    complaint(
        lambda: on_wet_rail(wheel_profile_curvature=-4.0), "wheel_profile_curvature", "hollow"
    )

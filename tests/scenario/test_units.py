"""Units: defined factors, every suffix both ways, and speeds from the command line."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slipbench.ground.errors import InputError
from slipbench.scenario import parse_speed
from slipbench.scenario.units import DIMENSIONS, unit_of

ALL_UNITS = [
    pytest.param(dimension, unit, id=f"{dimension}-{unit.suffix}")
    for dimension, units in DIMENSIONS.items()
    for unit in units
]


@pytest.mark.parametrize(
    ("dimension", "suffix", "value", "expected"),
    [
        ("speed", "mph", 75.0, 33.528),
        ("speed", "kmh", 90.0, 25.0),
        ("length", "yd", 100.0, 91.44),
        ("length", "mile", 1.0, 1609.344),
        ("length", "mm", 840.0, 0.84),
        ("length", "km", 1.5, 1500.0),
        ("mass", "t", 41.5, 41500.0),
        ("time", "ms", 35.0, 0.035),
        ("time", "us", 1.0, 1e-6),
        ("pressure", "bar", 3.0, 3e5),
        ("pressure", "kpa", 300.0, 3e5),
        ("pressure_rate", "bar_per_s", 4.0, 4e5),
        ("acceleration", "percent_g", 9.0, 0.8825985),
        ("work_per_length", "kj_per_m", 5.3, 5300.0),
        ("slope", "permille", 5.0, 0.005),
        ("slope", "percent", 0.5, 0.005),
    ],
)
def test_unit_follows_its_definition(
    dimension: str, suffix: str, value: float, expected: float
) -> None:
    unit = unit_of(dimension, suffix)
    assert unit is not None
    # One multiplication and one division: two roundings of 2**-53 each.
    assert unit.to_si(value) == pytest.approx(expected, rel=4 * 2**-53, abs=0.0)


@pytest.mark.parametrize(("dimension", "unit"), ALL_UNITS)
def test_unit_converts_there_and_back(dimension: str, unit) -> None:
    assert unit.from_si(unit.to_si(12.7)) == pytest.approx(12.7, rel=8 * 2**-53, abs=0.0)


@pytest.mark.parametrize("dimension", DIMENSIONS)
def test_first_unit_is_si(dimension: str) -> None:
    assert DIMENSIONS[dimension][0].to_si(1.0) == 1.0


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("75mph", 33.528),
        (" 75 mph ", 33.528),
        ("90km/h", 25.0),
        ("90 kmh", 25.0),
        ("33.5m/s", 33.5),
        ("1e1 m/s", 10.0),
        (".5m/s", 0.5),
        ("75MPH", 33.528),
    ],
)
def test_speed_is_read_with_its_unit(text: str, expected: float) -> None:
    assert parse_speed(text) == pytest.approx(expected, rel=4 * 2**-53, abs=0.0)


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("75", "a unit is needed"),
        ("75 knots", "unknown unit"),
        ("fast", "not a speed"),
        ("", "not a speed"),
        ("-75mph", "above 0"),
        ("0mph", "above 0"),
        ("1e999mph", "finite"),
        ("nan mph", "not a speed"),
        ("75mph\n75", "not a speed"),
    ],
)
def test_speed_without_sense_is_refused(text: str, hint: str) -> None:
    with pytest.raises(InputError, match="75mph") as refused:
        parse_speed(text)
    assert hint in str(refused.value)
    assert len(str(refused.value).splitlines()) == 1


@given(st.text(max_size=30))
def test_any_text_is_a_speed_or_an_input_error(text: str) -> None:
    try:
        speed = parse_speed(text)
    except InputError as refused:
        assert len(str(refused).splitlines()) == 1
    else:
        assert math.isfinite(speed)
        assert speed > 0.0

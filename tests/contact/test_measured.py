"""Measured creep curves: reading, interpolation, and one line for every bad file."""

from pathlib import Path

import numpy as np
import pytest

from slipbench.contact import read_measured_curve, traction_ratio
from slipbench.ground.errors import InputError

GOOD = """# demo curve, invented
creepage, adhesion
0.004, 0.08

0.010, 0.14
0.030, 0.16
0.200, 0.12
"""
WITH_SPEED = """speed_kmh,creepage,adhesion
72,0.01,0.10
36,0.01,0.20
36,0.10,0.30
72,0.10,0.20
"""


def write(folder: Path, text: str) -> Path:
    path = folder / "curve.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_curve_is_read_and_interpolated(tmp_path: Path) -> None:
    curve = read_measured_curve(write(tmp_path, GOOD))
    assert curve.name == "curve.csv"
    assert float(curve.adhesion(0.002)) == pytest.approx(0.04, rel=1e-14)
    assert float(curve.adhesion(-0.02)) == pytest.approx(-0.15, rel=1e-14)
    assert float(curve.adhesion(0.9)) == 0.12
    assert curve.peak() == 0.16
    assert curve.initial_slope() == pytest.approx(20.0, rel=1e-14)


def test_speeds_are_converted_and_interpolated(tmp_path: Path) -> None:
    curve = read_measured_curve(write(tmp_path, WITH_SPEED))
    assert curve.train_speeds == pytest.approx([10.0, 20.0], rel=1e-15)
    assert float(curve.adhesion(0.01, 10.0)) == pytest.approx(0.20, rel=1e-14)
    assert float(curve.adhesion(0.01, 15.0)) == pytest.approx(0.15, rel=1e-14)
    assert float(curve.adhesion(0.01, 20.0)) == pytest.approx(0.10, rel=1e-14)
    assert float(curve.adhesion(0.01, 99.0)) == pytest.approx(0.10, rel=1e-14)
    with pytest.raises(InputError, match="train_speed"):
        curve.adhesion(0.01)


@pytest.mark.parametrize(
    ("column", "factor"), [("speed_ms", 1.0), ("speed_kmh", 1 / 3.6), ("speed_mph", 0.44704)]
)
def test_speed_unit_is_in_the_header(tmp_path: Path, column: str, factor: float) -> None:
    text = WITH_SPEED.replace("speed_kmh", column)
    curve = read_measured_curve(write(tmp_path, text))
    assert curve.train_speeds == pytest.approx([36.0 * factor, 72.0 * factor], rel=1e-14)


def test_origin_may_be_given_or_left_out(tmp_path: Path) -> None:
    without = read_measured_curve(write(tmp_path, GOOD))
    with_it = read_measured_curve(write(tmp_path, GOOD.replace("0.004", "0,0\n0.004", 1)))
    assert np.array_equal(without.creepages[0], with_it.creepages[0])


def test_measured_law_has_peak_one_and_slope_one(tmp_path: Path) -> None:
    curve = read_measured_curve(write(tmp_path, GOOD))
    tau = np.geomspace(1e-4, 100.0, 4001)
    ratio = traction_ratio("measured", tau, curve=curve)
    assert ratio[0] == pytest.approx(1e-4, rel=1e-12)
    # The peak is a corner at tau = .03 x 20/.16 = 3.75; the grid passes it within 0.2 %.
    assert np.max(ratio) == pytest.approx(1.0, abs=1e-3)
    assert float(traction_ratio("measured", 3.75, curve=curve)) == pytest.approx(1.0, rel=1e-14)


BAD = [
    ("", "empty"),
    ("creepage,adhesion\n", "no data"),
    ("creepage,friction\n0.01,0.1\n", "line 1: column 'adhesion' is missing"),
    ("adhesion\n0.1\n", "line 1: column 'creepage' is missing"),
    ("creepage,adhesion,speed\n0.01,0.1,20\n", "line 1: column 'speed' is not known"),
    ("creepage,adhesion,creepage\n0.01,0.1,0.01\n", "line 1: column 'creepage' appears more"),
    ("creepage,adhesion,speed_ms,speed_kmh\n.01,.1,1,1\n", "column 'speed_kmh' is a second"),
    ("creepage,adhesion\n0.01,0.1,0.2\n", "line 2: 3 columns, the header has 2"),
    ("creepage,adhesion\n0.01\n", "line 2: 1 columns, the header has 2"),
    ("creepage,adhesion\n0.01,0.1\n0.02,high\n", "line 3, column adhesion: 'high' is not a number"),
    ("creepage,adhesion\n0.01,\n", "line 2, column adhesion: '' is not a number"),
    ("creepage,adhesion\nnan,0.1\n", "line 2, column creepage: 'nan' is not a finite"),
    ('creepage,adhesion\n0.01,"0.1\n', "line 2: not CSV"),
    ("creepage,adhesion\n-0.01,0.1\n", "line 2, column creepage: '-0.01'"),
    ("creepage,adhesion\n1.5,0.1\n", "line 2, column creepage: '1.5'"),
    ("creepage,adhesion\n0.01,12\n", "line 2, column adhesion: '12'"),
    ("creepage,adhesion,speed_kmh\n0.01,0.1,-5\n", "line 2, column speed_kmh: '-5'"),
    ("creepage,adhesion\n0.02,0.1\n\n0.01,0.1\n", "line 4, column creepage: 0.01 does not rise"),
    ("creepage,adhesion\n0.02,0.1\n0.02,0.1\n", "line 3, column creepage: 0.02 does not rise"),
    ("creepage,adhesion\n0,0.1\n0.02,0.1\n", "line 2, column adhesion: 0.1 at creepage 0.0"),
    ("creepage,adhesion\n0.01,0\n0.02,0.1\n", "line 2, column adhesion: 0.0 at creepage 0.01"),
    ("creepage,adhesion\n0.01,0.1\n", "at least 2"),
    ("creepage,adhesion,speed_ms\n.01,.1,5\n.02,.1,5\n.01,.1,9\n", "at speed 9 m/s"),
]


@pytest.mark.parametrize(("text", "words"), BAD)
def test_bad_file_is_refused_in_one_line(tmp_path: Path, text: str, words: str) -> None:
    path = write(tmp_path, text)
    with pytest.raises(InputError) as caught:
        read_measured_curve(path)
    message = str(caught.value)
    assert words in message
    assert message.startswith(str(path))
    assert "\n" not in message


def test_missing_or_binary_file_is_refused_in_one_line(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"no such file|is a directory"):
        read_measured_curve(tmp_path / "nowhere.csv")
    with pytest.raises(InputError, match=r"no such file|is a directory"):
        read_measured_curve(tmp_path)
    binary = tmp_path / "curve.csv"
    binary.write_bytes(b"creepage,adhesion\n\xff\xfe\n")
    with pytest.raises(InputError, match="not UTF-8 text"):
        read_measured_curve(binary)

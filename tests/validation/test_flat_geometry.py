"""Flat geometry, wear laws and rule-book lengths against their sources and recomputed values."""

import math

import numpy as np
import pytest

from slipbench.measures.flats import (
    archard_area_rate,
    energy_area_rate,
    energy_wear_rate,
    flat_depth,
    flat_length_from_depth,
    flat_length_from_volume,
    flat_volume,
)
from slipbench.measures.limits import FLAT_LIMITS, UNVERIFIED
from slipbench.measures.materials import WEAR

INCH = 0.0254


@pytest.mark.parametrize(
    ("length", "radius", "depth"), [(0.050, 0.420, 0.7447e-3), (0.060, 0.460, 0.9793e-3)]
)
def test_chord_depth_equals_computed_values(length, radius, depth):
    """Computed (regression) of R - sqrt(R^2 - L^2/4), tolerance 0.0005 mm."""
    assert float(flat_depth(length, radius)) == pytest.approx(depth, abs=0.0005e-3)


@pytest.mark.parametrize("length", [0.01, 0.05, 0.2, 0.839])
def test_chord_depth_closes_the_triangle(length):
    """Derived: half chord, radius less depth, and radius are a right triangle."""
    depth = float(flat_depth(length, 0.42))
    assert math.hypot(0.5 * length, 0.42 - depth) == pytest.approx(0.42, rel=1e-14)
    assert float(flat_length_from_depth(depth, 0.42)) == pytest.approx(length, rel=1e-12)


@pytest.mark.parametrize("length", [0.02, 0.05, 0.10, 0.20])
def test_flat_volume_is_the_segment_within_its_stated_error(length):
    """Derived: w R^2 (t - sin t) / 2 with t the angle of the chord."""
    radius, width = 0.42, 0.030
    angle = 2.0 * math.asin(0.5 * length / radius)
    segment = 0.5 * width * radius**2 * (angle - math.sin(angle))
    found = float(flat_volume(length, radius, width))
    stated = 0.3 * (0.5 * length / radius) ** 2
    # The next term of the series is 0.16 (L / 2R)^4; t - sin t loses eight digits at 20 mm.
    assert 1.0 - found / segment == pytest.approx(stated, rel=0.05, abs=1e-7)
    assert float(flat_length_from_volume(found, radius, width)) == pytest.approx(length, rel=1e-12)


@pytest.mark.parametrize(("energy", "rate"), [(5.0, 26.5), (30.0, 55.0), (100.0, 1466.0)])
def test_energy_wear_rate_equals_computed_values(energy, rate):
    """Computed (regression): N/mm2 to ug/m/mm2, coefficients from memory, tolerance 0.5 %."""
    assert float(energy_wear_rate(energy * 1e6)) * 1e3 == pytest.approx(rate, rel=0.005)


def test_energy_wear_rate_is_continuous_and_never_falls():
    energies = np.linspace(0.0, 120e6, 24_001)
    steps = np.diff(energy_wear_rate(energies))
    assert np.all(steps >= 0.0)
    # The steepest branch climbs its slope times the step of 5 kPa, plus rounding.
    assert steps.max() <= WEAR.severe_slope * 5e3 * (1.0 + 1e-6)


@pytest.mark.parametrize(
    ("volume_per_distance", "length"),
    [
        (archard_area_rate(73.6e3, WEAR.archard_low, WEAR.hardness), 0.035),
        (archard_area_rate(73.6e3, WEAR.archard_high, WEAR.hardness), 0.074),
        (energy_area_rate(0.05 * 73.6e3, 120e-6), 0.024),
    ],
)
def test_flat_after_100_m_locked_equals_computed_lengths(volume_per_distance, length):
    """Computed (regression): 73.6 kN, R 420 mm, 30 mm wide; lengths given to 1 mm."""
    found = flat_length_from_volume(100.0 * volume_per_distance, 0.42, 0.030)
    assert float(found) == pytest.approx(length, abs=0.5e-3)


def limit_of(words, scope=""):
    (found,) = (one for one in FLAT_LIMITS if words in one.document and scope in one.scope)
    return found


def test_flat_limit_matches_49cfr229_75_a():
    """49 CFR 229.75(a), read in a secondary copy: one of 2.5 in, two adjoining of 2 in each."""
    limit = limit_of("49 CFR 229.75")
    assert limit.single_length == pytest.approx(2.5 * INCH, rel=1e-12)
    assert limit.pair_length == pytest.approx(2.0 * INCH, rel=1e-12)
    assert limit.mark == "secondary"


@pytest.mark.parametrize(("scope", "length"), [("coaches", 0.050), ("freight", 0.060)])
def test_flat_limit_matches_indian_railways_2021_letter(scope, length):
    """Indian Railways, zonal letter of 23 Aug 2021 on the Railway Board's limits of 2005."""
    assert limit_of("Indian Railways", scope).single_length == length


@pytest.mark.parametrize(
    ("words", "single_length", "pair_length"),
    [
        ("AAR", 2.0 * INCH, 1.5 * INCH),
        ("above 840", 0.060, math.inf),
        ("up to 840", 0.040, math.inf),
    ],
)
def test_flat_limit_from_memory_says_so(words, single_length, pair_length):
    """Values from memory, not verified; the limit must carry the warning."""
    limit = limit_of(words)
    assert limit.single_length == pytest.approx(single_length, rel=1e-12)
    assert limit.pair_length == pytest.approx(pair_length, rel=1e-12)
    assert (limit.mark, limit.reading) == ("memory", UNVERIFIED)

"""Wear of locked wheels, merging of flats, rule-book verdicts and the risk index."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from slipbench.ground.errors import InputError
from slipbench.ground.marks import MARKS
from slipbench.measures.flats import (
    archard_area_rate,
    energy_area_rate,
    flat_depth,
    flat_length_band,
    flat_patch_radius,
    locked_wheel_wear,
    merge_flats,
)
from slipbench.measures.limits import FLAT_LIMITS, FlatLimit, check_flat_limits, flat_risk_index
from slipbench.measures.materials import WEAR, SteelProperties, TreadHeatSink, WearCoefficients

RADIUS, WIDTH, TURN = 0.42, 0.030, 2.0 * math.pi


def final_lengths(duration, load, friction, speed):
    """Flat-length band of a lock at constant load, friction and speed."""
    time = np.linspace(0.0, duration, 30)
    volume = locked_wheel_wear(time, load, friction * load, speed, 75.7e-6)
    low, high = flat_length_band(volume, RADIUS, WIDTH)
    return float(low[-1]), float(high[-1])


# --- wear ---


AREA = 75.7e-6
"""Of a round wheel, by Hertz. [m2]"""

LITTLE_ARCHARD = WearCoefficients(archard_high=1.1e-4)


@pytest.mark.parametrize("wear", [WEAR, LITTLE_ARCHARD], ids=["default", "little Archard"])
@pytest.mark.parametrize("friction", [0.005, 0.05, 0.13, 0.4])
def test_band_holds_both_wear_laws_and_their_spread(friction, wear):
    load, speed, duration = 73.6e3, 12.0, 8.0
    time, force = np.linspace(0.0, duration, 50), friction * load
    volume = locked_wheel_wear(time, load, force, speed, AREA, wear)
    distance = speed * duration
    each = [
        distance * float(archard_area_rate(load, factor, wear.hardness))
        for factor in (wear.archard_low, wear.archard_high)
    ] + [
        distance * float(energy_area_rate(force, area, wear))
        for area in (AREA, wear.contact_area_worn)
    ]
    assert volume.low[-1] == pytest.approx(min(each), rel=1e-12)
    assert volume.high[-1] == pytest.approx(max(each), rel=1e-12)
    assert volume.low[0] == volume.high[0] == 0.0


@pytest.mark.parametrize(("load", "force", "speed"), [(0.0, 0.0, 20.0), (7e4, 1e3, 0.0)])
def test_no_load_or_no_sliding_is_exactly_no_flat(load, force, speed):
    volume = locked_wheel_wear([0.0, 1.0, 5.0], load, force, speed, AREA)
    low, high = flat_length_band(volume, RADIUS, WIDTH)
    assert np.all(low == 0.0)
    assert np.all(high == 0.0)
    assert np.all(flat_risk_index(high) == 0.0)


def test_one_sample_is_no_flat():
    volume = locked_wheel_wear([3.0], 7e4, 1e3, 20.0, AREA)
    assert volume.high.tolist() == [0.0]


more = st.floats(1.0, 4.0)


@given(
    duration=st.floats(0.1, 60.0),
    load=st.floats(1e3, 1.2e5),
    friction=st.floats(0.005, 0.5),
    speed=st.floats(0.1, 60.0),
    factors=st.tuples(more, more, more, more),
)
@settings(deadline=None, max_examples=150)
def test_longer_heavier_rougher_faster_is_never_a_shorter_flat(
    duration, load, friction, speed, factors
):
    base = (duration, load, friction, speed)
    low, high = final_lengths(*base)
    assert 0.0 <= low <= high
    index = float(flat_risk_index(high))
    for i_factor, factor in enumerate(factors):
        changed = list(base)
        changed[i_factor] *= factor
        low_more, high_more = final_lengths(*changed)
        assert low_more >= low * (1.0 - 1e-12)  # rounding of cube roots and sums
        assert high_more >= high * (1.0 - 1e-12)
        assert float(flat_risk_index(high_more)) >= index * (1.0 - 1e-12)


def test_patch_grows_with_the_flat_from_the_elastic_contact():
    radii = flat_patch_radius([0.0, 0.001, 0.05], WIDTH, 6e-3)
    assert radii[:2].tolist() == [6e-3, 6e-3]
    assert math.pi * radii[2] ** 2 == pytest.approx(0.05 * WIDTH, rel=1e-12)


# --- merging ---


def merged(spots, radius=RADIUS):
    """Merge flats given as (centre along the tread [mm], length [mm]); the same, in mm."""
    angles = [1e-3 * position / radius for position, _ in spots]
    flats = merge_flats(angles, [1e-3 * length for _, length in spots], radius)
    return [
        (round(1e3 * angle * radius, 6), round(1e3 * length, 6))
        for angle, length in zip(flats.angles, flats.lengths, strict=True)
    ]


AROUND = 1e3 * TURN * RADIUS


@pytest.mark.parametrize(
    ("spots", "expected"),
    [
        ([], []),
        ([(100, 0)], []),
        ([(100, 40)], [(100, 40)]),
        ([(300, 40), (100, 40)], [(100, 40), (300, 40)]),
        ([(100, 40), (130, 40)], [(115, 70)]),
        ([(100, 80), (110, 20)], [(100, round((80**3 + 20**3) ** (1 / 3), 6))]),
        ([(100, 40), (100, 40)], [(100, round(40 * 2 ** (1 / 3), 6))]),
        ([(100, 40), (130, 40), (160, 40), (500, 10)], [(130, 100), (500, 10)]),
        ([(AROUND - 10, 40), (20, 40)], [(5, 70)]),
        ([(AROUND + 100, 40), (130 - AROUND, 40)], [(115, 70)]),
        ([(0, 40)], [(0, 40)]),
    ],
    ids=[
        "none", "no length", "one", "two apart", "overlap", "inside", "same spot", "chain",
        "across the start", "other turns", "at the start",
    ],
)  # fmt: skip
def test_flats_merge(spots, expected):
    assert merged(spots) == expected


def test_flat_that_grows_onto_its_neighbour_takes_it_in():
    half = 0.5 * (2 * 50.0**3) ** (1 / 3)  # two on one spot: 31.5 mm either way; 130.5 is flat
    ((centre, length),) = merged([(100, 50), (100, 50), (133, 5)])
    assert length == pytest.approx(35.5 + half, abs=1e-5)
    assert centre == pytest.approx(100.0 + 0.5 * (35.5 - half), abs=1e-5)


def test_wheel_flat_all_around_is_one_flat():
    flats = merge_flats(np.linspace(0.0, TURN, 7)[:-1], np.full(6, 0.5), RADIUS)
    assert flats.lengths.tolist() == [TURN * RADIUS]
    assert merge_flats(1.0, 99.0, RADIUS).longest == pytest.approx(TURN * RADIUS, rel=1e-15)


# Two lattices without a common measure: no two flats touch by rounding, which a turn could undo.
spots = st.lists(
    st.tuples(
        st.integers(-9999, 9999).map(lambda k: k * math.sqrt(2.0) / 1000.0),
        st.integers(0, 500).map(lambda k: 0.7e-3 * k),
    ),
    max_size=8,
)


@given(spots=spots, turn=st.floats(0.0, TURN), seed=st.integers(0, 99))
@settings(deadline=None, max_examples=200)
def test_merging_keeps_its_bounds_and_ignores_order_and_rotation(spots, turn, seed):
    angles = np.array([angle for angle, _ in spots])
    lengths = np.array([length for _, length in spots])
    flats = merge_flats(angles, lengths, RADIUS)
    assert flats.longest >= lengths.max(initial=0.0)
    assert flats.lengths.sum() <= lengths.sum() * (1.0 + 1e-9)
    assert flats.lengths.size <= np.count_nonzero(lengths)
    assert np.all(np.diff(flats.angles) > 0.0)
    order = np.random.default_rng(seed).permutation(lengths.size)
    # A flat at the start of the turn may move to its end by rounding, so lengths are sorted.
    for again in (
        merge_flats(flats.angles, flats.lengths, RADIUS),
        merge_flats(angles[order], lengths[order], RADIUS),
        merge_flats(angles + turn, lengths, RADIUS),
    ):
        np.testing.assert_allclose(np.sort(again.lengths), np.sort(flats.lengths), rtol=1e-9)


def test_gaps_and_lengths_fill_the_circumference():
    flats = merge_flats([0.1, 1.0, 4.0], [0.03, 0.04, 0.05], RADIUS)
    assert flats.gaps.sum() + flats.lengths.sum() == pytest.approx(TURN * RADIUS, rel=1e-12)
    assert flats.gaps[0] == pytest.approx(0.9 * RADIUS - 0.035, rel=1e-12)


# --- limits ---


def failed(spots_mm, radius=RADIUS, **options):
    angles = [1e-3 * position / radius for position, _ in spots_mm]
    flats = merge_flats(angles, [1e-3 * length for _, length in spots_mm], radius)
    return [
        verdict.limit.document.split(",")[0] + "/" + verdict.limit.scope.split()[0]
        for verdict in check_flat_limits(flats, **options)
        if not verdict.is_passed
    ]


GCU_SMALL = "GCU appendix 9 / EN 15313/freight"
COACH, FREIGHT = "Indian Railways/coaches", "Indian Railways/freight"
AAR, CFR = "AAR interchange rule 41/freight", "49 CFR 229.75(a)/locomotives"


@pytest.mark.parametrize(
    ("spots_mm", "expected"),
    [
        ([], []),
        ([(0, 30)], []),
        ([(0, 40.5)], [GCU_SMALL]),
        ([(0, 50)], [COACH, GCU_SMALL]),
        ([(0, 51)], [COACH, AAR, GCU_SMALL]),
        ([(0, 64)], [CFR, COACH, FREIGHT, AAR, GCU_SMALL]),
        ([(0, 39), (900, 39)], [AAR]),
        ([(0, 51), (900, 51)], [CFR, COACH, AAR, GCU_SMALL]),
        ([(0, 39), (450, 20), (900, 38)], []),
    ],
)
def test_verdicts_at_840_mm(spots_mm, expected):
    assert failed(spots_mm) == expected


def test_wheel_diameter_chooses_the_rule():
    assert GCU_SMALL not in failed([(0, 45)], radius=0.46)
    assert GCU_SMALL in failed([(0, 61)], radius=0.46)
    assert GCU_SMALL not in failed([(0, 61)], radius=0.30)


def test_only_flats_close_enough_adjoin():
    pair = [(0, 39), (100, 39)]  # 61 mm of sound tread between them
    assert failed(pair, adjoining_gap=0.062) == [AAR]
    assert failed(pair, adjoining_gap=0.060) == []


def test_every_limit_tells_how_it_was_read():
    assert all(limit.mark in MARKS and limit.reading for limit in FLAT_LIMITS)


@pytest.mark.parametrize("record", [SteelProperties, WearCoefficients, TreadHeatSink])
def test_every_material_value_has_unit_mark_and_note(record):
    for entry in dataclasses.fields(record):
        assert entry.metadata["unit"]
        assert entry.metadata["mark"] in MARKS
        assert entry.metadata["note"]


# --- risk index ---


def test_risk_index_is_nil_half_and_near_one():
    assert flat_risk_index(0.0) == 0.0
    assert float(flat_risk_index(0.050)) == pytest.approx(0.5, rel=1e-15)
    assert float(flat_risk_index(0.100)) == pytest.approx(1.0 - 2.0**-8, rel=1e-15)
    assert 0.999 < float(flat_risk_index(0.150)) <= 1.0


# --- bad input ---


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: flat_depth(0.9, 0.42), "flat_length = 0.9 m"),
        (lambda: flat_depth(0.05, 0.0), "wheel_radius = 0.0 m"),
        (lambda: locked_wheel_wear([0.0, 1.0], -1.0, 1.0, 1.0, AREA), r"normal_load\[0\] = -1.0 N"),
        (lambda: merge_flats([0.0, 1.0], [0.1], 0.42), "equally long"),
        (lambda: merge_flats([math.nan], [0.1], 0.42), "angles"),
        (lambda: merge_flats([0.0], [-0.1], 0.42), r"lengths\[0\] = -0.1 m"),
        (lambda: flat_risk_index(0.1, exponent=0.0), "exponent = 0.0"),
        (lambda: FlatLimit("rule", "all", 0.0), "single_length of rule = 0.0 m"),
        (lambda: FlatLimit("rule", "all", 0.05, mark="hearsay"), "'hearsay'"),
        (lambda: WearCoefficients(archard_low=1.0), "archard_low = 1.0"),
        (lambda: check_flat_limits(merge_flats([], [], 0.42), adjoining_gap=-1.0), "-1.0 m"),
    ],
)
def test_bad_input_is_named_in_one_line(call, words):
    with pytest.raises(InputError, match=words) as caught:
        call()
    assert "\n" not in str(caught.value)

"""Creep force of a wheel: slope, symmetry, limits, peak, and the bound of its fall."""

import math

import numpy as np
import pytest
from tests.support_stops import DRY, FALLING, FLAT, wheel_on
from tests.thinning import thinned

from slipbench.kernel.creep import creep_force, find_peak, friction_at_slip, steepest_fall

FILMS = {
    "dry": (0.35, DRY),
    "wet": (0.15, FALLING),
    "tough film": (0.02, FLAT),
    "leaf film": (0.03, {**FALLING, "friction_ratio": 0.7}),
    "steep": (0.5, {**DRY, "friction_ratio": 0.05, "friction_decay": 20.0}),
    "soft": (0.1, {**FALLING, "adhesion_reduction": 0.02, "slip_reduction": 0.007}),
}
SPEEDS = [0.02, 1.0, 10.0, 40.0, 100.0]

films = pytest.mark.parametrize("film", FILMS)
speeds = pytest.mark.parametrize("speed", SPEEDS)
laws = pytest.mark.parametrize("law", ["polach", "carter", "vermeulen_johnson"])


def wheel(film, **changes):
    friction, curve = FILMS[film]
    return wheel_on(friction, **{**curve, **changes})


def forces_at(slips, speed, records):
    return np.array([creep_force(slip, speed, *records)[0] for slip in slips])


@laws
@films
@speeds
def test_slope_is_the_derivative_of_the_force(film, speed, law):
    records = wheel(film, law=law)
    for slip in np.geomspace(1e-6, 1.5, 60) * speed:
        for sign in (-1.0, 1.0):
            step = 1e-5 * slip
            above = creep_force(sign * slip + step, speed, *records)[0]
            below = creep_force(sign * slip - step, speed, *records)[0]
            force, slope = creep_force(sign * slip, speed, *records)
            # Truncation: a sixth of step^2 F''', and F''' slip^3 / F is below 100 on such curves:
            # 2e-9 of F / slip. Rounding: 1e-16 F / step = 1e-11. A node of a table bends
            # differently on either side: step F'' / 2, with F'' slip^2 / F below 2, is 1e-5.
            allowed = 2e-5 if law != "polach" else 1e-7
            assert abs((above - below) / (2.0 * step) - slope) < allowed * abs(force) / slip


@laws
@films
def test_force_is_odd_in_slip(film, law):
    records = wheel(film, law=law)
    for slip in np.geomspace(1e-5, 40.0, 30):
        force, slope = creep_force(slip, 20.0, *records)
        assert creep_force(-slip, 20.0, *records) == (-force, slope)


@films
@pytest.mark.parametrize("speed", [1.0, 40.0])
def test_force_begins_with_linear_creep(film, speed):
    """Kalker's linear law times the mean of the reduction factors, whatever the friction."""
    axle, state, law = wheel(film)
    mean = 0.5 * (state["adhesion_reduction"] + state["slip_reduction"])
    expected = 2.0 * axle["contact_stiffness"] / speed * mean
    assert creep_force(0.0, speed, axle, state, law) == (0.0, pytest.approx(expected, rel=1e-12))


@pytest.mark.parametrize("friction", [0.02, 0.3])
def test_flat_curve_saturates_at_friction_times_load(friction):
    axle, state, law = wheel_on(friction, **FLAT)
    limit = 2.0 * axle["wheel_load"] * friction
    # with kA = kS = 1 the shape misses one by 4 / (3 pi e^3), e = (pi / 4) tau, and rounding
    for creepage in (0.05, 0.5, 1.0):
        tau = axle["contact_stiffness"] * creepage / (0.5 * limit)
        missing = 4.0 / (3.0 * math.pi) / (0.25 * math.pi * tau) ** 3
        force = creep_force(creepage * 20.0, 20.0, axle, state, law)[0]
        assert limit * (1.0 - 1.1 * missing - 1e-14) <= force <= limit * (1.0 + 1e-14)
    assert creep_force(20.0, 20.0, axle, state, law)[0] == pytest.approx(limit, rel=1e-4)


@films
@speeds
def test_force_never_exceeds_friction_times_load_by_more_than_the_law_does(film, speed):
    """Polach's ratio tops one by at most a tenth, where kS is far below kA; never at kS = kA."""
    axle, state, law = wheel(film)
    most = 2.0 * axle["wheel_load"] * state["friction"]
    forces = forces_at(np.geomspace(1e-6, 1.0, 200) * speed, speed, (axle, state, law))
    assert forces.max() <= most
    assert np.isfinite(forces).all()


def test_force_stays_finite_at_standstill():
    records = wheel("dry")
    for slip in (-1.0, 0.0, 1e-9, 1.0):
        force, slope = creep_force(slip, 0.0, *records)
        assert math.isfinite(force)
        assert math.isfinite(slope)


def test_friction_falls_from_static_to_its_ratio():
    assert friction_at_slip(0.3, 0.4, 0.5, 0.0) == (0.3, pytest.approx(-0.5 * 0.6 * 0.3))
    assert friction_at_slip(0.3, 0.4, 0.5, 1e3) == pytest.approx((0.12, 0.0), rel=1e-12, abs=1e-30)
    assert friction_at_slip(0.3, 0.4, 0.5, 2.0)[0] == pytest.approx(
        0.3 * (0.6 * math.exp(-1.0) + 0.4), rel=1e-14
    )
    forward, backward = (friction_at_slip(0.3, 0.4, 0.5, slip) for slip in (2.0, -2.0))
    assert backward == (forward[0], -forward[1])
    assert friction_at_slip(0.3, 1.0, 0.5, 2.0) == (0.3, 0.0)


@laws
@films
@pytest.mark.parametrize("speed", thinned(SPEEDS, SPEEDS[::3]))
def test_peak_matches_a_dense_scan(film, speed, law):
    axle, state, law_record = wheel(film, law=law)
    slips = np.geomspace(1e-6, 1.0, 8001) * speed
    forces = forces_at(slips, speed, (axle, state, law_record))
    creepage, force = find_peak(speed, axle, state, law_record)
    # The scan's steps are 0.17 % of slip; at a peak with F'' slip^2 / F below 5 its best is at most
    # 5/8 (0.0017)^2 = 2e-6 below the true one. find_peak promises 1e-7.
    assert force == pytest.approx(forces.max(), rel=2e-6)
    assert creep_force(creepage * speed, speed, axle, state, law_record)[0] == pytest.approx(
        force, rel=1e-9
    )
    assert 0.0 < creepage <= 1.0


def test_dry_peak_at_40_m_per_s_lies_at_small_creepage():
    """Friction that falls by 0.6 s/m turns the dry curve down at a slip well below 1 m/s."""
    records = wheel("dry")
    slips = np.linspace(1e-4, 0.05, 20001) * 40.0
    scanned = slips[forces_at(slips, 40.0, records).argmax()] / 40.0
    creepage, _ = find_peak(40.0, *records)
    # steps of 2.5e-6 in creepage; the peak is found to 1e-4 of its slip
    assert creepage == pytest.approx(scanned, abs=2.5e-6 + 1e-4 * scanned)
    assert creepage * 40.0 < 0.7


@pytest.mark.parametrize("speed", [7.0, 10.0, 20.0])
def test_peak_is_the_higher_of_two(speed):
    """Where kS is small beside kA the curve may have a peak of adhesion and one of slip."""
    curve = {**FALLING, "adhesion_reduction": 0.02, "slip_reduction": 0.003}
    records = wheel_on(0.1, **curve)
    scanned = forces_at(np.geomspace(1e-6, 1.0, 8001) * speed, speed, records).max()
    assert find_peak(speed, *records)[1] == pytest.approx(scanned, rel=2e-6)


@films
def test_peak_is_the_same_from_a_near_guess(film):
    axle, state, law = wheel(film)
    creepage, force = find_peak(20.0, axle, state, law)
    for nudge in (0.7, 0.98, 1.02, 1.3):
        state["peak_creepage"] = min(1.0, nudge * creepage)
        again = find_peak(20.0, axle, state, law)
        assert again[1] == pytest.approx(force, rel=2e-7)


def test_peak_of_a_flat_curve_is_a_locked_wheel():
    axle, state, law = wheel("tough film")
    assert find_peak(20.0, axle, state, law) == (1.0, creep_force(20.0, 20.0, axle, state, law)[0])


@laws
@pytest.mark.parametrize("film", [name for name in FILMS if name != "tough film"])
@speeds
def test_steepest_fall_bounds_every_falling_slope(film, speed, law):
    axle, state, law_record = wheel(film, law=law)
    bound = steepest_fall(speed, axle, state, law_record)
    slips = np.geomspace(1e-6, 1.0, 2000) * speed
    slopes = [creep_force(slip, speed, axle, state, law_record)[1] for slip in slips]
    assert -min(slopes) <= bound
    assert bound > 0.0


@laws
def test_steepest_fall_is_within_a_factor_of_the_true_one(law):
    """A bound far too wide would cut the time into needless pieces."""
    axle, state, law_record = wheel("dry", law=law)
    slopes = [
        creep_force(slip, 5.0, axle, state, law_record)[1] for slip in np.linspace(0.01, 5.0, 2000)
    ]
    assert steepest_fall(5.0, axle, state, law_record) < 3.0 * -min(slopes)


def test_steepest_fall_of_a_flat_curve_is_zero():
    assert steepest_fall(20.0, *wheel("tough film")) == 0.0

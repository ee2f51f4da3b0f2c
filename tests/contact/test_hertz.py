"""Hertz contact: symmetry, continuity, wheel-rail geometry and refused input."""

import math

import pytest
from scipy.optimize import brentq
from scipy.special import ellipe, ellipkm1, elliprd

from slipbench.contact.hertz import (
    contact_modulus_of,
    contact_patch,
    ellipse_axis_ratio,
    hertz_ellipse,
)
from slipbench.ground.errors import InputError


def test_swapping_curvatures_swaps_axes() -> None:
    one, other = hertz_ellipse(1.1, 1.7, 1e5, 1e11), hertz_ellipse(1.7, 1.1, 1e5, 1e11)
    assert one.semi_axis_rolling == other.semi_axis_lateral
    assert one.semi_axis_lateral == other.semi_axis_rolling
    assert (one.peak_pressure, one.approach) == (other.peak_pressure, other.approach)
    assert one.semi_axis_rolling > one.semi_axis_lateral


@pytest.mark.parametrize("excess", [1e-12, 1e-9, 1e-6, 1e-3])
def test_nearly_circular_contact_joins_the_circle(excess: float) -> None:
    """Near the circle 1 - k is (2/3) of the curvature excess; cancellation would destroy it."""
    # Next order: excess^2; rounding of 1 + excess: 1e-16.
    assert 1.0 - ellipse_axis_ratio(1.0 + excess) == pytest.approx(
        2.0 / 3.0 * excess, abs=excess**2 + 4e-16
    )


def test_pressure_carries_the_load() -> None:
    patch = contact_patch(0.46, 0.30, 1e5)
    carried = 2.0 / 3.0 * patch.peak_pressure * patch.area
    assert carried == pytest.approx(1e5, rel=1e-14)


def test_load_scales_lengths_by_its_cube_root() -> None:
    light, heavy = contact_patch(0.46, 0.30, 1e4), contact_patch(0.46, 0.30, 8e4)
    assert heavy.semi_axis_rolling == pytest.approx(2.0 * light.semi_axis_rolling, rel=1e-14)
    assert heavy.peak_pressure == pytest.approx(2.0 * light.peak_pressure, rel=1e-14)


def test_worn_concave_tread_widens_the_patch() -> None:
    coned = contact_patch(0.46, 0.30, 1e5)
    worn = contact_patch(0.46, 0.30, 1e5, wheel_profile_radius=-0.40)
    equal = contact_patch(0.46, 1.2, 1e5)  # 1/0.30 - 1/0.40 = 1/1.2
    assert worn.semi_axis_lateral > coned.semi_axis_lateral
    assert worn.peak_pressure < coned.peak_pressure
    assert worn.semi_axis_lateral == pytest.approx(equal.semi_axis_lateral, rel=1e-12)


@pytest.mark.parametrize(
    ("arguments", "options", "words"),
    [
        ((0.0, 0.3, 1e5), {}, "wheel_radius"),
        ((0.46, -0.3, 1e5), {}, "rail_crown_radius"),
        ((0.46, 0.3, math.nan), {}, "load"),
        ((0.46, 0.3, 1e5), {"elastic_modulus": 0.0}, "elastic_modulus"),
        ((0.46, 0.3, 1e5), {"poisson_ratio": 0.6}, "poisson_ratio"),
        ((0.46, 0.3, 1e5), {"wheel_profile_radius": 0.0}, "wheel_profile_radius"),
        ((0.46, 0.3, 1e5), {"wheel_profile_radius": -0.3}, "flatter"),
    ],
)
def test_unusable_geometry_is_refused_in_one_line(
    arguments: tuple[float, float, float], options: dict[str, float], words: str
) -> None:
    with pytest.raises(InputError, match=words) as caught:
        contact_patch(*arguments, **options)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "curvature_ratio", [1.0 + 1e-9, 1.0 + 1e-6, 1.001, 1.5, 5.0, 100.0, 1e6, 1e10]
)
def test_axis_ratio_is_that_of_scipys_elliptic_integrals(curvature_ratio: float) -> None:
    """Carlson's form of the condition, solved by scipy, near the circle to its own rounding."""

    def excess(log_k: float) -> float:
        k_squared = math.exp(2.0 * log_k)
        ratio = elliprd(0.0, 1.0, k_squared) / elliprd(0.0, k_squared, 1.0)
        return math.log(ratio) - math.log(curvature_ratio)

    log_k = brentq(excess, -math.log(curvature_ratio), 0.0, xtol=1e-15, rtol=1e-14)
    assert ellipse_axis_ratio(curvature_ratio) == pytest.approx(math.exp(log_k), rel=3e-14)


@pytest.mark.parametrize("radius", [0.3, 0.42, 5.0])
def test_ellipse_follows_from_scipys_elliptic_integrals(radius: float) -> None:
    patch = contact_patch(0.42, radius, 50e3)
    k = min(patch.axis_ratio, 1.0 / patch.axis_ratio)
    long_axis = max(patch.semi_axis_rolling, patch.semi_axis_lateral)
    modulus = contact_modulus_of(210e9, 0.28)
    curvatures = 0.5 / 0.42 + 0.5 / radius
    cubed = 3.0 * 50e3 * ellipe(1.0 - k * k) / (2.0 * math.pi * modulus * curvatures * k * k)
    assert long_axis**3 == pytest.approx(cubed, rel=1e-13)
    approach = patch.peak_pressure * k * long_axis * ellipkm1(k * k) / modulus
    assert patch.approach == pytest.approx(approach, rel=1e-13)

"""Kalker coefficients: smooth, positive, monotone, continuous into the limits."""

import numpy as np
import pytest

from slipbench.contact import contact_patch, contact_stiffness
from slipbench.contact.kalker import kalker_coefficients, thin_patch_limits
from slipbench.ground.errors import InputError

INSIDE = np.geomspace(0.1, 10.0, 801)


@pytest.mark.parametrize("axis_ratio", [1e-4, 0.05, 0.1, 0.37, 1.0, 3.3, 10.0, 40.0, 1e4])
def test_c11_equals_c22_without_lateral_contraction(axis_ratio: float) -> None:
    got = kalker_coefficients(axis_ratio, 0.0)
    # The interpolated columns are equal; the two limit formulas differ by rounding only.
    assert got.c11 == pytest.approx(got.c22, rel=1e-13)


@pytest.mark.parametrize("nu", [0.0, 0.1, 0.25, 0.28, 0.3])
def test_coefficients_are_monotone_inside_the_table(nu: float) -> None:
    values = np.array([kalker_coefficients(g, nu) for g in INSIDE])
    steps = np.diff(values, axis=0)
    assert np.all(values > 0.0)
    assert np.all(steps[:, :3] > 0.0)
    assert np.all(steps[:, 3] < 0.0)


def test_c11_of_incompressible_bodies_dips_as_the_table_does() -> None:
    """At nu = .5 the table itself falls from 4.85 to 4.80; nothing may fall below its least."""
    column = [kalker_coefficients(g, 0.5).c11 for g in [0.3, *INSIDE]]
    assert min(column) == pytest.approx(4.80, abs=1e-12)


@pytest.mark.parametrize("nu", [0.0, 0.28, 0.5])
@pytest.mark.parametrize("edge", [0.1, 0.3, 1.0, 2.5, 10.0])
def test_value_and_slope_are_continuous(edge: float, nu: float) -> None:
    """Slopes of ln C against ln(a/b) from both sides meet, also where table and limit join."""
    step = 1e-5
    near = [np.log(kalker_coefficients(edge * np.exp(k * step), nu)) for k in (-2, -1, 0, 1, 2)]
    left, right = (near[2] - near[0]) / (2 * step), (near[4] - near[2]) / (2 * step)
    # Second derivatives here are below 2 (the nodes are 0.1 to 0.7 apart): 2 x 2e-5.
    assert np.max(np.abs(left - right)) < 5e-5
    assert np.max(np.abs(near[3] - near[1])) < 1e-4


@pytest.mark.parametrize("nu", [0.0, 0.1, 0.25, 0.4])
def test_poisson_ratio_acts_smoothly(nu: float) -> None:
    step = 1e-4
    low, mid, high = (np.array(kalker_coefficients(1.4, nu + k * step)) for k in (0, 1, 2))
    # d2C/dnu2 below 20 for every coefficient: a kink would give a difference of order 1e-4.
    assert np.max(np.abs(high - 2.0 * mid + low)) < 20.0 * step**2


@pytest.mark.parametrize("axis_ratio", [1e-4, 1e4])
def test_thinnest_ellipses_meet_the_limits(axis_ratio: float) -> None:
    got = np.array(kalker_coefficients(axis_ratio, 0.28))
    # The correction fades like ln(g) g: at most 10 x 1e-3.
    assert got == pytest.approx(thin_patch_limits(axis_ratio, 0.28), rel=1e-2)
    closer = np.array(kalker_coefficients(axis_ratio**2, 0.28))
    assert closer == pytest.approx(thin_patch_limits(axis_ratio**2, 0.28), rel=1e-5)


def test_stiffness_is_g_a_b_c11() -> None:
    patch = contact_patch(0.46, 0.30, 60e3)
    modulus = 210e9 / 2.56
    product = modulus * patch.semi_axis_rolling * patch.semi_axis_lateral
    c11 = kalker_coefficients(patch.axis_ratio, 0.28).c11
    assert contact_stiffness(patch) == pytest.approx(product * c11, rel=1e-14)


@pytest.mark.parametrize(("ratio", "nu"), [(0.0, 0.3), (-1.0, 0.3), (1.0, -0.1), (1.0, 0.51)])
def test_out_of_range_arguments_are_refused(ratio: float, nu: float) -> None:
    with pytest.raises(InputError, match="must"):
        kalker_coefficients(ratio, nu)

"""Hertz contact against independent solutions and the one published example."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import ellipe, ellipk

from slipbench.contact.hertz import contact_modulus_of, hertz_ellipse

INCH = 0.0254
POUND_FORCE = 4.4482216
PSI = POUND_FORCE / INCH**2


@settings(max_examples=60, deadline=None)
@given(
    ratio=st.floats(1e-3, 1e3),
    load=st.floats(1e2, 1e6),
    radius=st.floats(0.05, 5.0),
)
def test_pressure_presses_the_gap_shut(ratio: float, load: float, radius: float) -> None:
    """The ellipsoidal pressure's own displacement must be approach - A x^2 - B y^2.

    Its coefficients are integrals over w (half-space potential theory), here by quadrature and
    so independent of any elliptic function.
    """
    modulus, gap_x = 115e9, 0.5 / radius
    patch = hertz_ellipse(gap_x, gap_x * ratio, load, modulus)
    unit = math.sqrt(patch.semi_axis_rolling * patch.semi_axis_lateral)
    a, b = patch.semi_axis_rolling / unit, patch.semi_axis_lateral / unit

    def integral(extra: float | None) -> float:
        """Integrate with w = t^2, t = exp(z), so that both ends fall off exponentially."""

        def of(z: float) -> float:
            w = math.exp(2.0 * z)
            root = math.sqrt((a * a + w) * (b * b + w))
            return math.exp(z) / root / ((extra + w) if extra is not None else 1.0)

        return float(quad(of, -40.0, 40.0, limit=400, points=[-5.0, 0.0, 5.0], epsrel=1e-11)[0])

    scale = patch.peak_pressure / modulus
    # 1e-8: quadrature asked for 1e-11, brentq for 1e-14; the rest is margin for thin ellipses.
    assert scale / unit * integral(a * a) == pytest.approx(gap_x, rel=1e-8)
    assert scale / unit * integral(b * b) == pytest.approx(gap_x * ratio, rel=1e-8)
    assert scale * unit * integral(None) == pytest.approx(patch.approach, rel=1e-8)


@pytest.mark.parametrize("ratio", [1.05, 1.5, 4.0, 30.0, 500.0])
def test_axis_ratio_solves_the_elliptic_integral_condition(ratio: float) -> None:
    """(Bmax/Amin) = [E(m)/k^2 - K(m)]/[K(m) - E(m)], m = 1 - k^2 (scipy takes m)."""
    patch = hertz_ellipse(1.0, ratio, 1e5, 1.1e11)
    k = patch.semi_axis_lateral / patch.semi_axis_rolling
    m = 1.0 - k * k
    condition = (ellipe(m) / k**2 - ellipk(m)) / (ellipk(m) - ellipe(m))
    # The differences lose at most 3 digits at m = 0.03 (ratio 1.05): 1e-16 x 1e3 x margin.
    assert condition == pytest.approx(ratio, rel=1e-11)


@pytest.mark.parametrize("load", [1e3, 1e5])
@pytest.mark.parametrize("radius", [0.1, 0.3, 2.0])
def test_circle_has_its_closed_form(load: float, radius: float) -> None:
    """a^3 = 3NR/(4E*), p0 = 3N/(2 pi a^2), approach = a^2/R (Johnson 1985, ch. 4; memory)."""
    modulus = 1.15e11
    patch = hertz_ellipse(0.5 / radius, 0.5 / radius, load, modulus)
    semi_axis = (3.0 * load * radius / (4.0 * modulus)) ** (1.0 / 3.0)
    assert patch.semi_axis_rolling == pytest.approx(semi_axis, rel=1e-14)
    assert patch.semi_axis_lateral == pytest.approx(semi_axis, rel=1e-14)
    assert patch.peak_pressure == pytest.approx(1.5 * load / (math.pi * semi_axis**2), rel=1e-14)
    assert patch.approach == pytest.approx(semi_axis**2 / radius, rel=1e-14)


@pytest.mark.parametrize(
    ("quantity", "printed", "unit"),
    [
        ("semi_axis_rolling", 0.0946, INCH),
        ("semi_axis_lateral", 0.0792, INCH),
        ("peak_pressure", 63600.0, PSI),
    ],
)
def test_patch_matches_timoshenko_strength_of_materials_ii_wheel_on_rail(
    quantity: str, printed: float, unit: float
) -> None:
    """Timoshenko, Strength of Materials II: R 15.8 in, crown 12 in, 1000 lb, E 30e6 psi, nu .25.

    Printed values from memory, not verified.  The exact solution is .09462 in, .07877 in and
    64,064 psi: the book reads its coefficients from a table, which explains up to 1 %.
    """
    modulus = contact_modulus_of(30e6 * PSI, 0.25)
    patch = hertz_ellipse(0.5 / (15.8 * INCH), 0.5 / (12.0 * INCH), 1000.0 * POUND_FORCE, modulus)
    assert getattr(patch, quantity) / unit == pytest.approx(printed, rel=0.01)

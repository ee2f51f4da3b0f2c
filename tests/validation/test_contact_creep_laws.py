"""Creep laws against closed forms and the comparison of laws over normalised creepage."""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad

from slipbench.contact.carter import (
    carter_force_ratio,
    carter_parameter,
    carter_stick_half_length,
    carter_traction,
)
from slipbench.contact.laws import traction_ratio
from slipbench.contact.polach import MONOTONE_REDUCTION_RATIO, polach_traction_ratio
from slipbench.contact.rolling import NormalisedCreepages
from slipbench.contact.strip import strip_stick_fraction, strip_traction_ratio
from slipbench.contact.strip_exact import (
    FULL_SLIP_TAU,
    strip_force_ratio_exact,
    strip_stick_fraction_exact,
)

# tau; strip closed form, Vermeulen-Johnson, Polach kA = kS = 1 (all computed from the formulas);
# full elastic theory (own half-space Coulomb solution, circle, nu = 0, about +-.003; computed).
LAWS_OVER_TAU = [
    (0.5, 0.4187, 0.4213, 0.4548, 0.427),
    (1.0, 0.6962, 0.7037, 0.7331, 0.719),
    (1.5, 0.8642, 0.8750, 0.8660, 0.896),
    (2.0, 0.9529, 0.9630, 0.9275, 0.980),
    (3.0, 0.9994, 1.0000, 0.9734, 1.000),
]


@pytest.mark.parametrize("row", LAWS_OVER_TAU)
def test_laws_over_tau_keep_their_computed_values(row: tuple[float, ...]) -> None:
    tau, strip, vermeulen_johnson, polach, _ = row
    # Half the last printed digit.
    assert float(strip_force_ratio_exact(tau)) == pytest.approx(strip, abs=5e-5)
    for name, value in (
        ("vermeulen_johnson", vermeulen_johnson),
        ("shen_hedrick_elkins", vermeulen_johnson),
        ("polach", polach),
    ):
        assert float(traction_ratio(name, tau)) == pytest.approx(value, abs=5e-5)


@pytest.mark.parametrize("row", LAWS_OVER_TAU)
def test_simplified_theory_is_at_most_4_percent_low(row: tuple[float, ...]) -> None:
    """Against full elastic theory in pure longitudinal creepage (computed, +-.003)."""
    shortfall = 1.0 - float(strip_force_ratio_exact(row[0])) / row[4]
    assert -0.003 < shortfall < 0.036 + 0.003


@pytest.mark.parametrize("tau", np.linspace(0.2, 4.0, 20))
def test_strip_force_matches_kalker1982_closed_form(tau: float) -> None:
    """Kalker, Veh. Syst. Dyn. 11 (1982): theory from memory, closed form derived from it."""
    got = float(strip_traction_ratio(tau, n_strips=50, n_cells=50))
    # 0.1 % would be allowed at 50 x 50; the documented accuracy is 1e-6 mu N.
    assert got == pytest.approx(float(strip_force_ratio_exact(tau)), abs=1e-6)


@pytest.mark.parametrize("tau", [0.3, 0.8, 1.7, 2.5, 3.3, 3.5])
def test_stick_fraction_matches_kalker1982_closed_form(tau: float) -> None:
    """Slip zone: a trailing strip of constant width (derived)."""
    got = strip_stick_fraction(NormalisedCreepages(tau), n_strips=50, n_cells=50)
    # Second order: 5e-3 at 10 strips (measured in the convergence test) over 25, with margin 2.
    assert got == pytest.approx(float(strip_stick_fraction_exact(tau)), abs=4e-4)


def test_closed_form_starts_with_slope_one_and_ends_at_full_slip() -> None:
    assert float(strip_force_ratio_exact(1e-7)) == pytest.approx(1e-7, rel=1e-6)
    assert float(strip_force_ratio_exact(FULL_SLIP_TAU)) == pytest.approx(1.0, rel=1e-14)
    assert float(strip_stick_fraction_exact(FULL_SLIP_TAU)) == 0.0
    assert float(strip_stick_fraction_exact(0.0)) == 1.0


@pytest.mark.parametrize("slip_share", [0.1, 0.35, 0.6, 0.9, 1.0])
def test_single_strip_is_vermeulen_johnson_in_two_dimensions(slip_share: float) -> None:
    """F/(mu N') = 1 - (1 - delta)^3, the Vermeulen-Johnson form with tau = 3 delta (derived)."""
    # One strip of unit half-length stands for the whole ellipse: it carries 4/3 over the width
    # pi where the ellipse carries pi/2, hence 3/8.
    strip = 3.0 / 8.0 * float(strip_traction_ratio(slip_share * FULL_SLIP_TAU, n_strips=1))
    expected = float(traction_ratio("vermeulen_johnson", 3.0 * slip_share))
    assert strip == pytest.approx(expected, abs=1e-14)


@pytest.mark.parametrize("kappa", [0.1, 0.5, 0.9, 1.0, 2.0])
def test_carter_traction_sums_to_carter1926_force(kappa: float) -> None:
    """Carter, Proc. R. Soc. A 112 (1926) 151; Johnson 1985 eq. 8.7 (from memory)."""
    stick = float(carter_stick_half_length(kappa))
    edges = [-1.0, 1.0 - 2.0 * stick, 1.0]
    area = sum(
        quad(lambda x: float(carter_traction([x], kappa)[0]), low, high, epsrel=1e-10)[0]
        for low, high in pairwise(edges)
    )
    # Pressure half-ellipse of area pi/2 carries mu P.
    assert area / (math.pi / 2.0) == pytest.approx(float(carter_force_ratio(kappa)), abs=1e-8)
    assert stick == pytest.approx(math.sqrt(1.0 - float(carter_force_ratio(kappa))), abs=1e-15)


def test_carter_in_tau_is_carter_in_kappa() -> None:
    kappa = carter_parameter(-0.001, 0.46, 0.3, 0.007)
    assert kappa == pytest.approx(0.001 * 0.46 / (0.3 * 0.007), rel=1e-14)
    linear = 2.0 * kappa
    got = float(traction_ratio("carter", linear))
    assert got == pytest.approx(2.0 * kappa - kappa**2, rel=1e-14)


@pytest.mark.parametrize(
    ("gradient", "ratio"), [(0.5, 0.5498), (1.0, 0.8183), (2.0, 0.9595), (4.0, 0.9938)]
)
def test_force_matches_polach2005_eq_2(gradient: float, ratio: float) -> None:
    """Polach, Wear 258 (2005) 992-1000, eqs (2), (3): equation printed there, values computed."""
    tau = gradient * 4.0 / math.pi
    assert float(polach_traction_ratio(tau)) == pytest.approx(ratio, abs=5e-5)


@pytest.mark.parametrize(("reduction_a", "reduction_s"), [(1.0, 1.0), (1.0, 0.4), (0.3, 0.1)])
def test_polach_starts_with_the_mean_reduction(reduction_a: float, reduction_s: float) -> None:
    tau = 1e-6
    slope = polach_traction_ratio(tau, adhesion_reduction=reduction_a, slip_reduction=reduction_s)
    # Next term is of order tau^2.
    assert float(slope) / tau == pytest.approx(0.5 * (reduction_a + reduction_s), rel=1e-11)


@pytest.mark.parametrize("offset", [-0.0002, 0.0002])
def test_polach_falls_just_below_the_monotone_threshold(offset: float) -> None:
    """At constant friction the curve is monotone only if kS/kA >= .1317 (computed)."""
    tau = np.geomspace(0.5, 60.0, 20001)
    curve = polach_traction_ratio(
        tau, adhesion_reduction=1.0, slip_reduction=MONOTONE_REDUCTION_RATIO + offset
    )
    assert bool(np.all(np.diff(curve) > 0.0)) == (offset > 0.0)


def test_monotone_threshold_is_where_the_slope_touches_zero() -> None:
    """Slope kA (1 - z^2)/(1 + z^2)^2 + kS/(1 + r^2 z^2), z = kA e, r = kS/kA: least value 0."""
    z = np.linspace(1.0, 20.0, 200001)
    r = MONOTONE_REDUCTION_RATIO
    slope = (1.0 - z**2) / (1.0 + z**2) ** 2 + r / (1.0 + (r * z) ** 2)
    # dr of half the last digit moves the least slope by about 5e-5 x 0.8.
    assert float(np.min(slope)) == pytest.approx(0.0, abs=5e-5)

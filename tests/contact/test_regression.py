"""Regression of formulas: values computed once from the same equations, not published ones."""

import pytest

from slipbench.contact import contact_patch, contact_stiffness, polach_adhesion
from slipbench.contact.polach import POLACH_SETS

# wheel radius, crown radius [m], load [N], nu, then a, b [mm], p0 [MPa]: computed values.
PATCHES = [
    (0.46, 0.30, 80e3, 0.30, 6.648, 5.001, 1148.8),
    (0.46, 0.30, 100e3, 0.30, 7.162, 5.387, 1237.6),
    (0.50, 0.30, 100e3, 0.30, 7.458, 5.308, 1206.2),
    (0.30, 0.30, 100e3, 0.30, 5.799, 5.799, 1419.9),
    (0.46, 0.30, 100e3, 0.28, 7.192, 5.410, 1227.2),
]
APPROACHES = [(0.46, 80e3, 89.7), (0.46, 100e3, 104.1), (0.50, 100e3, 102.6)]


@pytest.mark.parametrize("row", PATCHES)
def test_patch_keeps_its_computed_values(row: tuple[float, ...]) -> None:
    wheel, crown, load, nu, a_mm, b_mm, p_mpa = row
    patch = contact_patch(wheel, crown, load, poisson_ratio=nu)
    # Half the last printed digit.
    assert patch.semi_axis_rolling * 1e3 == pytest.approx(a_mm, abs=5e-4)
    assert patch.semi_axis_lateral * 1e3 == pytest.approx(b_mm, abs=5e-4)
    assert patch.peak_pressure * 1e-6 == pytest.approx(p_mpa, abs=0.05)


@pytest.mark.parametrize(("wheel", "load", "micrometres"), APPROACHES)
def test_approach_keeps_its_computed_values(wheel: float, load: float, micrometres: float) -> None:
    patch = contact_patch(wheel, 0.30, load, poisson_ratio=0.30)
    assert patch.approach * 1e6 == pytest.approx(micrometres, abs=0.05)


def test_stiffness_of_the_usual_contact_keeps_its_value() -> None:
    """14.53 MN was computed with straight-line interpolation of C11 (4.551) in the table."""
    stiffness = contact_stiffness(contact_patch(0.46, 0.30, 100e3))
    # Straight lines overshoot a convex column: here by 0.12 %.
    assert stiffness == pytest.approx(14.53e6, rel=2e-3)


# speed [km/h], then peak adhesion and its creepage: dry, wet; computed from memory parameters.
PEAKS = [
    (20, 0.4585, 0.0501, 0.2544, 0.1355),
    (40, 0.4281, 0.0355, 0.2388, 0.0966),
    (80, 0.3912, 0.0249, 0.2196, 0.0686),
    (160, 0.3491, 0.0171, 0.1970, 0.0483),
]


@pytest.mark.parametrize("name", ["dry", "wet"])
@pytest.mark.parametrize("row", PEAKS)
def test_polach_peak_keeps_its_computed_values(row: tuple[float, ...], name: str) -> None:
    from scipy.optimize import minimize_scalar

    speed, at = row[0] / 3.6, 1 if name == "dry" else 3
    found = minimize_scalar(
        lambda s: -float(polach_adhesion(s, speed, 14.53e6, 100e3, POLACH_SETS[name])),
        bounds=(1e-3, 0.4),
        method="bounded",
        options={"xatol": 1e-7},
    )
    # Half the last printed digit, and for the creepage as much again: the top is flat.
    assert -found.fun == pytest.approx(row[at], abs=5e-5)
    assert found.x == pytest.approx(row[at + 1], abs=1e-4)


@pytest.mark.parametrize(("name", "adhesion"), [("dry", 0.3681), ("wet", 0.1626)])
def test_polach_adhesion_at_one_percent_keeps_its_computed_value(
    name: str, adhesion: float
) -> None:
    got = polach_adhesion(0.01, 40.0 / 3.6, 14.53e6, 100e3, POLACH_SETS[name])
    assert float(got) == pytest.approx(adhesion, abs=5e-5)

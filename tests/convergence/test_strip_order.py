"""Observed order of the strip algorithm against the declared one, within 0.2."""

import math

import numpy as np
import pytest

from slipbench.contact import Creepages, contact_patch, rolling_contact
from slipbench.contact.rolling import NormalisedCreepages
from slipbench.contact.strip import (
    ORDER_WITH_SPIN,
    ORDER_WITHOUT_SPIN,
    strip_solution,
    strip_stick_fraction,
    strip_traction_ratio,
)
from slipbench.contact.strip_exact import (
    FULL_SLIP_TAU,
    strip_force_ratio_exact,
    strip_stick_fraction_exact,
)

GRIDS = np.array([10, 20, 40, 80, 160])
# Many creepages: the slip front's place inside its cell is arbitrary, so one alone is erratic.
TAUS = np.linspace(0.05, 3.35, 200)


def observed_order(errors: list[float]) -> float:
    """Return the least-squares slope of ln(error) against ln(cell size)."""
    return -float(np.polyfit(np.log(GRIDS), np.log(errors), 1)[0])


def root_mean_square(values: np.ndarray) -> float:
    return math.sqrt(float(np.mean(values**2)))


@pytest.mark.parametrize("n_cells", [1, 2, 7, 50])
def test_one_strip_without_spin_is_exact_for_any_cells(n_cells: int) -> None:
    exact = 1.0 - (1.0 - TAUS / FULL_SLIP_TAU) ** 3
    # A lone strip carries 8/3 of its share of the ellipse; rounding of up to 50 sums.
    got = 3.0 / 8.0 * strip_traction_ratio(TAUS, n_strips=1, n_cells=n_cells)
    assert got == pytest.approx(exact, abs=1e-14)


def test_force_of_the_patch_converges_as_declared() -> None:
    exact = strip_force_ratio_exact(TAUS)
    errors = [
        root_mean_square(strip_traction_ratio(TAUS, n_strips=n, n_cells=n) - exact)
        for n in GRIDS.tolist()
    ]
    assert observed_order(errors) == pytest.approx(ORDER_WITHOUT_SPIN, abs=0.2)


def test_stick_fraction_converges_with_second_order() -> None:
    errors = []
    for n in GRIDS.tolist():
        got = [
            strip_stick_fraction(NormalisedCreepages(tau), n_strips=n, n_cells=n)
            for tau in TAUS[::8].tolist()
        ]
        errors.append(root_mean_square(np.array(got) - strip_stick_fraction_exact(TAUS[::8])))
    assert observed_order(errors) == pytest.approx(2.0, abs=0.2)


@pytest.mark.parametrize(
    "creepages",
    [Creepages(1e-3, 5e-4, 0.3), Creepages(0.0, 0.0, 0.8), Creepages(5e-4, 0.0, 1.5)],
)
def test_force_with_spin_converges_as_declared(creepages: Creepages) -> None:
    """No closed form: the reference is Richardson's extrapolation of two finer grids."""
    contact = rolling_contact(contact_patch(0.46, 0.30, 60e3), 0.2)

    def force(n: int) -> np.ndarray:
        result = strip_solution(contact, creepages, n_strips=n, n_cells=n)
        return np.array([result.longitudinal_force, result.lateral_force])

    limit = 2.0 * force(640) - force(320)
    errors = [float(np.linalg.norm(force(n) - limit)) for n in GRIDS.tolist()]
    # The accuracy the algorithm's docstring states for 50 x 50.
    assert float(np.linalg.norm(force(50) - limit)) < 0.012 * contact.friction_limit
    assert observed_order(errors) == pytest.approx(ORDER_WITH_SPIN, abs=0.2)

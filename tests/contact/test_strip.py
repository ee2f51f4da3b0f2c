"""Strip algorithm: bound, symmetry, tractions, spin."""

import math

import numpy as np
import pytest

from slipbench.contact import Creepages, contact_patch, rolling_contact, strip_solution
from slipbench.contact.rolling import RollingContact
from slipbench.contact.strip import strip_traction_ratio


@pytest.fixture
def contact() -> RollingContact:
    return rolling_contact(contact_patch(0.46, 0.30, 60e3), 0.2)


@pytest.mark.parametrize("n_cells", [1, 2, 10, 50])
def test_full_slip_is_exactly_the_friction_limit(n_cells: int) -> None:
    """A midpoint rule would overshoot mu N, by .7 % at 10 x 10."""
    ratio = float(strip_traction_ratio(50.0, n_strips=10, n_cells=n_cells))
    assert ratio == pytest.approx(1.0, abs=1e-14)


def test_pure_lateral_creepage_is_the_longitudinal_case_turned(contact: RollingContact) -> None:
    c11, c22 = contact.coefficients.c11, contact.coefficients.c22
    along = strip_solution(contact, Creepages(2e-3))
    across = strip_solution(contact, Creepages(0.0, 2e-3 * c11 / c22))
    assert across.lateral_force == pytest.approx(along.longitudinal_force, rel=1e-13)
    assert across.stick_fraction == pytest.approx(along.stick_fraction, rel=1e-13)


def test_mirrored_creepages_mirror_the_forces(contact: RollingContact) -> None:
    """Mirror in the x-z plane: lateral creepage and spin turn, Fx stays, Fy turns."""
    one = strip_solution(contact, Creepages(1e-3, 4e-4, 0.3))
    other = strip_solution(contact, Creepages(1e-3, -4e-4, -0.3))
    assert other.longitudinal_force == pytest.approx(one.longitudinal_force, rel=1e-13)
    assert other.lateral_force == pytest.approx(-one.lateral_force, rel=1e-13)


def test_small_spin_gives_the_c23_force(contact: RollingContact) -> None:
    small = Creepages(0.0, 0.0, 1e-4)
    force, linear = strip_solution(contact, small), contact.linear_forces(small).lateral
    # py sticks everywhere; px slips at the trailing edge within a share of the order of the
    # normalised spin, 1e-4, and takes py with it in second order.
    share = contact.normalise(small).spin
    assert force.lateral_force == pytest.approx(linear, rel=share)
    assert force.stick_fraction == pytest.approx(1.0, abs=share)


def test_strong_spin_loses_lateral_force(contact: RollingContact) -> None:
    """What the saturation factor of Shen, Hedrick and Elkins cannot show."""
    forces = [
        abs(strip_solution(contact, Creepages(0.0, 0.0, spin)).lateral_force)
        for spin in (0.5, 1.0, 5.0, 50.0)
    ]
    assert max(forces) > 2.0 * forces[-1]
    assert forces[-1] < 0.1 * contact.friction_limit


def test_tractions_stay_within_the_bound_and_carry_the_force(contact: RollingContact) -> None:
    n = 60
    result = strip_solution(
        contact, Creepages(1e-3, 3e-4, 0.2), n_strips=n, n_cells=n, with_tractions=True
    )
    field = result.tractions
    assert field is not None
    size = np.hypot(field.longitudinal, field.lateral)
    peak = np.max(field.bound)
    assert np.all(size <= field.bound + 1e-12 * peak)
    assert size[field.is_slipping] == pytest.approx(
        field.bound[field.is_slipping], abs=1e-12 * peak
    )
    assert np.any(field.is_slipping)
    assert not np.all(field.is_slipping)
    # Trapezoid along x, then y = b sin(theta): second order, (2/60)^2 of mu N.
    widths = math.pi / n * np.sqrt(contact.patch.semi_axis_lateral**2 - field.y**2)
    strips = np.trapezoid(field.longitudinal, -field.x, axis=1)
    assert float(strips @ widths) == pytest.approx(
        result.longitudinal_force, abs=(2.0 / n) ** 2 * contact.friction_limit
    )


def test_bound_carries_the_whole_load(contact: RollingContact) -> None:
    result = strip_solution(contact, Creepages(1e-3), with_tractions=True)
    assert result.tractions is not None
    patch = contact.patch
    assert np.max(result.tractions.bound) == pytest.approx(
        2.0 * contact.friction_limit / patch.area, rel=2e-3
    )
    assert strip_solution(contact, Creepages(1e-3)).tractions is None


def test_slip_zone_is_trailing_and_of_constant_width(contact: RollingContact) -> None:
    creepage = contact.friction_limit / contact.stiffness
    result = strip_solution(contact, Creepages(creepage), n_cells=400, with_tractions=True)
    field = result.tractions
    assert field is not None
    a = contact.patch.semi_axis_rolling
    expected = 2.0 * a * 3.0 * math.pi / 32.0
    for i_strip in (10, 25, 40):
        slipping = field.x[i_strip][field.is_slipping[i_strip]]
        width = np.max(slipping) - np.min(field.x[i_strip])
        cell = field.x[i_strip, 0] - field.x[i_strip, 1]
        assert expected - cell <= width <= expected + cell


def test_single_flexibility_agrees_where_one_creepage_acts_alone(contact: RollingContact) -> None:
    for creepages in (Creepages(1e-3), Creepages(0.0, 1e-3), Creepages(0.0, 0.0, 0.3)):
        three = strip_solution(contact, creepages)
        one = strip_solution(contact, creepages, has_single_flexibility=True)
        limit = contact.friction_limit
        assert one.longitudinal_force == pytest.approx(three.longitudinal_force, abs=1e-12 * limit)
        assert one.lateral_force == pytest.approx(three.lateral_force, abs=1e-12 * limit)


def test_no_creepage_gives_no_force(contact: RollingContact) -> None:
    for has_single_flexibility in (False, True):
        result = strip_solution(
            contact, Creepages(0.0), has_single_flexibility=has_single_flexibility
        )
        assert (result.longitudinal_force, result.lateral_force) == (0.0, 0.0)
        assert result.stick_fraction == pytest.approx(1.0, abs=1e-14)

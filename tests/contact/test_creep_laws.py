"""What every creep law must do, and the registry."""

import math

import numpy as np
import pytest

from slipbench.contact import (
    CREEP_LAWS,
    Creepages,
    contact_patch,
    creep_forces,
    rolling_contact,
    traction_ratio,
)
from slipbench.contact.measured import MeasuredCurve
from slipbench.contact.polach import PolachSet, falling_friction
from slipbench.contact.rolling import RollingContact
from slipbench.ground.errors import InputError

CURVE = MeasuredCurve(
    "typed in",
    np.array([math.nan]),
    (np.array([0.0, 0.004, 0.01, 0.03, 0.2]),),
    (np.array([0.0, 0.08, 0.14, 0.16, 0.12]),),
)
LAWS = list(CREEP_LAWS)
WITH_FORCES = [name for name, law in CREEP_LAWS.items() if law.forces]
WITH_SPIN = [name for name, law in CREEP_LAWS.items() if law.has_spin]


def ratio_of(name: str, tau: object) -> np.ndarray:
    return traction_ratio(name, tau, **({"curve": CURVE} if name == "measured" else {}))


@pytest.fixture
def contact() -> RollingContact:
    return rolling_contact(contact_patch(0.46, 0.30, 60e3), 0.2)


@pytest.mark.parametrize("name", LAWS)
def test_law_is_odd_bounded_and_keeps_shape(name: str) -> None:
    tau = np.geomspace(1e-3, 1e4, 60).reshape(3, 20)
    ratio = ratio_of(name, tau)
    assert ratio.shape == tau.shape
    assert np.all(ratio > 0.0)
    # Rounding of sums of up to 2500 cells of equal sign.
    assert np.max(ratio) <= 1.0 + 1e-13
    assert ratio_of(name, -tau) == pytest.approx(-ratio, rel=1e-13)
    assert float(ratio_of(name, 0.0)) == 0.0


@pytest.mark.parametrize("name", LAWS)
def test_law_starts_with_the_linear_force(name: str) -> None:
    tau = 1e-4
    # The next term of the fastest-bending law (Carter, tau/4; strip, tau/3.1) is below tau.
    assert float(ratio_of(name, tau)) / tau == pytest.approx(1.0, abs=tau)


@pytest.mark.parametrize("name", [one for one in LAWS if one not in ("polach", "measured")])
def test_law_reaches_full_slip(name: str) -> None:
    assert float(ratio_of(name, 3.4)) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("name", LAWS)
def test_law_record_is_complete(name: str) -> None:
    law = CREEP_LAWS[name]
    assert law.name == name
    assert law.source
    assert law.validity
    assert law.forces is not None or not law.has_spin


@pytest.mark.parametrize("name", WITH_FORCES)
def test_pure_longitudinal_force_is_the_traction_ratio(name: str, contact: RollingContact) -> None:
    xi = 1.3 * contact.friction_limit / contact.stiffness
    force = creep_forces(name, contact, Creepages(xi))
    expected = -contact.friction_limit * float(ratio_of(name, 1.3))
    assert force.longitudinal == pytest.approx(expected, rel=1e-12)
    assert force.lateral == pytest.approx(0.0, abs=1e-9 * contact.friction_limit)


@pytest.mark.parametrize("name", WITH_FORCES)
def test_small_creepages_give_kalkers_linear_forces(name: str, contact: RollingContact) -> None:
    spin = 1e-3 if name in WITH_SPIN else 0.0
    small = Creepages(1e-7, -2e-7, spin * 1e-2)
    force, linear = creep_forces(name, contact, small), contact.linear_forces(small)
    # Slip starts at the trailing edge: relative loss of order tau, here 1e-4.
    assert force.longitudinal == pytest.approx(linear.longitudinal, rel=1e-3)
    assert force.lateral == pytest.approx(linear.lateral, rel=1e-3)


@pytest.mark.parametrize("name", WITH_FORCES)
def test_force_stays_inside_the_friction_circle(name: str, contact: RollingContact) -> None:
    spins = (0.0, 0.5, 5.0) if name in WITH_SPIN else (0.0,)
    for xi in (0.0, 1e-3, 0.1):
        for eta in (-1e-3, 0.0, 0.1):
            for spin in spins:
                force = creep_forces(name, contact, Creepages(xi, eta, spin))
                size = math.hypot(force.longitudinal, force.lateral)
                assert size <= contact.friction_limit * (1.0 + 1e-12)


@pytest.mark.parametrize("name", [one for one in WITH_FORCES if one not in WITH_SPIN])
def test_law_without_spin_refuses_it(name: str, contact: RollingContact) -> None:
    with pytest.raises(InputError, match="spin"):
        creep_forces(name, contact, Creepages(1e-3, 0.0, 0.1))


def test_law_without_lateral_force_says_which_have_it(contact: RollingContact) -> None:
    with pytest.raises(InputError, match="strip"):
        creep_forces("carter", contact, Creepages(1e-3))


def test_unknown_law_suggests_near_names() -> None:
    with pytest.raises(InputError, match="polach"):
        traction_ratio("polack", 1.0)


@pytest.mark.parametrize(
    ("name", "options", "words"),
    [
        ("polach", {"kA": 0.3}, "adhesion_reduction"),
        ("polach", {"adhesion_reduction": 0.3, "slip_reduction": 0.5}, "slip_reduction"),
        ("carter", {"spin": 1.0}, "none"),
        ("strip", {"n_cells": 0}, "n_cells"),
        ("strip", {"n_strips": 0}, "n_strips"),
        ("strip", {"axis_ratio": -1.0}, "axis_ratio"),
        ("measured", {}, "curve"),
    ],
)
def test_unusable_options_are_refused_in_one_line(
    name: str, options: dict[str, object], words: str
) -> None:
    with pytest.raises(InputError, match=words) as caught:
        traction_ratio(name, 1.0, **options)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("tau", [math.nan, [1.0, math.inf]])
def test_creepage_must_be_finite(tau: object) -> None:
    with pytest.raises(InputError, match="normalised_creepage"):
        traction_ratio("carter", tau)


def test_falling_friction_runs_from_start_to_its_floor() -> None:
    assert float(falling_friction(0.0, 0.3, 0.4, 0.2)) == 0.3
    assert float(falling_friction(1e4, 0.3, 0.4, 0.2)) == pytest.approx(0.12, rel=1e-14)
    assert float(falling_friction(-5.0, 0.3, 0.4, 0.2)) == pytest.approx(
        0.3 * (0.6 / math.e + 0.4), rel=1e-14
    )


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ((0.3, 0.4, 0.3, 0.4, 0.2), "slip_reduction"),
        ((1.0, 0.4, 0.0, 0.4, 0.2), "friction"),
        ((1.0, 0.4, 0.3, 1.4, 0.2), "friction_ratio"),
        ((1.0, 0.4, 0.3, 0.4, -0.2), "friction_decay"),
    ],
)
def test_impossible_polach_set_is_refused(values: tuple[float, ...], words: str) -> None:
    with pytest.raises(InputError, match=words):
        PolachSet("odd", *values, source="none")

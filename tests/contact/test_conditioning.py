"""Friction rising with slide energy, and the memoryless law with its folds."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from slipbench.contact.conditioning import (
    DEGRADED,
    DEGRADED_ENERGY_SCALE,
    RECOVERED,
    conditioned_friction,
    degraded_recovered_adhesion,
    follow_memoryless_curve,
    memoryless_adhesion,
    memoryless_adhesions,
    recovery_fraction,
)
from slipbench.contact.polach import polach_adhesion
from slipbench.ground.errors import InputError

# A contact with folds: p = 2, degraded .02, recovered .30.
LOAD, SCALE, LOW, HIGH = 60e3, 3000.0, 0.02, 0.30


def test_recovery_fraction_solves_its_differential_equation() -> None:
    """d(lambda)/dW = (1 - lambda)/W0 for p = 1, from 0."""
    energy, step = np.linspace(0.0, 5e4, 60), 1.0
    slope = (recovery_fraction(energy + step, 5e3) - recovery_fraction(energy, 5e3)) / step
    middle = 1.0 - recovery_fraction(energy + 0.5 * step, 5e3)
    # Midpoint slope: error (step/W0)^2/24.
    assert slope * 5e3 == pytest.approx(middle, rel=(step / 5e3) ** 2)
    assert float(recovery_fraction(0.0, 5e3)) == 0.0


@pytest.mark.parametrize("exponent", [0.5, 1.0, 2.0])
def test_energy_scale_is_where_recovery_is_one_minus_one_over_e(exponent: float) -> None:
    got = float(recovery_fraction(7e3, 7e3, exponent))
    assert got == pytest.approx(1.0 - 1.0 / math.e, rel=1e-14)


def test_conditioned_friction_runs_from_degraded_to_recovered() -> None:
    mu = conditioned_friction([0.0, 15e3, 1e7], 0.03, 0.15, 15e3)
    assert mu[0] == 0.03
    assert mu[1] == pytest.approx(0.03 + 0.12 * (1.0 - 1.0 / math.e), rel=1e-14)
    assert mu[2] == pytest.approx(0.15, rel=1e-14)


@settings(max_examples=200, deadline=None)
@given(
    creepage=st.floats(1e-4, 1.0),
    low=st.floats(0.005, 0.2),
    high=st.floats(0.005, 0.5),
    scale=st.floats(30.0, 1e5),
    exponent=st.floats(0.5, 5.0),
)
def test_every_solution_solves_the_law_and_none_is_missed(
    creepage: float, low: float, high: float, scale: float, exponent: float
) -> None:
    roots = memoryless_adhesions(creepage, low, high, 50e3, scale, exponent)
    adhesion = np.linspace(min(low, high), max(low, high), 4001)

    def surplus(f: np.ndarray) -> np.ndarray:
        share = recovery_fraction(f * 50e3 * creepage, scale, exponent)
        return (1.0 - share) * low + share * high - f

    # brentq stops within 1e-15 + 9e-16 f; the surplus is at most p D/f < 500 times as steep.
    assert np.max(np.abs(surplus(np.array(roots)))) < 1e-12
    assert len(roots) in (1, 2, 3)
    values = surplus(adhesion)
    values = values[np.abs(values) > 1e-13]
    changes = int(np.sum(values[:-1] * values[1:] < 0.0))
    assert changes <= len(roots)


@settings(max_examples=100, deadline=None)
@given(creepage=st.floats(1e-4, 1.0), scale=st.floats(10.0, 1e5), high=st.floats(0.01, 0.6))
def test_plain_exponential_law_has_one_solution(creepage: float, scale: float, high: float) -> None:
    """For p = 1 the right side is concave in f and above it at 0: no folds, no branches."""
    assert len(memoryless_adhesions(creepage, 0.01, high, 60e3, scale)) == 1


def test_solution_is_the_fixed_point_of_repeated_substitution() -> None:
    f = 0.05
    for _ in range(400):
        f = 0.05 + 0.15 * (1.0 - math.exp(-f * 50e3 * 0.2 / 5300.0))
    assert memoryless_adhesion(0.2, 0.05, 0.20, 50e3, 5300.0) == pytest.approx(f, rel=1e-12)


def test_limits_are_the_degraded_and_the_recovered_curve() -> None:
    tough = memoryless_adhesion(0.3, 0.05, 0.2, 60e3, 1e12)
    easy = memoryless_adhesion(0.3, 0.05, 0.2, 60e3, 1e-3)
    assert tough == pytest.approx(0.05, rel=1e-8)
    assert easy == pytest.approx(0.2, rel=1e-12)


def fold_creepages() -> tuple[float, float]:
    """Return the creepages of the two folds, by an independent parametrisation.

    On the curve z = (f N e/W0), f = LOW + D (1 - exp(-z^2)); so e = z W0/(N f(z)) and the folds
    are where e(z) turns.
    """
    z = np.linspace(0.01, 3.0, 2_000_001)
    f = LOW + (HIGH - LOW) * (1.0 - np.exp(-(z**2)))
    creepage = z * SCALE / (LOAD * f)
    turns = np.flatnonzero(np.diff(np.sign(np.diff(creepage)))) + 1
    assert len(turns) == 2
    return float(creepage[turns[0]]), float(creepage[turns[1]])


def test_branch_is_kept_until_its_fold_in_both_directions() -> None:
    jump_up, jump_down = fold_creepages()
    assert jump_down < jump_up
    path = np.linspace(0.3 * jump_down, 1.3 * jump_up, 4001)
    low, high = np.full_like(path, LOW), np.full_like(path, HIGH)
    up = follow_memoryless_curve(path, low, high, LOAD, SCALE, 2.0)
    down = follow_memoryless_curve(path[::-1], low, high, LOAD, SCALE, 2.0, previous=HIGH)[::-1]
    step = path[1] - path[0]
    assert path[int(np.argmax(np.diff(up)))] == pytest.approx(jump_up, abs=1.01 * step)
    assert path[int(np.argmax(np.diff(down)))] == pytest.approx(jump_down, abs=1.01 * step)
    between = (path > jump_down + step) & (path < jump_up - step)
    assert np.all(down[between] - up[between] > 0.03)
    assert up[~between][[0, -1]] == pytest.approx(down[~between][[0, -1]], rel=1e-12)


def test_unstable_middle_solution_divides_the_starting_values() -> None:
    jump_up, jump_down = fold_creepages()
    middle_creepage = 0.5 * (jump_up + jump_down)
    arguments = (middle_creepage, LOW, HIGH, LOAD, SCALE, 2.0)
    low, unstable, high = memoryless_adhesions(*arguments)
    assert memoryless_adhesion(*arguments) == low
    assert memoryless_adhesion(*arguments, previous=unstable - 1e-6) == low
    assert memoryless_adhesion(*arguments, previous=unstable + 1e-6) == high
    assert memoryless_adhesion(*arguments, previous=0.0) == low
    assert memoryless_adhesion(*arguments, previous=1.0) == high


def test_crossing_curves_are_solved_too() -> None:
    """Past large slip speed the recovered curve may lie below the degraded one."""
    assert memoryless_adhesion(0.5, 0.06, 0.04, 60e3, 1e12) == pytest.approx(0.06, rel=1e-8)
    assert memoryless_adhesion(0.5, 0.06, 0.04, 60e3, 1e-3) == pytest.approx(0.04, rel=1e-12)


def test_adhesion_lies_between_the_steady_curves_and_rises_again() -> None:
    """Sets of the degraded-adhesion papers: values from memory, not verified."""
    assert pytest.approx(5263.2, abs=0.05) == DEGRADED_ENERGY_SCALE
    path = np.linspace(0.0, 1.0, 201)
    got = degraded_recovered_adhesion(path, 33.3, 12e6, 60e3)
    low = polach_adhesion(path, 33.3, 12e6, 60e3, DEGRADED)
    high = polach_adhesion(path, 33.3, 12e6, 60e3, RECOVERED)
    assert got[0] == 0.0
    assert np.all(got >= low)
    assert np.all(got <= high)
    dip = int(np.argmin(got[20:])) + 20
    assert got[-1] > 1.5 * got[dip]
    assert low[-1] < low[dip]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((-0.1, 0.05, 0.2, 6e4, 5e3), "creepage"),
        ((0.1, math.nan, 0.2, 6e4, 5e3), "degraded_adhesion"),
        ((0.1, 0.0, 0.2, 6e4, 5e3), "degraded_adhesion"),
        ((0.1, 0.05, 0.2, 0.0, 5e3), "load"),
        ((0.1, 0.05, 0.2, 6e4, -5e3), "energy_scale"),
        ((0.1, 0.05, 0.2, 6e4, 5e3, 0.0), "exponent"),
    ],
)
def test_impossible_arguments_are_refused(arguments: tuple[float, ...], words: str) -> None:
    with pytest.raises(InputError, match=words):
        memoryless_adhesion(*arguments)
    with pytest.raises(InputError, match="slide_energy"):
        recovery_fraction(-1.0, 5e3)

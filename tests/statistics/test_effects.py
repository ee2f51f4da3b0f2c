import math

import numpy as np
import pytest

from slipbench.ground.errors import InputError
from slipbench.statistics.effects import (
    elementary_effects,
    morris_design,
    saltelli_design,
    sobol_indices,
)

A, B = 7.0, 0.1


def ishigami(cube):
    x = (2.0 * cube - 1.0) * math.pi
    return np.sin(x[..., 0]) * (1.0 + B * x[..., 2] ** 4) + A * np.sin(x[..., 1]) ** 2


def test_sobol_indices_matches_ishigami1990():
    """T. Ishigami, T. Homma, ISUMA '90, 398-403 (1990), with a = 7, b = 0.1.

    Reference from memory, not verified: S = 0.3139, 0.4424, 0; total 0.5576, 0.4424, 0.2437. The
    integrals below derive the same numbers.
    """
    pi4 = B * math.pi**4
    variance = A**2 / 8.0 + pi4 / 5.0 + pi4**2 / 18.0 + 0.5
    first = np.array([0.5 * (1.0 + pi4 / 5.0) ** 2, A**2 / 8.0, 0.0]) / variance
    shared = 8.0 * pi4**2 / 225.0 / variance
    total = first + np.array([shared, 0.0, shared])
    assert first == pytest.approx([0.3139, 0.4424, 0.0], abs=5e-5)
    assert total == pytest.approx([0.5576, 0.4424, 0.2437], abs=5e-5)
    design = saltelli_design(3, 4096, seed=1)
    found = sobol_indices(design, ishigami(design.points), n_resamples=100)
    # random sampling has a standard error of about 1 / sqrt(4096) = 0.016 times an index's scale;
    # a Sobol sequence is better
    assert found.first == pytest.approx(first, abs=0.016)
    assert found.total == pytest.approx(total, abs=0.016)


def test_index_intervals_hold_the_truth_and_repeat():
    design = saltelli_design(3, 256, seed=2)
    values = ishigami(design.points)
    found, again = sobol_indices(design, values), sobol_indices(design, values)
    assert (found.first_interval == again.first_interval).all()
    truth = [0.3139, 0.4424, 0.0]
    assert all(low < t < high for t, (low, high) in zip(truth, found.first_interval, strict=True))


def test_indices_ignore_a_large_mean():
    design = saltelli_design(3, 512, seed=3)
    values = ishigami(design.points)
    plain = sobol_indices(design, values, n_resamples=2)
    lifted = sobol_indices(design, values + 1e4, n_resamples=2)
    assert lifted.first == pytest.approx(plain.first, abs=1e-7)  # 1e4 has 12 digits left of 16


def test_indices_of_a_constant_are_zero():
    design = saltelli_design(2, 8)
    assert sobol_indices(design, np.full(32, 3.0)).total.tolist() == [0.0, 0.0]


def test_values_must_be_finite():
    design = saltelli_design(2, 8)
    with pytest.raises(InputError, match="not finite"):
        sobol_indices(design, np.full(32, math.inf))


@pytest.mark.parametrize("n", [0, 3, 12])
def test_base_points_are_a_power_of_two(n):
    with pytest.raises(InputError, match="power of two"):
        saltelli_design(2, n)


def test_morris_design_moves_one_factor_at_a_time():
    paths = morris_design(5, 20, seed=4)
    assert paths.min() >= 0.0 and paths.max() <= 1.0 + 1e-12
    steps = np.abs(np.diff(paths, axis=1))
    assert ((steps > 1e-9).sum(axis=2) == 1).all()
    assert ((steps > 1e-9).sum(axis=1) == 1).all()


def test_elementary_effects_of_a_plane_are_its_slopes():
    slopes = np.array([3.0, 0.0, -2.0])
    paths = morris_design(3, 6, seed=5)
    found = elementary_effects(paths, paths @ slopes)
    assert found.mean == pytest.approx(slopes, abs=1e-12)
    assert found.size == pytest.approx(np.abs(slopes), abs=1e-12)
    assert found.spread == pytest.approx(np.zeros(3), abs=1e-12)
    assert found.size_interval == pytest.approx(np.abs(slopes)[:, None].repeat(2, 1), abs=1e-12)


def test_an_interval_of_effects_covers_its_mean():
    """The size of x y in x is uniform on 0 to 1, mean one half; 24 trajectories, 200 studies."""
    n_covered = 0
    for seed in range(200):
        paths = morris_design(2, 24, seed)
        low, high = elementary_effects(
            paths, paths[..., 0] * paths[..., 1], n_resamples=400
        ).size_interval[0]
        n_covered += low <= 0.5 <= high
    # a percentile bootstrap of 24 covers some 93 of 100; 3 standard errors of 200 are 5
    assert 0.88 <= n_covered / 200 <= 0.985


def test_too_few_trajectories_have_no_interval():
    paths = morris_design(2, 3, seed=1)
    assert np.isnan(elementary_effects(paths, paths[..., 0]).size_interval).all()


def test_elementary_effects_show_an_interaction():
    paths = morris_design(3, 40, seed=6)
    found = elementary_effects(paths, paths[..., 0] * paths[..., 1])
    assert found.spread[0] > 0.1 and found.spread[1] > 0.1
    assert found.size[2] == 0.0

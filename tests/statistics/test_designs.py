import numpy as np
import pytest

from slipbench.campaign.variation import parameter_space
from slipbench.ground.errors import InputError
from slipbench.statistics.designs import (
    Factor,
    grid_design,
    latin_design,
    make_design,
    sobol_design,
)

SPACE = (Factor("a", 1.0, 3.0), Factor("b", 0.01, 1.0, is_log=True))


@pytest.mark.parametrize("design", [sobol_design, latin_design])
def test_designs_stay_in_the_box_and_repeat(design):
    points = design(SPACE, 32, 5)
    assert points.shape == (32, 2)
    assert (points >= [1.0, 0.01]).all() and (points <= [3.0, 1.0]).all()
    assert (points == design(SPACE, 32, 5)).all()
    assert (points != design(SPACE, 32, 6)).any()


def test_latin_design_meets_each_slice_once():
    slices = np.floor((latin_design(SPACE, 10, 1)[:, 0] - 1.0) / 2.0 * 10.0)
    assert sorted(slices) == list(range(10))


def test_sobol_design_fills_both_halves_equally():
    points = sobol_design(SPACE, 64, 0)
    assert (points[:, 0] < 2.0).sum() == 32
    assert (points[:, 1] < 0.1).sum() == 32  # the middle of a logarithmic scale


def test_grid_design_has_every_combination():
    points = grid_design((Factor("a", 0.0, 2.0), Factor("b", 1.0, 4.0, levels=(1.0, 4.0))), 3)
    assert points.tolist() == [[a, b] for a in (0.0, 1.0, 2.0) for b in (1.0, 4.0)]


def test_log_factor_reaches_both_ends_exactly():
    assert SPACE[1].at(np.array([0.0, 1.0])).tolist() == [0.01, 1.0]


@pytest.mark.parametrize("factor", SPACE)
def test_share_undoes_at(factor):
    shares = np.linspace(0.0, 1.0, 7)
    assert [factor.share(v) for v in factor.at(shares)] == pytest.approx(shares, abs=1e-12)


def test_parameter_space_is_the_declared_box(slip_band):
    space = parameter_space(slip_band.controller)
    declared = [(p.name, p.low, p.high) for p in slip_band.controller.parameters]
    assert [(f.name, f.low, f.high) for f in space] == declared
    with pytest.raises(InputError, match="no parameter 'fill'"):
        parameter_space(slip_band.controller, ["fill"])


@pytest.mark.parametrize(
    ("low", "high", "is_log"), [(3.0, 1.0, False), (float("nan"), 1.0, False), (0.0, 1.0, True)]
)
def test_factor_refuses_bounds(low, high, is_log):
    with pytest.raises(InputError, match="factor a"):
        Factor("a", low, high, is_log)


def test_make_design_refuses_a_grid_without_end():
    with pytest.raises(InputError, match="allowed: 1 to"):
        make_design("grid", SPACE * 8, 10)

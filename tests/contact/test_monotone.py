"""The monotone cubic of slipbench.contact against scipy's."""

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from slipbench.contact.monotone import cubic_value, monotone_slopes


@pytest.mark.parametrize("seed", range(4))
def test_monotone_cubic_is_that_of_scipy(seed: int) -> None:
    """Values rounded to a tenth, so equal neighbours and turns are among them, at the ends too."""
    generator = np.random.default_rng(seed)
    nodes = np.cumsum(0.01 + generator.random(12))
    values = np.round(generator.normal(size=(12, 40)), 1)
    expected = PchipInterpolator(nodes, values)
    slopes = monotone_slopes(nodes, values)
    # slopes reach a hundred or so: rounding of 1e-16 of that
    assert np.abs(slopes - expected.derivative()(nodes)).max() < 1e-12
    for place in np.linspace(nodes[0], nodes[-1], 57):
        got = cubic_value(place, nodes, values, slopes)
        assert np.abs(got - expected(place)).max() < 1e-13

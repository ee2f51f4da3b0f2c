"""Exponential, arctangent and sine of the kernel against the mathematics library."""

import math

import numpy as np
import pytest

from slipbench.kernel.elementary import arctangent, falling_exponential, sine_of_turns


def test_exponential_is_that_of_the_library():
    """Nine squarings, each doubling a rounding's relative error: 512 times 1e-16, and a few."""
    for x in np.concatenate(([0.0], np.geomspace(1e-12, 80.0, 4001))):
        assert falling_exponential(x) == pytest.approx(math.exp(-x), rel=1.5e-13)


def test_exponential_ends_at_nothing():
    assert 0.0 < falling_exponential(1e6) == falling_exponential(80.0) < 2e-35


def test_exponential_never_rises():
    values = [falling_exponential(x) for x in np.linspace(0.0, 3.0, 5001)]
    assert (np.diff(values) < 0.0).all()
    assert values[0] == 1.0


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_arctangent_is_that_of_the_library(sign):
    edges = [0.0, 0.66, math.nextafter(0.66, 1.0), 2.414213562373095, 2.4142135623731]
    for x in np.concatenate((edges, np.geomspace(1e-12, 1e9, 4001))):
        assert arctangent(sign * x) == pytest.approx(math.atan(sign * x), rel=6e-16, abs=0.0)


def test_arctangent_goes_to_a_right_angle():
    assert arctangent(math.inf) == 0.5 * math.pi
    assert arctangent(-math.inf) == -0.5 * math.pi


def test_sine_of_turns_is_that_of_the_library():
    for x in np.concatenate((np.linspace(-2.0, 2.0, 4001), [1e3 + 0.1, -1e3 - 0.1])):
        assert sine_of_turns(x) == pytest.approx(math.sin(2.0 * math.pi * x), abs=6e-8)

"""The plain reference: the fastest wheel, its fall limited."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controllers.reference import highest_axle

LIMIT, SAMPLE_TIME = 1.6, 0.01


def after(speeds: list[float], previous: float) -> float:
    observation = np.array(speeds)[:, None]
    return float(highest_axle(observation, 0, previous, LIMIT, SAMPLE_TIME))


def test_it_rises_at_once() -> None:
    assert after([10.0, 30.0, 20.0, 0.0], previous=0.0) == 30.0
    assert after([10.0, 10.0, 31.0, 10.0], previous=25.0) == 31.0


def test_one_rolling_wheel_carries_it() -> None:
    assert after([0.0, 0.0, 0.0, 29.995], previous=30.0) == 29.995


@pytest.mark.parametrize("speeds", [[0.0] * 4, [20.0, 5.0, 28.0, 0.0]])
def test_it_falls_with_its_limit_while_every_axle_slides(speeds: list[float]) -> None:
    """For 1 s at 1.6 m/s2: from 30 to 28.4 m/s, whatever the sliding wheels do below that."""
    reference = 30.0
    for _ in range(100):
        reference = after(speeds, reference)
    assert reference == pytest.approx(30.0 - LIMIT, rel=1e-12)


def test_it_then_sees_a_common_slide_as_ever_less_slip() -> None:
    """The stated weakness: a train that slows at 0.3 m/s2 with all wheels held at 20 % slip."""
    reference, train_speed = 30.0, 30.0
    for _ in range(300):
        train_speed -= 0.3 * SAMPLE_TIME
        reference = after([0.8 * train_speed] * 4, reference)
    assert train_speed - reference == pytest.approx(3.0 * (LIMIT - 0.3), rel=1e-9)
    assert 1.0 - 0.8 * train_speed / reference < 0.2


@settings(max_examples=200, deadline=None)
@given(
    speeds=st.lists(st.floats(0.0, 200.0), min_size=1, max_size=12),
    previous=st.floats(0.0, 200.0),
)
def test_it_is_never_below_a_wheel_nor_below_zero(speeds: list[float], previous: float) -> None:
    reference = after(speeds, previous)
    assert reference >= max(speeds)
    assert reference == max([*speeds, previous - LIMIT * SAMPLE_TIME, 0.0])
    assert after(speeds[::-1], previous) == reference

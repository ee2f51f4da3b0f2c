"""It vents an axle a fixed speed below the vehicle's fastest."""

import pytest

from slipbench.contract import FILL, HOLD, VENT
from slipbench.controllers import speed_difference

CONTROLLER = speed_difference.CONTROLLER.with_parameters(
    release_difference=1.79, apply_difference=0.9, slowing_limit=1.6, cut_out_speed=1.4
)


@pytest.mark.parametrize(
    ("difference", "valve", "is_sliding"),
    [
        (0.0, FILL, False),
        (0.899, FILL, False),
        (0.901, HOLD, False),
        (1.789, HOLD, False),
        (1.791, VENT, True),
        (3.0, VENT, True),
        (4.9, VENT, True),
    ],
)
@pytest.mark.parametrize("fastest", [5.0, 30.0])
def test_the_difference_alone_decides(vehicle, fastest, difference, valve, is_sliding) -> None:  # type: ignore[no-untyped-def]
    own = vehicle(CONTROLLER)
    slow = max(fastest - difference, 0.0)
    if fastest - slow < 1.79 < difference:
        pytest.skip("no wheel turns backwards")
    assert own.see([fastest, slow, fastest, fastest]) == [FILL, valve, FILL, FILL]
    assert own.is_sliding == is_sliding
    assert own.factors == [1.0] * 4


def test_its_threshold_is_a_parameter(vehicle) -> None:  # type: ignore[no-untyped-def]
    sharp = CONTROLLER.with_parameters(release_difference=1.0)
    assert vehicle(sharp).see([30.0, 28.9]) == [FILL, VENT]
    assert vehicle(CONTROLLER).see([30.0, 28.9]) == [FILL, HOLD]


def test_below_the_cut_out_speed_the_brake_stays_on(vehicle) -> None:  # type: ignore[no-untyped-def]
    sharp = CONTROLLER.with_parameters(release_difference=0.3, apply_difference=0.1)
    assert vehicle(sharp).see([1.41, 0.0]) == [FILL, VENT]
    assert vehicle(sharp).see([1.39, 0.0]) == [FILL, FILL]


def test_wheels_slowing_together_are_noticed(vehicle) -> None:  # type: ignore[no-untyped-def]
    """At 5 m/s2, the reference falling at 1.6: 1.79 m/s apart after 1.79 / 3.4 = 0.526 s."""
    own = vehicle(CONTROLLER)
    own.see([30.0] * 4)
    valves = own.see_for(1.0, lambda t: [30.0 - 5.0 * (t + 0.01)] * 4)
    first = next(i for i, now in enumerate(valves) if VENT in now)
    assert (first + 1) * 0.01 == pytest.approx(0.526, abs=0.011)  # the sample after
    assert valves[first] == [VENT] * 4


def test_a_common_slide_slower_than_the_limit_is_never_seen(vehicle) -> None:  # type: ignore[no-untyped-def]
    own = vehicle(CONTROLLER)
    valves = own.see_for(15.0, lambda t: [30.0 - 1.5 * t] * 4)
    assert all(now == [FILL] * 4 for now in valves)

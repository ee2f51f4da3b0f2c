"""It vents an axle whose rim slows faster than a train can, and needs no other axle for that."""

import pytest

from slipbench.contract import FILL, HOLD, VENT
from slipbench.controllers import deceleration
from slipbench.controllers.parts.wheels import FOLLOWING_TIME

THRESHOLD = 3.0
CONTROLLER = deceleration.CONTROLLER.with_parameters(
    vent_deceleration=THRESHOLD, re_acceleration=1.5, longest_hold=0.5
)


def first(valves: list[list[int]], valve: int) -> int | None:
    return next((i for i, now in enumerate(valves) if now[0] == valve), None)


@pytest.mark.parametrize("rate", [0.0, 0.9, 2.5, 2.95])
def test_it_leaves_a_wheel_alone_that_slows_like_a_train(vehicle, rate) -> None:  # type: ignore[no-untyped-def]
    valves = vehicle(CONTROLLER).see_for(5.0, lambda t: [30.0 - rate * t])
    assert first(valves, VENT) is None
    assert first(valves, HOLD) is None


@pytest.mark.parametrize("rate", [3.1, 6.0, 30.0])
def test_it_vents_on_the_deceleration_of_the_rim(vehicle, rate) -> None:  # type: ignore[no-untyped-def]
    """After two lags of k = 0.8: rate (1 - k^n (1 + n (1 - k))) passes it at difference n."""
    own = vehicle(CONTROLLER)
    valves = own.see_for(0.9, lambda t: [30.0 - rate * t])
    kept = FOLLOWING_TIME / (FOLLOWING_TIME + 0.01)
    n_smoothing = 1
    while rate * (1.0 - kept**n_smoothing * (1.0 + n_smoothing * (1.0 - kept))) <= THRESHOLD:
        n_smoothing += 1
    assert first(valves, VENT) == n_smoothing
    assert own.is_sliding


def test_a_steeper_slide_is_vented_sooner(vehicle) -> None:  # type: ignore[no-untyped-def]
    delays = [
        first(vehicle(CONTROLLER).see_for(0.9, lambda t, rate=rate: [30.0 - rate * t]), VENT)
        for rate in (3.1, 4.0, 6.0, 12.0, 30.0)
    ]
    assert None not in delays
    assert delays == sorted(delays, reverse=True)  # type: ignore[type-var]
    assert delays[0] > delays[-1]  # type: ignore[operator]


def test_each_axle_is_judged_by_itself(vehicle) -> None:  # type: ignore[no-untyped-def]
    own = vehicle(CONTROLLER)
    valves = own.see_for(0.5, lambda t: [30.0, 30.0 - 20.0 * t, 12.0, 30.0])
    assert valves[-1] == [FILL, VENT, FILL, FILL]


def test_all_axles_slowing_together_are_all_vented(vehicle) -> None:  # type: ignore[no-untyped-def]
    valves = vehicle(CONTROLLER).see_for(0.5, lambda t: [30.0 - 20.0 * t] * 4)
    assert valves[-1] == [VENT] * 4


def test_a_wheel_that_spins_up_is_held_and_then_filled(vehicle) -> None:  # type: ignore[no-untyped-def]
    """Down at 20 m/s2 for 0.3 s, up at 20 m/s2 for 0.3 s, then rolling."""
    own = vehicle(CONTROLLER)

    def speed(t: float) -> list[float]:
        return [30.0 - 20.0 * min(t, max(0.6 - t, 0.0))]

    valves = own.see_for(1.0, speed)
    vent, hold = first(valves, VENT), first(valves, HOLD)
    assert vent is not None and hold is not None
    assert vent < 30 < hold < 50, "held as soon as it no longer slows"
    filled = next(i for i in range(hold, 100) if valves[i] == [FILL])
    # acceleration dies away as 0.8^n (1 + 0.2 n) from 20 to half of 1.5 m/s2: 22 samples
    assert filled - 60 == pytest.approx(22, abs=2)


def test_a_hold_does_not_last_for_ever(vehicle) -> None:  # type: ignore[no-untyped-def]
    """A wheel that stops slowing but does not spin up is filled again after 0.5 s."""
    own = vehicle(CONTROLLER)
    own.see_for(0.3, lambda t: [30.0 - 20.0 * t])
    valves = own.see_for(2.0, lambda t: [24.2 + 0.1 * t])
    held = [now for now in valves if now == [HOLD]]
    assert len(held) == pytest.approx(50, abs=2)
    assert valves[-1] == [FILL]

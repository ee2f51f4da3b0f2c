"""It fills below the band, holds inside, vents above, each for the slip a look ahead."""

import pytest

from slipbench.contract import FILL, HOLD, VENT
from slipbench.controllers import slip_band

CONTROLLER = slip_band.CONTROLLER.with_parameters(
    fill_slip=0.08, vent_slip=0.18, look_ahead=0.05, cut_out_speed=1.4
)
ROLLING = 30.0


@pytest.mark.parametrize(
    ("slip", "valve"),
    [
        (0.0, FILL),
        (0.079, FILL),
        (0.081, HOLD),
        (0.12, HOLD),
        (0.179, HOLD),
        (0.181, VENT),
        (0.99, VENT),
    ],
)
def test_a_steady_slip_is_judged_by_the_band(vehicle, slip, valve) -> None:  # type: ignore[no-untyped-def]
    own = vehicle(CONTROLLER)
    valves = own.see_for(0.5, lambda t: [ROLLING, ROLLING * (1.0 - slip), ROLLING, ROLLING])
    assert valves[-1] == [FILL, valve, FILL, FILL]
    assert own.is_sliding == (slip > 0.08)
    assert own.factors == [1.0] * 4


def test_a_growing_slip_is_vented_early(vehicle) -> None:  # type: ignore[no-untyped-def]
    """At 0.4 /s, looking 0.05 s ahead: at 0.18 - 0.02 = 0.16 instead of 0.18."""
    own = vehicle(CONTROLLER)
    valves = own.see_for(0.6, lambda t: [ROLLING, ROLLING * (1.0 - 0.4 * t)])
    first = next(i for i, now in enumerate(valves) if now[1] == VENT)
    assert 0.4 * first * 0.01 == pytest.approx(0.16, abs=0.0081)  # two samples


def test_a_falling_slip_is_held_before_it_is_back_in_the_band(vehicle) -> None:  # type: ignore[no-untyped-def]
    """From 0.4 at 0.4 /s: vented down to 0.2, where 0.05 s ahead it is 0.18; held from there."""
    own = vehicle(CONTROLLER)
    own.see([ROLLING, 0.6 * ROLLING])
    valves = own.see_for(0.54, lambda t: [ROLLING, ROLLING * (0.6 + 0.4 * (t + 0.01))])
    slips = [0.4 - 0.004 * (i + 1) for i in range(54)]
    for slip, now in zip(slips, valves, strict=True):
        if slip > 0.208:
            assert now[1] == VENT, slip
        elif slip < 0.192:
            assert now[1] == HOLD, slip
    assert min(slips) > 0.18


def test_the_band_is_a_parameter(vehicle) -> None:  # type: ignore[no-untyped-def]
    deep = CONTROLLER.with_parameters(fill_slip=0.3, vent_slip=0.5)
    for slip, valve in ((0.25, FILL), (0.4, HOLD), (0.6, VENT)):
        own = vehicle(deep)
        valves = own.see_for(0.5, lambda t, slip=slip: [ROLLING, ROLLING * (1.0 - slip)])
        assert valves[-1] == [FILL, valve]


def test_below_the_cut_out_speed_the_brake_stays_on(vehicle) -> None:  # type: ignore[no-untyped-def]
    valves = vehicle(CONTROLLER).see_for(0.5, lambda t: [1.39, 0.0])
    assert valves[-1] == [FILL, FILL]

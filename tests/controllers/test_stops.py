"""What slip control is for, and what it must leave alone, for every shipped strategy."""

from functools import cache

import numpy as np
import pytest
from tests.support_stops import clean

from slipbench.contract import FILL, Controller
from slipbench.controllers import ALL_CONTROLLERS, by_name
from slipbench.ground.errors import InputError
from slipbench.stop.simulation import simulate
from slipbench.stop.stop import Stop

PROTECTED = [controller for controller in ALL_CONTROLLERS if controller.name != "none"]


@cache
def stop(scenario: str, name: str) -> Stop:
    return simulate(clean(scenario), by_name(name), seed=1)


@pytest.mark.parametrize("controller", PROTECTED, ids=lambda c: c.name)
def test_a_dry_stop_is_that_without_slip_control(controller: Controller) -> None:
    """Exactly the same down to walking pace, and then to a tenth of a millimetre.

    A valve may close for a moment when a coarse measurement ends in zero, at a few cm/s. Under an
    ideal actuator, which acts without delay, pieces of time end at samples.
    """
    without, with_it = stop("dry", "none"), stop("dry", controller.name)
    n_rows = int((with_it.traces["train_speed"] > 1.4).sum())
    assert (with_it.traces["valve"][:n_rows] == FILL).all()
    for name in (
        ("wheel_speed", "train_speed", "pressure") if controller.actuator != "ideal" else ()
    ):
        assert np.array_equal(with_it.traces[name][:n_rows], without.traces[name][:n_rows])
    difference = with_it.summary["final_distance"] - without.summary["final_distance"]
    assert difference == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("controller", PROTECTED, ids=lambda c: c.name)
def test_slip_control_costs_hardly_anything_on_dry_rail(controller: Controller) -> None:
    without, with_it = stop("dry", "none").summary, stop("dry", controller.name).summary
    assert with_it["final_distance"] == pytest.approx(without["final_distance"], rel=5e-4)
    assert with_it["longest_lock"] == 0.0


CUT_OUT = 3.3
"""Below this slip control may be cut out: 6 mph and its hysteresis. [m/s]"""

LOCK_SHARE = {"deceleration": 0.2}
"""Allowed longest lock over that without slip control; what is not named here may have 0.02.

`deceleration` has a stated weakness: it never sees a slide that grows slowly.
"""


@pytest.mark.parametrize("controller", PROTECTED, ids=lambda c: c.name)
def test_on_leaf_film_wheels_hardly_lock(controller: Controller) -> None:
    """Without protection a wheel stays locked for two minutes."""
    without, with_it = stop("wet_leaf", "none").summary, stop("wet_leaf", controller.name).summary
    assert without["longest_lock"] > 100.0
    share = LOCK_SHARE.get(controller.name, 0.02)
    is_at_walking_pace = with_it["longest_lock_speed"] < CUT_OUT  # where the equipment cuts out
    assert is_at_walking_pace or with_it["longest_lock"] < share * without["longest_lock"]
    assert with_it["longest_lock"] < max(share, 0.05) * without["longest_lock"]


@pytest.mark.parametrize(
    ("name", "locks"), [("speed_difference", True), ("deceleration", True), ("slip_band", False)]
)
def test_stated_weakness_shows_on_tough_film(name: str, locks: bool) -> None:
    """The train hardly slows: a plain reference sinks too fast, rims slow too little to tell."""
    assert (stop("tough_film", name).summary["longest_lock"] > 6.0) is locks


@pytest.mark.parametrize("controller", PROTECTED, ids=lambda c: c.name)
def test_on_leaf_film_slip_control_stops_shorter_than_locked_wheels(controller: Controller) -> None:
    without, with_it = stop("wet_leaf", "none").summary, stop("wet_leaf", controller.name).summary
    assert with_it["final_distance"] < 0.9 * without["final_distance"]


def test_without_slip_control_nothing_ever_eases_the_brake() -> None:
    without = stop("wet_leaf", "none")
    assert (without.traces["valve"] == FILL).all()
    assert without.summary["vent_count"] == 0


@pytest.mark.parametrize("controller", PROTECTED, ids=lambda c: c.name)
def test_on_leaf_film_the_valves_or_the_torque_work(controller: Controller) -> None:
    summary = stop("wet_leaf", controller.name).summary
    if controller.actuator == "valves":
        assert summary["vent_count"] > 0
    else:
        assert summary["vent_count"] == 0


@pytest.mark.parametrize(("wrong", "hint"), [("slip_bnd", "slip_band"), ("non", "none"), ("?", "")])
def test_an_unknown_name_is_answered_with_the_nearest(wrong: str, hint: str) -> None:
    with pytest.raises(InputError, match="unknown strategy") as caught:
        by_name(wrong)
    message = str(caught.value)
    assert "\n" not in message
    assert (f"nearest: {hint}" in message) == bool(hint)

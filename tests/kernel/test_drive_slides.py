"""How a drive gives way on a slide, and comes back, by each of its rules."""

import pytest
from tests.kernel.test_dynamic_brake import blended_stop, motored
from tests.support_stops import (
    packed,
)

from slipbench.kernel.drives import watch_slide


def watched(rule, course, **changes):
    """Return factor, cut-out and hand-over after each look at (reference, slowest) speeds."""
    world = packed(blended_stop(25.0, motored(slide_rule=rule, **changes)))
    drive, state = world.drives[0], world.drive_states[0]
    seen = []
    for i, (reference, slowest) in enumerate(course):
        watch_slide(0.02 * i, reference, reference, slowest, drive, state)
        seen.append((float(state["factor"]), int(state["is_out"]), int(state["is_handed"])))
    return seen


def test_restoring_reduces_once_a_slide_and_gives_back_in_its_time():
    """40 % off as a slide begins; a second of 1.5 s later two thirds of the whole are back."""
    course = [(20.0, 17.9), (20.0, 17.9), (20.0, 18.5), *[(20.0, 19.5)] * 50]
    seen = watched("restore", course)
    assert [round(factor, 6) for factor, _, _ in seen[:3]] == [1.0, 0.6, 0.6]
    assert seen[3][0] == pytest.approx(0.6 + 0.02 / 1.5)
    assert seen[-1][0] == 1.0
    again = watched("restore", [(20.0, 15.0)] * 10)  # it lasts: again after .15 s
    assert [round(f, 6) for f, _, _ in again] == [1.0] + [0.6] * 8 + [0.36]


def test_a_lost_pulse_is_no_slide():
    """One look that sees a wheel slow, and the next does not: nothing happens."""
    seen = watched("cut_out", [(20.0, 20.0), (20.0, 15.0)] * 20)
    assert {(factor, out) for factor, out, _ in seen} == {(1.0, 0)}


def test_restoring_cuts_out_after_its_slides():
    course = [(20.0, 20.0), (20.0, 15.0), (20.0, 15.0)] * 4
    assert [out for _, out, _ in watched("restore", course, slides_to_cut_out=3)] == [0] * 11 + [1]
    assert watched("restore", course, slides_to_cut_out=0)[-1][1] == 0


def test_cutting_out_lasts_and_handing_over_comes_back():
    course = [(20.0, 15.0), (20.0, 15.0), *[(20.0, 20.0)] * 20]
    assert {out for _, out, _ in watched("cut_out", course)[1:]} == {1}
    handed = [h for _, _, h in watched("hand_over", course, hand_back_time=0.1)]
    assert handed == [0, 1, 1, 1, 1, 1] + [0] * 16

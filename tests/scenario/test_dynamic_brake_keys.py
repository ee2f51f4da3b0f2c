"""What a dynamic brake needs, and what cannot act, is refused in one line."""

import dataclasses

import pytest
from tests.kernel.test_dynamic_brake import FADE_FROM, blended_stop, dynamic, motored
from tests.support_stops import (
    car,
    one_axle,
    plain_stop,
    train_of,
)

from slipbench.ground.errors import InputError
from slipbench.scenario import Blending, Fault


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda: motored(axles=(5,)), "axles 1 to 4"),
        (lambda: dataclasses.replace(car(), dynamic_brake=dynamic()), "motored_axles"),
        (lambda: dynamic(fade_to=FADE_FROM), "below fade_from"),
        (lambda: dataclasses.replace(train_of(one_axle()), blending=Blending()), "dynamic_brake"),
    ],
)
def test_what_cannot_act_is_refused(change, told):
    with pytest.raises(InputError, match=told):
        change()


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        ("dynamic_brake.hand_back_time", 1.0, "slide_rule = hand_over"),
        ("dynamic_brake.reduction", 0.2, "slide_rule = restore"),
        ("gear_ratio", 2.0, "motor_inertia above 0"),
    ],
)
def test_values_another_decides_are_refused_where_they_cannot_act(path, value, told):
    with pytest.raises(InputError, match=told):
        blended_stop(20.0, motored()).replace({f"train.vehicles.0.{path}": value})


@pytest.mark.parametrize("kind", ["line_lost", "dynamic_brake_lost"])
def test_faults_of_a_dynamic_brake_need_one(kind):
    target = {} if kind == "line_lost" else {"vehicle": 1}
    with pytest.raises(InputError, match="dynamic_brake"):
        plain_stop(20.0, faults=(Fault(kind=kind, at_time=1.0, **target),))

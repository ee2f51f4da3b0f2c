"""The picture of what a train can do."""

from slipbench.controllers import by_name
from slipbench.figures import style
from slipbench.figures.train_sheet import MOST_STEPS, draw_train_sheet, shown_steps
from slipbench.ground.caution import CAUTION
from slipbench.scenario import load_scenario
from slipbench.stop.abilities import find_abilities


def test_every_axis_has_its_unit_and_every_step_its_name():
    found = find_abilities(load_scenario("dry"), by_name("none"), speeds=(15.0, 30.0))
    figure = draw_train_sheet(found)
    for axes in figure.axes:
        assert "[" in axes.get_xlabel() or axes.get_xlabel() == "axle, from the front"
        assert "[" in axes.get_ylabel() or not axes.get_ylabel()
    texts = {text.get_text() for axes in figure.axes for text in axes.texts}
    assert {step.name for step in found.steps} <= texts
    assert CAUTION in {text.get_text() for text in figure.texts}
    assert style.save(figure)["png"] == style.save(draw_train_sheet(found))["png"]


def test_of_many_steps_some_are_drawn_and_emergency_always():
    found = find_abilities(load_scenario("dry"), by_name("none"), speeds=(10.0,))
    many = found._replace(steps=found.steps[:1] * 12 + found.steps[-1:])
    shown = shown_steps(many)
    assert len(shown) == MOST_STEPS and shown[-1].name == "emergency"

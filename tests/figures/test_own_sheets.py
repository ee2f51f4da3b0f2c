"""Pictures of a rail and of a driver: what is laid, and what is done."""

import numpy as np
import pytest

from slipbench.controllers import none
from slipbench.figures import style
from slipbench.figures.own_sheets import BEYOND, draw_driver_sheet, draw_rail_sheet
from slipbench.figures.train_sheet import draw_train_sheet
from slipbench.ground.caution import CAUTION
from slipbench.scenario import CurveSection, GradientSection, RandomFriction, load_scenario
from slipbench.stop.abilities import find_abilities
from slipbench.stop.simulation import simulate


def labels(figure):
    return [f"{axes.get_xlabel()} {axes.get_ylabel()}" for axes in figure.axes if axes.axison]


def test_a_rail_is_drawn_as_it_is_laid():
    line = {
        "gradient": (GradientSection(from_distance=0.0, rise=0.008),),
        "curves": (CurveSection(from_distance=400.0, radius=400.0),),
    }
    rail = load_scenario("wet_leaf").replace(line)
    figure = draw_rail_sheet(rail)
    assert len(figure.axes) == 4 and all("[" in label for label in labels(figure))
    assert CAUTION in {text.get_text() for text in figure.texts}
    assert figure.axes[0].get_xlim() == (0.0, 400.0 + BEYOND)
    laid = figure.axes[0].patches[0].get_data().values
    assert laid == pytest.approx(rail.rail.sections[0].friction)
    resisted = [patch.get_data().values[1] for patch in figure.axes[1].patches]
    assert resisted == pytest.approx([8.0, 650.0 / 345.0])  # Roeckl, N/kN
    assert style.save(figure)["png"] == style.save(draw_rail_sheet(rail))["png"]


def test_a_drawn_rail_shows_what_was_drawn_and_a_dry_one_that_nothing_cleans():
    drawn = load_scenario("wet_leaf").replace({"rail.random": RandomFriction(seed=3)})
    values = draw_rail_sheet(drawn).axes[0].patches[0].get_data().values
    assert len(np.unique(values)) > 3
    dry = load_scenario("dry")
    if dry.rail.sections[0].recovered_friction == dry.rail.sections[0].friction:
        texts = [text.get_text() for axes in draw_rail_sheet(dry).axes for text in axes.texts]
        assert "no work cleans this rail" in texts


def test_a_driver_is_drawn_as_the_handle_moves():
    scenario = load_scenario("dry", driver="step_by_step")
    figure = draw_driver_sheet(simulate(scenario, none.CONTROLLER))
    names = [tick.get_text() for tick in figure.axes[0].get_yticklabels()]
    assert names == ["release", "step 1", "step 2", "step 3", "emergency"]
    assert set(figure.axes[0].lines[0].get_ydata()) == {1.0, 2.0, 3.0}


def test_a_train_with_drives_shows_their_forces_and_what_they_carry():
    found = find_abilities(load_scenario("dry", train="tram"), none.CONTROLLER, speeds=(10.0,))
    figure = draw_train_sheet(found)
    assert "force of the train [kN]" in " ".join(labels(figure))
    assert "carried by dynamic brake [%]" in " ".join(labels(figure))
    told = [text.get_text() for text in figure.axes[4].get_legend().get_texts()]
    assert told == ["dynamic brake", "track brakes, clean rail", "... on a film"]
    plain = find_abilities(load_scenario("dry"), none.CONTROLLER, speeds=(10.0,))
    assert len(draw_train_sheet(plain).axes) == 4

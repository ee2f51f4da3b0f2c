"""Pictures of one stop: what stands on them, and that it is what happened."""

from itertools import pairwise

import matplotlib.image
import numpy as np
import pytest

from slipbench.contract import VENT
from slipbench.figures import style
from slipbench.figures.creep_trace import draw_creep_trace, traced_axles
from slipbench.figures.rail_map import draw_rail_map, rail_met
from slipbench.figures.stop_sheet import (
    ACTIVITY,
    COLUMNS,
    LOCKED,
    activity,
    draw_stop_sheet,
    energies,
)
from slipbench.ground.caution import CAUTION

DRAWS = [draw_stop_sheet, draw_rail_map, draw_creep_trace]


@pytest.fixture(scope="module")
def figures(slow_stops):
    return {draw.__name__: draw(slow_stops[1]) for draw in DRAWS}


def labels(figure):
    return [axes.get_xlabel() for axes in figure.axes] + [a.get_ylabel() for a in figure.axes]


@pytest.mark.parametrize("draw", DRAWS, ids=lambda draw: draw.__name__)
def test_picture_says_whose_stop_and_carries_the_caution(figures, slow_stops, draw):
    figure = figures[draw.__name__]
    texts = [text.get_text() for text in figure.texts]
    assert CAUTION in texts
    assert any(text.startswith(style.account(slow_stops[1])) for text in texts)
    assert all(not axes.get_title() for axes in figure.axes)


@pytest.mark.parametrize("draw", DRAWS, ids=lambda draw: draw.__name__)
def test_every_labelled_quantity_has_a_unit(figures, draw):
    """Counts of axles and the names of handle positions have none."""
    for label in filter(None, labels(figures[draw.__name__])):
        assert "[" in label or label.startswith("axle"), label


def test_sheet_is_an_upright_a4_page_with_seven_panels(figures):
    figure = figures["draw_stop_sheet"]
    assert tuple(figure.get_size_inches()) == style.A4
    panels = [axes for axes in figure.axes if axes.get_subplotspec() is not None]
    assert len(panels) == 7
    assert len({axes.get_xlim() for axes in panels}) == 1


def test_sheet_shows_a_line_for_every_wheel_and_a_row_for_every_axle(figures, slow_stops):
    panels = figures["draw_stop_sheet"].axes
    n_axles = slow_stops[1].scenario.train.n_axles
    assert len(panels[0].lines) == n_axles + 2  # the first axle once more, and the train
    rasters = [image for axes in panels for image in axes.images]
    assert [image.get_array().shape for image in rasters[:2]] == [(n_axles, COLUMNS)] * 2


def test_everything_stays_on_the_page(figures):
    for figure in figures.values():
        with style.styled():  # ticks are made when they are drawn
            box = figure.get_tightbbox()  # [inch]
        width, height = figure.get_size_inches()
        assert box.x0 >= 0.0 and box.x1 <= width and box.y0 >= 0.0 and box.y1 <= height


def test_activity_classes_get_darker_in_grey():
    from matplotlib.colors import to_rgb

    greys = [float(np.dot(to_rgb(colour), (0.299, 0.587, 0.114))) for _, colour in ACTIVITY]
    assert all(light - dark > 0.12 for light, dark in pairwise(greys))


def test_activity_tells_locked_wheels_and_vents(slow_stops):
    none, band = map(activity, slow_stops)
    assert (none == LOCKED).mean() > 0.3 and not (none == 2).any()
    assert ((band == 2) >= (slow_stops[1].traces["valve"] == VENT) & (band != LOCKED)).all()
    assert (band == 2).any()


def test_energies_add_up_and_agree_with_the_summary(slow_stops):
    """The trapezoidal rule over 20 ms is good to a per cent where wheels cycle within 0.5 s."""
    for stop in slow_stops:
        parts = energies(stop)
        total = sum(parts.values())
        assert np.ptp(total) < 1e-9 * total[0]
        assert parts["brakes"][-1] == pytest.approx(stop.summary["brake_energy"], rel=0.01)
        assert parts["contact"][-1] == pytest.approx(stop.summary["contact_energy"], rel=1e-3)
        assert 0.0 <= parts["rest"][-1] < 0.1 * total[0]


def test_rail_map_rises_from_axle_to_axle(slow_stops):
    """Without sand and redeposition an axle never meets worse rail than the one ahead did."""
    for stop in slow_stops:
        met = rail_met(stop).friction
        assert np.nanmax(met[0]) == pytest.approx(stop.scenario.rail.sections[0].friction)
        steps = np.diff(met, axis=0)
        assert np.nanmin(steps) >= -1e-12
        assert np.nanmax(steps) > 0.0


def test_rail_map_is_what_the_traces_say(slow_stops):
    stop = slow_stops[1]
    found = rail_met(stop)
    i_axle = 9
    where = stop.traces["distance"] - stop.scenario.train.axle_positions[i_axle]
    cell = np.floor((where - found.place[0]) / found.cell_length + 0.5).astype(int)
    is_same = found.friction[i_axle, cell] == stop.traces["friction"][:, i_axle]
    assert is_same.mean() > 0.98  # a row may fall on the border of two cells


def test_operating_trace_lies_on_its_curve_where_the_rail_is_untouched(figures, slow_stops):
    """The first axle meets one friction; at the starting speed its dots are the curve's."""
    panel = figures["draw_creep_trace"].axes[0]
    places = np.asarray(panel.collections[0].get_offsets())
    speeds = np.asarray(panel.collections[0].get_array())
    fast = (speeds > 0.97 * speeds.max()) & (places[:, 0] > 2e-3)
    assert fast.sum() > 5
    curve = np.interp(places[fast, 0], *panel.lines[0].get_data())
    # load transfer changes the wheel's load by up to a tenth, speed the curve by 3 %
    assert np.abs(places[fast, 1] / curve - 1.0).max() < 0.15


def test_traced_axles_are_the_first_middle_and_last():
    assert traced_axles(16) == [0, 7, 15]
    assert traced_axles(1) == [0]


def test_sheet_is_saved_for_print_and_screen(figures, tmp_path):
    files = style.save(figures["draw_stop_sheet"])
    assert files["svg"].lstrip().startswith(b"<?xml") and len(files["svg"]) < 2_500_000
    (tmp_path / "sheet.png").write_bytes(files["png"])
    pixels = matplotlib.image.imread(tmp_path / "sheet.png")[..., :3]
    grey = pixels @ np.array([0.299, 0.587, 0.114])
    assert 0.02 < (grey < 0.5).mean() < 0.5  # something is drawn, and it is no black page
    assert len(files["png"]) < 900_000

"""The picture of a comparison: same input, same bytes; readable without colour."""

import math

import matplotlib.image
import numpy as np
import pytest
from tests.figures.legibility import faults

from slipbench.comparison.compare import compare
from slipbench.figures import style
from slipbench.figures.compare import draw_comparison
from slipbench.ground.caution import CAUTION
from slipbench.scenario import load_scenario
from slipbench.strategies.registry import find_controller, known_controllers


@pytest.fixture(scope="module")
def comparison(tmp_path_factory):
    path = tmp_path_factory.mktemp("rails") / "short.toml"
    path.write_text('based_on = "wet_leaf"\n[run]\nmaximum_distance_m = 60\n')
    scenarios = [load_scenario(name).replace(initial_speed=9.0) for name in ("wet_leaf", path)]
    strategies = [find_controller(name) for name in ("none", "slip_band", "peak_follower")]
    return compare(scenarios, strategies, n_seeds=2, n_workers=1)


def draw(comparison):
    return draw_comparison(comparison, style.looks(list(known_controllers())))


def texts(figure):
    return [text.get_text() for axes in figure.axes for text in axes.texts] + [
        text.get_text() for text in figure.texts
    ]


def test_picture_names_quantities_units_and_caution(comparison):
    figure = draw(comparison)
    left, right = figure.axes
    assert "[m]" in left.get_xlabel() and "[s]" in right.get_xlabel()
    assert all(not axes.get_title() for axes in figure.axes)
    assert CAUTION in texts(figure)
    legend = [text.get_text() for legend in figure.legends for text in legend.get_texts()]
    assert "cannot be shorter than" in legend
    names = [text.get_text() for text in left.get_yticklabels()]
    assert names == ["none", "slip band", "peak follower \N{DAGGER}"] * 2
    assert any(text.startswith("\N{DAGGER} hollow: sees the true state") for text in legend)


def test_picture_can_be_read_and_its_scales_begin_at_nought(comparison):
    figure = draw(comparison)
    assert faults(figure) == []
    for axes in figure.axes:
        assert axes.get_xscale() == "linear" and axes.get_xlim()[0] <= 0.0


def test_picture_tells_what_did_not_stop(comparison):
    assert "2 of 2 not stopped" in texts(draw(comparison))


def test_every_marker_lies_inside_its_axes(comparison):
    for axes in draw(comparison).axes:
        low, high = axes.get_xlim()
        for line in axes.lines:
            finite = [x for x in line.get_xdata() if math.isfinite(x)]
            assert len(finite) == len(line.get_xdata())
            assert all(low <= x <= high for x in finite)


def test_same_comparison_gives_the_same_files(comparison):
    assert style.save(draw(comparison)) == style.save(draw(comparison))


def test_png_is_a_picture_of_its_size(comparison, tmp_path):
    figure = draw(comparison)
    (tmp_path / "p.png").write_bytes(style.save(figure)["png"])
    pixels = matplotlib.image.imread(tmp_path / "p.png")
    width, height = figure.get_size_inches() * style.RESOLUTION
    assert pixels.shape[:2] == (int(height), int(width))
    assert np.ptp(pixels) > 0.9


def test_picture_of_one_run_that_never_stopped(tmp_path):
    path = tmp_path / "short.toml"
    path.write_text('based_on = "dry"\n[run]\nmaximum_distance_m = 5\n')
    scenario = load_scenario(path).replace(initial_speed=9.0)
    done = compare([scenario], [find_controller("none")], n_workers=1)
    assert "not stopped" in texts(draw(done))


def test_looks_differ_in_marker_and_colour_and_return_late():
    names = [f"s{i}" for i in range(24)]
    looks = style.looks(names)
    assert len({str(look) for look in looks.values()}) == 24
    first = [looks[name] for name in names[:8]]
    assert len({str(look.marker) for look in first}) == len({look.colour for look in first}) == 8
    shipped = style.looks(list(known_controllers()))
    assert shipped["cleaning_balance"].colour != shipped["slip_band"].colour


def test_looks_depend_on_the_place_among_all_known():
    known = list(known_controllers())
    assert style.looks([*known, "mine"])["slip_band"] == style.looks(known)["slip_band"]

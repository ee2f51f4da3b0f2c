"""Pictures of one stop and of comparisons can be read: every rule of `legibility`."""

import numpy as np
import pytest
from matplotlib.text import Text
from tests.figures.legibility import faults
from tests.figures.test_report import APART, kept

from slipbench import simulate
from slipbench.controllers import by_name
from slipbench.figures import style
from slipbench.figures.adhesion_speed import draw_adhesion_speed
from slipbench.figures.creep_curves import draw_creep_curves
from slipbench.figures.creep_trace import curve_at, draw_creep_trace, trace_of
from slipbench.figures.distributions import draw_distributions
from slipbench.figures.rail_map import draw_rail_map
from slipbench.figures.speed_curves import draw_speed_curves
from slipbench.figures.stop_sheet import draw_stop_sheet, headline
from slipbench.figures.trade_off import draw_trade_off
from slipbench.results.shown import METRIC, MILES
from slipbench.scenario import load_scenario


@pytest.fixture(scope="module")
def broken_stop():
    """A stop on which things break."""
    from slipbench.scenario import Fault

    scenario = load_scenario("wet_leaf").replace(initial_speed=12.0)
    kinds = [
        Fault(kind="sensor_dead", axle=3, at_time=2.0),
        Fault(kind="valve_stuck_vent", axle=5, at_speed=6.0),
    ]
    return simulate(scenario.replace({"faults": tuple(kinds)}), by_name("slip_band"))


@pytest.mark.parametrize("shown", [METRIC, MILES], ids=lambda shown: shown.name)
@pytest.mark.parametrize(
    "draw", [draw_stop_sheet, draw_creep_trace], ids=lambda draw: draw.__name__
)
def test_a_stop_can_be_read(draw, shown, slow_stops):
    assert faults(draw(slow_stops[1], shown)) == []


MANY = {f"strategy_{i}": 1000.0 + 30.0 * i + np.arange(7.0) for i in range(13)}


@pytest.mark.parametrize(
    "distances",
    [APART, MANY, {"first": [648.0] * 7, "second": [648.0003] * 7, "none": [np.inf] * 7},
     {"first": [np.inf] * 7, "none": [np.inf] * 7}],
    ids=["apart", "many", "alike", "no stop"],
)  # fmt: skip
def test_pictures_of_a_report_can_be_read(distances):
    comparison = kept({name: own[:7] for name, own in distances.items()}, 7)
    looks = style.looks(list(distances))
    scores = comparison.scores()
    for figure in (
        draw_trade_off(scores, looks),
        draw_distributions(scores, comparison.rows, looks),
    ):
        assert faults(figure) == []
    three = {rail: next(iter(scores.values())) for rail in ("wet_leaf", "frost", "grease")}
    assert faults(draw_trade_off(three, looks)) == []


@pytest.mark.parametrize("rail", ["wet_leaf", "dry"])
def test_pictures_of_creep_can_be_read(rail):
    scenario = load_scenario(rail)
    for figure in (draw_creep_curves(scenario), draw_adhesion_speed([scenario])):
        assert faults(figure) == []


def test_a_rail_map_can_be_read(slow_stops):
    assert faults(draw_rail_map(slow_stops[0])) == []


def test_a_sheet_says_of_every_fault_when_it_acted_and_marks_it(broken_stop):
    figure = draw_stop_sheet(broken_stop)
    assert faults(figure) == []
    said = " ".join(" ".join(text.get_text().split()) for text in figure.texts)
    assert "Fault sensor dead, axle 3 acted at 2.0 s" in said
    assert "Fault valve stuck vent, axle 5 acted" in said
    times = [own.time for own in broken_stop.findings if own.kind.startswith("fault ")]
    assert len(times) == 2
    panels = [axes for axes in figure.axes if axes.get_subplotspec() is not None]
    for axes in panels:
        marked = [line.get_xdata()[0] for line in axes.lines if line.get_color() == style.VERMILION]
        assert set(times) <= set(marked)


@pytest.mark.parametrize("shown", [METRIC, MILES], ids=lambda shown: shown.name)
def test_a_sheet_speaks_one_unit_of_speed(slow_stops, shown):
    figure = draw_stop_sheet(slow_stops[1], shown)
    other = MILES if shown is METRIC else METRIC
    title = slow_stops[1].scenario.title  # the user's own words
    texts = [text.get_text().replace(title, "") for text in figure.findobj(Text)]
    assert not any(f" {other.speed}" in text or f"[{other.speed}]" in text for text in texts)
    assert any(f"[{shown.speed}]" in text for text in texts)


def test_the_headline_is_that_of_the_stop(slow_stops):
    locked, held = slow_stops
    assert locked.summary["longest_lock"] > 1.0
    said = headline(locked)
    assert f"in {locked.summary['stopping_distance']:.0f} m" in said
    assert f"locked for {locked.summary['longest_lock']:.1f} s." in said
    yards = held.summary["stopping_distance"] / 0.9144
    assert f"From 27 mph it stopped in {yards:.0f} yd" in headline(held, MILES)


def test_dots_lie_on_the_creep_curve_at_the_friction_and_speed_they_met(slow_stops):
    """The curve drawn is the model's: at its own friction and speed a dot lies on it."""
    stop = slow_stops[1]
    rows, slip, adhesion = trace_of(stop, 0)
    away = [
        abs(
            curve_at(stop, 0, stop.traces["friction"][row, 0], stop.traces["train_speed"][row],
                     np.array([slip[i]]))[0]
            - adhesion[i]
        )
        for i, row in enumerate(rows)
        if i % 40 == 0
    ]  # fmt: skip
    assert np.median(away) < 0.03 * adhesion.max()  # half a dot, as drawn


def test_speed_curves_show_every_strategy_on_every_rail_and_can_be_read(slow_stops):
    curves = {stop.controller.name: (stop.traces["distance"], stop.traces["train_speed"])
              for stop in slow_stops}  # fmt: skip
    looks = style.looks(list(curves))
    truth = dict.fromkeys(curves, False) | {"slip_band": True}
    for rails in (("wet_leaf",), ("a", "b", "c")):
        figure = draw_speed_curves(dict.fromkeys(rails, curves), truth, looks)
        assert faults(figure) == []
        assert [len(axes.lines) for axes in figure.axes] == [2] * len(rails)
        assert figure.axes[0].lines[1].get_linestyle() == "--"

"""Pictures of campaigns: what matters, how strategies spread, the worst rail; all can be read."""

import numpy as np
import pytest
from tests.figures.legibility import faults

from slipbench.campaign.analysis import Collected
from slipbench.campaign.sensitivity import Sensitivity
from slipbench.campaign.worst import Bounds, WorstRail
from slipbench.figures import style
from slipbench.figures.campaigns import draw_campaign, draw_sensitivity, draw_worst_rail
from slipbench.statistics.designs import Factor
from slipbench.statistics.effects import Effects, Indices

SPACE = tuple(Factor(name, 0.0, 1.0) for name in ("film.friction", "vent_slip", "brake.fill_delay"))
SIZE = np.array([3.0, 40.0, 0.5])
ENDS = np.stack([0.8 * SIZE, 1.3 * SIZE], axis=1)


def effects(ends=ENDS):
    return {"distance": Effects(SIZE, SIZE, 0.2 * SIZE, ends),
            "flats": Effects(SIZE, SIZE, 0.2 * SIZE, ends)}  # fmt: skip


def test_sensitivity_is_bars_largest_first_with_intervals():
    figure = draw_sensitivity(Sensitivity(SPACE, effects(), {}, 96, 0))
    assert faults(figure) == []
    first = figure.axes[0]
    assert first.get_yticklabels()[0].get_text() == "vent slip"
    assert [bar.get_width() for bar in first.patches] == [40.0, 3.0, 0.5]
    assert len(first.lines) == 3 and "[m]" in first.get_xlabel()
    none = np.full((3, 2), np.nan)  # too few trajectories for an interval
    assert not draw_sensitivity(Sensitivity(SPACE, effects(none), {}, 9, 0)).axes[0].lines


def test_indices_show_what_a_factor_does_by_itself():
    share = np.array([0.1, 0.7, 0.0])
    ends = np.stack([share - 0.05, share + 0.05], axis=1)
    found = {"distance": Indices(0.5 * share, share, ends, ends)}
    figure = draw_sensitivity(Sensitivity(SPACE, {}, found, 320, 0))
    assert faults(figure) == []
    marks = [line for line in figure.axes[0].lines if line.get_marker() == "D"]
    assert marks[0].get_xdata().tolist() == pytest.approx([0.35, 0.05, 0.0])


def test_a_campaign_shows_distances_and_the_probability_of_an_overrun():
    rng = np.random.default_rng(2)
    distances = {"none": rng.normal(1200.0, 90.0, 20), "slip_band": rng.normal(900.0, 60.0, 20),
                 "worst": np.full(20, np.inf)}  # fmt: skip
    distances["none"][:5] = np.inf
    over = {"none": 5, "slip_band": 0, "worst": 20}
    rails = tuple(f"r{i}" for i in range(20))
    made = Collected(rails, tuple(distances), {"distance": distances}, over, 0, 2)
    figure = draw_campaign(made, style.looks(list(distances)))
    assert faults(figure) == []
    left, right = figure.axes
    dots = [line for line in left.lines if line.get_marker() == "."]
    assert [len(line.get_xdata()) for line in dots] == [15, 20]
    assert "stopped on no rail" in {text.get_text() for text in left.texts}
    bars = [line.get_xdata() for line in right.lines if len(line.get_xdata()) == 2]
    assert bars[0][0] < 0.25 < bars[0][1] and bars[1][0] == 0.0 and bars[2][1] == 1.0


def test_the_worst_rail_is_drawn_with_its_stop_beside_the_one_before(slow_stops):
    before = slow_stops[1].scenario
    worst = before.replace({"rail.sections.*.friction": 0.02, "name": "worst"})
    found = WorstRail(worst, 2.5, 1.2, "over-shortest", "slip_band", 40, 80, Bounds())
    figure = draw_worst_rail(found, before, [slow_stops[1], slow_stops[0]])
    assert faults(figure) == []
    above, below = figure.axes
    assert [line.get_ydata()[0] for line in above.lines] == [before.rail.sections[0].friction, 0.02]
    ends = [line.get_xdata()[-1] for line in below.lines if len(line.get_xdata()) == 1]
    assert ends == [stop.traces["distance"][-1] for stop in (slow_stops[1], slow_stops[0])]

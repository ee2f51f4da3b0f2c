"""A comparison in one look: quiet rails in a line, its ends marked, one page."""

import math

import pytest
from tests.figures.legibility import faults

from slipbench.comparison.compare import ComparedStop, Comparison, Yardsticks
from slipbench.comparison.overview import ends
from slipbench.comparison.quiet import quiet_rails
from slipbench.comparison.tables import comparison_table
from slipbench.figures import style
from slipbench.figures.compare import A3_HEIGHT, draw_comparison, pages_of
from slipbench.figures.speeds import draw_speeds
from slipbench.figures.words import ONE_SEED
from slipbench.scenario import load_scenario
from slipbench.strategies.registry import known_controllers

SHIPPED = tuple(known_controllers().values())[:13]
NAMES = [known.controller.name for known in SHIPPED]


def row(rail, known, seed, distance, dry, lock):
    summary = {"stopping_distance": distance, "is_stopped": math.isfinite(distance),
               "longest_lock": lock, "flat_risk": min(1.0, lock), "vent_count": 10}  # fmt: skip
    controller = known.controller
    marks = Yardsticks(dry, 0.9 * dry, best_found=0.95 * dry)
    return ComparedStop(rail, 33.0, controller.name, controller.uses_truth, seed, marks, summary)


def made_up(n_slippery, n_seeds=2, quiet=("dry", "wet"), distance=None, strategies=SHIPPED):
    """Return every strategy on quiet and on slippery rails, distances by place and seed."""
    distance = distance or (lambda rail, i, seed: 1000.0 + 300.0 * rail + 25.0 * i + seed)
    scenarios = [load_scenario("dry").replace(name=name) for name in quiet]
    slippery = [load_scenario("wet_leaf").replace(name=f"rail_{r}") for r in range(n_slippery)]
    rows = [
        row(scenario.name, known, seed, 648.0, 648.0, 0.0)
        for scenario in scenarios
        for known in strategies
        for seed in range(n_seeds)
    ]
    rows += [
        row(scenario.name, known, seed, distance(r, i, seed), 648.0, 0.2 * i)
        for r, scenario in enumerate(slippery)
        for i, known in enumerate(strategies)
        for seed in range(n_seeds)
    ]
    every = (*scenarios, *slippery)
    marks = {s.name: Yardsticks(648.0, 583.0, best_found=615.0) for s in every}
    return Comparison(every, tuple(strategies), n_seeds, marks, tuple(rows))


@pytest.fixture(scope="module")
def thirteen():
    return made_up(7)


def test_rails_on_which_nothing_slides_have_one_line(thirteen):
    (group,) = quiet_rails(thirteen.rows)
    assert group.line == "dry, wet: all stop in 648 m"
    text = comparison_table(thirteen)
    assert text.startswith("dry, wet: all stop in 648 m, no wheel locks")
    assert "dry: " not in comparison_table(thirteen, is_full=True).splitlines()[0]


def test_a_rail_is_not_quiet_for_one_lock_one_overrun_or_a_longer_stop():
    known = SHIPPED[0]
    fine = row("a", known, 0, 648.0, 648.0, 0.0)
    slippery = row("b", known, 0, 900.0, 648.0, 1.0)
    assert len(quiet_rails([fine, slippery])) == 1
    assert quiet_rails([fine]) == []  # nothing else to look at
    for other in (
        row("a", known, 1, 648.0, 648.0, 0.01),
        row("a", known, 1, math.nan, 648.0, 0.0),
        row("a", known, 1, 660.0, 648.0, 0.0),
        row("a", known, 1, 648.0, math.nan, 0.0),
    ):
        assert quiet_rails([fine, other, slippery]) == []


def test_the_overview_fits_a_screen_and_marks_the_ends(thirteen):
    lines = comparison_table(thirteen).splitlines()
    assert len(lines) < 50 and max(map(len, lines)) <= 100
    text = "\n".join(lines)
    fair = [known.controller.name for known in SHIPPED if not known.controller.uses_truth]
    first = next(line for line in lines if line.startswith(f"{fair[0]} "))
    last = next(line for line in lines if line.startswith(f"{fair[-1]} "))
    assert first.count("<") == 7 and last.count(">") == 7 and text.count("<") == 8
    full = comparison_table(thirteen, is_full=True)
    assert sum(line.endswith(" best") for line in full.splitlines()) == 7
    assert full.count("from 33.53 m/s") == 9


def test_ties_are_all_marked_and_where_all_are_alike_nobody_is():
    tied = made_up(1, quiet=(), distance=lambda r, i, s: 1000.0 if i < 2 else 1200.0)
    marks = ends(tied.scores("rail_0"))
    assert {name for name, mark in marks.items() if mark == "best"} == set(NAMES[:2])
    alike = made_up(1, quiet=(), distance=lambda r, i, s: 1000.0)
    assert ends(alike.scores("rail_0")) == {}
    over = made_up(1, quiet=(), distance=lambda r, i, s: math.nan if i < 3 else 1200.0 + i * 10)
    marks = ends(over.scores("rail_0"))
    assert {name for name, mark in marks.items() if mark == "worst"} == set(NAMES[:3])
    assert marks[NAMES[3]] == "best"


def test_one_seed_is_said_once_to_tell_nothing():
    text = comparison_table(made_up(1, n_seeds=1))
    assert " ".join(text.split()).count(ONE_SEED) == 1
    assert "One seed" not in comparison_table(made_up(1, n_seeds=2))


def test_thirteen_strategies_on_nine_rails_are_one_legible_a3_page(thirteen):
    assert [len(page) for page in pages_of(thirteen)] == [7]
    figure = draw_comparison(thirteen, style.looks(NAMES))
    width, height = figure.get_size_inches()
    assert width <= 11.69 and height <= A3_HEIGHT + 1e-6
    assert faults(figure) == []


def test_more_than_a_page_holds_goes_on_with_its_legend():
    many = made_up(11, n_seeds=1)
    pages = pages_of(many)
    assert [rail.name for page in pages for rail in page] == [f"rail_{i}" for i in range(11)]
    figures = [draw_comparison(many, style.looks(NAMES), page) for page in pages]
    assert len(figures) == 2
    for figure in figures:
        assert figure.get_size_inches()[1] <= A3_HEIGHT + 1e-6 and figure.legends


def test_all_rails_quiet_is_a_picture_too():
    assert faults(draw_comparison(made_up(0), style.looks(NAMES))) == []


def test_speeds_are_drawn_with_a_panel_a_rail():
    strategies, rows, scenarios = SHIPPED[:4], [], []
    for rail in ("wet_leaf", "frost"):
        for speed in (15.0, 25.0):
            scenario = load_scenario(rail).replace(
                {"name": f"{rail} at {speed:g}", "initial_speed": speed}
            )
            scenarios.append(scenario)
            for i, known in enumerate(strategies):
                for seed in range(2):
                    distance = math.nan if (i, speed) == (1, 25.0) else speed**2 + 9 * i + seed
                    rows.append(row(scenario.name, known, seed, distance, 400.0, 0.1))
    marks = {s.name: Yardsticks(400.0, 300.0) for s in scenarios}
    made = Comparison(tuple(scenarios), strategies, 2, marks, tuple(rows))
    figure = draw_speeds(made, style.looks(NAMES))
    assert faults(figure) == []
    assert [len(axes.get_xticks()) for axes in figure.axes] == [2, 2]


def test_a_report_shows_the_speeds_on_the_way(tmp_path, capsys):
    from slipbench.commands.main import main

    line = ["compare", "wet_leaf", "--speed", "20mph", "--strategy", "none,slip_band"]
    out = tmp_path / "out"
    assert main([*line, "--seeds", "1", "--workers", "1", "--report", "--out", str(out)]) == 0
    assert "speed_curves.png" in capsys.readouterr().out
    page = (out / "report.html").read_text(encoding="utf-8")
    assert page.count("data:image/svg+xml") == 3  # compare, speed curves, trade-off
    assert page.count("One seed cannot tell") == 1

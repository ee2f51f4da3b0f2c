"""Plain tables."""

import math

import pytest

from slipbench.results.tables import number, plain_table, scenario_table, value_text
from slipbench.scenario import load_scenario


def test_columns_line_up_and_free_lines_stay():
    text = plain_table(["name", "far\n[m]"], [["a", "1"], "a line of its own", ["long", "100"]])
    assert text.splitlines() == [
        "      far",
        "name  [m]",
        "---------",
        "a       1",
        "a line of its own",
        "long  100",
    ]


@pytest.mark.parametrize(
    ("value", "text"), [(1.234, "1.23 m"), (math.nan, "-"), (math.inf, "-"), (-0.5, "-0.50 m")]
)
def test_number(value, text):
    assert number(value, 2, "m") == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(True, "true"), (7, "7"), (0.1, "0.1"), (33.528, "33.528"), ((1.0, 2.5), "[1, 2.5]")],
)
def test_written(value, text):
    assert value_text(value) == text


def test_sources_wrap_to_a_terminal():
    lines = scenario_table(load_scenario("wet_leaf"), width=160).splitlines()
    assert max(map(len, lines)) <= 160
    words = " ".join(" ".join(lines).split())
    assert "Polach wet set as remembered" in words

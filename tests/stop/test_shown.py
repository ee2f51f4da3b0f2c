"""Scenarios and stops show themselves in a few lines, in a terminal and in a notebook."""

import re

import pytest
from tests.bits import differing, digest

import slipbench
from slipbench.ground.caution import CAUTION


@pytest.fixture(scope="module")
def stop() -> slipbench.Stop:
    scenario = slipbench.load_scenario("wet_leaf").replace(initial_speed=4.0)
    return slipbench.simulate(scenario, "none", with_traces=False)


def test_a_scenario_shows_itself(stop: slipbench.Stop) -> None:
    text = repr(stop.scenario)
    assert text.startswith("wet_leaf: ") and text.count("\n") < 10
    assert "4.00 m/s (9 mph)" in text and "friction 0.03" in text
    words = re.sub(r"<[^>]+>", " ", stop.scenario._repr_html_())
    assert set(re.findall(r"\w+", text)) <= set(re.findall(r"\w+", words))


def test_a_stop_shows_itself(stop: slipbench.Stop) -> None:
    text = repr(stop)
    assert text.startswith("wet_leaf, none, seed 0: ") and text.endswith(CAUTION)
    assert f"stopped in {stop.summary['stopping_distance']:.1f} m" in text
    assert all(f"- {finding.text}" in text for finding in stop.findings)
    assert text.count("\n") < 15 + len(stop.findings)
    words = re.sub(r"<[^>]+>", " ", stop._repr_html_())
    assert set(re.findall(r"\w+", text)) - {"findings"} <= set(re.findall(r"\w+", words))


def test_a_stop_of_other_bits_is_found_out() -> None:
    once = {"a": digest("wet_leaf", "none", 3.0)}
    assert differing(once, {"a": digest("wet_leaf", "none", 3.0), "new": "x"}) == []
    other = digest("wet_leaf", "none", 3.0 + 1e-12)
    assert differing(once, {"a": other}) == ["a: other bits"]
    assert differing(once, {}) == ["a: gone"]

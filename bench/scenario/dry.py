"""The dry rail every stop is measured against."""

from slipbench.scenario.reader import load_scenario
from slipbench.scenario.scenario import Scenario

DRY_RAIL = "dry"
"""The shipped scenario whose rail it is."""


def on_dry_rail(scenario: Scenario) -> Scenario:
    """Return the same stop on dry rail: its sections, and no friction drawn at random."""
    sections = load_scenario(DRY_RAIL).rail.sections
    return scenario.replace({"rail.sections": sections, "rail.random": None})

"""A stop to draw, made once."""

import pytest

from slipbench import simulate
from slipbench.controllers import by_name
from slipbench.scenario import load_scenario


@pytest.fixture(scope="session")
def slow_stops():
    """Two short stops from walking-and-a-bit speed: wheels lock under the first."""
    scenario = load_scenario("wet_leaf").replace(initial_speed=12.0)
    return [simulate(scenario, by_name(name)) for name in ("none", "slip_band")]

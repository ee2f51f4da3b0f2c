"""A short scenario to drive: wet leaf film from 9 m/s, a marker ahead."""

import pytest
from tests.commands.conftest import run  # noqa: F401

from slipbench.scenario import load_scenario


@pytest.fixture(scope="session")
def short():
    return load_scenario("wet_leaf").replace({"initial_speed": 9.0, "driver.stopping_point": 120.0})

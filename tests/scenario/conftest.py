"""A small scenario file to change, and a way to write and load it."""

from collections.abc import Callable
from pathlib import Path

import pytest

from slipbench.scenario import Scenario, load_scenario

MINIMAL = """\
title = "One car on wet rail"
initial_speed_kmh = 90

[train]
name = "one car"
resistance_constant_m_per_s2 = 0.006
resistance_linear_per_s = 0.0001
resistance_quadratic_per_m = 0.00002

[[train.vehicle]]
name = "car"
length_m = 20.0
tare_mass_t = 40
laden_mass_t = 50
bogie_centres_m = [3.0, 17.0]
bogie_wheelbase_m = 2.5
wheel_diameter_mm = 840
wheelset_inertia_kg_m2 = 100

[brake]
steps_m_per_s2 = [0.3, 0.6, 0.9]
emergency_m_per_s2 = 1.2
demand_delay_s = 0.4
build_up_time_s = 1.5
release_time_s = 2.0
full_pressure_bar = 3.0
fill_rate_bar_per_s = 4.0
vent_rate_bar_per_s = 5.0
fill_delay_ms = 40
vent_delay_ms = 30

[rail]
cell_length_m = 1.0

[[rail.section]]
from_distance_m = 0
friction = 0.05
recovered_friction = 0.15
cleaning_work_kj_per_m = 10
friction_ratio = 0.4
friction_decay_s_per_m = 0.2
adhesion_reduction = 0.3
slip_reduction = 0.1

[[driver.handle]]
at_time_s = 0
position = 3

[sensing]
teeth = 90
zero_timeout_s = 0.2
"""


@pytest.fixture
def minimal() -> str:
    return MINIMAL


@pytest.fixture
def load(tmp_path: Path) -> Callable[..., Scenario]:
    """Write text to a file and load it."""

    def load_text(text: str, name: str = "case.toml") -> Scenario:
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return load_scenario(path)

    return load_text

"""The small stop and its strategies serve here as well; a bowl to search, rails to search on."""

import json

import pytest
from tests.campaign.conftest import candidates, slip_band, small, stub

from slipbench.campaign.tuning.rails import family_rails
from slipbench.running.task import Outcome

__all__ = ["candidates", "slip_band", "small", "stub"]

BEST_FILL, BEST_VENT = 0.2, 0.5
"""Where the bowl is deepest."""


@pytest.fixture
def bowl(stub):
    """A runner whose stops are shortest at known parameters, and lock above a known vent slip."""

    class Bowl(stub):
        def run_on(self, machine, task):
            outcome = super().run_on(machine, task)
            summary = json.loads(outcome.summary)
            values = task.candidate.parameters()
            fill, vent = values.get("fill_slip", 0.0), values.get("vent_slip", 0.0)
            distance = summary["final_distance"]  # 100 to 101, by the rail
            distance += 100.0 * ((fill - BEST_FILL) ** 2 + (vent - BEST_VENT) ** 2)
            summary |= {"stopping_distance": distance, "final_distance": distance}
            summary |= {"air_vented_litres": 1e3 * fill, "longest_lock": 2.0 * max(0, vent - 0.4)}
            text = json.dumps(summary)
            return Outcome(outcome.key, text, outcome.machine, 0.0)

    return Bowl


@pytest.fixture
def rails(small):
    return family_rails([small], 4, 8, seed=1)

"""A question small enough for a test, and runs that need no file of the user's."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from slipbench.campaign.rig import Rig
from slipbench.campaign.store import Store
from slipbench.guidance.points import Question
from slipbench.guidance.runs import Runs
from slipbench.guidance.states import STATES, rails_of
from slipbench.running.candidate import candidate_of
from slipbench.running.runners import make_runner
from slipbench.scenario import load_scenario
from slipbench.strategies.registry import find_controller


@pytest.fixture
def question() -> Question:
    """The shipped train under the shipped strategy, on the shipped rails."""
    strategy = candidate_of(find_controller("slip_band"))
    return Question(load_scenario("autumn_guide"), strategy, rails_of(STATES), n_draws=32)


@pytest.fixture
def runs(tmp_path: Path) -> Iterator[Runs]:
    runner = make_runner(1)
    with Store(tmp_path / "stops.sqlite", "main") as store:
        yield Runs(Rig(store, runner))
    runner.close()

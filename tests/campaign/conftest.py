"""Small stops: one four-axle vehicle from 10 m/s on a slippery rail."""

import dataclasses
import hashlib
import json
from collections.abc import Iterable, Iterator

import pytest

from slipbench.campaign.plan import Plan
from slipbench.campaign.rails import RandomRails
from slipbench.results.canonical import short_hash
from slipbench.running.candidate import Candidate, candidate_of
from slipbench.running.task import Outcome, Task
from slipbench.scenario import Scenario, load_scenario
from slipbench.strategies.registry import Known, find_controller


@pytest.fixture(scope="session")
def small() -> Scenario:
    base = load_scenario("wet_leaf")
    train = dataclasses.replace(base.train, vehicles=base.train.vehicles[:1])
    changes = {
        "name": "small",
        "title": "one vehicle, short stop",
        "initial_speed": 10.0,
        "train": train,
        "run.maximum_distance": 600.0,
    }
    return base.replace(changes)


@pytest.fixture(scope="session")
def slip_band() -> Known:
    return find_controller("slip_band")


@pytest.fixture(scope="session")
def candidates(slip_band: Known) -> tuple[Candidate, ...]:
    return candidate_of(slip_band), candidate_of(find_controller("none"))


@pytest.fixture
def plan(small: Scenario, candidates: tuple[Candidate, ...]) -> Plan:
    return Plan(RandomRails(small, 4, seed=3), candidates, range(2))


def share_of(*names: object) -> float:
    """Return a number from 0 to 1 that depends on names only, not on the sources of the day."""
    return int(hashlib.sha256(repr(names).encode()).hexdigest()[:8], 16) / 16**8


class StubRunner:
    """Makes up summaries instead of running stops, the same for the same names and machine."""

    share_of = staticmethod(share_of)

    def __init__(self, machines: tuple[str, ...] = ("one",), error: float = 0.0) -> None:
        self._texts = [json.dumps({"processor": name}) for name in machines]
        self.error = error
        self.n_run = 0

    def machines(self) -> dict[str, str]:
        return {short_hash(text): text for text in self._texts}

    def run_on(self, machine: str, task: Task) -> Outcome:
        i = list(self.machines()).index(machine)
        self.n_run += 1
        share = share_of(task.scenario.name, task.candidate.label, task.seed)
        distance = (100.0 + share) * (1.0 + i * self.error)
        summary = {
            "stopping_distance": distance,
            "final_distance": distance,
            "final_time": 20.0,
            "brake_energy": 1e6,
            "contact_energy": 1e5,
            "is_stopped": True,
            "flat_risk": share,
            "vent_count": 10,
            "air_vented_litres": 80.0,
            "flat_length_high": [0.0, 0.01 * share],
            "longest_lock": 0.0,
            "locked_time": [0.0, share],
        }
        return Outcome(task.key, json.dumps(summary), self._texts[i], 0.0)

    def run(self, tasks: Iterable[Task]) -> Iterator[tuple[Task, Outcome]]:
        first = next(iter(self.machines()))
        return ((task, self.run_on(first, task)) for task in tasks)

    def close(self) -> None:
        pass


@pytest.fixture
def stub() -> type[StubRunner]:
    return StubRunner

"""What a campaign runs: every candidate on every rail with every seed, so all can be paired."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import overload

from slipbench.campaign.variation import parameters_at, scenario_at
from slipbench.contract import Controller, Floats
from slipbench.ground.errors import InputError
from slipbench.results.canonical import scenario_hash
from slipbench.running.candidate import Candidate
from slipbench.running.task import Task, make_task
from slipbench.scenario import Scenario
from slipbench.statistics.designs import Space
from slipbench.strategies.registry import refuse_twice


@dataclass(frozen=True)
class Joined(Sequence[Scenario]):
    """Several series of scenarios one after the other, each still made only when asked for."""

    parts: tuple[Sequence[Scenario], ...]

    def __len__(self) -> int:
        """Return the number of scenarios of all parts."""
        return sum(map(len, self.parts))

    @overload
    def __getitem__(self, i: int) -> Scenario: ...
    @overload
    def __getitem__(self, i: slice) -> Sequence[Scenario]: ...
    def __getitem__(self, i: int | slice) -> Scenario | Sequence[Scenario]:
        """Return one scenario, or a list of several."""
        if isinstance(i, slice):
            return [self[k] for k in range(*i.indices(len(self)))]
        i = i + len(self) if i < 0 else i
        for part in self.parts:
            if i < len(part):
                return part[i]
            i -= len(part)
        raise IndexError(i)


@dataclass(frozen=True)
class Plan:
    """Stops of a campaign, in the order scenario, seed, candidate.

    Attributes
    ----------
    scenarios : sequence of Scenario   with different names; may be lazy
    candidates : tuple of Candidate    with different labels
    seeds : range                      the same for every pair
    """

    scenarios: Sequence[Scenario]
    candidates: tuple[Candidate, ...]
    seeds: range = field(default_factory=lambda: range(1))

    def __post_init__(self) -> None:
        """Check that there is something to run and that names differ."""
        for name in ("scenarios", "candidates", "seeds"):
            if not len(getattr(self, name)):
                raise InputError(f"campaign without {name}: nothing to run")
        refuse_twice("candidates", [(c.label, c.reference) for c in self.candidates])
        same: dict[tuple[str, tuple[float, ...]], str] = {}
        for candidate in self.candidates:
            first = same.setdefault((candidate.source_hash, candidate.values), candidate.label)
            if first != candidate.label:
                raise InputError(
                    f"candidates {first!r} and {candidate.label!r} are the same strategy with the "
                    "same parameters; give it once"
                )

    def __len__(self) -> int:
        """Return the number of stops."""
        return len(self.scenarios) * len(self.seeds) * len(self.candidates)

    def tasks(self) -> Iterator[Task]:
        """Yield the tasks; two scenarios of one name and different content are refused on the way.

        What belongs to one pair (scenario and seed) comes together.
        """
        for scenario in self.scenarios:
            hashed = scenario_hash(scenario)
            for seed in self.seeds:
                for candidate in self.candidates:
                    yield make_task(scenario, candidate, seed, hashed)


def design_candidates(
    candidate: Candidate, controller: Controller, space: Space, points: Floats
) -> tuple[Candidate, ...]:
    """Return a candidate a point of a design over a strategy's parameters, labelled `label#i`."""
    made = []
    for i, point in enumerate(points.tolist()):
        values = parameters_at(space, point)
        controller.with_parameters(**values)  # refuses what the strategy does not allow
        made.append(candidate.with_values(values, f"{candidate.label}#{i}"))
    return tuple(made)


def design_scenarios(scenario: Scenario, space: Space, points: Floats) -> list[Scenario]:
    """Return a scenario a point of a design over its assumptions, named `name#i`."""
    return [
        scenario_at(scenario, space, point).replace(name=f"{scenario.name}#{i}")
        for i, point in enumerate(points.tolist())
    ]

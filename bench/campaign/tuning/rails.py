"""Rails to tune on, and rails held out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

from slipbench.campaign.rails import RandomRails, law_around
from slipbench.scenario import Scenario
from slipbench.strategies.registry import refuse_twice


@dataclass(frozen=True)
class Rails:
    """Rails to tune on, and others the search never sees.

    Attributes
    ----------
    training, held_out : sequence of Scenario
    seeds : range                              how many stops each rail gets; every rail has seeds,
                                               and so trains, of its own (`seeds_of`)
    """

    training: Sequence[Scenario]
    held_out: Sequence[Scenario]
    seeds: range = field(default_factory=lambda: range(1))

    def seeds_of(self, scenario: Scenario) -> range:
        """Return the seeds of a rail: no two rails see the same equipment."""
        first = self._places[scenario.name] * len(self.seeds)
        return range(first, first + len(self.seeds))

    @cached_property
    def _places(self) -> dict[str, int]:
        return {rail.name: i for i, rail in enumerate((*self.training, *self.held_out))}


def family_rails(
    scenarios: Sequence[Scenario],
    n_training: int,
    n_held_out: int,
    seed: int = 0,
    n_seeds: int = 1,
) -> Rails:
    """Return rails for tuning: random rails around each scenario's friction, none used twice.

    A scenario without a law of random friction of its own gets the library's (assumed) around the
    friction of its first section. Families alternate, so that any first part of the training rails
    has a share of each.
    """
    refuse_twice("scenarios", [(scenario.name, scenario.title) for scenario in scenarios])
    families = []
    for scenario in scenarios:
        law = scenario.rail.random or law_around(scenario.rail.sections[0].friction)
        families.append(RandomRails(scenario, n_training + n_held_out, seed, law))
    training = [family[i] for i in range(n_training) for family in families]
    held_out = [family[n_training + i] for i in range(n_held_out) for family in families]
    return Rails(training, held_out, range(n_seeds))

"""Plans as the commands describe them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from slipbench.campaign.plan import Joined, Plan, design_candidates, design_scenarios
from slipbench.campaign.rails import RandomRails
from slipbench.campaign.variation import is_parameter
from slipbench.contract import Floats
from slipbench.ground.errors import InputError
from slipbench.running.candidate import Candidate, candidate_of
from slipbench.scenario import Scenario
from slipbench.statistics.designs import Space, make_design
from slipbench.strategies.registry import Known, refuse_twice


class Design(NamedTuple):
    """How factors are varied: one design over the parameters, one over the assumptions.

    Attributes
    ----------
    space : Space    factors; empty varies nothing
    kind : str       `grid`, `sobol` or `latin`
    n_points : int   of each design; levels of a factor of a grid
    """

    space: Space = ()
    kind: str = "sobol"
    n_points: int = 8

    def points(self, space: Space, seed: int) -> Floats:
        """Return the points over some of the factors, in the unit cube. (n, n_factors)"""
        return make_design(self.kind, space, self.n_points, seed)


AS_THEY_ARE = Design()
"""Nothing is varied."""


def campaign_plan(
    scenarios: Sequence[Scenario],
    strategies: Sequence[Known],
    design: Design = AS_THEY_ARE,
    *,
    n_random: int = 0,
    n_seeds: int = 1,
    seed: int = 0,
    labels: Sequence[str | None] | None = None,
) -> Plan:
    """Return the plan of a campaign.

    Parameters
    ----------
    scenarios, strategies : sequences   every strategy meets every rail
    design : Design    what is varied: parameters make more candidates (of every strategy that has
                       them all), assumptions make more rails
    n_random : int     random rails of each scenario, in place of its own rail; 0: its own
    n_seeds : int      runs of each pair
    seed : int         of designs and random rails
    labels : sequence  names in the campaign, a strategy each; None: the strategy's own
    """
    refuse_twice("scenarios", [(scenario.name, scenario.title) for scenario in scenarios])
    own = tuple(factor for factor in design.space if is_parameter(factor))
    assumed = tuple(factor for factor in design.space if not is_parameter(factor))
    candidates: list[Candidate] = []
    has_own = [_has(known, own) for known in strategies]
    if own and not any(has_own):
        missing = ", ".join(factor.name for factor in own)
        raise InputError(f"factors {missing}: no strategy of the campaign has them all")
    names = labels or [None] * len(strategies)
    for known, label, varies in zip(strategies, names, has_own, strict=True):
        candidate = candidate_of(known, label)
        candidates.append(candidate)
        if own and varies:
            points = design.points(own, seed)
            candidates += design_candidates(candidate, known.controller, own, points)
    rails: list[Sequence[Scenario]] = []
    for scenario in scenarios:
        family: list[Scenario] = [scenario]
        if assumed:
            family = design_scenarios(scenario, assumed, design.points(assumed, seed))
        if n_random:
            rails += [RandomRails(member, n_random, seed) for member in family]
        else:
            rails.append(family)
    return Plan(Joined(tuple(rails)), tuple(candidates), range(n_seeds))


def _has(known: Known, space: Space) -> bool:
    names = {parameter.name for parameter in known.controller.parameters}
    return all(factor.name in names for factor in space)

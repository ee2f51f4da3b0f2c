"""Plans as the commands describe them."""

from __future__ import annotations

from collections.abc import Sequence

from bench.campaign.candidate import Candidate, candidate_of
from bench.campaign.designs import Space, make_design
from bench.campaign.judge import Rails
from bench.campaign.plan import Joined, Plan, design_candidates, design_scenarios
from bench.campaign.rails import RandomRails, law_around
from bench.campaign.variation import is_parameter
from bench.errors import InputError
from bench.registry import Known, refuse_twice
from bench.scenario import Scenario


def campaign_plan(
    scenarios: Sequence[Scenario],
    strategies: Sequence[Known],
    space: Space = (),
    design: str = "sobol",
    n_points: int = 8,
    n_random: int = 0,
    n_seeds: int = 1,
    seed: int = 0,
    labels: Sequence[str | None] | None = None,
) -> Plan:
    """Return the plan of a campaign.

    Parameters
    ----------
    scenarios, strategies : sequences   every strategy meets every rail
    space : Space      factors varied: parameters make more candidates (of every strategy that has
                       them all), assumptions make more rails; empty varies nothing
    design : str       `grid`, `sobol` or `latin`, one over the parameters, one over the assumptions
    n_points : int     of each design; levels of a factor of a grid
    n_random : int     random rails of each scenario, in place of its own rail; 0: its own
    n_seeds : int      runs of each pair
    seed : int         of designs and random rails
    labels : sequence  names in the campaign, a strategy each; None: the strategy's own
    """
    refuse_twice("scenarios", [(scenario.name, scenario.title) for scenario in scenarios])
    own = tuple(factor for factor in space if is_parameter(factor))
    assumed = tuple(factor for factor in space if not is_parameter(factor))
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
            points = make_design(design, own, n_points, seed)
            candidates += design_candidates(candidate, known.controller, own, points)
    rails: list[Sequence[Scenario]] = []
    for scenario in scenarios:
        family: list[Scenario] = [scenario]
        if assumed:
            points = make_design(design, assumed, n_points, seed)
            family = design_scenarios(scenario, assumed, points)
        if n_random:
            rails += [RandomRails(member, n_random, seed) for member in family]
        else:
            rails.append(family)
    return Plan(Joined(tuple(rails)), tuple(candidates), range(n_seeds))


def _has(known: Known, space: Space) -> bool:
    names = {parameter.name for parameter in known.controller.parameters}
    return all(factor.name in names for factor in space)


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

"""Where does the verdict turn: which strategy wins where rail and equipment are not known?

Question: a table of one rail with known film names a winner. How often does it win where friction,
recovery, cleaning and the condition of the equipment are not known, and which assumption decides?
And does holding the brake still beat easing it?
Source: no measured distribution of any of these is known; bounds as `slipbench verdict` prints
them, assumed.
Scenario: the Elderwick unit (invented), 75 mph, step 3, on the slippery shipped rails, each
assumption drawn from its bounds, equipment from clean to worn. The five strategies without truth
that stop shortest on the mean at `service`; the shortest of them against each of the others, and
held against eased to step 2 under two of them.
Run: `python -m slipbench.experiments.where_the_verdict_turns` (resumes where it was interrupted)
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import fmean

from slipbench import Controller, controllers
from slipbench.campaign.rig import Rig
from slipbench.campaign.store import Store
from slipbench.campaign.verdict import (
    SLIPPERY,
    Situations,
    Verdict,
    distances,
    driver_sides,
    judge_pair,
    make_design,
    map_plane,
    n_stops,
    plane_names,
    strategy_side,
)
from slipbench.commands.options import FOLDER
from slipbench.experiments.asked import (
    asked_now,
    named,
    own_rails,
    own_scenario,
    own_strategies,
)
from slipbench.experiments.notebook import (
    MPH,
    Answer,
    Column,
    Experiment,
    Options,
    Row,
    distance_of,
    over_seeds,
)
from slipbench.figures.verdict import draw_planes
from slipbench.ground.errors import InputError
from slipbench.results.canonical import short_hash
from slipbench.results.identity import versions_text
from slipbench.running.progress import progress
from slipbench.running.runners import make_runner
from slipbench.scenario import Scenario
from slipbench.strategies.registry import find_controller

NAME = "where_the_verdict_turns"
N_LEADERS, EASED_TO = 5, 2
DRIVEN = "slip_band"
"""Held against eased is judged under this strategy and under the leader."""


@dataclass(frozen=True)
class Effort:
    """How much is run: base situations, nodes along an axis, situations at a node, leaders."""

    size: int = 32
    nodes: int = 5
    each: int = 6
    leaders: int = N_LEADERS


COLUMNS = (
    Column("first"),
    Column("second"),
    Column("hangs_most_on"),
    Column("then_on"),
    Column("rails_where_first_wins_most"),
    Column("share_first", "-", 2),
    Column("at_least", "-", 2),
    Column("at_most", "-", 2),
    Column("first_clearly", "-", 2),
    Column("second_clearly", "-", 2),
    Column("total_effect", "-", 2),
    Column("effect_at_least", "-", 2),
    Column("effect_at_most", "-", 2),
)


def leaders(rails: Sequence[Scenario], n_seeds: int) -> list[tuple[Controller, float]]:
    """Return strategies without truth by their mean distance over the rails, shortest first."""
    fair = [c for c in controllers.ALL_CONTROLLERS if not c.uses_truth and c.parameters]
    if asked_now().strategy is not None:
        fair = [named(name) for name in own_strategies(())]
        if len(fair) < 2:
            raise InputError("--strategy: a verdict needs two or more, as A,B")
    found = over_seeds([(rail, own) for own in fair for rail in rails], n_seeds)
    n = len(rails)
    means = [
        fmean(distance_of(summary) for runs in found[i * n : (i + 1) * n] for summary in runs)
        for i in range(len(fair))
    ]
    return sorted(zip(fair, means, strict=True), key=lambda pair: pair[1])


def investigate(options: Options) -> Answer:
    """Find the leaders, judge each pair over what is not known, and map their planes."""
    effort = Effort(4, 2, 2, 2) if options.is_quick else Effort()
    rails = [
        own_scenario(name) for name in own_rails(SLIPPERY[::4] if options.is_quick else SLIPPERY)
    ]
    if options.is_quick:
        rails = [rail.replace({"initial_speed": 30 * MPH}) for rail in rails]
    ranked = leaders(rails, options.n_seeds)[: effort.leaders]
    names = [own.name for own, _ in ranked]
    FOLDER.mkdir(parents=True, exist_ok=True)
    with Store(FOLDER / f"{NAME}.sqlite", short_hash(versions_text()), command=NAME) as store:
        runner = make_runner()
        try:
            verdicts = judge_all(Situations(rails), names, effort, Rig(store, runner))
        finally:
            runner.close()
    rows = [_row(verdict) for verdict in verdicts]
    shortest = ", ".join(f"{own.name} {mean:.0f} m" for own, mean in ranked)
    notes = [
        f"Shortest on the mean over {len(rails)} slippery rails at service, {options.n_seeds} "
        f"seed(s): {shortest}.\nShares over {verdicts[0].shares.n} situations, 95 % intervals; "
        "clearly: by more than 0.5 %. Total effect: the chance that the verdict flips when that "
        "assumption alone is drawn anew, over that of two unrelated situations."
    ]
    return Answer(COLUMNS, rows, sentence(rows), {NAME: draw_planes(verdicts)}, notes)


def judge_all(
    situations: Situations, names: Sequence[str], effort: Effort, rig: Rig
) -> list[Verdict]:
    """Judge the first name against each of the others, then held against eased under two."""
    sides = [strategy_side(find_controller(name)) for name in names]
    pairs = [(sides[0], other) for other in sides[1:]]
    driven = dict.fromkeys((DRIVEN, names[0]))
    for name in driven:
        held, eased = driver_sides(find_controller(name), EASED_TO)
        pairs.append((replace(held, label=f"held ({name})"), eased))
    design = make_design(situations, effort.size)
    each = n_stops(situations, effort.size, effort.nodes, effort.each)
    with progress(each * len(pairs)) as bar:
        counted = rig._replace(bar=bar)
        verdicts = []
        for pair in pairs:
            found = distances(situations, pair, design.points, counted)
            verdict = judge_pair(situations, pair, design, found)
            axes = plane_names(verdict, situations.space)
            plane = map_plane(situations, pair, axes, effort.nodes, effort.each, counted)
            verdicts.append(replace(verdict, plane=plane))
    return verdicts


def _row(verdict: Verdict) -> Row:
    first, second = verdict.ranked()[:2]
    effects = verdict.effects
    shares = {rail: own.first.estimate for rail, own in verdict.by_rail.items()}
    best = sorted(shares, key=lambda rail: -shares[rail])
    return {
        "first": verdict.sides[0],
        "second": verdict.sides[1],
        "hangs_most_on": verdict.names[first],
        "then_on": verdict.names[second],
        "rails_where_first_wins_most": ", ".join(best[:2]),
        "share_first": verdict.shares.first.estimate,
        "at_least": verdict.shares.first.low,
        "at_most": verdict.shares.first.high,
        "first_clearly": verdict.shares.clearly_first,
        "second_clearly": verdict.shares.clearly_second,
        "total_effect": effects.total[first],
        "effect_at_least": effects.total_interval[first, 0],
        "effect_at_most": effects.total_interval[first, 1],
    }


def sentence(rows: Sequence[Row]) -> str:
    """Say of each pair in how many situations the first wins, and where no winner can be named."""
    parts = []
    for row in rows:
        low, high = row["at_least"], row["at_most"]
        if low > 0.5:
            said = f"{row['first']} stops shorter than {row['second']}"
        elif high < 0.5:
            said = f"{row['first']} does not beat {row['second']}"
        else:
            said = f"between {row['first']} and {row['second']} no winner can be named"
        share = f"{row['share_first']:.0%} [{low:.0%}, {high:.0%}]"
        parts.append(f"{said}: shorter in {share} of the situations")
    return "; ".join(parts) + "."


EXPERIMENT = Experiment(
    NAME,
    "Where does the verdict turn: which strategy wins where rail and equipment are not known?",
    investigate,
    n_seeds=3,
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())

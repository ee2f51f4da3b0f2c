"""What does the dynamic brake do on a slippery rail, and which slide rule costs most distance?

Question: on a slide a motored unit's dynamic brake is reduced and restored by the drive's own slip
control, cut out until the brake is released, or handed over to friction with slip control until the
slide is over. Which of the three costs most distance against friction brakes alone, what does each
still recover, and what becomes of the wheels?
Source: each rule is common practice, no source was readable but flash cards of one suburban fleet
(cut out); that line receptivity and adhesion limit recovery is common knowledge.
Scenario: the Elderwick unit (invented) with a dynamic brake (`four_cars_dynamic`: limits, lags and
thresholds assumed), step 3 from 75 mph on shipped slippery rails, blended vehicle by vehicle.
Run: `python -m slipbench.experiments.what_the_dynamic_brake_does`
"""

import math
import sys

from matplotlib.figure import Figure

from slipbench.experiments.asked import named, own_rails, own_scenario, own_strategies
from slipbench.experiments.notebook import (
    Answer,
    Column,
    Experiment,
    Options,
    Row,
    Run,
    distance_of,
    drawing,
    summaries,
)
from slipbench.figures import style
from slipbench.results.wording import listed, rounds_to_nothing
from slipbench.scenario import Scenario

TRAIN = "four_cars_dynamic"
RAILS = ("wet_leaf", "damp_oxide", "tough_film", "grease", "frost")
STRATEGIES = ("slip_band", "cleaning_balance")
ALONE = "friction alone"
RULES = {
    ALONE: None,
    "restored": "restore",
    "cut out": "cut_out",
    "handed over": "hand_over",
}
"""What each case is called, and its slide rule."""

COLUMNS = (
    Column("rail"),
    Column("strategy"),
    Column("slide_rule"),
    Column("distance", "m", 0),
    Column("over_friction", "%", 1),
    Column("recovered", "MJ", 1),
    Column("flat_risk", "-", 3),
    Column("vents", "-", 0),
)


def unit_on(rail: str, rule: str | None) -> Scenario:
    """Return the unit's stop on a rail with a slide rule; without dynamic brake for None."""
    scenario = own_scenario(rail, TRAIN)
    motored = [i for i, car in enumerate(scenario.train.vehicles) if car.dynamic_brake is not None]
    if rule is None:
        changes = {f"train.vehicles.{i}.dynamic_brake": None for i in motored}
        return scenario.replace({"train.blending": None, **changes})
    return scenario.replace({f"train.vehicles.{i}.dynamic_brake.slide_rule": rule for i in motored})


def investigate(options: Options) -> Answer:
    """Run every strategy on every rail with every rule; means over the seeds."""
    rails = own_rails(RAILS[:1] if options.is_quick else RAILS)
    strategies = own_strategies(STRATEGIES[:1] if options.is_quick else STRATEGIES)
    cases = [(rail, name, case) for rail in rails for name in strategies for case in RULES]
    runs = [
        Run(unit_on(rail, RULES[case]), named(name), seed)
        for rail, name, case in cases
        for seed in range(options.n_seeds)
    ]
    found, n = summaries(runs), options.n_seeds
    means = [_row(case, found[i * n : (i + 1) * n]) for i, case in enumerate(cases)]
    rows: list[Row] = [
        {**row, "over_friction": 100.0 * (row["distance"] / _alone(means, row)["distance"] - 1.0)}
        for row in means
    ]
    return Answer(COLUMNS, rows, sentence(rows), {"what_the_dynamic_brake_does": draw(rows)})


def _row(case: tuple[str, str, str], found: list[dict]) -> Row:  # type: ignore[type-arg]
    def mean(values: list[float]) -> float:
        return sum(values) / len(values)

    return {
        "rail": case[0],
        "strategy": case[1],
        "slide_rule": case[2],
        "distance": mean([distance_of(s) for s in found]),
        "over_friction": 0.0,
        "recovered": mean([1e-6 * s["recovered_energy"] for s in found]),
        "flat_risk": mean([s["flat_risk"] for s in found]),
        "vents": mean([float(s["vent_count"]) for s in found]),
    }


def _alone(rows: list[Row], row: Row) -> Row:
    return next(
        other
        for other in rows
        if other["slide_rule"] == ALONE
        and (other["rail"], other["strategy"]) == (row["rail"], row["strategy"])
    )


def prices(rows: list[Row], strategy: str) -> dict[str, float]:
    """Return by how much each slide rule is longer than friction alone, mean over rails. [%]"""
    return {
        case: sum(own) / len(own)
        for case in RULES
        if case != ALONE
        and (
            own := [
                row["over_friction"]
                for row in rows
                if (row["strategy"], row["slide_rule"]) == (strategy, case)
            ]
        )
    }


def sentence(rows: list[Row]) -> str:
    """Say which rule costs most distance under each strategy, and which recovers most."""
    parts = []
    for strategy in dict.fromkeys(row["strategy"] for row in rows):
        found = prices(rows, strategy)
        dearest, cheapest = max(found, key=found.__getitem__), min(found, key=found.__getitem__)
        if not all(map(math.isfinite, found.values())):
            over = [rule for rule, price in found.items() if not math.isfinite(price)]
            parts.append(f"under {strategy} not every stop ends where it is {listed(over)}")
        elif f"{found[dearest]:.1f}" == f"{found[cheapest]:.1f}":
            parts.append(
                f"under {strategy} every rule costs {found[dearest]:+.1f} % of the distance of "
                "friction brakes alone on the mean of the rails"
            )
        else:
            parts.append(
                f"under {strategy} {dearest} costs most, {found[dearest]:+.1f} % of the distance "
                f"of friction brakes alone on the mean of the rails, and {cheapest} least, "
                f"{found[cheapest]:+.1f} %"
            )
    most = max(rows, key=lambda row: row["recovered"])
    if rounds_to_nothing(most["recovered"], 0):
        return f"{'; '.join(parts)}; no energy is recovered."
    return (
        f"{'; '.join(parts)}; most energy is recovered where the dynamic brake is "
        f"{most['slide_rule']}, up to {most['recovered']:.0f} MJ ({most['rail']})."
    )


def draw(rows: list[Row]) -> Figure:
    """Draw the distance over that of friction alone, rail by rail, a mark a rule."""
    strategies = list(dict.fromkeys(row["strategy"] for row in rows))
    rails = list(dict.fromkeys(row["rail"] for row in rows))
    cases = [case for case in RULES if case != ALONE]
    with drawing(1.7 + 0.38 * len(rails) * len(strategies)) as (figure, axes):
        places = {
            (strategy, rail): -(i * (len(rails) + 0.6) + j)
            for i, strategy in enumerate(strategies)
            for j, rail in enumerate(rails)
        }
        for k, case in enumerate(cases):
            own = [row for row in rows if row["slide_rule"] == case]
            axes.plot(
                [row["over_friction"] for row in own],
                [places[row["strategy"], row["rail"]] + 0.18 * (1 - k) for row in own],
                color=style.COLOURS[k + 1],
                marker=style.MARKERS[k + 1],
                markersize=5,
                linestyle="none",
                label=case,
            )
        axes.axvline(0.0, color=style.QUIET, linewidth=0.8)
        axes.set_yticks(
            list(places.values()),
            [f"{rail.replace('_', ' ')}, {s.replace('_', ' ')}" for s, rail in places],
        )
        axes.set_xlabel("stopping distance over that with friction brakes alone [%]")
        axes.legend(
            title="on a slide the dynamic brake is", title_fontsize=8.0, loc="lower left",
            bbox_to_anchor=(0.0, 1.0), ncols=3, alignment="left", borderaxespad=0.1,
        )  # fmt: skip
    return figure


EXPERIMENT = Experiment(
    "what_the_dynamic_brake_does",
    "What does the dynamic brake do on a slippery rail, and which slide rule costs most distance?",
    investigate,
    n_seeds=3,
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())

"""What does it gain to coordinate a train's axles, with and without moving demand?

Question: `train_coordinated` lets leading axles clean the rail for the others, and asks of gripping
axles what sliding ones do not bear, through the demand factor, as far as the equipment allows.
Fitted equipment allows 1.0: no axle brakes harder than demanded. What does the cleaning gain there,
and what would equipment that allows 1.3 gain on top?
Scenario: the shipped rails, step 3; strategy `train_coordinated`, seeds paired.
Run: `python -m experiments.what_moved_demand_gains [--limit 1.3] [--seeds 4] [--quick]`
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence

import numpy as np

import controllers
from bench import load_scenario, simulate
from bench.campaign.statistics import bootstrap_mean
from bench.caution import CAUTION

RAILS = (
    "detergent", "autumn_guide", "wet", "frost", "damp_oxide", "grease", "wet_leaf", "tough_film"
)  # fmt: skip
QUICK = ("detergent", "wet_leaf")


def distances(rail: str, limit: float, seeds: Sequence[int], **values: float) -> np.ndarray:
    """Return the stopping distance a seed, equipment and strategy both up to a limit. [m]"""
    scenario = load_scenario(rail).replace({"brake.demand_factor_limit": limit})
    strategy = controllers.by_name("train_coordinated").with_parameters(
        factor_limit=limit, **values
    )
    return np.array(
        [
            simulate(scenario, strategy, seed, with_traces=False).summary["stopping_distance"]
            for seed in seeds
        ]
    )


def main(argv: Sequence[str] | None = None) -> None:
    """Print the table and the sentence it supports."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--limit", type=float, default=1.3, help="of the equipment [-] (1.3)")
    parser.add_argument("--seeds", type=int, default=4)
    parser.add_argument("--quick", action="store_true", help="two rails, two seeds")
    arguments = parser.parse_args(argv)
    rails = QUICK if arguments.quick else RAILS
    seeds = range(2 if arguments.quick else max(2, arguments.seeds))
    limit = f"limit {arguments.limit:g}"
    print(
        f"{'[m], 95 % intervals':<20}{'no cleaning':>12}{'limit 1':>9}{limit:>11}"
        f"  {'gain of cleaning':<26}gain of moved demand"
    )
    cleaned, moved = [], []
    for rail in rails:
        alike = distances(rail, 1.0, seeds, cleaning_share=0.0)
        fitted, more = (distances(rail, limit, seeds) for limit in (1.0, arguments.limit))
        gains = bootstrap_mean(alike - fitted), bootstrap_mean(fitted - more)
        print(
            f"{rail:<20}{alike.mean():>12.1f}{fitted.mean():>9.1f}{more.mean():>11.1f}"
            f"  {gains[0].written(1):<26}{gains[1].written(1)}"
        )
        for gain, before, names in zip(gains, (alike, fitted), (cleaned, moved), strict=True):
            if gain.low > 0.0:
                names.append(f"{rail} ({100.0 * gain.estimate / before.mean():.1f} %)")
    print(
        "\nAt limit 1.0 no demand moves; leading axles that clean shorten the stop on: "
        f"{', '.join(cleaned) or 'no rail here'}.\nEquipment up to {arguments.limit:g} shortens it "
        f"further on: {', '.join(moved) or 'no rail here'}.\n{CAUTION}"
    )


if __name__ == "__main__":
    main()

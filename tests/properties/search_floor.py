"""Try to beat the floor: an optimiser over planned slips on patches and films, by hand.

    python -m tests.properties.search_floor [--tries 10000] [--seed 0]

Each rail is drawn anew: one film or patches, friction, how it cleans, the shape of its creep curve,
a train of one to three vehicles, a speed, a brake. On each an optimiser that knows all gets 50
stops or so. Printed are the tries, how often the floor was beaten, and how near it was come to. The
plain suite has a small version (`test_priced_floor.py`).
"""

import argparse
import sys

import numpy as np
from tests.support_stops import brake_of, car, film, one_axle, plain_stop, train_of

from slipbench.comparison.possible.search import search
from slipbench.scenario import Rail, Run, Scenario
from slipbench.stop.shortest import shortest_possible

EACH = 50
"""Stops an optimiser gets on one rail, about."""


def draw(generator: np.random.Generator) -> tuple[str, Scenario]:
    """Return the kind of rail drawn, and a stop on it."""

    def between(low: float, high: float) -> float:
        return float(generator.uniform(low, high))

    adhesion = between(0.1, 1.0)
    shape = {
        "friction_ratio": float(generator.choice([1.0, between(0.2, 0.95)])),
        "friction_decay": between(0.05, 1.0),
        "adhesion_reduction": adhesion,
        "slip_reduction": adhesion * between(0.15, 1.0),
        "cleaning_exponent": float(generator.choice([1.0, 1.0, 0.7, 2.0])),
    }
    is_patchy = bool(generator.random() < 0.5)
    sections, place = [], 0.0
    for _ in range(40 if is_patchy else 1):
        friction = between(0.02, 0.2)
        values = {
            "recovered_friction": friction + between(0.0, 0.25),
            "cleaning_work": float(np.exp(between(np.log(500.0), np.log(5e4)))),
        }
        sections.append(film(friction, place, **values, **shape))
        place += between(4.0, 30.0)
    vehicle = (
        one_axle(between(8e3, 20e3), between(60.0, 300.0))
        if generator.random() < 0.3
        else car(between(30e3, 60e3), between(60.0, 300.0))
    )
    law = str(generator.choice(["rail_memory", "rail_memory", "rail_and_contact"]))
    scenario = plain_stop(
        between(4.0, 20.0),
        train=train_of(*[vehicle] * int(generator.integers(1, 4)), load=between(0.0, 1.0)),
        brake=brake_of(between(0.6, 3.0), between(0.0, 0.5), between(0.0, 2.0)),
        rail=Rail(sections=tuple(sections), cleaning_law=law),
        run=Run(maximum_distance=900.0, maximum_time=150.0),
    )
    return ("patches" if is_patchy else "film"), scenario


def main() -> int:
    """Search until the tries are used up; the exit code is 1 where the floor was beaten."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tries", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=0)
    arguments = parser.parse_args()
    generator = np.random.default_rng(arguments.seed)
    ratios: dict[str, list[float]] = {"film": [], "patches": []}
    n_tried = n_beaten = 0
    while n_tried < arguments.tries:
        kind, scenario = draw(generator)
        floor = shortest_possible(scenario)
        found = search(scenario, budget=EACH, n_places=3)
        n_tried += found.n_tried
        ratio = found.distance / floor
        if np.isfinite(ratio):
            ratios[kind].append(ratio)
        if found.distance < floor:
            n_beaten += 1
            print(f"BEATEN: {found.distance:.3f} m under {floor:.3f} m: {scenario}", flush=True)
    print(
        f"{n_tried} tries on {sum(map(len, ratios.values()))} rails; floor beaten {n_beaten} times"
    )
    for kind, own in ratios.items():
        print(
            f"  {kind}: {len(own)} rails, best found over floor "
            f"{min(own):.4f} to {max(own):.3f}, median {np.median(own):.3f}"
        )
    return 1 if n_beaten else 0


if __name__ == "__main__":
    sys.exit(main())

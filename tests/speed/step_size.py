"""Print how far stopping distances move with the time step and with the rail cell.

Run by hand: `python tests/speed/step_size.py [--seeds 64] [--rails wet_leaf,detergent]`. Without
`--seeds` only strategies whose stops are smooth functions of the step are shown, which takes about
a minute; with it also the means of switching strategies over so many paired sensor-phase seeds,
which takes about a second and a half a seed, rail and strategy.
"""

from __future__ import annotations

import argparse
import dataclasses
import math
import time
from collections.abc import Sequence

import numpy as np

import slipbench
from slipbench.contract import Controller
from slipbench.controllers import by_name
from slipbench.scenario import Scenario

STEPS = (0.02, 0.01, 0.005, 0.0025, 0.00125)  # [s]
FINEST_STEP = 0.000625
CELLS = (1.0, 0.5)  # [m]
FINEST_CELL = 0.25
SMOOTH = ("none", "peak_follower")
SWITCHING = ("slip_band", "deceleration")
CELL_RAILS = ("wet_leaf", "tough_film", "detergent")


def distances(scenario: Scenario, controller: Controller, n_seeds: int = 1) -> np.ndarray:
    """Stopping distance of each seed. (n_seeds,) [m]"""
    stops = (slipbench.simulate(scenario, controller, k, with_traces=False) for k in range(n_seeds))
    return np.array([stop.summary["stopping_distance"] for stop in stops])


def governed_by_step(scenario: Scenario, name: str) -> tuple[Scenario, Controller]:
    """Without slip control let no sample cut the step; other strategies keep theirs."""
    if name != "none":
        return scenario, by_name(name)
    slow = scenario.replace({"slip_control.sample_time": 0.1})
    return slow, dataclasses.replace(by_name(name), scope="train")


def print_row(*cells: str) -> None:
    print("".join(f"{cell:>14}" for cell in cells), flush=True)


def print_steps(rails: Sequence[str]) -> None:
    print(f"\nError of the distance against a step of {1e3 * FINEST_STEP:g} ms [1e-6]")
    print_row("rail", "strategy", "distance [m]", *(f"{1e3 * step:g} ms" for step in STEPS))
    for rail in rails:
        for name in SMOOTH:
            scenario, controller = governed_by_step(slipbench.load_scenario(rail), name)
            finest = distances(scenario.replace({"run.maximum_step": FINEST_STEP}), controller)[0]
            errors = []
            for step in STEPS:
                got = distances(scenario.replace({"run.maximum_step": step}), controller)[0]
                errors.append(f"{1e6 * (got / finest - 1.0):.3f}")
            print_row(rail, name, f"{finest:.3f}", *errors)


def paired(default: np.ndarray, finer: np.ndarray) -> tuple[str, str, str]:
    """Mean difference and its 95 % half-width over the mean, and the seeds' spread. [%]"""
    difference, mean = default - finer, finer.mean()
    half_width = 1.96 * difference.std(ddof=1) / math.sqrt(len(difference))
    values = difference.mean(), half_width, finer.std(ddof=1)
    return tuple(f"{100.0 * value / mean:.4f}" for value in values)  # type: ignore[return-value]


def print_means(rails: Sequence[str], n_seeds: int) -> None:
    for title, key, default, finest in (
        ("step, 5 against 0.625 ms", "run.maximum_step", 0.005, FINEST_STEP),
        ("cell, 1 against 0.25 m", "rail.cell_length", 1.0, FINEST_CELL),
    ):
        print(f"\nMeans over {n_seeds} paired seeds, {title} [%]")
        print_row(
            "rail", "strategy", "mean [m]", "difference", "half-width", "seeds' sd", "time [s]"
        )
        for rail in rails:
            for name in SWITCHING:
                began = time.perf_counter()
                scenario, controller = slipbench.load_scenario(rail), by_name(name)
                got = distances(scenario.replace({key: default}), controller, n_seeds)
                finer = distances(scenario.replace({key: finest}), controller, n_seeds)
                took = f"{time.perf_counter() - began:.0f}"
                print_row(rail, name, f"{finer.mean():.2f}", *paired(got, finer), took)


def print_cells(rails: Sequence[str]) -> None:
    print(f"\nChange of the distance against cells of {FINEST_CELL:g} m [1e-6]; [s] for one stop")
    times = [f"{cell:g} m [s]" for cell in (*CELLS, FINEST_CELL)]
    print_row("rail", "strategy", "distance [m]", *(f"{cell:g} m" for cell in CELLS), *times)
    for rail in rails:
        for name in SMOOTH:
            scenario, controller = slipbench.load_scenario(rail), by_name(name)
            got, took = {}, []
            for cell in (*CELLS, FINEST_CELL):
                changed = scenario.replace({"rail.cell_length": cell})
                began = time.perf_counter()
                got[cell] = distances(changed, controller)[0]
                took.append(f"{time.perf_counter() - began:.2f}")
            finest = got[FINEST_CELL]
            errors = [f"{1e6 * (got[cell] / finest - 1.0):.3f}" for cell in CELLS]
            print_row(rail, name, f"{finest:.3f}", *errors, *took)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=0, help="paired seeds of switching strategies")
    parser.add_argument("--rails", default="", help="shipped rails, by comma; all without")
    arguments = parser.parse_args()
    chosen = arguments.rails.split(",") if arguments.rails else list(slipbench.scenario_names())
    distances(slipbench.load_scenario("dry"), by_name("none"))  # compiles or loads the kernel
    print_steps(chosen)
    print_cells([rail for rail in CELL_RAILS if rail in chosen])
    if arguments.seeds > 1:
        print_means(chosen, arguments.seeds)


if __name__ == "__main__":
    main()

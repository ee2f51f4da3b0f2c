"""Are a GPU's stops the processor's? Every shipped strategy on every shipped rail; by hand.

    python tests/speed/gpu_equal.py [--seeds 256] [--side 5] [--strategies a,b] [--rails c,d]

Strategies are compiled and run by several processes side by side. Printed for each strategy: seeds
equal to 1e-9 over all rails, the rail with the largest difference of the means and what share of
the mean that is, and the least probability by a two-sample Kolmogorov-Smirnov test (scipy) that
both come from one distribution, times the number of tests made (Bonferroni).
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

import numpy as np
from scipy import stats

sys.path.insert(0, str(Path(__file__).parents[2]))

from slipbench.controllers import ALL_CONTROLLERS
from slipbench.device.runner import DeviceRunner
from slipbench.running.candidate import candidate_of
from slipbench.running.runners import HereRunner, Runner
from slipbench.running.task import Task, make_task
from slipbench.scenario import load_scenario
from slipbench.scenario.chain import scenario_names
from slipbench.strategies.registry import find_controller


def distances(runner: Runner, tasks: list[Task], n_seeds: int) -> np.ndarray:
    found = {task.key: json.loads(o.summary)["stopping_distance"] for task, o in runner.run(tasks)}
    return np.array([found[task.key] for task in tasks]).reshape(-1, n_seeds)


def both(strategy: str, rails: list[str], n_seeds: int) -> tuple[str, np.ndarray, np.ndarray]:
    """Return distances (n_rails, n_seeds) of the GPU and of the processor."""
    candidate = candidate_of(find_controller(strategy))
    tasks = [
        make_task(load_scenario(rail), candidate, seed) for rail in rails for seed in range(n_seeds)
    ]
    device = DeviceRunner(2)
    device.in_flight = len(tasks)  # processes take turns on a GPU, so each asks once
    on_gpu = distances(device, tasks, n_seeds)
    device.close()
    return strategy, on_gpu, distances(HereRunner(), tasks, n_seeds)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=256)
    parser.add_argument("--side", type=int, default=5)
    parser.add_argument("--strategies", default=",".join(c.name for c in ALL_CONTROLLERS))
    parser.add_argument("--rails", default=",".join(scenario_names()))
    asked = parser.parse_args()
    names, rails = asked.strategies.split(","), asked.rails.split(",")
    n_tests, worst, began = len(names) * len(rails), 1.0, time.perf_counter()
    with ProcessPoolExecutor(asked.side) as pool:
        waiting = [pool.submit(both, name, rails, asked.seeds) for name in names]
        for future in as_completed(waiting):
            name, gpu, cpu = future.result()
            n_equal = int((np.abs(gpu - cpu) <= 1e-9 * cpu).sum())
            shift = np.abs(gpu.mean(axis=1) / cpu.mean(axis=1) - 1.0)
            k = int(shift.argmax())
            least = min(float(stats.ks_2samp(a, b).pvalue) for a, b in zip(gpu, cpu, strict=True))
            worst = min(worst, least)
            print(
                f"{name:22s} {n_equal:5d} of {gpu.size} equal to 1e-9; means off by at most "
                f"{100 * shift[k]:.4f} % ({rails[k]}); least p {min(1.0, least * n_tests):.3g}; "
                f"{time.perf_counter() - began:.0f} s",
                flush=True,
            )
    print(f"{n_tests} pairs, {asked.seeds} seeds; least corrected p {min(1, worst * n_tests):.3g}")
    return 0


if __name__ == "__main__":
    sys.exit(main())

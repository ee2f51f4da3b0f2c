"""Stops a second on a GPU, and whether they are the processor's: run by hand where there is one.

    python tests/speed/gpu.py [--strategy slip_band] [--rail wet_leaf] [--sizes 1000,16384]
        [--compare 64] [--threads 64]

Printed: seeds whose distance is the processor's to 1e-9, the largest difference of the others and
of the means; then for each number of stops the seconds and stops a second, of all and of the GPU
alone.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from slipbench.device.runner import DeviceRunner
from slipbench.running.candidate import candidate_of
from slipbench.running.runners import make_runner
from slipbench.running.task import Task, make_task
from slipbench.scenario import load_scenario
from slipbench.strategies.registry import find_controller


def tasks_of(rail: str, strategy: str, seeds: range) -> list[Task]:
    scenario, candidate = load_scenario(rail), candidate_of(find_controller(strategy))
    first = make_task(scenario, candidate, 0)
    return [make_task(scenario, candidate, seed, first.scenario_hash) for seed in seeds]


def distances(runner: object, tasks: list[Task]) -> np.ndarray:
    import json

    found = {}
    for task, outcome in runner.run(iter(tasks)):  # type: ignore[attr-defined]
        found[task.seed] = json.loads(outcome.summary)["stopping_distance"]
    return np.array([found[task.seed] for task in tasks])


def time_batch(runner: DeviceRunner, tasks: list[Task]) -> None:
    began, gpu_seconds, size = time.perf_counter(), 0.0, len(tasks)
    for _, outcome in runner.run(iter(tasks)):
        gpu_seconds += outcome.duration
    seconds = time.perf_counter() - began
    print(
        f"{size:8d} stops, {runner.n_threads} threads, in {seconds:6.1f} s: "
        f"{size / seconds:6.0f} a second; the GPU {gpu_seconds:6.1f} s, "
        f"{size / gpu_seconds:6.0f} a second",
        flush=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--strategy", default="slip_band")
    parser.add_argument("--rail", default="wet_leaf")
    parser.add_argument("--sizes", default="1000,16384")
    parser.add_argument("--compare", type=int, default=64)
    parser.add_argument("--threads", default="64", help="of a block, the sizes for each")
    asked = parser.parse_args()
    runner = DeviceRunner()
    began = time.perf_counter()
    tasks = tasks_of(asked.rail, asked.strategy, range(asked.compare))
    on_gpu = distances(runner, tasks)
    print(f"first batch with compiling: {time.perf_counter() - began:.1f} s", flush=True)
    began = time.perf_counter()
    here = make_runner()
    on_cpu = distances(here, tasks)
    here.close()
    off = np.abs(on_gpu - on_cpu)
    print(
        f"{asked.strategy} on {asked.rail}, {asked.compare} seeds: "
        f"{int((off <= 1e-9 * on_cpu).sum())} equal to 1e-9, others off by at most "
        f"{off.max():.3g} m in {on_cpu.mean():.1f} m; means differ by "
        f"{abs(on_gpu.mean() - on_cpu.mean()):.3g} m; processor "
        f"{time.perf_counter() - began:.1f} s with compiling",
        flush=True,
    )
    for n_threads in map(int, asked.threads.split(",")):
        runner.n_threads = n_threads
        for size in map(int, asked.sizes.split(",")):
            time_batch(runner, tasks_of(asked.rail, asked.strategy, range(1000, 1000 + size)))
    runner.close()


if __name__ == "__main__":
    main()

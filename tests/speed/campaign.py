"""Time, memory and rate of a campaign of the sixteen-axle unit: a benchmark, not a test.

    python tests/speed/campaign.py --stops 10000 --workers 2

Compilation and the start of the workers are paid before the clock starts. Memory is the resident
set of the main process at each tenth of the way, and the greatest of any worker.
"""

import argparse
import resource
import tempfile
import time
from pathlib import Path

from slipbench.campaign.campaign import run_missing
from slipbench.campaign.plan import Plan
from slipbench.campaign.rails import RandomRails
from slipbench.campaign.rig import Rig
from slipbench.campaign.store import Store
from slipbench.running.candidate import candidate_of
from slipbench.running.runners import make_runner
from slipbench.scenario import load_scenario
from slipbench.strategies.registry import find_controller


def resident() -> float:
    """Return the memory this process holds. [MB]"""
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
        return pages * resource.getpagesize() / 1e6
    except OSError:  # no Linux: the greatest so far
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3


def main() -> None:
    """Run the benchmark and print what it took."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--stops", type=int, default=10_000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--scenario", default="wet_leaf")
    parser.add_argument("--strategy", default="slip_band")
    arguments = parser.parse_args()
    scenario = load_scenario(arguments.scenario)
    candidates = (candidate_of(find_controller(arguments.controller)),)
    runner = make_runner(arguments.workers)
    with tempfile.TemporaryDirectory() as folder, Store(Path(folder) / "speed.sqlite") as store:
        warm = Plan(RandomRails(scenario, 2 * arguments.workers, seed=1), candidates)
        run_missing(warm.tasks(), len(warm), Rig(store, runner))
        plan = Plan(RandomRails(scenario, arguments.stops, seed=0), candidates)
        marks = {max(1, arguments.stops * i // 10) for i in range(1, 11)}
        n_done = 0
        start = time.perf_counter()
        for task, outcome in runner.run(plan.tasks()):
            store.add(task, outcome)
            n_done += 1
            if n_done in marks:
                spent = time.perf_counter() - start
                rate = n_done / spent
                print(f"{n_done:6d} stops {spent:8.1f} s {rate:6.2f} /s {resident():7.1f} MB")
        spent = time.perf_counter() - start
        size = store.path.stat().st_size / 1e6
        busy = sum(stop.duration for stop in store.stops())
    runner.close()
    worker = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1e3
    print(
        f"greatest worker {worker:.1f} MB, file {size:.1f} MB, {1e3 * busy / n_done:.0f} ms a stop"
    )
    print(
        f"{n_done} stops, {arguments.workers} workers: {spent:.1f} s, {n_done / spent:.2f} stops/s"
    )


if __name__ == "__main__":
    main()

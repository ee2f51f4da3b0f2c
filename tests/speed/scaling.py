"""Print how cost grows with axles, stops and cores, and what a start takes: benchmarks, no tests.

    python tests/speed/scaling.py [--only axles,stops,cores,start,cold] [--campaign 200]

axles   one to twelve cars of four axles; linear cost is a constant time an axle
stops   one process, one stop after another, packing and measures included
cores   a campaign of `--campaign` stops with one worker and with two (tests/speed/campaign.py; for
        the growth of memory run that with 1,000 and 10,000 stops)
start   what `--version`, `list` and a warm `stop` take as commands, and which of the heavy packages
        each imports
cold    the first `stop` of all, with an empty cache: some tens of seconds of compilation
"""

from __future__ import annotations

import argparse
import os
import re
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from clock import machine, print_row, timed_stop, yardstick

import slipbench

HERE = Path(__file__).parent
HEAVY = ("numpy", "numba", "scipy.special", "scipy.optimize", "scipy.interpolate", "matplotlib")
COMMANDS = (
    ("--version",),
    ("list",),
    ("stop", "wet_leaf", "--strategy", "slip_band"),
)


def print_axles(n_repeats: int) -> None:
    scenario, controller = yardstick()
    leading, trailer = scenario.train.vehicles[:2]
    print_row("cars", "axles", "ms a stop", "simulated s", "us/(axle s)", "ns/piece")
    for n_cars in (1, 2, 4, 8, 12):
        vehicles = (leading, *[trailer] * (n_cars - 1))
        stop = timed_stop(
            scenario.replace({"train.vehicles": vehicles}), controller, n_repeats=n_repeats
        )
        each = 1e6 * stop.seconds / stop.n_axles / stop.duration
        cells = (f"{1e3 * stop.seconds:.1f}", f"{stop.duration:.1f}", f"{each:.1f}")
        print_row(str(n_cars), str(stop.n_axles), *cells, f"{stop.ns_per_piece:.0f}")


def print_stops() -> None:
    scenario, controller = yardstick()
    print_row("stops", "processor s", "ms a stop", "peak MB")
    for n_stops in (1, 10, 50, 100):
        start = time.process_time()
        for seed in range(n_stops):
            slipbench.simulate(scenario, controller, seed, with_traces=False)
        spent = time.process_time() - start
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
        print_row(str(n_stops), f"{spent:.2f}", f"{1e3 * spent / n_stops:.1f}", f"{peak:.0f}")


def print_cores(n_stops: int) -> None:
    rates = {}
    print_row("workers", "stops/s", "main MB", "worker MB")
    for n_workers in (1, 2):
        command = [sys.executable, str(HERE / "campaign.py"), "--stops", str(n_stops)]
        command += ["--workers", str(n_workers)]
        text = subprocess.run(command, capture_output=True, text=True, check=True).stdout
        rates[n_workers] = float(re.findall(r"([\d.]+) stops/s", text)[-1])
        main_mb = re.findall(r"([\d.]+) MB", text)[-3]
        worker_mb = re.findall(r"greatest worker ([\d.]+) MB", text)[-1]
        print_row(str(n_workers), f"{rates[n_workers]:.2f}", main_mb, worker_mb)
    print(f"two workers over one: {rates[2] / rates[1]:.2f}")


def command_cost(words: tuple[str, ...], n_repeats: int, cache: str | None = None) -> list[float]:
    """Return least elapsed and least processor time of a command. [s]"""
    elapsed, processor = [], []
    environment = os.environ | ({"SLIPBENCH_CACHE": cache} if cache else {})
    for _ in range(n_repeats):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        start = time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "slipbench", *words],
            env=environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            check=True,
        )
        elapsed.append(time.perf_counter() - start)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        processor.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return [min(elapsed), min(processor)]


def imported(words: tuple[str, ...]) -> str:
    """Return which heavy packages a command imports."""
    command = [sys.executable, "-X", "importtime", "-m", "slipbench", *words]
    log = subprocess.run(command, capture_output=True, text=True, check=True).stderr
    names = {line.rsplit("|", 1)[-1].strip() for line in log.splitlines()}
    return ", ".join(name for name in HEAVY if name in names) or "none of them"


def print_start(n_repeats: int) -> None:
    print_row("elapsed [s]", "processor [s]", "", "command: heavy imports", width=15)
    for words in COMMANDS:
        costs = (f"{cost:.2f}" for cost in command_cost(words, n_repeats))
        print_row(*costs, "", f"{' '.join(words)}: {imported(words)}", width=15)


def print_cold() -> None:
    with tempfile.TemporaryDirectory() as folder:
        elapsed, processor = command_cost(COMMANDS[-1], 1, folder)
    print(f"first stop of all, cache empty: {elapsed:.1f} s elapsed, {processor:.1f} s processor")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", default="axles,stops,cores,start", help="by commas")
    parser.add_argument("--campaign", type=int, default=200, help="stops of each campaign")
    parser.add_argument("--repeats", type=int, default=5)
    arguments = parser.parse_args()
    scenario, controller = yardstick()
    timed_stop(scenario, controller, n_repeats=1)
    parts = {
        "axles": lambda: print_axles(arguments.repeats),
        "stops": print_stops,
        "cores": lambda: print_cores(arguments.campaign),
        "start": lambda: print_start(arguments.repeats),
        "cold": print_cold,
    }
    for name in arguments.only.split(","):
        print(f"\n{name}; {machine()}")
        parts[name]()


if __name__ == "__main__":
    main()

"""What the benchmarks share: the yardstick's stop, the clock, how busy the machine is."""

from __future__ import annotations

import dataclasses
import os
import platform
import time
from collections.abc import Callable
from typing import Any

import numpy as np

import slipbench
from slipbench.contract import Controller
from slipbench.controllers import by_name
from slipbench.kernel.loop import run_compiled
from slipbench.kernel.records import World
from slipbench.packing import pack
from slipbench.scenario import Scenario
from slipbench.strategies.update import compile_update

RAIL, STRATEGY = "wet_leaf", "slip_band"
"""The yardstick: sixteen axles from 75 mph in step 3 on wet leaf, full equipment."""


@dataclasses.dataclass(frozen=True)
class Timed:
    """The compiled part of one stop.

    Attributes
    ----------
    seconds : float        processor time of the loop alone, the best of several
    distance : float       [m]
    duration : float       of the stop. [s]
    n_steps : int          of the train
    n_pieces : int         of all axles: steps cut at their events
    n_axles : int
    """

    seconds: float
    distance: float
    duration: float
    n_steps: int
    n_pieces: int
    n_axles: int

    @property
    def ns_per_axle_step(self) -> float:
        """Processor time over axles times steps of the train. [ns]"""
        return 1e9 * self.seconds / (self.n_axles * self.n_steps)

    @property
    def ns_per_piece(self) -> float:
        """Processor time over pieces. [ns]"""
        return 1e9 * self.seconds / self.n_pieces

    @property
    def times_real_time(self) -> float:
        """Simulated time over processor time. [-]"""
        return self.duration / self.seconds


def yardstick() -> tuple[Scenario, Controller]:
    """Return scenario and strategy of the yardstick's stop."""
    return slipbench.load_scenario(RAIL), by_name(STRATEGY)


def best_of(n_repeats: int, prepare: Callable[[], Any], act: Callable[[Any], Any]) -> Any:
    """Return the least processor time of `act` on what `prepare` makes, and what it then gave."""
    best, given = float("inf"), None
    for _ in range(n_repeats):
        prepared = prepare()
        start = time.process_time()
        result = act(prepared)
        spent = time.process_time() - start
        if spent < best:
            best, given = spent, result
    return best, given


def timed_stop(
    scenario: Scenario, controller: Controller, seed: int = 0, n_repeats: int = 5
) -> Timed:
    """Time the compiled loop on one stop, packing and measures left out (2 % of a stop)."""
    update, parameters = compile_update(controller.update), controller.parameter_values

    def run(world: World) -> World:
        memory = np.zeros((len(world.axles) + len(world.groups), controller.n_memory))
        run_compiled(world, update, parameters, memory)
        return world

    seconds, world = best_of(n_repeats, lambda: pack(scenario, controller, seed, False), run)
    return timed(seconds, world)


def timed(seconds: float, world: World) -> Timed:
    """Return what a finished stop says of itself."""
    state = world.train_state[0]
    return Timed(
        seconds=seconds,
        distance=float(state["distance"]),
        duration=float(state["time"]),
        n_steps=int(state["n_steps"]),
        n_pieces=int(state["n_axle_steps"]),
        n_axles=len(world.axles),
    )


def machine() -> str:
    """Return one line on the machine and how busy it is; put it beside every number."""
    load = ", ".join(f"{value:.1f}" for value in os.getloadavg())
    return (
        f"{processor()}, {os.cpu_count()} cores, Python {platform.python_version()}; "
        f"load over 1, 5, 15 min: {load}"
    )


def processor() -> str:
    """Return the processor's name where the system tells it."""
    try:
        with open("/proc/cpuinfo", encoding="utf-8") as lines:
            return next(line.split(":", 1)[1].strip() for line in lines if "model name" in line)
    except (OSError, StopIteration):
        return platform.machine()


def print_row(*cells: str, width: int = 13) -> None:
    """Print one row of a table, flushed."""
    print("".join(f"{cell:>{width}}" for cell in cells), flush=True)

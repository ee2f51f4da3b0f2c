"""Print where a stop's time goes, piece by piece of the kernel: a benchmark, not a test.

    python tests/speed/where_time_goes.py [--repeats 7] [--window 1.0]

Time a call: each function compiled alone and called on the states of axles in the middle of the
yardstick's stop, the best of several, one core. Calls a piece: the kernel goes on as plain Python
through a short window of that stop at four speeds, counted. The time of a function includes what
it calls; shares therefore do not add up to one. In the loop functions are inlined into each other,
so small ones cost less than here. Functions that end in `_together`, and `find_borders`, take all
axles of the train at a call here, and those that still move in the loop.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import pickle
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
import numpy as np
from clock import machine, print_row, timed_stop, yardstick

from slipbench.contract import Controller
from slipbench.kernel import (
    air,
    creep,
    friction,
    loads,
    loop,
    pneumatics,
    sensing,
    slides,
    tally,
    wheelset,
)
from slipbench.kernel.axle import find_borders
from slipbench.kernel.codes import RUNNING
from slipbench.kernel.loop import run_compiled
from slipbench.kernel.records import World
from slipbench.packing import pack
from slipbench.scenario import Scenario
from slipbench.strategies.update import compile_update

SPEEDS = (33.5, 22.0, 11.0, 3.0)  # [m/s]
COUNTED = (
    *("spin_together", "sense_together", "add_up_together", "find_borders"),
    *("creep_force", "solve_stage", "turn", "find_peak", "follow_peak", "longest_piece"),
    *("pressure_piece", "mass_flow", "rim_force", "heat_brake", "count_air"),
    *("count_piece", "count_lock", "count_slide", "load_wheels", "load_sensor"),
    *("enter_cell", "transfer_load", "observe", "accept"),
)


def as_plain(world: Any) -> Any:
    """Return the same memory as records whose fields plain Python reads by name."""
    records = {
        name: array.view(np.recarray)
        for name, array in world._asdict().items()
        if array.dtype.names
    }
    return world._replace(**records)


def count_calls(path: Path, seconds: float) -> dict[str, float]:
    """Count calls a piece while stops go on a little; in a process of its own, not compiled."""
    controller = yardstick()[1]
    counts: Counter[str] = Counter()

    def watch(frame: Any, event: str, _: Any) -> None:
        if event == "call" and frame.f_code.co_name in COUNTED:
            counts[frame.f_code.co_name] += 1

    n_pieces = 0
    for arrays, memory in pickle.loads(path.read_bytes()):
        world = as_plain(World(**arrays))
        state = world.train_state[0]
        world.run[0].maximum_time = state.time + seconds
        state.status = RUNNING
        n_before = int(state.n_axle_steps)
        sys.setprofile(watch)
        run_compiled(world, controller.update, controller.parameter_values, memory)
        sys.setprofile(None)
        n_pieces += int(state.n_axle_steps) - n_before
    return {name: counts[name] / n_pieces for name in COUNTED}


def counted_elsewhere(stops: list[tuple[World, Any]], seconds: float) -> dict[str, float]:
    """Return calls a piece, counted by this script in a process without compilation."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "stops"
        path.write_bytes(pickle.dumps([(world._asdict(), memory) for world, memory in stops]))
        command = [sys.executable, __file__, "--count", str(path), "--window", str(seconds)]
        environment = os.environ | {"NUMBA_DISABLE_JIT": "1"}
        done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    counts: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return counts


def mid_stop(scenario: Scenario, controller: Controller, speed: float) -> tuple[World, Any]:
    """Return world and memory after four seconds of braking from some speed."""
    short = scenario.replace({"initial_speed": speed, "run.maximum_time": 4.0})
    world = pack(short, controller, 0, False)
    memory = np.zeros((len(world.axles) + len(world.groups), controller.n_memory))
    run_compiled(world, compile_update(controller.update), controller.parameter_values, memory)
    return world, memory


# Each driver calls one function on every axle, `n` times over, a little apart each time.


@numba.njit(error_model="numpy")
def _creep_force(n, world):
    total, moving, law = 0.0, world.train_state[0], world.law[0]
    for k in range(n):
        for i in range(world.axles.shape[0]):
            axle, state = world.axles[i], world.axle_states[i]
            slip = moving.speed - state.wheel_speed + 1e-7 * k
            total += creep.creep_force(slip, moving.speed, axle, state, law)[0]
    return total


@numba.njit(error_model="numpy")
def _solve_stage(n, world):
    total, moving, law = 0.0, world.train_state[0], world.law[0]
    for k in range(n):
        for i in range(world.axles.shape[0]):
            axle, state = world.axles[i], world.axle_states[i]
            speed = state.wheel_speed
            weight = wheelset.GAMMA * 5e-3 / axle.rotating_mass
            brake = state.brake_force + 0.01 * k
            total += wheelset.solve_stage(speed, weight, brake, moving.speed, axle, state, law)
    return total


@numba.njit(error_model="numpy")
def _turn(n, world):
    total, moving, law = 0.0, world.train_state[0], world.law[0]
    for k in range(n):
        for i in range(world.axles.shape[0]):
            axle, state = world.axles[i], world.axle_states[i]
            brake, speed = state.brake_force + 0.01 * k, state.wheel_speed
            total += wheelset.turn(
                5e-3, wheelset.Course(moving.speed, -0.4, brake, 100.0, axle, state, law)
            )[3]
            state.wheel_speed = speed
    return total


@numba.njit(error_model="numpy")
def _find_peak(n, world):
    total, moving, law = 0.0, world.train_state[0], world.law[0]
    for k in range(n):
        for i in range(world.axles.shape[0]):
            speed = moving.speed * (1.0 + 1e-7 * k)
            total += creep.find_peak(speed, world.axles[i], world.axle_states[i], law)[1]
    return total


@numba.njit(error_model="numpy")
def _longest_piece(n, world):
    total, law = 0.0, world.law[0]
    for k in range(n):
        for i in range(world.axles.shape[0]):
            speed = world.train_state[0].speed + 1e-7 * k
            total += wheelset.longest_piece(speed, world.axles[i], world.axle_states[i], law)
    return total


@numba.njit(error_model="numpy")
def _pressure_piece(n, world):
    total, train = 0.0, world.train[0]
    for k in range(n):
        for i in range(world.axles.shape[0]):
            axle, state = world.axles[i], world.axle_states[i]
            reservoir = world.vehicle_states[axle.i_vehicle].reservoir
            pressure = state.pressure
            total += pneumatics.pressure_piece(
                5e-3, 2e5 + k, 0.0, 0.0, 0, True, reservoir, train, axle, state
            )[0]
            state.pressure = pressure
    return total


@numba.njit(error_model="numpy")
def _mass_flow(n, world):
    total = 0.0
    for k in range(n):
        for i in range(world.axles.shape[0]):
            total += air.mass_flow(8e5 + k, world.axle_states[i].pressure + 1e5, 5e-8, 0.3)
    return total


@numba.njit(error_model="numpy")
def _rim_force(n, world):
    total = 0.0
    for k in range(n):
        for i in range(world.axles.shape[0]):
            axle, state = world.axles[i], world.axle_states[i]
            total += friction.rim_force(state.pressure + k, 1e5, 1.0, 0, axle, state)[0]
    return total


@numba.njit(error_model="numpy")
def _heat_brake(n, world):
    for _ in range(n):
        for i in range(world.axles.shape[0]):
            friction.heat_brake(5e-3, 1.0, 20.0, world.axles[i], world.axle_states[i])
    return world.axle_states[0].temperature


@numba.njit(error_model="numpy")
def _count_air(n, world):
    for k in range(n):
        for i in range(world.axles.shape[0]):
            axle, state = world.axles[i], world.axle_states[i]
            change = 1.0 if k % 2 else -1.0
            pneumatics.count_air(change, axle, state, world.vehicle_states[axle.i_vehicle])
    return world.axle_states[0].filled_mass


@numba.njit(error_model="numpy")
def _count_lock(n, world):
    total, run, speed = 0.0, world.run[0], world.train_state[0].speed
    for k in range(n):
        for i in range(world.axles.shape[0]):
            state = world.axle_states[i]
            total += slides.count_lock(5e-3, 1e-3 * k, state.wheel_speed, speed, 1.0, run, state)[0]
    return total


@numba.njit(error_model="numpy")
def _count_slide(n, world):
    run, speed = world.run[0], world.train_state[0].speed
    for k in range(n):
        for i in range(world.axles.shape[0]):
            state = world.axle_states[i]
            slides.count_slide(5e-3, 1e-3 * k, speed, 0.1, 1.0, run, world.slide_histogram, state)
    return world.slide_histogram[0, 0]


@numba.njit(error_model="numpy")
def _count_piece(n, world):
    for _ in range(n):
        for i in range(world.axles.shape[0]):
            tally.count_piece(i, world.lanes[0], world.axle_states[i])
    return world.axle_states[0].peak_work


@numba.njit(error_model="numpy")
def _load_wheels(n, world):
    for _ in range(n):
        for i in range(world.axles.shape[0]):
            wheelset.load_wheels(i, world.lanes[0], world.axles[i], world.axle_states[i])
    return world.lanes[0].friction[0]


@numba.njit(error_model="numpy")
def _load_sensor(n, world):
    lanes, train = world.lanes[0], world.train[0]
    for k in range(n):
        for i in range(world.axles.shape[0]):
            axle = world.axles[i]
            group, state = world.groups[axle.i_group], world.axle_states[i]
            sensing.load_sensor(i, 1e-3 * k, lanes, group, train, axle, state)
    return lanes.start[0]


@numba.njit(error_model="numpy")
def _follow_peak(n, world):
    total, moving, law = 0.0, world.train_state[0], world.law[0]
    for k in range(n):
        for i in range(world.axles.shape[0]):
            speed = moving.speed * (1.0 + 1e-7 * k)
            total += creep.follow_peak(speed, world.axles[i], world.axle_states[i], law)[1]
    return total


# These take all axles at once.


@numba.njit(error_model="numpy")
def _spin_together(n, world):
    lanes = world.lanes[0]
    for k in range(n):
        lanes.brake[0] += 0.01 * k
        wheelset.spin_together(world.axles.shape[0], -0.4, lanes)
    return lanes.wheel_2[0]


@numba.njit(error_model="numpy")
def _sense_together(n, world):
    lanes = world.lanes[0]
    for k in range(n):
        lanes.start[0] += 1e-9 * k
        sensing.sense_together(world.axles.shape[0], world.train[0], lanes)
    return lanes.measured_speed[0]


@numba.njit(error_model="numpy")
def _add_up_together(n, world):
    lanes = world.lanes[0]
    for k in range(n):
        lanes.brake[0] += 0.01 * k
        tally.add_up_together(world.axles.shape[0], -0.4, world.train[0], lanes)
    return lanes.cleaning[0]


@numba.njit(error_model="numpy")
def _find_borders(n, world):
    lanes = world.lanes[0]
    for k in range(n):
        find_borders(world.axles.shape[0], 20.0 + 1e-7 * k, -0.4, lanes)
    return lanes.border[0]


@numba.njit(error_model="numpy")
def _transfer_load(n, world):
    for k in range(n):
        for i in range(world.vehicles.shape[0]):
            loads.transfer_load(-0.4 - 1e-7 * k, world.vehicles[i], world.axles, world.axle_states)
    return world.axle_states[0].wheel_load


@numba.njit(error_model="numpy")
def _observe(n, world):
    moving = world.train_state[0]
    for _ in range(n):
        for i_group in range(world.groups.shape[0]):
            moving.clock += 1e-9
            loop.observe(i_group, world)
    return world.observation[0, 0]


@numba.njit(error_model="numpy")
def _accept(n, world):
    total = 0
    for _ in range(n):
        for i_group in range(world.groups.shape[0]):
            total += loop.accept(i_group, world)
    return total


DRIVERS: tuple[tuple[str, Callable[..., Any], str], ...] = (
    ("spin_together", _spin_together, "train"),
    ("sense_together", _sense_together, "train"),
    ("add_up_together", _add_up_together, "train"),
    ("find_borders", _find_borders, "train"),
    ("load_wheels", _load_wheels, "axle"),
    ("load_sensor", _load_sensor, "axle"),
    ("count_piece", _count_piece, "axle"),
    ("turn", _turn, "axle"),
    ("solve_stage", _solve_stage, "axle"),
    ("creep_force", _creep_force, "axle"),
    ("pressure_piece", _pressure_piece, "axle"),
    ("mass_flow", _mass_flow, "axle"),
    ("find_peak", _find_peak, "axle"),
    ("follow_peak", _follow_peak, "axle"),
    ("count_lock", _count_lock, "axle"),
    ("count_slide", _count_slide, "axle"),
    ("count_air", _count_air, "axle"),
    ("heat_brake", _heat_brake, "axle"),
    ("rim_force", _rim_force, "axle"),
    ("longest_piece", _longest_piece, "axle"),
    ("transfer_load", _transfer_load, "vehicle"),
    ("observe", _observe, "group"),
    ("accept", _accept, "group"),
)


def ns_a_call(driver: Callable[..., Any], world: Any, n_calls: int, n_repeats: int) -> float:
    """Return the least processor time of a call. [ns]"""
    n = max(1, 40_000 // n_calls)
    driver(1, world)  # compiles
    best = math.inf
    for _ in range(n_repeats):
        start = time.process_time()
        driver(n, world)
        best = min(best, time.process_time() - start)
    return 1e9 * best / (n * n_calls)


def print_profile(seconds: float, n_repeats: int) -> None:
    """Count, time and print one row a function."""
    scenario, controller = yardstick()
    stop = timed_stop(scenario, controller, n_repeats=n_repeats)
    stops = [mid_stop(scenario, controller, speed) for speed in SPEEDS]
    counts = counted_elsewhere(stops, seconds)
    worlds = [world for world, _ in stops]
    print(machine())
    print(
        f"a stop: {1e3 * stop.seconds:.1f} ms, {stop.n_pieces} pieces of axle steps, "
        f"{stop.ns_per_piece:.0f} ns each; {stop.n_axles * stop.n_steps} axle steps"
    )
    print_row("function", "ns a call", "calls a piece", "ns a piece", "share", width=16)
    sizes = {"train": 1, "axle": len(worlds[0].axles), "vehicle": len(worlds[0].vehicles)}
    for name, driver, unit in DRIVERS:
        n_calls = sizes.get(unit, len(worlds[0].groups))
        cost = float(np.mean([ns_a_call(driver, world, n_calls, n_repeats) for world in worlds]))
        in_piece = cost * counts[name]
        share = f"{100.0 * in_piece / stop.ns_per_piece:.0f} %"
        print_row(name, f"{cost:.1f}", f"{counts[name]:.3f}", f"{in_piece:.1f}", share, width=16)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeats", type=int, default=7)
    parser.add_argument("--window", type=float, default=0.2, help="seconds counted at each speed")
    parser.add_argument("--count", type=Path, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.count is not None:
        print(json.dumps(count_calls(arguments.count, arguments.window)))
        return
    print_profile(arguments.window, arguments.repeats)


if __name__ == "__main__":
    main()

"""Time the bench against scipy's stiff solvers on the same stop: a benchmark, not a test.

    python tests/speed/against_scipy.py [--speed 20mph] [--methods LSODA,Radau,BDF]

The other side is what one would write first: `scipy.integrate.solve_ivp` from sample to sample,
cell border to cell border and valve command to valve command, its right-hand side compiled. State:
train speed, distance, and of each axle rim speed, cleaning energy and cylinder pressure. The
strategy's own compiled update is called at the same samples; cells are read on entering and
written on leaving. Air is by ISO 6358 on both sides.

Simpler than the bench, in scipy's favour: loads do not move, wheel speeds are measured exactly and
reservoirs stay full (the bench is given loads at rest, 1000 teeth and large reservoirs, but still
computes all three); there are no tallies and no audit, and a locked wheel is a rim held at zero. So
without slip control distances must agree within 0.1 %, which is checked; under the strategy, which
answers to what is left of the sensing, they agree within half a per cent.

Ratios are of processor time per simulated second, both sides on one core; the stop is from a lower
speed than the yardstick's, to keep the run short. LSODA changes between a stiff and a non-stiff
method by itself and is compiled; Radau and BDF are stiff throughout and written in Python. Since a
part ends at every sample, tolerances matter little.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from typing import Any

import numba
import numpy as np
from clock import machine, print_row, timed_stop, yardstick
from scipy.integrate import solve_ivp

from slipbench.contract import DEMAND, SAMPLE_TIME, VALVE, WHEEL_SPEED
from slipbench.controllers import by_name
from slipbench.packing import pack
from slipbench.scenario import Scenario, parse_speed
from slipbench.strategies.update import compile_update

FILL, VENT = 0, 2
AT_REST = 0.05  # [m/s]
FOLLOWING = 1e-3  # [s]; a cylinder near its target closes in with this time constant
ATMOSPHERE, DENSITY, GAS = 101325.0, 1.185, 287.05 * 293.15


@numba.njit(error_model="numpy")
def mass_flow(upstream, downstream, conductance, critical):
    if downstream >= upstream:
        return 0.0
    choked = conductance * DENSITY * upstream
    beyond = (downstream / upstream - critical) / (1.0 - critical)
    return choked if beyond <= 0.0 else choked * math.sqrt(max(0.0, 1.0 - beyond * beyond))


@numba.njit(error_model="numpy")
def rates(t, y, demand, demand_rate, since, valve, friction, law, air, train, axles):
    """Return the time derivatives of (v, s, u, E, p)."""
    n = len(valve)
    out = np.empty_like(y)
    v = max(y[0], 1e-3)
    ratio, decay, adhering, slipping = law
    supply, fill, release, vent, critical, full_pressure = air
    mass, constant, linear, quadratic, full_slip, locked_share = train
    total = 0.0
    for i in range(n):
        u, p = max(y[2 + i], 0.0), y[2 + 2 * n + i]
        load, stiffness, rotating, gain, volume = axles[i]
        slip = v - u
        limit = load * friction[i] * (ratio + (1.0 - ratio) * math.exp(-decay * abs(slip)))
        e = 0.25 * math.pi * stiffness * slip / v / limit
        stick = adhering * e
        force = 4.0 / math.pi * limit * (stick / (1.0 + stick * stick) + math.atan(slipping * e))
        spin = (force - gain * max(p, 0.0)) / rotating
        out[2 + i] = 0.0 if y[2 + i] <= 0.0 and spin < 0.0 else spin
        beyond = min(max((slip / v - full_slip) / (1.0 - full_slip), 0.0), 1.0)
        out[2 + n + i] = (1.0 - beyond * (1.0 - locked_share)) * 0.5 * force * slip
        change = 0.0
        if valve[i] == FILL:
            target = (demand + demand_rate * (t - since)) * full_pressure
            change = demand_rate * full_pressure + (target - p) / FOLLOWING
            most = mass_flow(supply + ATMOSPHERE, p + ATMOSPHERE, fill, critical)
            least = mass_flow(p + ATMOSPHERE, ATMOSPHERE, release, critical)
            change = min(max(change, -least * GAS / volume), most * GAS / volume)
        elif valve[i] == VENT:
            change = -mass_flow(p + ATMOSPHERE, ATMOSPHERE, vent, critical) * GAS / volume
        out[2 + 2 * n + i] = change
        total += force
    out[0] = -(total / mass + constant + v * (linear + v * quadratic))
    out[1] = v
    return out


class PlainStop:
    """A stop carried on by solve_ivp from event to event."""

    def __init__(self, scenario: Scenario, controller: Any, method: str, rtol: float) -> None:
        world = pack(scenario, controller, 0, False)
        train, axles, cell = world.train[0], world.axles, world.cells[0]
        self.method, self.rtol, self.controller = method, rtol, controller
        self.update = compile_update(controller.update)
        self.axles, self.groups, self.cell, self.train = axles, world.groups, cell, train
        self.n = len(axles)
        self.offset = axles["offset"]
        names = (
            "wheel_load",
            "contact_stiffness",
            "rotating_mass",
            "brake_gain",
            "cylinder_volume",
        )
        self.axle_values = np.column_stack([axles[name] for name in names])
        names = ("friction_ratio", "friction_decay", "adhesion_reduction", "slip_reduction")
        self.law = tuple(float(cell[name]) for name in names)
        names = ("fill_conductance", "release_conductance", "vent_conductance", "critical_ratio")
        # tare and laden are alike here: the brake of the empty train asks load_factor of the full
        factor = float(world.vehicle_states["load_factor"][0])
        self.air = (
            float(train["reservoir_pressure"]),
            *(float(train[name]) for name in names),
            float(train["full_pressure"]) * factor,
        )
        names = ("resistance_constant", "resistance_linear", "resistance_quadratic")
        self.train_values = (
            float(train["mass"]),
            *(float(train[name]) for name in names),
            float(train["full_cleaning_slip"]),
            float(train["locked_cleaning_share"]),
        )
        self.target = float(world.demand_table[world.handle["position"][0], 0])
        self.ramp = float(train["demand_delay"]), float(train["build_up_time"])
        self.work: dict[int, float] = {}
        self.y = np.concatenate([[scenario.initial_speed, 0.0], np.zeros(3 * self.n)])
        self.y[2 : 2 + self.n] = scenario.initial_speed
        self.i_cell = np.floor(-self.offset).astype(int)
        assert train["cell_length"] == 1.0
        self.friction = np.full(self.n, float(cell["friction"]))
        self.valve = np.zeros(self.n, dtype=np.int64)
        self.sent = np.zeros(self.n, dtype=np.int64)
        self.queue: list[tuple[float, int, int]] = []
        self.next_sample = self.groups["phase"].copy()
        self.memory = np.zeros((self.n + len(self.groups), controller.n_memory))
        self.time, self.n_parts = 0.0, 0

    def demand(self, time: float) -> tuple[float, float]:
        """Demand over the emergency demand, and its rate."""
        start, length = self.ramp
        share = min(max((time - start) / length, 0.0), 1.0)
        is_ramp = start - 1e-12 <= time < start + length - 1e-12
        return self.target * share, self.target / length if is_ramp else 0.0

    def derivative_arguments(self) -> tuple[Any, ...]:
        demand = self.demand(self.time)
        fixed = (self.law, self.air, self.train_values, self.axle_values)
        return (*demand, self.time, self.valve, self.friction, *fixed)

    def next_event(self) -> float:
        """When the next sample, valve command, ramp end or cell border is due."""
        slowing = rates(self.time, self.y, *self.derivative_arguments())[0]
        speed, place = self.y[0], self.y[1]
        way = max((self.i_cell + 1.0 - (place - self.offset)).min(), 0.0)
        under = max(speed * speed + 2.0 * slowing * way, 0.0)
        events = [self.time + 2.0 * way / (speed + math.sqrt(under)), self.next_sample.min()]
        events += [due for due, _, _ in self.queue]
        events += [end for end in (self.ramp[0], sum(self.ramp)) if end > self.time + 1e-12]
        return max(min(events), self.time + 1e-9)

    def run(self) -> float:
        """Go on to standstill; return the distance. [m]"""
        while self.y[0] > AT_REST:
            self.carry_on(self.next_event())
            self.cross_borders()
            for due, i_axle, valve in [entry for entry in self.queue if entry[0] <= self.time]:
                self.queue.remove((due, i_axle, valve))
                self.valve[i_axle] = valve
            for i_group in np.flatnonzero(self.next_sample <= self.time + 1e-12):
                self.sample(int(i_group))
        slowing = -rates(self.time, self.y, *self.derivative_arguments())[0]
        self.time += self.y[0] / slowing
        return float(self.y[1] + 0.5 * self.y[0] ** 2 / slowing)

    def carry_on(self, end: float) -> None:
        n = self.n
        tolerance = np.concatenate(
            [[1e-6, 1e-6], np.full(n, 1e-5), np.full(n, 1.0), np.full(n, 10.0)]
        )
        part = solve_ivp(
            rates,
            (self.time, end),
            self.y,
            method=self.method,
            rtol=self.rtol,
            atol=tolerance,
            args=self.derivative_arguments(),
        )
        assert part.success, part.message
        self.time, self.y = end, part.y[:, -1].copy()
        self.y[2 : 2 + n] = np.maximum(self.y[2 : 2 + n], 0.0)
        self.n_parts += 1

    def cross_borders(self) -> None:
        place = self.y[1] - self.offset
        for i in np.flatnonzero(place >= self.i_cell + 1.0 - 1e-6):
            left = int(self.i_cell[i])
            self.work[left] = self.work.get(left, 0.0) + self.y[2 + self.n + i]
            self.y[2 + self.n + i] = 0.0
            self.i_cell[i] += 1
            share = self.work.get(left + 1, 0.0) / self.cell["cleaning_work"]
            gain = self.cell["recovered_friction"] - self.cell["friction"]
            clean = 1.0 - math.exp(-(share ** self.cell["cleaning_exponent"]))
            self.friction[i] = self.cell["friction"] + gain * clean

    def sample(self, i_group: int) -> None:
        group = self.groups[i_group]
        first, n_axles = int(group["first_axle"]), int(group["n_axles"])
        own = slice(first, first + n_axles)
        seen = np.full((n_axles, 11), math.nan)
        seen[:, WHEEL_SPEED] = self.y[2:][own]
        seen[:, DEMAND] = self.demand(self.time)[0]
        seen[:, SAMPLE_TIME] = group["sample_time"]
        command, signals = np.zeros((n_axles, 2)), np.zeros(2)
        memory = self.memory[first + i_group : first + n_axles + i_group + 1]
        self.update(seen, self.controller.parameter_values, memory, command, signals)
        for k in range(n_axles):
            valve = int(command[k, VALVE])
            if valve != self.sent[first + k]:
                delay = self.axles[first + k]["fill_delay" if valve == FILL else "vent_delay"]
                self.queue.append((self.time + float(delay), first + k, valve))
                self.sent[first + k] = valve
        self.next_sample[i_group] += group["sample_time"]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--speed", default="20mph")
    parser.add_argument("--methods", default="LSODA,Radau,BDF")
    parser.add_argument("--tolerances", default="1e-3,1e-6", help="relative, for the first method")
    parser.add_argument("--seeds", type=int, default=8, help="of the bench's mean distance")
    arguments = parser.parse_args()
    scenario, controller = yardstick()
    scenario = scenario.replace(
        {
            "initial_speed": parse_speed(arguments.speed),
            "train.vehicles.*.body_height": 0.0,
            "train.vehicles.*.pivot_height": 0.0,
            "brake.reservoir_volume": 2.0,
            "sensing.teeth": 1000,
            "sensing.clock_tick": 0.0,
        }
    )
    assert len(scenario.rail.sections) == 1
    ours = [timed_stop(scenario, controller, seed, 5) for seed in range(arguments.seeds)]
    print(machine())
    print_row("", "ms/simulated s", "ratio", "distance [m]", "time [s]", "parts", width=16)
    own = 1e3 * float(np.median([1.0 / stop.times_real_time for stop in ours]))
    distances = [stop.distance for stop in ours]
    name = f"bench, {arguments.seeds} seeds"
    spread = f"{np.mean(distances):.1f} +- {np.std(distances):.1f}"
    print_row(name, f"{own:.2f}", "1", spread, f"{ours[0].duration:.1f}", "", width=16)
    tolerances = [float(text) for text in arguments.tolerances.split(",")]
    methods = arguments.methods.split(",")
    runs = [(methods[0], tolerance) for tolerance in tolerances]
    runs += [(method, tolerances[0]) for method in methods[1:]]
    rates_are_compiled(scenario, controller)
    check_without_slip_control(scenario)
    for method, tolerance in runs:
        stop = PlainStop(scenario, controller, method, tolerance)
        start = time.process_time()
        distance = stop.run()
        cost = 1e3 * (time.process_time() - start) / stop.time
        cells = (f"{cost:.0f}", f"{cost / own:.0f}", f"{distance:.1f}", f"{stop.time:.1f}")
        print_row(f"{method} {tolerance:g}", *cells, str(stop.n_parts), width=16)


def check_without_slip_control(scenario: Scenario) -> None:
    """Leave with code 1 where the two are not the same stop."""
    expected = PlainStop(scenario, by_name("none"), "LSODA", 1e-6).run()
    got = timed_stop(scenario, by_name("none"), n_repeats=1).distance
    print(f"without slip control: bench {got:.3f} m, LSODA {expected:.3f} m")
    if abs(got / expected - 1.0) > 1e-3:
        sys.exit("the two do not agree: not the same stop")


def rates_are_compiled(scenario: Scenario, controller: Any) -> None:
    """Compile before the clock starts."""
    stop = PlainStop(scenario, controller, "LSODA", 1e-3)
    stop.carry_on(stop.next_event())


if __name__ == "__main__":
    main()

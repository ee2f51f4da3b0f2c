"""Whole stops with load transfer and flowing air against a second way of computing them.

As in `test_independent_path`, whose creep law, resistance and events are used, nothing here comes
from slipbench.kernel: statics of body and bogies, the gas law, ISO 6358's equation and the handle's
ramps stand below, and scipy's Radau integrates them. The cylinders are made slow, so that their air
decides the stop, and the driver eases and brakes again, so that they fill, empty and fill again.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from tests.support_stops import clean
from tests.validation.test_independent_path import SLOWEST, Array, PlainTrain

import slipbench
from slipbench.controllers import by_name
from slipbench.scenario import Driver, HandleEntry, Scenario

LAG = 0.25  # of the pitch of body and bogies [s], assumed
GAS, TEMPERATURE, ATMOSPHERE = 287.05, 293.15, 101325.0  # dry air
DENSITY = 1.185  # of the reference atmosphere of ISO 6358, value from memory [kg/m3]
EASED = ((0.0, 3), (10.0, 1), (16.0, 3))  # time and handle position
FOLLOWS, FILLS, RELEASES = 0, 1, -1


def demand_corners(scenario: Scenario) -> list[tuple[float, float]]:
    """Return the corners (time, deceleration) of the demanded deceleration."""
    brake = scenario.brake
    corners, level = [(0.0, 0.0)], 0.0
    for time, position in EASED:
        wanted = brake.steps[position - 1]
        ramp = brake.build_up_time if wanted > level else brake.release_time
        start = time + brake.demand_delay
        corners += [(start, level), (start + ramp, wanted)]
        level = wanted
    return [*corners, (1e4, level)]


def iso_flow(upstream: Array, downstream: Array, conductance: float, ratio: float) -> Array:
    """Mass flow from gauge to gauge pressure, upstream the higher; none the other way. [kg/s]"""
    up, down = upstream + ATMOSPHERE, downstream + ATMOSPHERE
    beyond = np.clip((down / up - ratio) / (1.0 - ratio), 0.0, 1.0)
    return conductance * DENSITY * up * np.sqrt(1.0 - beyond**2)


class AirTrain(PlainTrain):
    """The train with its loads following the pitch, and its cylinders and reservoirs."""

    def __init__(self, scenario: Scenario) -> None:
        super().__init__(scenario)
        train, self.brake = scenario.train, scenario.brake
        self.cars = [train.vehicles[i] for i in train.vehicle_of_axle]
        self.owner = np.array(train.vehicle_of_axle)
        self.n_cars = len(train.vehicles)
        self.rest_load, self.rest_stiffness = self.load.copy(), self.stiffness.copy()
        laden = np.array([car.laden_mass / car.n_axles for car in self.cars]) + self.rotating
        self.gain = laden * self.brake.emergency / self.brake.full_pressure
        self.weighed = self.rest_load * 2.0 / 9.80665 + self.rotating
        self.volume = np.array([car.cylinder_volume for car in self.cars])
        self.corners = np.array(demand_corners(scenario)).T
        self.moved = self._moved_load()

    def _moved_load(self) -> Array:
        """Load of one wheel gained per deceleration: two bogies of two axles. (n_axles,) [kg]"""
        moved = []
        for car in self.scenario.train.vehicles:
            body = car.tare_mass - 2.0 * car.bogie_mass
            apart = car.bogie_centres[1] - car.bogie_centres[0]
            by_body = body * (car.body_height - car.pivot_height) / apart
            moment = 0.5 * body * car.pivot_height + car.bogie_mass * 0.5 * car.wheel_diameter
            by_bogie = moment / car.bogie_wheelbase
            for bogie in (1.0, -1.0):
                moved += [0.5 * (0.5 * bogie * by_body + side * by_bogie) for side in (1.0, -1.0)]
        return np.array(moved)

    def pitch(self, deceleration: float) -> None:
        """Set loads, and the stiffness that goes with load to the power 2/3 (Hertz)."""
        self.load = self.rest_load + self.moved * deceleration
        self.stiffness = self.rest_stiffness * (self.load / self.rest_load) ** (2.0 / 3.0)

    def target(self, time: float) -> tuple[Array, Array]:
        """Cylinder pressure asked for, and its rate. (n_axles,) [Pa], [Pa/s]"""
        times, levels = self.corners
        i = int(np.searchsorted(times, time + 1e-12, side="right")) - 1
        slope = (levels[i + 1] - levels[i]) / (times[i + 1] - times[i])
        level = levels[i] + slope * (time - times[i])
        per = self.weighed / self.gain
        return level * per, slope * per

    def limits(self, pressure: Array, reservoir: Array) -> tuple[Array, Array]:
        """Fastest rise and fall of the cylinders' pressures. (n_axles,) [Pa/s], >= 0"""
        brake, per = self.brake, GAS * TEMPERATURE / self.volume
        supply = reservoir[self.owner]
        fills = iso_flow(supply, pressure, brake.fill_conductance, brake.critical_ratio)
        empties = iso_flow(
            np.maximum(pressure, 0.0), np.zeros(1), brake.release_conductance, brake.critical_ratio
        )
        return fills * per, empties * per


def air_stop(scenario: Scenario) -> tuple[float, float, int]:
    """Integrate a stop from event to event; return distance, time and locks."""
    train = AirTrain(scenario)
    brake, n, cars = train.brake, train.n_axles, train.n_cars
    friction = np.full(n, scenario.rail.sections[0].friction)
    wheels, cylinders = slice(3, 3 + n), slice(3 + n, 3 + 2 * n)
    reservoirs = slice(3 + 2 * n, 3 + 2 * n + cars)
    is_locked, mode = np.zeros(n, dtype=bool), np.zeros(n, dtype=int)
    speed = scenario.initial_speed
    y = np.concatenate(
        [
            [speed, 0.0, 0.0],
            np.full(n, speed),
            np.zeros(n),
            np.full(cars, brake.reservoir_pressure),
        ]
    )
    scale = np.concatenate([[1e-8, 1e-6, 1e-8], np.full(n, 1e-8), np.full(n + cars, 1e-2)])

    def pressure_rates(time: float, y: Array) -> Array:
        rise, fall = train.limits(y[cylinders], y[reservoirs])
        return np.where(
            mode == FILLS, rise, np.where(mode == RELEASES, -fall, train.target(time)[1])
        )

    def forces(y: Array) -> Array:
        train.pitch(-y[2])
        slip = y[0] - np.where(is_locked, 0.0, y[wheels])
        return train.rail_force(slip[:, None], y[0], friction)[:, 0]

    def rates(time: float, y: Array) -> Array:
        out, force = np.zeros_like(y), forces(y)
        out[0] = -(force.sum() + train.resistance(y[0])) / train.mass
        out[1] = y[0]
        out[2] = (out[0] - y[2]) / LAG
        spin = (force - train.gain * y[cylinders]) / train.rotating
        out[wheels] = np.where(is_locked, 0.0, spin)
        out[cylinders] = pressure_rates(time, y)
        drawn = np.maximum(out[cylinders], 0.0) * train.volume / (GAS * TEMPERATURE)
        charged = iso_flow(
            np.full(cars, brake.pipe_pressure),
            y[reservoirs],
            brake.charging_conductance,
            brake.critical_ratio,
        )
        net = charged - np.bincount(train.owner, drawn, minlength=cars)
        out[reservoirs] = net * GAS * TEMPERATURE / brake.reservoir_volume
        return out

    def surplus(y: Array) -> Array:
        train.pitch(-y[2])
        grip = train.rail_force(np.full((n, 1), y[0]), y[0], friction)[:, 0]
        return np.where(is_locked, grip - train.gain * y[cylinders], -1e9)

    def rests(_: float, y: Array) -> float:
        return float(y[0] - SLOWEST)

    def locks(_: float, y: Array) -> float:
        return float(np.where(is_locked, 1.0, y[wheels]).min())

    def grips(_: float, y: Array) -> float:
        return float(surplus(y).max())

    def meets(time: float, y: Array) -> float:
        missing = (train.target(time)[0] - y[cylinders]) * np.sign(mode)
        return float(np.where(mode == FOLLOWS, 1e9, missing + 0.5).min())  # half a pascal late

    events = (rests, locks, grips, meets)
    for event, direction in zip(events, (-1, -1, 1, -1), strict=True):
        event.terminal, event.direction = True, direction  # type: ignore[attr-defined]
    time, n_locks = 0.0, 0
    for _ in range(5000):
        asked, asked_rate = train.target(time)
        missing = asked - y[cylinders]
        rise, fall = train.limits(y[cylinders], y[reservoirs])
        mode = np.where(np.abs(missing) > 1.0, np.sign(missing), FOLLOWS).astype(int)
        at = mode == FOLLOWS
        y[cylinders] = np.where(at, asked, y[cylinders])
        mode = np.where(at & (asked_rate > rise), FILLS, mode)
        mode = np.where(at & (asked_rate < -fall), RELEASES, mode)
        end = next(t for t in train.corners[0] if t > time + 1e-9)
        part = solve_ivp(
            rates,
            (time, end),
            y,
            method="Radau",
            events=events,
            rtol=1e-7,
            atol=scale,
            max_step=1.0,
        )
        assert part.success, part.message
        time, y = float(part.t[-1]), part.y[:, -1].copy()
        is_at_rest, has_locked, has_gripped, _ = map(len, part.t_events)
        if is_at_rest:
            rate = rates(time, y)[0]
            return y[1] + 0.5 * y[0] ** 2 / -rate, time + y[0] / -rate, n_locks
        if has_locked:
            new = ~is_locked & (y[wheels] < 1e-6)
            n_locks += int(new.sum())
            is_locked = is_locked | new
            y[wheels][new] = 0.0
        spare = -1e-6 * train.weighed if has_gripped else 0.0
        is_locked = is_locked & ~(surplus(y) > spare)
    raise AssertionError("no standstill")


def slow_air(rail: str) -> Scenario:
    """Two cars whose cylinders take seconds to fill and empty, from reservoirs being charged."""
    scenario = clean(rail)
    held = {
        f"train.vehicles.*.{name}": 0.0
        for name in ("compressor_flow", "auxiliary_flow", "main_reservoir_volume")
    }
    scenario = scenario.replace(held)
    return scenario.replace(
        {
            "initial_speed": 22.0,
            "train.vehicles": scenario.train.vehicles[:2],
            "rail.sections.0.recovered_friction": scenario.rail.sections[0].friction,
            "driver": Driver(programme=tuple(HandleEntry(at_time=t, position=p) for t, p in EASED)),
            "brake.fill_conductance": 5e-9,
            "brake.release_conductance": 5e-9,
            "brake.charging_conductance": 1e-8,
            "brake.reservoir_volume": 0.05,
            "brake.reservoir_pressure": 5e5,
            "run.locked_wheel_speed": 1e-9,
            "run.locked_train_speed": 1e-9,
        }
    )


AGREEMENT = 1e-5  # claimed are 5e-4; found is 2.5e-6


@pytest.mark.parametrize(("rail", "locks"), [("damp_oxide", 8), ("grease", 8), ("wet_leaf", 8)])
def test_stop_with_load_transfer_and_flowing_air_agrees(rail: str, locks: int) -> None:
    """Within 1e-5, so a percent of the pitch or of a conductance shows."""
    scenario = slow_air(rail)
    distance, time, n_locks = air_stop(scenario)
    got = slipbench.simulate(scenario, by_name("none"), seed=1, with_traces=False).summary
    print(f"{rail}: {distance:.4f} m, bench {got['stopping_distance']:.4f} m, {n_locks} locks")
    assert got["stopping_distance"] == pytest.approx(distance, rel=AGREEMENT)
    assert got["stopping_time"] == pytest.approx(time, rel=AGREEMENT)
    assert n_locks >= locks

"""Whole stops against a second way of computing them, written here from the equations alone.

Nothing of slipbench.kernel is used: the creep law, the balances of train and wheels, the events and
the cleaning of the rail stand below in plain numpy, and scipy's Radau method (order five, its own
step control) integrates them from event to event. Shared with the bench are only the scenario's
values and the contact theory (Hertz, Kalker). Load transfer is off, and the cylinders follow the
demand. What this cannot find is an error in the equations themselves.
"""

import dataclasses
from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from tests.support_stops import clean

import slipbench
from slipbench.contact import contact_patch, kalker_coefficients
from slipbench.controllers import by_name
from slipbench.scenario import Scenario

GRAVITY = 9.80665
SLOWEST = 0.01  # [m/s]; from here the rest is a parabola of v2 / 2a, below a tenth of a millimetre
RELATIVE_TOLERANCE = 1e-7  # tenfold tighter moves no distance below by 1e-7 of itself
NO_BORDER = 1e9  # [m]
Array = np.ndarray


class PlainTrain:
    """The numbers of a scenario that the equations need, a column an axle."""

    def __init__(self, scenario: Scenario) -> None:
        train, brake = scenario.train, scenario.brake
        cars = [train.vehicles[i] for i in train.vehicle_of_axle]
        radius = np.array([0.5 * car.wheel_diameter for car in cars])
        carried = np.array([car.tare_mass / car.n_axles for car in cars])
        self.scenario = scenario
        self.n_axles = len(cars)
        self.mass = carried.sum()
        self.offset = np.array(train.axle_positions)
        self.rotating = np.array([car.wheelset_inertia for car in cars]) / radius**2
        self.load = 0.5 * carried * GRAVITY
        self.stiffness = np.array(
            [
                self._stiffness(r, scenario.rail.crown_radius, q)
                for r, q in zip(radius, self.load, strict=True)
            ]
        )
        deceleration = brake.steps[scenario.driver.programme[0].position - 1]
        self.full_brake = (carried + self.rotating) * deceleration
        self.ramp_start = brake.demand_delay
        self.ramp_end = brake.demand_delay + brake.build_up_time
        # so the cylinders follow the demand at once, and brake force is the demand's ramp
        assert brake.full_pressure / brake.build_up_time < brake.fill_rate
        assert train.load == 0.0 and brake.pad_friction == brake.design_pad_friction

    @staticmethod
    def _stiffness(wheel_radius: float, crown_radius: float, load: float) -> float:
        patch = contact_patch(wheel_radius, crown_radius, load)
        shear_modulus = 210e9 / (2.0 * 1.28)
        coefficient = kalker_coefficients(patch.axis_ratio, 0.28).c11
        return shear_modulus * patch.semi_axis_rolling * patch.semi_axis_lateral * coefficient

    def brake_force(self, time: float) -> Array:
        """Rim force of each axle. (n_axles,) [N]"""
        share = (time - self.ramp_start) / (self.ramp_end - self.ramp_start)
        return self.full_brake * min(max(share, 0.0), 1.0)

    def rail_force(self, slip_speed: Array, train_speed: Array, friction: Array) -> Array:
        """Polach's law with falling friction, both wheels of each axle. (n_axles, k) [N]"""
        film = self.scenario.rail.sections[0]
        ratio, decay = film.friction_ratio, film.friction_decay
        mu = friction[:, None] * (ratio + (1.0 - ratio) * np.exp(-decay * np.abs(slip_speed)))
        limit = self.load[:, None] * mu
        gradient = np.pi / 4.0 * self.stiffness[:, None] * slip_speed / train_speed / limit
        sticking, slipping = film.adhesion_reduction * gradient, film.slip_reduction * gradient
        return 4.0 / np.pi * limit * (sticking / (1.0 + sticking**2) + np.arctan(slipping))

    def resistance(self, speed: Array) -> Array:
        train = self.scenario.train
        a, b, c = train.resistance_constant, train.resistance_linear, train.resistance_quadratic
        return self.mass * (a + b * speed + c * speed**2)


class PlainRail:
    """Cleaning work of each metre, read on entering and written on leaving."""

    def __init__(self, train: PlainTrain, has_cleaning: bool) -> None:
        self.film = train.scenario.rail.sections[0]
        self.cell_length = train.scenario.rail.cell_length
        self.offset = train.offset
        self.work: dict[int, float] = {}
        self.cell = np.floor(-train.offset / self.cell_length).astype(int)
        self.friction = np.full(train.n_axles, self.film.friction)
        self.has_cleaning = has_cleaning

    def next_border(self) -> tuple[float, Array]:
        """Distance of the train's front at the next border, and which axles are then there."""
        if not self.has_cleaning:
            return NO_BORDER, np.array([], dtype=int)
        at = (self.cell + 1) * self.cell_length + self.offset
        return at.min(), np.flatnonzero(at < at.min() + 1e-9)

    def cross(self, axles: Array, energy: Array) -> None:
        """Move axles to their next cell; `energy` is what each has collected, and is emptied."""
        film = self.film
        for i in axles:
            left = self.cell[i]
            self.work[left] = self.work.get(left, 0.0) + energy[i] / self.cell_length
            energy[i] = 0.0
            self.cell[i] += 1
        for i in axles:
            share = (self.work.get(self.cell[i], 0.0) / film.cleaning_work) ** (
                film.cleaning_exponent
            )
            gain = film.recovered_friction - film.friction
            self.friction[i] = film.friction + gain * (1.0 - np.exp(-share))


@dataclasses.dataclass
class PlainStop:
    distance: float
    time: float
    lock_times: list[float]
    n_re_spins: int
    work: dict[int, float]


def derivative(
    train: PlainTrain, rail: PlainRail, is_locked: Array
) -> Callable[[float, Array], Array]:
    """Return the right-hand side for (v, s, u of each axle, E of each axle), k columns at once."""
    n, layout = train.n_axles, train.scenario.rail

    def rates(time: float, y: Array) -> Array:
        speed, wheels = y[0], np.where(is_locked[:, None], 0.0, y[2 : 2 + n])
        slip_speed = speed - wheels
        force = train.rail_force(slip_speed, speed, rail.friction)
        spin = (force - train.brake_force(time)[:, None]) / train.rotating[:, None]
        beyond = (slip_speed / speed - layout.full_cleaning_slip) / (
            1.0 - layout.full_cleaning_slip
        )
        efficiency = 1.0 - (1.0 - layout.locked_cleaning_share) * np.clip(beyond, 0.0, 1.0)
        out = np.empty_like(y)
        out[0] = -(force.sum(axis=0) + train.resistance(speed)) / train.mass
        out[1] = speed
        out[2 : 2 + n] = np.where(is_locked[:, None], 0.0, spin)
        out[2 + n :] = efficiency * 0.5 * force * slip_speed  # of one wheel
        return out

    return rates


def plain_stop(scenario: Scenario, has_cleaning: bool) -> PlainStop:
    """Integrate a stop without slip control from event to event."""
    train = PlainTrain(scenario)
    rail = PlainRail(train, has_cleaning)
    n = train.n_axles
    is_locked = np.zeros(n, dtype=bool)
    speed = scenario.initial_speed
    y = np.concatenate([[speed, 0.0], np.full(n, speed), np.zeros(n)])
    time, lock_times, n_re_spins = 0.0, [], 0
    tolerance = np.concatenate([[1e-8, 1e-6], np.full(n, 1e-8), np.full(n, 1e-3)])

    def surplus(time: float, y: Array) -> Array:
        """Grip of a standing wheel over its brake, far below zero where none stands."""
        standing = np.full((n, 1), y[0])
        grip = train.rail_force(standing, y[0], rail.friction)[:, 0]
        return np.where(is_locked, grip - train.brake_force(time), -1e9)

    def rests(_: float, y: Array) -> float:
        return y[0] - SLOWEST

    def locks(_: float, y: Array) -> float:
        return np.where(is_locked, 1.0, y[2 : 2 + n]).min()

    def grips(time: float, y: Array) -> float:
        return surplus(time, y).max()

    def crosses(_: float, y: Array) -> float:
        return border - y[1]

    events = (rests, locks, grips, crosses)
    for event, direction in zip(events, (-1, -1, 1, -1), strict=True):
        event.terminal, event.direction = True, direction  # type: ignore[attr-defined]
    for _ in range(20_000):
        border, at_border = rail.next_border()
        end = next((t for t in (train.ramp_start, train.ramp_end) if t > time + 1e-12), 1e4)
        part = solve_ivp(
            derivative(train, rail, is_locked),
            (time, end),
            y,
            method="Radau",
            events=events,
            rtol=RELATIVE_TOLERANCE,
            atol=tolerance,
            vectorized=True,
        )
        assert part.success, part.message
        time, y = part.t[-1], part.y[:, -1].copy()
        is_at_rest, has_locked, has_gripped, has_crossed = map(len, part.t_events)
        if is_at_rest:
            rate = derivative(train, rail, is_locked)(time, y[:, None])[0, 0]
            rail.cross(np.arange(n), y[2 + n :])
            distance = y[1] + 0.5 * y[0] ** 2 / -rate
            return PlainStop(distance, time + y[0] / -rate, lock_times, n_re_spins, rail.work)
        if has_locked:  # axles alike lock together
            new = ~is_locked & (y[2 : 2 + n] < 1e-6)
            lock_times += [time] * int(new.sum())
            is_locked = is_locked | new
            y[2 : 2 + n][new] = 0.0
        if has_crossed:
            rail.cross(at_border, y[2 + n :])
        freed = surplus(time, y) > (-1e-6 * train.full_brake if has_gripped else 0.0)
        n_re_spins += int(freed.sum())
        is_locked = is_locked & ~freed
    raise AssertionError("no standstill")


def plain_unit(rail: str) -> Scenario:
    """A shipped rail under its unit, without load transfer, its air at given rates."""
    return clean(rail).replace(
        {
            "train.vehicles.*.body_height": 0.0,
            "train.vehicles.*.pivot_height": 0.0,
            "brake.air": "ramps",
            "train.vehicles.*.main_reservoir_volume": 0.0,
            "train.vehicles.*.compressor_flow": 0.0,
            "train.vehicles.*.auxiliary_flow": 0.0,
        }
    )


def without_cleaning(rail: str) -> Scenario:
    scenario = plain_unit(rail)
    friction = scenario.rail.sections[0].friction
    return scenario.replace({"rail.sections.0.recovered_friction": friction})


def two_cars(rail: str) -> Scenario:
    """Eight axles on cells of 1 m, from 15 m/s: some 300 m, so 600 integrations."""
    scenario = plain_unit(rail)
    assert scenario.rail.cell_length == 1.0
    return scenario.replace(
        {
            "initial_speed": 15.0,
            "train.vehicles": scenario.train.vehicles[:2],
            "run.maximum_step": 0.01,  # half the default, whose error is 1.4e-6 here
        }
    )


# The bench claims a distance within 1e-3. Found is 7e-8 and better; asserted is 1e-6, so a mistake
# of a hundred-thousandth in brake, rail or resistance fails.
AGREEMENT = 1e-6


def test_adhering_stop_of_sixteen_axles_agrees() -> None:
    scenario = without_cleaning("wet")
    assert scenario.train.n_axles == 16 and scenario.rail.sections[0].friction_ratio < 1.0
    expected = plain_stop(scenario, has_cleaning=False)
    got = slipbench.simulate(scenario, by_name("none"), seed=1, with_traces=False).summary
    assert expected.lock_times == [] and max(got["locked_time"]) == 0.0
    assert got["stopping_distance"] == pytest.approx(expected.distance, rel=AGREEMENT)
    assert got["stopping_time"] == pytest.approx(expected.time, rel=AGREEMENT)


@pytest.mark.parametrize("rail", ["grease", "wet_leaf", "tough_film"])
def test_locking_stop_of_sixteen_axles_agrees(rail: str) -> None:
    """Two falling curves and a flat one; every wheel locks and stays locked."""
    scenario = without_cleaning(rail).replace(
        {"run.locked_wheel_speed": 1e-9, "run.locked_train_speed": 1e-9}
    )
    expected = plain_stop(scenario, has_cleaning=False)
    got = slipbench.simulate(scenario, by_name("none"), seed=1, with_traces=False).summary
    assert len(expected.lock_times) == scenario.train.n_axles and expected.n_re_spins == 0
    assert got["stopping_distance"] == pytest.approx(expected.distance, rel=AGREEMENT)
    assert got["stopping_time"] == pytest.approx(expected.time, rel=AGREEMENT)
    locked = sorted(expected.time - time for time in expected.lock_times)
    # the kernel's last parabola counts no lock: from 5 mm/s at 0.2 m/s2, at most 25 ms of 100 s
    assert sorted(got["locked_time"]) == pytest.approx(locked, abs=0.03)


@pytest.mark.parametrize(
    ("rail", "re_spins"), [("detergent", True), ("grease", False), ("wet_leaf", False)]
)
def test_stop_on_a_rail_being_cleaned_agrees(rail: str, re_spins: bool) -> None:
    """Cells read on entering, work committed on leaving; on detergent locked wheels roll again."""
    scenario = two_cars(rail)
    expected = plain_stop(scenario, has_cleaning=True)
    stop = slipbench.simulate(scenario, by_name("none"), seed=1, with_traces=False)
    assert len(expected.lock_times) >= scenario.train.n_axles
    assert (expected.n_re_spins > 0) is re_spins
    assert stop.summary["stopping_distance"] == pytest.approx(expected.distance, rel=AGREEMENT)
    rail = stop.rail_after
    first = round(rail.start)  # cells of 1 m are numbered by the metre they begin at
    work = np.array([expected.work.get(first + i, 0.0) for i in range(len(rail.work))])
    # a wheel that locks or rolls again some microseconds later moves up to 1e-4 of a cell's work
    assert np.abs(rail.work - work).max() < 3e-4 * work.max()
    # measured 2e-6 at the step of 10 ms where wheels roll again, else as the distance
    assert rail.work.sum() == pytest.approx(work.sum(), rel=5.0 * AGREEMENT)

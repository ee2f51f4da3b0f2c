"""What the unit that was measured is taken to be: masses, loads, brake gains, line."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from slipbench.contract import Floats
from slipbench.ground.csv_rows import csv_rows
from slipbench.ground.errors import InputError
from slipbench.ground.reading import place
from slipbench.ground.telling import shown
from slipbench.kernel.records import World
from slipbench.kernel.train import GRAVITY
from slipbench.packing import pack
from slipbench.scenario import GradientSection, Scenario
from slipbench.scenario.fields import FieldProblem
from slipbench.strategies.registry import find_controller

RISES = {"rise": 1.0, "rise_percent": 1e-2, "rise_permille": 1e-3}
"""Columns of a gradient file, over the ratio."""


@dataclass(frozen=True, eq=False)
class Unit:
    """A unit as designed; arrays are by axle, from the front, SI.

    Attributes
    ----------
    scenario : Scenario     the unit, its line (gradients) and a rail, its equipment clean
    offsets : (n,)          behind the train's front [m]
    loads : (n,)            of the axle at rest [N]
    rotating : (n,)         J / r2 [kg]
    gains : (n,)            rim force over pressing pressure, pads as the scenario says [N/Pa]
    mass : float            of the train, without the rotating part [kg]
    resistance : (a, b, c)  a + b v + c v2 [m/s2]
    spring, hysteresis : float   of the cylinders [Pa], [-]
    grades : (m, 2)         from distance [m], rise [-]
    """

    scenario: Scenario
    offsets: Floats
    loads: Floats
    rotating: Floats
    gains: Floats
    mass: float
    resistance: tuple[float, float, float]
    spring: float
    hysteresis: float
    grades: Floats
    bogies: Floats
    vehicles: Floats

    @property
    def n_axles(self) -> int:
        """Axles of the unit."""
        return len(self.offsets)

    @property
    def full_pressure(self) -> float:
        """Cylinder pressure at the emergency demand, laden. [Pa]"""
        return self.scenario.brake.full_pressure


def make_unit(scenario: Scenario) -> Unit:
    """Return what a scenario says of its unit, nothing drawn."""
    hysteresis = max(scenario.brake.hysteresis, scenario.equipment.condition.hysteresis)
    scenario = clean(scenario)
    world = make_world(scenario)
    axles, train = world.axles, world.train[0]
    constant = np.array([v.has_constant_friction for v in scenario.train.vehicles])
    if not constant.all():
        raise InputError(
            f"{scenario.name}: brakes whose friction changes with speed or heat (tread blocks, "
            "pads with such terms) are not read from logs yet; a disc brake of constant friction is"
        )
    return Unit(
        scenario=scenario,
        offsets=axles["offset"].copy(),
        loads=2.0 * axles["wheel_load"],
        rotating=axles["rotating_mass"].copy(),
        gains=axles["brake_gain"] * axles["pad_share"],
        mass=float(train["mass"]),
        resistance=(
            float(train["resistance_constant"]),
            float(train["resistance_linear"]),
            float(train["resistance_quadratic"]),
        ),
        spring=float(train["spring_pressure"]),
        hysteresis=hysteresis,
        grades=world.grades.copy(),
        bogies=axles["i_bogie"].astype(np.float64),
        vehicles=axles["i_vehicle"].astype(np.float64),
    )


def clean(scenario: Scenario) -> Scenario:
    """Return a scenario whose equipment is as designed."""
    given = {f.name: None for f in dataclasses.fields(scenario.equipment) if f.name != "grade"}
    changes = {f"equipment.{name}": value for name, value in given.items()}
    return scenario.replace({"equipment.grade": "clean", **changes})


def make_world(scenario: Scenario) -> World:
    """Return the kernel's records of a scenario, its slip control out."""
    return pack(scenario, find_controller("none").controller, 0, with_traces=False)


def rise_force(unit: Unit, place_of_front: Floats) -> Floats:
    """Return the pull of gravity, positive where it retards. [N]

    Parameters
    ----------
    place_of_front : (n,)   [m]
    """
    if len(unit.grades) == 0:
        return np.zeros_like(place_of_front)
    where = place_of_front[:, None] - unit.offsets
    i = np.searchsorted(unit.grades[:, 0], where, side="right") - 1
    rise = np.where(i >= 0, unit.grades[np.maximum(i, 0), 1], 0.0)
    return np.asarray((unit.loads * rise / np.sqrt(1.0 + rise * rise)).sum(axis=1))


def resistance_force(unit: Unit, speed: Floats) -> Floats:
    """Return the running resistance of the train. [N]"""
    a, b, c = unit.resistance
    return np.asarray(unit.mass * (a + speed * (b + speed * c)))


def moved_loads(unit: Unit, deceleration: Floats) -> Floats:
    """Return the load of every axle while the train slows. (n, n_axles) [N]

    Body and bogie pitch as in `slipbench.kernel.loads`, without their lag.
    """
    train = unit.scenario.train
    loads = np.tile(unit.loads, (len(deceleration), 1))
    first = 0
    for vehicle in train.vehicles:
        n, per = vehicle.n_axles, 2 if vehicle.bogie_wheelbase > 0.0 else 1
        centres = vehicle.bogie_centres
        mass = float(unit.loads[first : first + n].sum()) / GRAVITY
        body = mass - len(centres) * vehicle.bogie_mass
        spacing = centres[-1] - centres[0]
        lever = vehicle.body_height - vehicle.pivot_height
        by_body = body * lever / spacing / per if spacing > 0.0 else 0.0
        pitch = 0.0
        if per == 2:
            radius = vehicle.radii[0]
            pitch = body * vehicle.pivot_height / len(centres) + vehicle.bogie_mass * radius
            pitch /= vehicle.bogie_wheelbase
        for i in range(n):
            i_bogie = i // per
            end = 1.0 if i_bogie == 0 else -1.0 if i_bogie == len(centres) - 1 else 0.0
            side = 1.0 if i % per == 0 else -1.0
            loads[:, first + i] += (end * by_body + side * pitch) * deceleration
        first += n
    return np.maximum(loads, 0.05 * unit.loads)


def read_gradients(path: str | Path) -> tuple[GradientSection, ...]:
    """Read gradients along the track from CSV.

    Parameters
    ----------
    path : str or path   columns `distance_m`, from the train's front where the log begins, and one
                         of `rise` (a ratio), `rise_percent`, `rise_permille`; uphill is positive

    Raises
    ------
    InputError   one line: file, line, column
    """
    file = Path(path)
    rows = csv_rows(file, "a gradient file")
    names = [cell.strip() for cell in rows[0][1]] if rows else []
    column = next((name for name in names if name in RISES), None)
    if "distance_m" not in names or column is None or len(rows) < 2:
        raise InputError(
            f"{place(file)}: must have the columns distance_m and one of {', '.join(RISES)}, and a "
            "row at least"
        )
    sections = []
    for line, cells in rows[1:]:
        found = dict(zip(names, cells, strict=False))
        values = [_number(found.get(name, ""), f"{place(file)}: line {line}: {name}")
                  for name in ("distance_m", column)]  # fmt: skip
        try:
            sections.append(
                GradientSection(from_distance=values[0], rise=values[1] * RISES[column])
            )
        except FieldProblem as problem:
            raise InputError(
                f"{place(file)}: line {line}: {problem.key} = {problem.value}: {problem.detail}"
            ) from None
    return tuple(sections)


def _number(text: str, where: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise InputError(f"{where} = {shown(text)}: must be a number") from None


def with_gradients(scenario: Scenario, sections: Sequence[GradientSection]) -> Scenario:
    """Return a scenario on a line of these gradients; they must ascend."""
    return scenario.replace({"gradient": tuple(sections)})

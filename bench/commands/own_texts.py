"""What `check` prints of a train, a rail or a driver that can be used."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from slipbench.scenario import Scenario
    from slipbench.stop.abilities import Abilities

MOST_ROWS = 20
_MPH = 0.44704


def train_text(found: Abilities) -> str:
    """Return what a train can do on dry level rail, a row for each handle position."""
    from slipbench.results.tables import number, plain_table
    from slipbench.scenario.units import STANDARD_GRAVITY

    heads = ["handle", "demand\n[m/s2]", "[%g]", "reached\n[m/s2]", "adhesion\nneeded [-]",
             "by axle", "built up\n[s]",
             *(f"from {speed / _MPH:.0f} mph\n[m]" for speed in found.speeds)]  # fmt: skip
    rows = []
    for step in found.steps:
        low, high = int(step.adhesion.argmin()), int(step.adhesion.argmax())
        rows.append(
            [
                step.name,
                f"{step.demand:.2f}",
                f"{100 * step.demand / STANDARD_GRAVITY:.1f}",
                f"{step.reached:.3f}",
                f"{step.adhesion[low]:.3f} to {step.adhesion[high]:.3f}",
                f"{low + 1}, {high + 1}",
                number(step.built_up, 2),
                *(number(float(distance), 0) for distance in step.distances),
            ]
        )
    train, brake = found.scenario.train, found.scenario.brake
    said = f"{train.name}: {len(train.vehicles)} vehicles, {train.n_axles} axles, "
    said += f"{train.length:.0f} m, {train.mass / 1e3:.1f} t"
    if math.isinf(found.applications):
        air = f"Air by {brake.air}: reservoirs cannot run out."
    elif found.applications == 0:
        air = "Full reservoirs, not recharged, do not reach the full pressure in every car."
    else:
        air = (
            f"Full reservoirs give {found.applications:.0f} full applications without recharging "
            "(the car with the fewest)."
        )
    note = (
        "Dry level rail, equipment as designed, each position at once from the start. Adhesion:\n"
        "rail force over wheel load at 37.5 mph, load transfer included, least and most and their\n"
        "axles; built up: to 90 % of the braking force that settles."
    )
    lines = [said, "", plain_table(heads, rows), "", note, air, *_fades(found.scenario)]
    return "\n".join([*lines, *_forces(found)])


def _forces(found: Abilities) -> list[str]:
    """Return what dynamic and track brakes give at some speeds, and what that is of each step."""
    import numpy as np

    from slipbench.results.tables import plain_table
    from slipbench.stop.envelopes import find_envelopes

    own = find_envelopes(found.scenario, max(found.speeds), 1201)
    if not (own.has_dynamic or own.has_track):
        return []
    fades = [v.dynamic_brake.fade_from for v in found.scenario.train.vehicles if v.dynamic_brake]
    speeds = sorted({*found.speeds, *fades})
    heads, columns = ["from\n[mph]"], [[f"{speed / _MPH:.1f}" for speed in speeds]]

    def add(head: str, values: Any, factor: float, n_digits: int) -> None:
        heads.append(head)
        there = np.interp(speeds, own.speed, values) * factor
        columns.append([f"{value:.{n_digits}f}" for value in there])

    if own.has_dynamic:
        total = own.dynamic.sum(axis=0)
        add("dynamic\n[kN]", total, 1e-3, 1)
        add("\n[m/s2]", total / found.scenario.train.mass, 1.0, 2)
        for i, step in enumerate(found.steps):
            if own.is_blended[i]:
                add(f"of {step.name}\n[%]", own.carried(i), 100.0, 0)
    if own.has_track:
        add("track brakes\nclean [kN]", own.track, 1e-3, 1)
        add("\non film [kN]", own.track_on_film, 1e-3, 1)
    said = "Greatest force of the whole train at a speed"
    said += ", and the share of each step it can carry; air fills the rest:" * own.has_dynamic
    table = plain_table(heads, [list(row) for row in zip(*columns, strict=True)])
    return ["", f"{said.rstrip(':')}:", "", table]


def _fades(scenario: Scenario) -> list[str]:
    """Return where dynamic brakes fade, a line for those alike."""
    alike: dict[tuple[float, float], int] = {}
    for vehicle in scenario.train.vehicles:
        brake = vehicle.dynamic_brake
        if brake is not None:
            place = (brake.fade_from, brake.fade_to)
            alike[place] = alike.get(place, 0) + len(vehicle.motored_axles)
    return [
        f"Dynamic brake of {n} axles: fades from {a / _MPH:.1f} to {b / _MPH:.1f} mph."
        for (a, b), n in alike.items()
    ]


def rail_text(scenario: Scenario) -> str:
    """Return the sections of a rail and what else decides on it."""
    from slipbench.results.tables import plain_table

    rail = scenario.rail
    heads = ["section\nfrom [m]", "friction\n[-]", "recovered\n[-]", "W0\n[kJ/m]", "falls to\n[-]",
             "decay\n[s/m]"]  # fmt: skip
    drawn = "drawn" if rail.random is not None else ""
    rows: list[list[str] | str] = [
        [
            f"{section.from_distance:g}",
            drawn or f"{section.friction:.4g}",
            f"{section.recovered_friction:.4g}",
            f"{section.cleaning_work / 1e3:.4g}"
            if section.recovered_friction > section.friction or drawn
            else "-",
            f"{section.friction_ratio:.3g}",
            f"{section.friction_decay:.3g}",
        ]
        for section in rail.sections[:MOST_ROWS]
    ]
    left = len(rail.sections) - MOST_ROWS
    rows += [f"... and {left} more sections"] if left > 0 else []
    said = [f"creep law {scenario.contact.law}, cleaning law {rail.cleaning_law}"]
    if rail.random is not None:
        law = rail.random
        said.append(
            f"friction drawn, seed {law.seed}: median {law.median_friction:g}, "
            f"{law.lowest_friction:g} to {law.highest_friction:g}"
        )
    for name, sections in (("gradient", scenario.gradient), ("curve", scenario.curves)):
        said += [f"{len(sections)} {name} sections"] if sections else []
    return f"{plain_table(heads, rows, n_left=0)}\n\n{'; '.join(said)}"


def driver_text(scenario: Scenario) -> str:
    """Return what the driver does, a row a movement, with a shipped brake of a few steps."""
    from slipbench.results.tables import plain_table

    brake, driver = scenario.brake, scenario.driver
    names = {0: "release", brake.emergency_position: "emergency"}
    rows: list[list[str] | str] = []
    for entry in driver.programme[:MOST_ROWS]:
        causes = {
            f"at {entry.at_time} s": entry.at_time,
            f"at {entry.at_speed} m/s": entry.at_speed,
            f"at {entry.at_distance} m": entry.at_distance,
            f"{entry.after} s later": entry.after,
        }
        cause = next(text for text, value in causes.items() if value is not None)
        level = "" if entry.level is None else f", level {entry.level:g}"
        rows.append([cause, names.get(entry.position, f"step {entry.position}") + level])
    left = len(driver.programme) - MOST_ROWS
    rows += [f"... and {left} more movements"] if left > 0 else []
    note = f"Steps as of a brake with {brake.n_steps}: full service is its last."
    if driver.easing is not None:
        note += f" Eases to position {driver.easing.position} when slip control works."
    return f"{plain_table(['when', 'handle'], rows, n_left=2)}\n\n{note}"

"""Every number a stop, a comparison or a campaign returns: name, unit, meaning, where from.

This one table feeds the printed summary, the heads of CSV files, JSON, the frames and datasets of
other libraries, the tooltips of pages and the handbook; a test finds what is missing in it.
Values are SI; a head of a file carries the unit as well (`stopping_distance_m`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from slipbench.scenario.units import DIMENSIONS

SCHEMA_VERSION = 1
"""Of all JSON this program writes; grows when a name, a unit or the shape of a file changes."""

SCHEMA = "schema_version"
"""Key of `SCHEMA_VERSION` in JSON."""

UNITS = "units"
"""Key under which JSON says the unit of each of its names."""

STOP, TRAIN, AXLES, SANDERS, BANDS, TRACE, AXLE_TRACE, COMPARED, RUN = (
    "stop", "train", "a value an axle", "a value a sander", "a value a creepage band",
    "over time", "over time, a value an axle", "comparison", "run",
)  # fmt: skip
"""What a quantity is of."""


class Quantity(NamedTuple):
    """One result.

    `unit` is "-" for a ratio or a count and empty for text, truth values and names; `of` is one of
    the words above; `origin` says which part of the bench makes it.
    """

    name: str
    unit: str
    meaning: str
    of: str
    origin: str

    @property
    def is_list(self) -> bool:
        """Whether its value is a list."""
        return self.of in (AXLES, SANDERS, BANDS)


def _table(of: str, origin: str, *rows: tuple[str, str, str]) -> tuple[Quantity, ...]:
    return tuple(Quantity(name, unit, meaning, of, origin) for name, unit, meaning in rows)


SUMMARY: tuple[Quantity, ...] = (
    *_table(
        STOP, "kernel: the train's motion",
        ("stopping_distance", "m", "way from the start to standstill; none if it did not stop"),
        ("stopping_time", "s", "time from the start to standstill; none if it did not stop"),
        ("is_stopped", "", "whether the train came to a stand within the scenario's limits"),
        ("mean_deceleration", "m/s2", "initial speed squared over twice the stopping distance"),
        ("final_distance", "m", "way run when the simulation ended, stopped or not"),
        ("final_time", "s", "time when the simulation ended"),
        ("final_speed", "m/s", "train speed when the simulation ended"),
        ("energy_residual", "-",
         "energy the stop does not account for, over the initial kinetic energy"),
        ("contact_energy", "J", "heat of sliding between wheels and rails, all axles"),
        ("brake_energy", "J", "heat of the friction brakes, all axles"),
        ("dynamic_energy", "J", "what the dynamic brakes took at the rims, all axles"),
        ("recovered_energy", "J", "of that into the line, losses of motor and gear not taken off"),
        ("resistor_energy", "J", "of that into resistors"),
        ("track_energy", "J", "work of the track brakes on the rails"),
        ("track_cleaning", "J", "of that what cleaned one rail"),
        ("dynamic_cut_outs", "-", "drives cut out or handed over to friction on a slide"),
        ("n_steps", "-", "time steps of the computation"),
        ("n_axle_steps", "-", "pieces of time computed, summed over axles"),
    ),
    *_table(
        STOP, "measures: adhesion",
        ("adhesion_utilisation", "-",
         "work of the braking forces over usable work, the train's mean; misleads alone"),
        ("demanded_adhesion", "-", "adhesion the brakes demand, mean over axles and braked way"),
        ("used_adhesion", "-", "adhesion used, mean over axles and braked way"),
        ("peak_adhesion", "-", "peak of the creep curve met, mean over axles and braked way"),
        ("initial_adhesion", "-", "adhesion used where the first slides began, mean over axles"),
        ("re_spin_work", "J", "work of rail forces beyond the usable one while wheels spin up"),
    ),
    *_table(
        AXLES, "measures: adhesion",
        ("adhesion_utilisation_by_axle", "-", "work of the braking force over usable work"),
    ),
    *_table(
        STOP, "measures: slide and locks",
        ("longest_lock", "s", "longest time a wheel stayed locked"),
        ("longest_lock_speed", "m/s", "train speed where the longest lock began"),
        ("longest_lock_axle", "-", "axle of the longest lock, from 1; 0 without a lock"),
        ("longest_lock_time", "s", "when the longest lock began"),
    ),
    *_table(
        AXLES, "measures: slide and locks",
        ("locked_time", "s", "time locked, all locks together"),
        ("locked_distance", "m", "way run while locked"),
        ("locked_energy", "J", "heat of sliding while locked"),
        ("n_locks", "-", "number of locks"),
        ("sliding_time", "s", "time sliding"),
        ("sliding_distance", "m", "way run while sliding"),
    ),
    *_table(
        BANDS, "measures: slide and locks",
        ("time_by_slide_depth", "s",
         "time of all axles in the creepage bands 0, .05, .1, .2, .4, .8 and 1"),
    ),
    *_table(
        AXLES, "measures: wheels",
        ("flat_length_low", "m", "length of the longest flat, low end of the band"),
        ("flat_length_high", "m", "length of the longest flat, high end of the band"),
        ("flat_depth_high", "m", "depth of that flat by the chord, high end of the band"),
        ("martensite", "-", "hardening under a locked wheel: 0 none, 1 possible, 2 likely"),
        ("dragged_distance", "m", "way slid while nearly locked"),
    ),
    *_table(
        STOP, "measures: wheels",
        ("flat_risk", "-", "index 0 to 1 from the top of the flats' band; a half at the limit"),
        ("withdrawn_surely", "-", "axles over the reference limit at the low end of the band"),
        ("withdrawn_perhaps", "-", "axles over the reference limit at the high end of the band"),
    ),
    *_table(
        STOP, "measures: temperature",
        ("flash_temperature", "K", "hottest contact of a turning, sliding wheel above its body"),
        ("dragged_depth_high", "m", "worn off a nearly locked wheel all around, high end of band"),
        ("locked_temperature", "K", "hottest spot of a locked wheel above its body"),
        ("tread_temperature", "K", "hottest tread, its mean above ambient"),
        ("brake_temperature", "K", "hottest disc, or tread where blocks brake, above ambient"),
    ),
    *_table(
        STOP, "measures: air",
        ("vent_count", "-", "vent commands of all axles"),
        ("air_vented", "kg", "air vented by slip control"),
        ("air_vented_litres", "normal litres", "the same at 20 degrees C and 100 kPa"),
        ("lowest_reservoir", "Pa", "lowest reservoir pressure; none where it is not modelled"),
        ("next_application", "-",
         "share of a full application the reservoirs still give; none where not modelled"),
        ("lowest_main_pressure", "Pa", "lowest main pipe pressure, gauge; none where kept up"),
        ("air_compressed", "kg", "air the compressors made; none where the pipe is kept up"),
        ("recharge_time", "s", "time compressors need to bring all reservoirs back; none if never"),
        ("air_residual", "-", "air the stop does not account for, over what was moved"),
        ("low_speed_vents", "-", "vents begun below 6 mph"),
        ("restored_brakes", "-", "vents ended because they had lasted too long"),
        ("short_pulses", "-", "commands over before the valve could move"),
    ),
    *_table(AXLES, "measures: air", ("vents_by_axle", "-", "vent commands")),
    *_table(
        STOP, "measures: rail",
        ("rail_heat_largest", "J/m", "largest heat under locked wheels on a metre of one rail"),
        ("rail_heat_place", "m", "where that is, from where the train's front began"),
        ("rail_heat_length", "m", "length of rail that took over a tenth of the largest heat"),
    ),
    *_table(
        SANDERS, "kernel: sanding",
        ("sand_used", "kg", "sand laid on one rail"),
    ),
    *_table(
        STOP, "kernel: sanding",
        ("sand_under_rear_axles", "kg/m", "most sand left under the last two axles, of one rail"),
        ("emptied_sanders", "-", "sanders whose hopper ran empty"),
    ),
    *_table(
        STOP, "measures: ride and cab",
        ("largest_jerk", "m/s3", "largest jerk of the train"),
        ("final_jerk", "m/s3", "largest jerk below 5 m/s, the jolt of the stop itself left out"),
        ("speedometer_error", "m/s", "speed shown less the true one, where furthest off"),
        ("speedometer_wrong_time", "s", "time the speed shown was off by more than 5 mph"),
        ("overrun", "m", "way past the stopping point, negative short of it; none without"),
        ("point_speed", "m/s", "train speed at the stopping point; none without a point"),
        ("time_lost", "s", "time lost against a full-service stop that begins late"),
        ("emergency_time", "s", "time with the handle at emergency"),
        ("isolated_time", "s", "time with slip control isolated by the driver"),
        ("ignored_presses", "-", "presses of the isolation button, handle not in emergency"),
        ("hold_margin", "N", "force that holds the train at rest, less the pull of the gradient"),
    ),
)  # fmt: skip
"""Names of `Stop.summary`, grouped by what they say."""

TRACES: tuple[Quantity, ...] = (
    *_table(
        TRACE, "kernel: traces",
        ("time", "s", "time since the start"),
        ("distance", "m", "way run by the train's front"),
        ("train_speed", "m/s", "speed of the train"),
        ("demand", "-", "share of the emergency demand now acting"),
        ("handle", "-", "handle position, 0 release"),
        ("isolation_left", "s", "time slip control stays isolated"),
        ("reservoir", "Pa", "lowest reservoir pressure, gauge"),
        ("track_force", "N", "force of all track brakes"),
    ),
    *_table(
        AXLE_TRACE, "kernel: traces",
        ("wheel_speed", "m/s", "speed of the wheel's rim"),
        ("pressure", "Pa", "brake cylinder pressure, gauge"),
        ("brake_force", "N", "force of the brake at the rim; of a locked wheel, that of the rail"),
        ("rail_force", "N", "force of both wheels on the rail"),
        ("friction", "-", "static friction where the wheels stand"),
        ("usable_force", "N", "lesser of the creep curve's peak and the net demanded rim force"),
        ("valve", "-", "valve position: 0 fill, 1 hold, 2 vent"),
        ("measured_wheel_speed", "m/s", "rim speed as the sensor tells it"),
        ("contact_energy", "J", "heat of sliding so far"),
        ("dynamic_force", "N", "the drive's part of the brake's force, at the rim"),
    ),
)  # fmt: skip
"""Names of `Stop.traces`."""

BESIDE: tuple[Quantity, ...] = (
    *_table(
        RUN, "the run",
        ("scenario", "", "name of the scenario"),
        ("strategy", "", "name of the strategy, with the parameters given"),
        ("seed", "-", "seed of the run"),
        ("uses_truth", "", "whether the strategy sees the truth, and is ranked apart"),
        ("initial_speed", "m/s", "train speed at the start"),
        ("candidate", "", "label of the candidate, a strategy with one setting, in a campaign"),
        ("machine", "", "hash of the machine it ran on"),
        ("duration", "s", "what the stop took to compute"),
        ("scenario_hash", "", "hash of the scenario"),
        ("source_hash", "", "hash of the strategy's sources and declarations"),
    ),
    *_table(
        COMPARED, "comparison: yardsticks",
        ("shortest_possible", "m", "a distance no strategy can stop within; none where unknown"),
        ("best_found", "m", "shortest stop a search that knows all has found; none if not kept"),
        ("dry_distance", "m", "the same stop on dry rail without slip control"),
    ),
)  # fmt: skip
"""What stands beside a summary in rows of comparisons and campaigns."""

QUANTITIES: dict[str, Quantity] = {q.name: q for q in (*SUMMARY, *BESIDE)}
"""Names of summaries and rows."""

TRACED: dict[str, Quantity] = {q.name: q for q in TRACES}

_SUFFIXES = {unit.text: unit.suffix for units in DIMENSIONS.values() for unit in units} | {
    "-": "", "": "", "normal litres": "", "J": "j", "K": "k", "N": "n", "m/s3": "m_per_s3",
}  # fmt: skip


def head(name: str) -> str:
    """Return the head of a column of a file: the name, and its unit unless it has none.

    An item of a list (`locked_time.1`) keeps its number at the end.

    Examples
    --------
    >>> head("stopping_distance"), head("locked_time.1"), head("flat_risk")
    ('stopping_distance_m', 'locked_time_s.1', 'flat_risk')
    """
    stem, dot, number = name.rpartition(".")
    if not number.isdigit():
        stem, dot, number = name, "", ""
    quantity = QUANTITIES.get(stem)
    suffix = _SUFFIXES.get(quantity.unit, "") if quantity else ""
    return f"{stem}_{suffix}{dot}{number}" if suffix else name


def trace_head(name: str, i_axle: int | None = None) -> str:
    """Return the head of a column of a trace, of one axle where it has a value an axle.

    Examples
    --------
    >>> trace_head("train_speed"), trace_head("wheel_speed", 0)
    ('train_speed_m_per_s', 'wheel_speed_m_per_s.1')
    """
    suffix = _SUFFIXES.get(TRACED[name].unit, "")
    number = "" if i_axle is None else f".{i_axle + 1}"
    return f"{name}_{suffix}{number}" if suffix else f"{name}{number}"


def units_of(names: Iterable[str]) -> dict[str, str]:
    """Return the unit of each of the names that has one, for JSON."""
    found = ((name, QUANTITIES.get(name)) for name in names)
    return {name: quantity.unit for name, quantity in found if quantity and quantity.unit}


def with_unit(name: str, value: float, decimals: int) -> str:
    """Return a value of a summary as text, with its unit."""
    unit = QUANTITIES[name].unit
    return f"{value:.{decimals}f}{f' {unit}' if unit != '-' else ''}"


def flat(summary: Mapping[str, Any]) -> dict[str, Any]:
    """Return a summary with a name for each item of a list, counted from 1: `locked_time.1`."""
    record: dict[str, Any] = {}
    for name, value in summary.items():
        if isinstance(value, list):
            record |= {f"{name}.{i}": item for i, item in enumerate(value, start=1)}
        else:
            record[name] = value
    return record

"""What an engineer would circle in red: a short list in plain words, the gravest first."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from slipbench.measures.limits import REFERENCE_LIMIT
from slipbench.measures.locks import MARTENSITE_WORDS
from slipbench.stop.fault_findings import fault_findings
from slipbench.stop.finding import MPH, Finding, at, values_at

if TYPE_CHECKING:
    from slipbench.contract import Floats
    from slipbench.scenario import Scenario
    from slipbench.stop.worth import Worth


HOT_BRAKE = 350.0
"""Rise of discs or treads above ambient that is worth a finding (assumed). [K]"""

WRONG_SPEEDOMETER = 10.0 * MPH
"""Speedometer error worth a finding (assumed). [m/s]"""

HARD_JERK = 0.75
"""Jerk below 5 m/s that passengers mind (assumed; common practice, no source). [m/s3]"""

HOT_RAIL = 1e3
"""Heat under locked wheels, per metre of one rail, worth a finding (assumed). [J/m]"""

LOW_MAIN_PIPE = 5.5e5
"""Main pipe below which a full service brake is forced (a rule, seen second-hand). [Pa]"""

LONG_DRAG = 50.0
"""Way of a nearly locked wheel that is worth a finding (assumed). [m]"""

LONG_LOSS = 30.0
"""Time lost against the normal stop worth a finding (assumed). [s]"""


def find(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> tuple[Finding, ...]:
    """Return the findings of a stop, the gravest first.

    Parameters
    ----------
    scenario : Scenario
    summary : mapping     of the stop: how it ended
    worth : Worth         of the stop
    """
    found: list[Finding] = []
    for look in (
        _ending, _roll_away, _overrun, _flats, _martensite, _lock, _drag, _rail, _isolation,
        _emergency, _air, _main_pipe, _drives, _vent_limit, _pulses, _low_speed, _hot_brakes,
        _speedometer, _jerk, _lost_time, _left_out,
    ):  # fmt: skip
        found += look(scenario, summary, worth)
    return (*found, *fault_findings(scenario, worth))


def _ending(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    if summary["is_stopped"]:
        return
    time, speed = float(summary["final_time"]), float(summary["final_speed"])
    place = float(summary["final_distance"])
    text = f"The train did not stop: {speed:.1f} m/s left after {place:.0f} m, {time:.0f} s."
    yield Finding("not stopped", text, None, time, speed, place, "m")


def _roll_away(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    margin = worth.ride.hold_margin
    if margin < 0.0:
        text = (
            f"At rest the train does not hold: the gradient pulls {-1e-3 * margin:.1f} kN more than"
            " its brakes, as they stand, and the rail carry; it would roll away."
        )
        yield Finding("roll-away", text, None, summary["final_time"], 0.0, margin, "N")


def _overrun(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    ride = worth.ride
    if not ride.overrun > 0.0:
        return
    passed = f", passed {at(ride.point_time, ride.point_speed)}"
    end = "came to rest" if summary["is_stopped"] else "was still moving"
    text = f"The train {end} {ride.overrun:.1f} m past its stopping point{passed}."
    yield Finding("overrun", text, None, ride.point_time, ride.point_speed, ride.overrun, "m")


def _flats(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    over = worth.wheels.over_limit()
    if not over.perhaps:
        return
    length, slide = worth.wheels.flat_length, worth.slide
    i_axle = int(np.argmax(length.high))
    low, high = 1e3 * float(length.low[i_axle]), 1e3 * float(length.high[i_axle])
    verdict = "surely" if i_axle in over.surely else "perhaps"
    time, speed = values_at(i_axle, slide.longest_lock_time, slide.longest_lock_speed)
    text = (
        f"Axle {i_axle + 1}: a flat of {low:.0f} to {high:.0f} mm from its lock {at(time, speed)};"
        f" the limit of {1e3 * REFERENCE_LIMIT.single_length:.0f} mm ({REFERENCE_LIMIT.document})"
        f" is {verdict} reached; axles to withdraw: {len(over.surely)} surely,"
        f" {len(over.perhaps)} perhaps."
    )
    yield Finding("flat over limit", text, i_axle + 1, time, speed, high, "mm")


def _martensite(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    flags, rises = worth.wheels.martensite, worth.wheels.locked_temperature
    if not flags.any():
        return
    i_axle = int(np.lexsort((rises, flags))[-1])
    time, speed = values_at(i_axle, worth.slide.longest_lock_time, worth.slide.longest_lock_speed)
    rise = float(rises[i_axle])
    text = (
        f"Axle {i_axle + 1}: martensite {MARTENSITE_WORDS[flags[i_axle]]}: its locked spot rose by"
        f" up to {rise:.0f} K and cooled fast; longest lock {at(time, speed)};"
        f" {int((flags > 0).sum())} axles in all."
    )
    yield Finding("martensite", text, i_axle + 1, time, speed, rise, "K")


def _lock(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    longest = worth.slide.longest
    if longest is None:
        return
    n_locked = int((worth.slide.n_locks > 0).sum())
    axle, time, speed = longest.i_axle + 1, longest.start_time, longest.start_speed
    text = (
        f"Axle {axle} was locked for {longest.duration:.2f} s, the longest lock, from"
        f" {at(time, speed)[3:]} on; {int(worth.slide.n_locks.sum())} locks on {n_locked} axles."
    )
    yield Finding("longest lock", text, axle, time, speed, longest.duration, "s")


def _drag(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    drag = worth.drag
    i_axle = int(np.argmax(drag.distance))
    way, turns = float(drag.distance[i_axle]), float(drag.turns[i_axle])
    if way < LONG_DRAG:
        return
    time, speed = values_at(i_axle, drag.time, drag.speed)
    low, high = (1e6 * float(side[i_axle]) for side in drag.depth)
    n_dragged = int((drag.distance >= LONG_DRAG).sum())
    text = (
        f"Axle {i_axle + 1} was dragged nearly locked for {way:.0f} m in {turns:.1f} turns, first"
        f" {at(time, speed)}: no flat, but {low:.0f} to {high:.0f} micrometres worn off all"
        f" around; {n_dragged} axles in all."
    )
    yield Finding("dragged wheel", text, i_axle + 1, time, speed, way, "m")


def _rail(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    rail = worth.rail
    if rail.largest < HOT_RAIL:
        return
    text = (
        f"Rail: locked wheels left up to {1e-3 * rail.largest:.1f} kJ on a metre of each rail,"
        f" {rail.worst_place:.0f} m from where the front began; {rail.heated_length:.0f} m took"
        " more than a tenth of that."
    )
    yield Finding("rail heat", text, None, math.nan, math.nan, rail.largest, "J/m")


def _isolation(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    ride = worth.ride
    if ride.isolated_time > 0.0:
        time, speed = ride.isolation_start_time, ride.isolation_start_speed
        late = " (below 20 mph)" if speed < 20.0 * MPH else ""
        text = (
            f"Slip control was isolated {at(time, speed)}{late} and out for"
            f" {ride.isolated_time:.1f} s under way: axles were locked for"
            f" {ride.isolated_locked_time:.1f} s in all meanwhile, over"
            f" {ride.isolated_locked_distance:.0f} m of wheel drag."
        )
        yield Finding(
            "slip control isolated", text, None, time, speed, ride.isolated_locked_time, "s"
        )
    if ride.n_ignored_presses:
        text = (
            f"{ride.n_ignored_presses} presses of the isolation button were ignored: the handle was"
            " not in emergency."
        )
        yield Finding(
            "press ignored", text, None, math.nan, math.nan, float(ride.n_ignored_presses), "-"
        )


def _emergency(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    ride = worth.ride
    if ride.emergency_eased_time > 0.0:
        time, speed = ride.emergency_eased_time, ride.emergency_eased_speed
        text = (
            f"Emergency, selected {at(ride.emergency_start_time, ride.emergency_start_speed)}, was"
            f" eased again {at(time, speed)}: an emergency brake is not for service, and easing it"
            " under way gives away what it was selected for."
        )
        yield Finding("emergency eased", text, None, time, speed, ride.emergency_time, "s")
    if not ride.is_emergency_at_end:
        return
    time, speed = ride.emergency_start_time, ride.emergency_start_speed
    text = (
        f"Emergency, selected {at(time, speed)}, was left in to standstill, for"
        f" {ride.emergency_time:.1f} s."
    )
    yield Finding("emergency to standstill", text, None, time, speed, ride.emergency_time, "s")


def _air(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    share = worth.air.next_application
    if not (np.isfinite(share).any() and np.nanmin(share) < 1.0):
        return
    i_vehicle = int(np.nanargmin(share))
    time, speed = worth.air_times[i_vehicle].tolist()
    lowest = 1e-5 * float(worth.air.lowest_reservoir[i_vehicle])
    text = (
        f"Vehicle {i_vehicle + 1}: low air: reservoir down to {lowest:.2f} bar {at(time, speed)};"
        f" a full application after release would reach {100.0 * float(share[i_vehicle]):.0f} % of"
        " its pressure."
    )
    wait = worth.air.recharge_time
    if math.isfinite(wait):
        text = f"{text[:-1]}; the compressors need {wait:.0f} s to charge all reservoirs again."
    elif np.isfinite(worth.air.lowest_main).any():
        text = f"{text[:-1]}; the compressors do not recharge them."
    yield Finding("low air", text, None, time, speed, lowest, "bar")


def _main_pipe(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    lowest = worth.air.lowest_main
    if not (np.isfinite(lowest).any() and np.nanmin(lowest) < LOW_MAIN_PIPE):
        return
    i_vehicle, bar = int(np.nanargmin(lowest)), 1e-5 * float(np.nanmin(lowest))
    text = (
        f"Vehicle {i_vehicle + 1}: the main pipe fell to {bar:.2f} bar; below"
        f" {1e-5 * LOW_MAIN_PIPE:.1f} bar units brake of themselves (a rule seen second-hand),"
        " which is not simulated."
    )
    yield Finding("low main pipe", text, None, math.nan, math.nan, bar, "bar")


def _vent_limit(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    vents = worth.vents
    if not vents.restored.any():
        return
    yield _first_of(
        "vent limit",
        "the equipment's vent limit put the brake back on",
        "",
        (vents.restored, vents.restored_time, vents.restored_speed),
    )


def _pulses(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    short = worth.vents.short
    if not short.any():
        return
    i_axle = int(np.argmax(short))
    condition = scenario.equipment.condition
    shortest = 1e3 * max(scenario.brake.shortest_pulse, condition.shortest_pulse)
    text = (
        f"Axle {i_axle + 1}: {int(short[i_axle])} commands were over before its valve could move,"
        f" within {shortest:.0f} ms, and did nothing; {int(short.sum())} on"
        f" {int((short > 0).sum())} axles."
    )
    yield Finding("short pulses", text, i_axle + 1, math.nan, math.nan, float(short.sum()), "-")


def _drives(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    use = worth.drives
    is_out = use.out_speed > 0.0
    if not is_out.any():
        return
    i_drive = int(np.argmin(np.where(is_out, use.out_time, math.inf)))
    time, speed = values_at(i_drive, use.out_time, use.out_speed)
    text = (
        f"Vehicle {int(use.vehicle[i_drive]) + 1}: the dynamic brake gave way on a slide, first"
        f" {at(time, speed)}; {int(is_out.sum())} of {len(is_out)} drives did."
    )
    yield Finding("dynamic brake out", text, None, time, speed, float(is_out.sum()), "-")


def _first_of(kind: str, what: str, more: str, events: tuple[Floats, Floats, Floats]) -> Finding:
    """Tell of an event its first place and its number; `events`: counts, first times, speeds."""
    counts, times, speeds = events
    i_axle = int(np.argmin(np.where(counts > 0, times, math.inf)))
    time, speed = values_at(i_axle, times, speeds)
    total, n_axles = int(counts.sum()), int((counts > 0).sum())
    text = (
        f"Axle {i_axle + 1}: {what}, first {at(time, speed)}; {total} times on {n_axles} axles"
        f"{more}."
    )
    return Finding(kind, text, i_axle + 1, time, speed, float(total), "-")


def _low_speed(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    vents = worth.vents
    if not vents.low_speed.any():
        return
    yield _first_of(
        "low-speed activity",
        "slip control vented below 6 mph",
        "; it should not, and is to be reported",
        (vents.low_speed, vents.low_speed_time, vents.low_speed_speed),
    )


def _hot_brakes(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    heat = worth.heat
    i_axle = int(np.argmax(heat.brake))
    rise = float(heat.brake[i_axle])
    if rise < HOT_BRAKE:
        return
    time, speed = values_at(i_axle, heat.brake_time, heat.brake_speed)
    n_hot = int((heat.brake >= HOT_BRAKE).sum())
    text = (
        f"Axle {i_axle + 1}: hot brake: its discs or treads were {rise:.0f} K above ambient"
        f" {at(time, speed)}; {n_hot} axles above {HOT_BRAKE:.0f} K."
    )
    yield Finding("hot brake", text, i_axle + 1, time, speed, rise, "K")


def _speedometer(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    ride = worth.ride
    error = ride.speedometer_error
    if abs(error) < WRONG_SPEEDOMETER:
        return
    time, speed = ride.speedometer_error_time, ride.speedometer_error_speed
    text = (
        f"Cab: the speedometer (axle 1) showed {max(speed + error, 0.0) / MPH:.0f} mph when the"
        f" train did {speed / MPH:.0f} mph, at {time:.1f} s; more than 5 mph off for"
        f" {ride.speedometer_wrong_time:.0f} s."
    )
    yield Finding("speedometer", text, 1, time, speed, error, "m/s")


def _jerk(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    ride = worth.ride
    if ride.final_jerk < HARD_JERK:
        return
    time, speed = ride.final_jerk_time, ride.final_jerk_speed
    text = f"Jerk of {ride.final_jerk:.2f} m/s3 {at(time, speed)}: passengers notice."
    yield Finding("jerk", text, None, time, speed, ride.final_jerk, "m/s3")


def _lost_time(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    lost = worth.ride.time_lost
    if not lost >= LONG_LOSS:
        return
    text = f"{lost:.0f} s were lost against a normal full-service stop at the same place."
    yield Finding("time lost", text, None, summary["final_time"], 0.0, lost, "s")


def _left_out(scenario: Scenario, summary: Mapping[str, Any], worth: Worth) -> Iterator[Finding]:
    left = worth.left_out
    if left.n_unsampled:
        text = (
            f"{left.n_unsampled} locks, the first {at(left.time, left.speed)}, found no room for"
            " all their samples: their heat is spread over what was left of them, so their"
            " temperature is too low."
        )
        yield Finding(
            "locks not sampled", text, None, left.time, left.speed, float(left.n_unsampled), "-"
        )
    if left.n_unlogged:
        text = (
            f"{left.n_unlogged} locks found no room at all, {left.distance:.0f} m of wheel drag:"
            " their flats and their heat are left out."
        )
        yield Finding("locks left out", text, None, math.nan, math.nan, float(left.n_unlogged), "-")

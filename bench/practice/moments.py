"""Moments of a driven stop worth telling, found from its traces, in plain words."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from slipbench.contract import Floats
from slipbench.figures.stop_sheet import creepage
from slipbench.stop.stop import Stop

MPH, YARD = 0.44704, 0.9144

N_TOLD = 3
"""Moments a debrief tells."""

LOOK, FELT, CALM = 3.0, 1.5, 0.5
"""How far before a movement is looked, how long the next takes to be felt [s]; the share of the
cleaning work [-] below which it is told that wheels stopped cleaning. All assumed."""

LATEST = 10.0
"""How long after an easing its effect is looked for (assumed). [s]"""

LOW_SPEED = 6.0 * MPH
"""Slip control at work below it is to be reported (common practice, no source). [m/s]"""


@dataclass(frozen=True)
class Moment:
    """One thing that happened: when [s], in words, and its weight (the larger is told first)."""

    time: float
    text: str
    weight: float


def moments(you: Stop, held: Stop | None) -> list[Moment]:
    """Return the moments that tell most, in the order of time.

    Parameters
    ----------
    you : Stop           as driven, with traces
    held : Stop or None  the same stop held; None where the brake was never applied

    Returns
    -------
    list of Moment   three of them, fewer where less happened
    """
    found = [
        *_easings(you), *_isolations(you), *_locks(you), *_low_vents(you), *_beginning(you),
        *_gauge(you), *_speedometer(you), *_behind(you, held),
    ]  # fmt: skip
    chosen = sorted(found, key=lambda moment: -moment.weight)[:N_TOLD]
    return sorted(chosen, key=lambda moment: moment.time)


def movements(stop: Stop) -> list[tuple[float, int, int]]:
    """Return every movement of the handle: time [s], position before and after."""
    before, found = 0, []
    for entry in stop.scenario.driver.programme:
        if entry.at_time is not None and entry.position != before:
            found.append((entry.at_time, before, entry.position))
            before = entry.position
    return found


def cleaning_work(stop: Stop) -> Floats:
    """Return the work of all wheels between wheel and rail per metre of the way. (n,) [J/m]"""
    energy = stop.traces["contact_energy"].sum(axis=1)
    way = np.maximum(np.diff(stop.traces["distance"]), 1e-3)
    work: Floats = np.concatenate([np.diff(energy) / way, [0.0]])
    return work


def position_word(position: int, stop: Stop) -> str:
    """Return a handle position in words."""
    if position == 0:
        return "release"
    return "emergency" if position > stop.scenario.brake.n_steps else f"step {position}"


def _row(stop: Stop, time: float) -> int:
    return int(np.searchsorted(stop.traces["time"], time).clip(0, len(stop.traces["time"]) - 1))


def _between(stop: Stop, start: float, end: float) -> npt.NDArray[np.bool_]:
    inside: npt.NDArray[np.bool_] = (stop.traces["time"] >= start) & (stop.traces["time"] < end)
    return inside


def _easings(stop: Stop) -> Iterator[Moment]:
    slides = creepage(stop) > stop.scenario.run.sliding_creepage
    is_sliding: npt.NDArray[np.bool_] = np.asarray(slides.any(axis=1))
    made = movements(stop)
    for i, (time, before, after) in enumerate(made):
        speed = float(stop.traces["train_speed"][_row(stop, time)])
        if after >= before or speed < LOW_SPEED:
            continue
        text = f"you eased from {position_word(before, stop)} to {position_word(after, stop)}"
        text += f" at {speed / MPH:.0f} mph"
        weight = 3.0 + 0.1 * (before - after)
        following = made[i + 1][0] + FELT if i + 1 < len(made) else math.inf
        until = min(following, time + LATEST)
        if not is_sliding[_between(stop, time - LOOK, time)].any():
            yield Moment(time, f"{text}; no wheel was sliding then.", weight)
            continue
        lag, left = _least_cleaning(stop, time, until)
        if left < CALM:
            text += f"; {lag:.0f} s later the wheels had stopped cleaning the rail"
            text += f" (they did {100.0 * left:.0f} % of the work before)"
            weight += 2.0
        else:
            text += "; the wheels went on sliding and cleaning"
        yield Moment(time, f"{text}.", weight)


def _least_cleaning(stop: Stop, time: float, until: float) -> tuple[float, float]:
    """Return when after an easing [s] cleaning was least, and what share of it was left. [-]"""
    work = cleaning_work(stop)
    had = float(work[_between(stop, time - LOOK, time)].mean())
    later = _between(stop, time, until) & (stop.traces["train_speed"] > LOW_SPEED)
    n = max(1, round(1.0 / stop.scenario.run.trace_interval))
    if had < 50.0 or later.sum() < 2 * n:
        return 0.0, 1.0
    means = np.convolve(work[later], np.ones(n) / n, mode="valid")
    row = int(np.argmin(means))
    return float(stop.traces["time"][later][row + n // 2] - time), float(means[row] / had)


def _isolations(stop: Stop) -> Iterator[Moment]:
    isolated, time = stop.traces["isolation_left"] > 0.0, stop.traces["time"]
    if isolated.any():
        row = int(np.argmax(isolated))
        wheels = stop.traces["wheel_speed"]
        soon = _row(stop, float(time[row]) + 5.0)
        n_locked = int((wheels[soon] < stop.scenario.run.locked_wheel_speed).sum())
        text = f"you isolated slip control; 5 s later {n_locked} of {wheels.shape[1]} axles stood."
        yield Moment(float(time[row]), text, 6.0)
    n_dead = stop.worth.ride.n_ignored_presses
    if n_dead:
        emergency = stop.scenario.brake.emergency_position
        for press in stop.scenario.driver.presses:
            at = press.at_time or 0.0
            if round(float(stop.traces["handle"][_row(stop, at)])) != emergency:
                yield Moment(at, "you pressed the isolation button outside emergency: dead.", 4.0)
                return


def _locks(stop: Stop) -> Iterator[Moment]:
    longest = stop.worth.slide.longest
    if longest is None or longest.duration < 0.5:
        return
    text = (
        f"axle {longest.i_axle + 1} locked at {longest.start_speed / MPH:.0f} mph,"
        f" for {longest.duration:.1f} s."
    )
    yield Moment(longest.start_time, text, 1.5 + min(longest.duration, 20.0) / 10.0)


def _low_vents(stop: Stop) -> Iterator[Moment]:
    vents = stop.worth.vents
    if not vents.low_speed.any():
        return
    first = float(np.min(vents.low_speed_time[vents.low_speed > 0]))
    text = f"slip control vented below 6 mph, {int(vents.low_speed.sum())} times: report it."
    yield Moment(first, text, 4.5)


def _beginning(stop: Stop) -> Iterator[Moment]:
    made = [movement for movement in movements(stop) if movement[2] > 0]
    if not made:
        return
    time, _, position = made[0]
    row, marker = _row(stop, time), stop.scenario.driver.stopping_point
    text = f"you braked first, {position_word(position, stop)}"
    text += f", at {stop.traces['train_speed'][row] / MPH:.0f} mph"
    if marker is not None:
        text += f", {(marker - stop.traces['distance'][row]) / YARD:.0f} yards before the marker"
    yield Moment(time, f"{text}.", 1.4)


def _gauge(stop: Stop) -> Iterator[Moment]:
    pressure = stop.traces["pressure"] / 1e5
    is_fast = stop.traces["train_speed"] > LOW_SPEED
    shown, mean = pressure[:, :2].max(axis=1), pressure.mean(axis=1)
    gap = np.where(is_fast & (shown < 0.6 * mean), mean - shown, 0.0)
    row = int(np.argmax(gap))
    if gap[row] > 0.3:
        text = (
            f"the gauge showed {shown[row]:.1f} bar while the train's cylinders held"
            f" {mean[row]:.1f} bar on average."
        )
        yield Moment(float(stop.traces["time"][row]), text, 1.2)


def _speedometer(stop: Stop) -> Iterator[Moment]:
    shown, true = stop.traces["measured_wheel_speed"][:, 0], stop.traces["train_speed"]
    row = int(np.argmax(true - shown))
    if true[row] - shown[row] > 10.0 * MPH:
        text = (
            f"the cab showed {shown[row] / MPH:.0f} mph; the train did {true[row] / MPH:.0f} mph."
        )
        yield Moment(float(stop.traces["time"][row]), text, 1.1)


def _behind(you: Stop, held: Stop | None) -> Iterator[Moment]:
    """Tell where the driven train was first 5 mph faster than the held one at the same place."""
    if held is None:
        return
    mine, place = you.traces["train_speed"], you.traces["distance"]
    other = np.interp(place, held.traces["distance"], held.traces["train_speed"])
    faster = np.asarray(mine - other > 5.0 * MPH)
    if not faster.any():
        return
    row = int(np.argmax(faster))
    text = (
        f"here, {place[row] / YARD:.0f} yards from the start, you were 5 mph faster than the run"
        f" that held ({mine[row] / MPH:.0f} against {other[row] / MPH:.0f} mph)."
    )
    yield Moment(float(you.traces["time"][row]), text, 2.5)

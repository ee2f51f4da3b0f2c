"""What a recorder's log can tell: a bracket of the mean adhesion of the stop, and nothing by axle.

One wheel's speed, once a second, in steps of some km/h, and a handle. The wheel may slide or lock,
so it is only a floor under the train's speed; what is sure is how fast the train was while it
rolled before the brake, and that it was still moving while the wheel turned.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from slipbench.ground.errors import InputError
from slipbench.kernel.train import GRAVITY
from slipbench.measured.log import Channel, Log
from slipbench.measured.plausible import step_of
from slipbench.measured.unit import Unit

ROLLING_STOP = 1.3
"""A last reading that falls to zero faster than the emergency brake times this was a lock."""

BUILD_UP = 1.0
"""The bracket counts from the handle's move on; the brake's delay widens it. [s]"""


class Bracket(NamedTuple):
    """Mean adhesion of a stop between two ends, and from what.

    `low`, `high`: of the mean of rail force over weight [-]; `speed`: (low, high) before the brake
    [m/s]; `time`: (shortest, longest) the stop may have taken [s]; `distance`: (low, high) [m];
    `notes`: what the ends rest on.
    """

    low: float
    high: float
    speed: tuple[float, float]
    time: tuple[float, float]
    distance: tuple[float, float]
    notes: tuple[str, ...]


def bracket(log: Log, unit: Unit | None = None) -> Bracket:
    """Return the bracket of mean adhesion of a recorder's log.

    Parameters
    ----------
    log : Log
    unit : Unit or None   its resistance and gradients are taken off; None: none of them

    Raises
    ------
    InputError   no speed at all, no brake, or a log that ends before the train can have stopped
    """
    wheel = _speed(log)
    step = max(step_of(wheel.values), 0.01)
    start = _brake_begins(log, wheel)
    before = (wheel.time <= start + 0.5) & np.isfinite(wheel.values)
    if not before.any():
        raise InputError(f"{log.source}: no speed before the brake at {start:.1f} s")
    first = float(wheel.values[before][-1])
    speed = (max(first - step, 0.0), first + step)
    after = (wheel.time > start) & np.isfinite(wheel.values)
    turning = after & (wheel.values > 0.5 * step)
    if not turning.any():
        raise InputError(f"{log.source}: the wheel does not turn after the brake at {start:.1f} s")
    last = int(np.flatnonzero(turning)[-1])
    shortest = float(wheel.time[last]) - start
    longest, notes = _longest(wheel, last, start, step, unit)
    drag = 0.0
    if unit is not None:
        a, b, c = unit.resistance
        v = 0.5 * speed[1]
        rises = unit.grades[:, 1] if len(unit.grades) else np.zeros(1)
        drag = (a + b * v + c * v * v) / GRAVITY
        notes.append("running resistance at half speed and gradients are taken off")
        low_drag, high_drag = drag + float(rises.max()), drag + float(rises.min())
    else:
        low_drag = high_drag = 0.0
        notes.append("no unit given: resistance and gradient are part of the adhesion")
    high = speed[1] / shortest / GRAVITY - high_drag
    low = speed[0] / longest / GRAVITY - low_drag
    way = (0.25 * speed[0] * shortest, speed[1] * longest)
    return Bracket(max(low, 0.0), max(high, 0.0), speed, (shortest, longest), way, tuple(notes))


def _speed(log: Log) -> Channel:
    channel = log.one("train_speed") or next(iter(log.all_of("wheel_speed")), None)
    if channel is None:
        raise InputError(f"{log.source}: has no speed at all; map one, quantity = wheel_speed")
    return channel


def _brake_begins(log: Log, wheel: Channel) -> float:
    for quantity in ("handle", "demand"):
        channel = log.one(quantity)
        if channel is not None:
            applied = np.flatnonzero(np.nan_to_num(channel.values) > 0.0)
            if len(applied):
                return float(channel.time[applied[0]])
    pressure = next(iter(log.all_of("pressure")), None)
    if pressure is not None:
        high = np.flatnonzero(pressure.values > 0.2 * np.nanmax(pressure.values))
        if len(high):
            return float(pressure.time[high[0]])
    falling = np.flatnonzero(wheel.values < np.nanmax(wheel.values) - 1e-9)
    if len(falling) == 0:
        raise InputError(
            f"{log.source}: nothing says when the brake began, and the speed never falls"
        )
    return float(wheel.time[max(int(falling[0]) - 1, 0)])


def _longest(
    wheel: Channel, last: int, start: float, step: float, unit: Unit | None
) -> tuple[float, list[str]]:
    """Return the longest the stop can have taken, and why."""
    brake = unit.scenario.brake.emergency if unit is not None else 1.2
    reading = float(wheel.values[last])
    if last + 1 >= len(wheel.values):
        raise InputError(f"{log_end(wheel)}: the log ends while the wheel turns; no stop to judge")
    fell = (reading - step) / max(float(wheel.time[last + 1] - wheel.time[last]), 1e-9)
    if fell > ROLLING_STOP * brake:
        longest = float(wheel.time[-1]) - start
        return longest, [
            f"the wheel fell from {reading:.1f} m/s to nothing at {float(wheel.time[last]):.1f} "
            "s: a "
            "lock, so the train may have moved until the log ends"
        ]
    rest = (reading + step) / (0.1 * brake)
    longest = min(float(wheel.time[last]) + rest, float(wheel.time[-1])) - start
    return max(longest, float(wheel.time[last + 1]) - start), [
        "the wheel turned until it stood, slower than a lock; a tenth of the emergency brake is "
        "the "
        "least it then had"
    ]


def log_end(wheel: Channel) -> str:
    """Return where a channel ends, for a message."""
    return f"{wheel.name}, {float(wheel.time[-1]):.1f} s"


def bracket_text(found: Bracket) -> str:
    """Return a bracket for a terminal."""
    lines = [
        "a recorder's log: too coarse for answers by axle, which are refused",
        f"  mean adhesion of the stop  {found.low:.3f} to {found.high:.3f}",
        f"  speed before the brake     {3.6 * found.speed[0]:.0f} to {3.6 * found.speed[1]:.0f} "
        "km/h",
        f"  time of the stop           {found.time[0]:.0f} to {found.time[1]:.0f} s",
    ]
    return "\n".join([*lines, *(f"  - {note}" for note in found.notes)])

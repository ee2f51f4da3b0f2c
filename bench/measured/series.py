"""A log on one uniform time base, axle by axle, gaps left open."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from slipbench.contract import Floats
from slipbench.ground.errors import InputError
from slipbench.measured.log import AXLE, BOGIE, STEPPED, TRAIN, VEHICLE, Channel, Log
from slipbench.measured.plausible import step_of
from slipbench.measured.unit import Unit

FINEST = 0.02
"""Time step of the common base; recorders that are slower give their own. [s]"""

RECORDER = 0.3
"""A log whose wheel speeds come more rarely is a recorder's: no answers by axle. [s]"""

LONGEST_GAP = 0.5
"""Shorter gaps are bridged by straight lines. [s]"""


@dataclass(frozen=True, eq=False)
class Series:
    """A log on one time base.

    Attributes
    ----------
    time : (n,)              from the beginning of the log, evenly spaced [s]
    wheel : (n, n_axles)     rim speed, NaN where there is none [m/s]
    pressure : (n, n_axles)  of the cylinder [Pa]; NaN where there is none
    effort : (n, n_axles)    of another brake, at the rim [N]
    train : (n,)             independent train speed, NaN where there is none [m/s]
    handle, demand : (n,)    NaN where there is none
    valve : (n, n_axles)     0 fill, 1 hold, 2 vent; NaN where there is none
    wheel_noise, train_noise : float   standard deviation of a sample [m/s]
    shifts : mapping of str to (shift, deviation)   clock shifts put right [s]
    """

    time: Floats
    wheel: Floats
    pressure: Floats
    effort: Floats
    train: Floats
    handle: Floats
    demand: Floats
    valve: Floats
    wheel_noise: float
    train_noise: float
    shifts: dict[str, tuple[float, float]]

    @property
    def step(self) -> float:
        """Time between samples. [s]"""
        return float(self.time[1] - self.time[0])

    @property
    def has_train(self) -> bool:
        """Whether there is an independent train speed."""
        return bool(np.isfinite(self.train).any())

    def shifted(self, name: str, by: float, deviation: float) -> Series:
        """Return the series with pressures, efforts and valves, or the train, put forward."""
        names = ("pressure", "effort", "valve") if name == "pressure" else ("train",)
        moved = {
            key: _moved(self.time, getattr(self, key), by, is_stepped=key == "valve")
            for key in names
        }
        shifts = {**self.shifts, name: (by, deviation)}
        return replace(self, shifts=shifts, **moved)  # type: ignore[arg-type]


def _moved(time: Floats, values: Floats, by: float, is_stepped: bool) -> Floats:
    """Return what a channel that tells the past by so much would have told in time."""
    columns = values.reshape(len(time), -1)
    moved = np.empty_like(columns)
    for i, column in enumerate(columns.T):
        if is_stepped:
            at = np.clip(np.rint((time + by - time[0]) / (time[1] - time[0])), 0, len(time) - 1)
            moved[:, i] = column[at.astype(int)]
        else:
            moved[:, i] = np.interp(time + by, time, column)
    return moved.reshape(values.shape)


def is_recorder_grade(log: Log) -> bool:
    """Say whether a log is too coarse for answers by axle: slow, or in steps, or of few wheels."""
    wheels = log.all_of("wheel_speed", AXLE)
    if len(wheels) < 2:
        return True
    return all(c.interval > RECORDER or step_of(c.values) > 0.5 for c in wheels)


def make_series(log: Log, unit: Unit) -> Series:
    """Return a log on one time base.

    Raises
    ------
    InputError   more axles in the log than the unit has, or nothing that overlaps
    """
    n_axles = unit.n_axles
    if log.n_axles > n_axles:
        raise InputError(
            f"{log.source}: has channels of axle {log.n_axles}; the unit "
            f"{unit.scenario.train.name} has {n_axles} axles"
        )
    wheels = log.all_of("wheel_speed", AXLE)
    if not wheels:
        raise InputError(f"{log.source}: has no wheel speed; map one, quantity = wheel_speed")
    begin, end = max(c.time[0] for c in wheels), min(c.time[-1] for c in wheels)
    interval = float(np.median([c.interval for c in wheels]))
    step = min(max(FINEST, interval), 1.0)
    if not end - begin > 20.0 * step:
        raise InputError(
            f"{log.source}: its wheel speeds overlap for {max(end - begin, 0.0):.2f} s only; at "
            f"least {20.0 * step:.2g} s are needed"
        )
    time = begin + step * np.arange(int((end - begin) / step + 1e-9) + 1)
    train = _train_speed(log, time)
    return Series(
        time=time,
        wheel=_by_axle(log, "wheel_speed", time, unit),
        pressure=_by_axle(log, "pressure", time, unit),
        effort=np.nan_to_num(_by_axle(log, "brake_effort", time, unit, is_shared=True)),
        train=train,
        handle=_of_train(log, "handle", time),
        demand=_of_train(log, "demand", time),
        valve=_by_axle(log, "valve", time, unit),
        wheel_noise=_noise(wheels, step),
        train_noise=_train_noise(log, step),
        shifts={},
    )


def resampled(channel: Channel, time: Floats) -> Floats:
    """Return a channel on another time base, NaN in its gaps.

    A channel that is sampled faster is averaged over the step, one that is stepped kept as it
    last was, all others run straight from sample to sample.
    """
    given = np.isfinite(channel.values)
    if given.sum() < 2:
        return np.full(len(time), np.nan)
    at, values = channel.time[given], channel.values[given]
    after = np.searchsorted(at, time, side="right")
    if channel.quantity in STEPPED:
        found = values[np.clip(after - 1, 0, len(values) - 1)]
    else:
        step = float(time[1] - time[0])
        if channel.interval < 0.6 * step:
            mean = np.concatenate(
                [[0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(at))]
            )
            edges = np.clip([time - 0.5 * step, time + 0.5 * step], at[0], at[-1])
            low, high = np.interp(edges[0], at, mean), np.interp(edges[1], at, mean)
            width = np.maximum(edges[1] - edges[0], 1e-9)
            found = np.where(width > 0.2 * step, (high - low) / width, np.interp(time, at, values))
        else:
            found = np.interp(time, at, values)
    longest = max(LONGEST_GAP, 3.0 * channel.interval)
    inner = np.clip(after, 1, len(at) - 1)
    is_open = (at[inner] - at[inner - 1] > longest) | (time < at[0] - longest)
    is_open |= time > at[-1] + longest
    return np.asarray(np.where(is_open, np.nan, found), dtype=np.float64)


def _of_train(log: Log, quantity: str, time: Floats) -> Floats:
    channel = log.one(quantity)
    return np.full(len(time), np.nan) if channel is None else resampled(channel, time)


def _by_axle(log: Log, quantity: str, time: Floats, unit: Unit, is_shared: bool = False) -> Floats:
    """Return a quantity of every axle; what is of a bogie, vehicle or train holds for its axles.

    Parameters
    ----------
    is_shared : bool   a force: what is of several axles is shared out evenly
    """
    found = np.full((len(time), unit.n_axles), np.nan)
    places = {
        TRAIN: np.zeros(unit.n_axles),
        VEHICLE: unit.vehicles + 1.0,
        BOGIE: unit.bogies + 1.0,
        AXLE: np.arange(unit.n_axles) + 1.0,
    }
    for span, numbers in places.items():  # the finer replaces the coarser
        for channel in log.all_of(quantity, span):
            own = numbers == channel.number
            if own.any():
                values = resampled(channel, time) / (own.sum() if is_shared else 1)
                found[:, own] = values[:, None]
    return found


def _train_speed(log: Log, time: Floats) -> Floats:
    """Return the independent train speed: measured, or the slope of the way over half a second."""
    if log.one("train_speed") is not None:
        return _of_train(log, "train_speed", time)
    channel = log.one("distance")
    if channel is None:
        return np.full(len(time), np.nan)
    way, half = resampled(channel, time), max(1, round(0.25 / float(time[1] - time[0])))
    speed = np.full(len(time), np.nan)
    speed[half:-half] = (way[2 * half :] - way[: -2 * half]) / (
        time[2 * half :] - time[: -2 * half]
    )
    return speed


def _noise(channels: list[Channel], step: float) -> float:
    """Return the standard deviation of one sample on the common base, by second differences."""
    known = [c.scatter for c in channels if np.isfinite(c.scatter)]
    if known:
        return max(float(np.median(known)), 1e-3)
    found = []
    for c in channels:
        steps = step_of(c.values)
        second = np.diff(c.values, 2)
        second = second[np.isfinite(second)]
        scatter = 1.4826 * float(np.median(np.abs(second))) / np.sqrt(6.0) if len(second) else 0.0
        averaged = np.sqrt(min(1.0, c.interval / step)) if c.interval < 0.6 * step else 1.0
        found.append(max(scatter * averaged, steps / np.sqrt(12.0)))
    return max(float(np.median(found)), 5e-3)


def _train_noise(log: Log, step: float) -> float:
    speed, way = log.one("train_speed"), log.one("distance")
    if speed is not None:
        return float(max(_noise([speed], step), 0.02))
    if way is None:
        return float("nan")
    return float(max(_noise([way], step) * 2.0**0.5 / 0.5, 0.05))

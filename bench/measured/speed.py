"""The train's speed while all wheels may slide: a smoother on the momentum balance, with its band.

The train loses what the rail forces take: M dv = -[(1 + b) sum B dt + sum m du + (R + G + M c) dt].
Nothing is differentiated, so noise of the rims does not add up. State: speed v, error b of the
brake gain, error c of resistance, error l of the force taken for locked wheels, whose brake only
holds what the rail gives. Forward Kalman filter, backward smoother (Rauch, Tung, Striebel; from
memory); measurements are an independent train speed and rims that roll.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from slipbench.contract import Floats
from slipbench.measured.bounds import running_mean, speed_bounds
from slipbench.measured.brakes import brake_forces, pressures_from_valves
from slipbench.measured.log import Flags, Rows
from slipbench.measured.scales import Scales, scales_of
from slipbench.measured.series import Series
from slipbench.measured.unit import Unit, resistance_force, rise_force

Z90 = 1.6448536269514722
"""Half a 90 % band over a standard deviation."""

STRIDE = 0.1
"""Steps of the smoother. [s]"""

GAIN, RESISTANCE, LOCKED = 0.06, 0.005, 0.5
"""Prior deviations of b, c [m/s2] and l (assumed)."""

DRIFT = 5e-5
"""Spectral density of what the balance leaves out (assumed: .007 m/s2 over 1 s). [m2/s3]"""

CREEP, CREEP_DOUBT = 0.0003, 0.0007
"""Creepage of a rolling, braked rim, and what it may be off by (assumed: at a third of the friction
there is; nearer to the peak it creeps more). [-]"""

SLOPES = (-1.3, 0.15)
"""A rim that slows or spins up beyond these does not roll with the train. [m/s2]"""

SLOWEST = 2.5
"""Below this the balance teaches nothing: wheels lock, brakes hold a train at rest. [m/s]"""

STEADY = (0.2, 0.2)
"""Anchors differ from the train by so much of deceleration [m/s2]; two of one axle a second."""


class Balance(NamedTuple):
    """What the momentum balance needs, step by step of the smoother.

    `braked`, `turned`, `locked`: impulses over the train's mass, of brakes, of the wheels' own
    momentum, and of what locked wheels may give [m/s]; `span`: time of each step [s]; `is_slow`:
    too slow for rims to tell locked from turning.
    """

    braked: Floats
    turned: Floats
    locked: Floats
    span: Floats
    is_slow: Flags


class Anchors(NamedTuple):
    """Measurements of the train's speed at nodes of the smoother: node, value, deviation, axle.

    Axle -1 is the independent source; `is_floor` marks what only may not be above the train.
    """

    node: Rows
    value: Floats
    deviation: Floats
    axle: Rows


@dataclass(frozen=True, eq=False)
class Speed:
    """The train's speed over a log.

    Attributes
    ----------
    time, train, deviation : (n,)   [s], [m/s], standard deviation [m/s]
    low, high : (n,)                physical bounds [m/s]
    deceleration : (n,)             smoothed, positive while slowing [m/s2]
    distance, distance_deviation : (n,)   of the front since the log began [m]
    gain, gain_deviation : float    (1 + b), what the brakes give over what the unit says
    resistance : float              c [m/s2]
    diameters : (n_axles,)          rim speed over train speed while rolling [-]
    brake, rim : (n, n_axles)       brake force by pressure, gain not in it [N]; rim speed put right
    is_anchored : (n,)              whether some rim rolled, or the source told, within .5 s
    is_independent : bool           whether there is a source that does not slide
    n_anchors : int                 rims taken as rolling
    """

    time: Floats
    train: Floats
    deviation: Floats
    low: Floats
    high: Floats
    deceleration: Floats
    distance: Floats
    distance_deviation: Floats
    gain: float
    gain_deviation: float
    resistance: float
    diameters: Floats
    brake: Floats
    rim: Floats
    is_anchored: Flags
    is_independent: bool
    n_anchors: int

    @property
    def step(self) -> float:
        """Time between samples. [s]"""
        return float(self.time[1] - self.time[0])


def estimate_speed(series: Series, unit: Unit) -> Speed:
    """Return the train's speed over a log, with its deviation.

    Parameters
    ----------
    series : Series   its clocks put right (`slipbench.measured.clock.align`)
    unit : Unit
    """
    brake = _brakes(without_zeros(series, unit), unit)
    scales = scales_of(series, unit)
    series = replace(series, train=series.train / scales.source)
    rim = _bridged(series.wheel / scales.rims)
    every = max(1, round(STRIDE / series.step))
    nodes = np.arange(0, len(series.time), every)
    place = np.zeros(len(nodes))
    estimate = np.interp(nodes, np.arange(len(series.time)), np.nanmax(rim, axis=1))
    state = np.zeros((len(nodes), 4))
    covariance = np.zeros((len(nodes), 4, 4))
    anchors = _anchors(series, rim, nodes, None, None)
    for turn in range(4):
        balance = _balance(series, unit, brake, rim, nodes, estimate)
        pull = (
            resistance_force(unit, np.maximum(estimate, 0.0)) + rise_force(unit, place)
        ) / unit.mass
        state, covariance = _smoothed(balance, pull, anchors, estimate[0], turn > 0)
        estimate = np.maximum(state[:, 0], 0.0)
        place = _integral(estimate, series.time[nodes])
        spread = np.sqrt(covariance[:, 0, 0])
        anchors = _anchors(series, rim, nodes, estimate, spread)
    return _result(series, unit, brake, rim, scales, nodes, state, covariance, anchors)


def _brakes(series: Series, unit: Unit) -> Floats:
    """Return the brake force of every axle; where no pressure is known, from valves and demand."""
    pressure = series.pressure
    unknown = np.isnan(pressure).all(axis=0)
    if unknown.any():
        demand = _demand(series, unit)
        by_valves = pressures_from_valves(series.valve, demand, series.step, unit)
        pressure = np.where(unknown, by_valves, pressure)
    pressure = _bridged(pressure)
    return np.asarray(brake_forces(pressure, unit) + series.effort)


def without_zeros(series: Series, unit: Unit) -> Series:
    """Return the series with each transducer's zero taken off its pressure.

    The zero is what it shows while the brake is released, or else in the first tenths of a second
    where that is hardly more than nothing; an offset of .05 bar is a fiftieth of a full brake.
    """
    released = np.zeros(len(series.time), dtype=bool)
    if np.isfinite(series.demand).any():
        released = np.nan_to_num(series.demand, nan=1.0) <= 0.0
    elif np.isfinite(series.handle).any():
        released = np.nan_to_num(series.handle, nan=1.0) <= 0.0
    released[round(1.0 / series.step) + len(series.time) // 2 :] = False  # and at the end of a stop
    released |= series.time < series.time[0] + 0.3
    small = np.abs(series.pressure) < 0.06 * unit.full_pressure
    use = released[:, None] & small
    count = use.sum(axis=0)
    total = np.where(use, np.nan_to_num(series.pressure), 0.0).sum(axis=0)
    zero = np.where(count >= 5, total / np.maximum(count, 1), 0.0)
    return replace(series, pressure=series.pressure - zero)


def _demand(series: Series, unit: Unit) -> Floats:
    if np.isfinite(series.demand).any():
        return np.nan_to_num(series.demand)
    brake = unit.scenario.brake
    levels = np.array([0.0, *brake.steps, brake.emergency]) / brake.emergency
    handle = np.clip(np.nan_to_num(series.handle), 0, len(levels) - 1).astype(int)
    return np.asarray(levels[handle])


def _bridged(values: Floats) -> Floats:
    """Return columns with their gaps bridged by straight lines; a column of nothing stays."""
    found = values.copy()
    rows = np.arange(len(values))
    for column in found.T:
        given = np.isfinite(column)
        if given.any() and not given.all():
            column[~given] = np.interp(rows[~given], rows[given], column[given])
    return found


def _balance(
    series: Series, unit: Unit, brake: Floats, rim: Floats, nodes: Rows, estimate: Floats
) -> Balance:
    time = series.time
    speed = np.interp(time, time[nodes], estimate)
    half = max(1, round(0.1 / series.step))
    slow = running_mean(rim, half) < 0.15 + 0.01 * speed[:, None]
    locked = slow & (speed[:, None] > 1.5)
    rolling_force = np.where(locked, 0.0, brake)
    sliding = (rim < 0.97 * speed[:, None]) & ~locked
    share = np.sum(np.where(sliding, brake, 0.0), axis=1) / np.maximum(
        np.sum(np.where(sliding, unit.loads, 0.0), axis=1), 1.0
    )
    share = np.where(sliding.any(axis=1), share, np.sum(brake, axis=1) / unit.loads.sum() * 0.5)
    kernel = np.ones(2 * half * 5 + 1)
    share = np.convolve(share, kernel / kernel.size, "same")
    held = np.where(locked, np.minimum(brake, share[:, None] * unit.loads), 0.0)
    momentum = (np.where(locked, 0.0, rim) * unit.rotating).sum(axis=1)
    span = np.diff(time[nodes])
    return Balance(
        braked=_steps(rolling_force.sum(axis=1), time, nodes) / unit.mass,
        turned=np.diff(momentum[nodes]) / unit.mass,
        locked=_steps(held.sum(axis=1), time, nodes) / unit.mass,
        span=span,
        is_slow=estimate[:-1] < SLOWEST,
    )


def _steps(force: Floats, time: Floats, nodes: Rows) -> Floats:
    return np.diff(_integral(force, time)[nodes])


def _integral(values: Floats, time: Floats) -> Floats:
    steps = 0.5 * (values[1:] + values[:-1]) * np.diff(time)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _anchors(
    series: Series, rim: Floats, nodes: Rows, estimate: Floats | None, spread: Floats | None
) -> Anchors:
    """Return what tells the train's speed: the independent source, and rims that roll.

    Without an estimate only the fastest rim is taken; with one, rims that keep to it.
    """
    step = series.step
    half = max(1, round(0.3 / step))
    slope = _slope(rim, half, step)[nodes]
    short = max(1, round(0.1 / step))
    level = running_mean(rim, short)[nodes]
    noise = series.wheel_noise / np.sqrt(2 * short + 1)
    if estimate is None or spread is None:
        top = level.max(axis=1)
        is_near = level > (top - 3.0 * noise - 0.001 * top)[:, None]
        train_slope = np.full(len(nodes), np.nan)
    else:
        allowed = 2.0 * np.sqrt(spread**2 + noise**2 + (CREEP_DOUBT * estimate) ** 2)
        is_near = level * (1.0 + CREEP) > (estimate - allowed)[:, None]
        train_slope = np.gradient(estimate, STRIDE if step <= STRIDE else step)
    is_steady = (slope > SLOPES[0]) & (slope < SLOPES[1]) & (level > 1.0)
    if estimate is not None:
        is_steady &= np.abs(slope - train_slope[:, None]) < STEADY[0]
    is_above = np.zeros_like(is_near)
    if estimate is not None and spread is not None:
        is_above = level > (estimate + 3.0 * np.sqrt(spread**2 + noise**2))[:, None]
        is_above &= slope < 1.0
    node, axle = np.nonzero((is_near & is_steady) | is_above)
    value = level[node, axle] * (1.0 + CREEP)
    per_second = 1.0 / STEADY[1]  # nodes that stand for one anchor: thin by a larger deviation
    together = np.bincount(node, minlength=len(nodes))[node]
    deviation = np.sqrt(
        (noise**2 + (CREEP_DOUBT * value) ** 2) * per_second * np.maximum(together, 1.0)
    )
    if series.has_train:
        own = running_mean(series.train[:, None], short)[:, 0][nodes]
        given = np.flatnonzero(np.isfinite(series.train[nodes]) & np.isfinite(own))
        node = np.concatenate([node, given])
        axle = np.concatenate([axle, np.full(len(given), -1)])
        value = np.concatenate([value, own[given]])
        own_deviation = np.sqrt(series.train_noise**2 + 0.03**2)
        deviation = np.concatenate([deviation, np.full(len(given), own_deviation)])
    order = np.argsort(node, kind="stable")
    return Anchors(node[order], value[order], deviation[order], axle[order])


def _slope(values: Floats, half: int, step: float) -> Floats:
    """Return the least-squares slope over 2 half + 1 rows, per second."""
    padded = np.pad(values, ((half, half), (0, 0)), mode="edge")
    weights = np.arange(-half, half + 1) / (half * (half + 1) * (2 * half + 1) / 3.0) / step
    found = np.zeros_like(values)
    for j, weight in enumerate(weights):
        found += weight * padded[j : j + len(values)]
    return found


def _smoothed(
    balance: Balance, pull: Floats, anchors: Anchors, start: float, is_known: bool
) -> tuple[Floats, Floats]:
    """Return states (n, 4) and covariances (n, 4, 4) at the nodes, filtered there and back."""
    n = len(balance.span) + 1
    states, before = np.zeros((n, 4)), np.zeros((n, 4))
    covariances, ahead = np.zeros((n, 4, 4)), np.zeros((n, 4, 4))
    moves = np.tile(np.eye(4), (n, 1, 1))
    x = np.array([start, 0.0, 0.0, 0.0])
    p = np.diag([0.5**2, GAIN**2, RESISTANCE**2, LOCKED**2])
    firsts = np.searchsorted(anchors.node, np.arange(n + 1))
    for i in range(n):
        if i:
            x, p, moves[i] = _predicted(x, p, balance, pull, i - 1)
        before[i], ahead[i] = x, p
        for j in range(firsts[i], firsts[i + 1]):
            x, p = _updated(x, p, anchors, j, bool(balance.is_slow[min(i, n - 2)]))
        states[i], covariances[i] = x, p
    for i in range(n - 2, -1, -1):
        back = np.linalg.solve(ahead[i + 1], moves[i + 1] @ covariances[i]).T
        states[i] += back @ (states[i + 1] - before[i + 1])
        covariances[i] += back @ (covariances[i + 1] - ahead[i + 1]) @ back.T
    return states, covariances


def _predicted(
    x: Floats, p: Floats, balance: Balance, pull: Floats, i: int
) -> tuple[Floats, Floats, Floats]:
    span = balance.span[i]
    mean_pull = 0.5 * (pull[i] + pull[i + 1])
    change = (1.0 + x[1]) * balance.braked[i] + balance.turned[i]
    change += (1.0 + x[3]) * balance.locked[i] + (mean_pull + x[2]) * span
    move = np.eye(4)
    if not balance.is_slow[i]:
        move[0, 1:] = -balance.braked[i], -span, -balance.locked[i]
    after = x.copy()
    after[0] -= change
    p = move @ p @ move.T
    p[0, 0] += (0.3 if balance.is_slow[i] else DRIFT) * span
    p[1, 1] += (0.003**2) * span
    p[3, 3] += (0.05**2) * span
    return after, p, move


def _joseph(p: Floats, gain: Floats, variance: float) -> Floats:
    """Return the covariance after an update with any gain of a measurement of the speed."""
    keep = np.eye(4)
    keep[:, 0] -= gain
    return np.asarray(keep @ p @ keep.T + variance * np.outer(gain, gain))


def _updated(
    x: Floats, p: Floats, anchors: Anchors, j: int, is_slow: bool
) -> tuple[Floats, Floats]:
    innovation = anchors.value[j] - x[0]
    variance = p[0, 0] + anchors.deviation[j] ** 2
    if anchors.axle[j] >= 0 and innovation < -2.0 * np.sqrt(variance):
        return x, p  # a rim below the train tells nothing
    gain = p[:, 0] / variance
    if is_slow:
        gain[1:] = 0.0
        return x + gain * innovation, _joseph(p, gain, anchors.deviation[j] ** 2)
    return x + gain * innovation, p - np.outer(gain, p[0])


def _result(
    series: Series,
    unit: Unit,
    brake: Floats,
    rim: Floats,
    scales: Scales,
    nodes: Rows,
    state: Floats,
    covariance: Floats,
    anchors: Anchors,
) -> Speed:
    time, at = series.time, series.time[nodes]
    train = np.interp(time, at, np.maximum(state[:, 0], 0.0))
    scale = scales.deviation * np.maximum(state[:, 0], 0.0)
    variance = np.maximum(covariance[:, 0, 0], 0.0) + scale**2
    deviation = np.interp(time, at, np.sqrt(variance))
    low, high = speed_bounds(time, rim, brake, unit)
    kept = np.clip(train, low, np.maximum(high, low))
    distance = _integral(kept, time)
    anchored = np.zeros(len(nodes), dtype=bool)
    anchored[anchors.node.astype(int)] = True
    wide = np.convolve(anchored, np.ones(11), "same") > 0
    slope = -_slope(kept[:, None], max(1, round(0.2 / series.step)), series.step)[:, 0]
    middle = len(nodes) // 2
    return Speed(
        time=time,
        train=kept,
        deviation=deviation,
        low=low,
        high=high,
        deceleration=slope,
        distance=distance,
        distance_deviation=_integral(deviation, time),
        gain=1.0 + float(state[middle, 1]),
        gain_deviation=float(np.sqrt(covariance[middle, 1, 1])),
        resistance=float(state[middle, 2]),
        diameters=scales.rims,
        brake=brake,
        rim=rim,
        is_anchored=np.interp(time, at, wide.astype(np.float64)) > 0.5,
        is_independent=series.has_train,
        n_anchors=int((anchors.axle >= 0).sum()),
    )

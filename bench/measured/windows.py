"""What a log says of the rail, cut into short windows: force by momentum, slip, place, work before.

A fit of simulated wheels to measured ones does not move through active slip control, since valves
switch chaotically. Here measured slip goes into the creep law and its force is held against that of
the momentum balance, window by window: nothing is integrated, so nothing can run away.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from slipbench.contract import Floats
from slipbench.measured.account import Account
from slipbench.measured.adhesion import slope_weights, weighed
from slipbench.measured.log import Flags, Rows

SPAN = 0.22
"""Length of a window; windows follow each other end to end. [s]"""

LEAST_CREEPAGE, LEAST_SLIP = 0.03, 0.5
"""A window counts as sliding above both [-], [m/s]; slip also has to be sure (3 deviations)."""

LAW_ERROR = 0.03
"""What a creep law may be wrong by, over its force, from window to window (assumed). [-]"""

CELL = 1.0
"""Grain in which the work left on the rail is kept. [m]"""


@dataclass(frozen=True, eq=False)
class Windows:
    """Windows of all axles; (n,) or (n, length) [SI].

    Attributes
    ----------
    axle : (n,)             from 0
    is_sliding : (n,)       else the rim rolls: friction is at least what it used
    braked, turned : (n,)   mean force of the brake by pressure, and of the slowing rim
    noise : (n,)            deviation of their sum
    train, slip : (n, length)   train speed, slip speed
    load, stiffness : (n, length)   of one wheel [N]
    place, work : (n, length)   where it was; work of the wheels before on a metre of one rail
    weights : (length,)     of the mean over a window
    time : (n,)             of its middle
    """

    axle: Rows
    is_sliding: Flags
    braked: Floats
    turned: Floats
    noise: Floats
    train: Floats
    slip: Floats
    load: Floats
    stiffness: Floats
    place: Floats
    work: Floats
    weights: Floats
    time: Floats

    @property
    def largest_work(self) -> float:
        """Most work before a sliding wheel, all but one in a hundred windows below it. [J/m]"""
        found = self.work[self.is_sliding].mean(axis=1)
        return float(np.quantile(found, 0.99)) if len(found) else 0.0


def cut_windows(account: Account, stiffness: Floats) -> Windows:
    """Return the windows of a log.

    Parameters
    ----------
    account : Account
    stiffness : (n_axles,)   G a b C11 of one wheel at rest [N]
    """
    a, speed, series = account.adhesion, account.speed, account.series
    step = series.step
    half = max(2, round(0.5 * SPAN / step))
    slope, mean = slope_weights(half)
    turned = account.unit.rotating * weighed(speed.rim, slope) / step
    braked = weighed(speed.brake, mean)
    work = work_before(account)
    rows = np.arange(half, len(a.time) - half, 2 * half)
    spread = rows[:, None] + np.arange(-half, half + 1)
    unit_noise = series.wheel_noise * np.sqrt(float(slope @ slope)) / step
    shift = max(series.shifts.get("pressure", (0.0, 0.02))[1], 5e-3)
    rate = np.abs(np.gradient(weighed(speed.brake, mean), step, axis=0))
    parts = []
    for i in range(account.unit.n_axles):
        slip = a.train[spread] - a.rim[spread, i]
        creepage = slip / np.maximum(a.train[spread], 1.0)
        is_open = ~np.isfinite(a.used[rows, i]) | a.is_locked[spread, i].any(axis=1)
        is_open |= a.train[rows] < 2.5
        sure = slip.mean(axis=1) > np.maximum(LEAST_SLIP, 3.0 * speed.deviation[rows])
        slides = sure & (creepage.min(axis=1) > LEAST_CREEPAGE) & (creepage.max(axis=1) < 0.97)
        rolls = (creepage.max(axis=1) < 0.02) & (a.brake[rows, i] > 0.0)
        use = ~is_open & (slides | rolls)
        force = speed.gain * braked[rows, i] + turned[rows, i]
        noise = np.sqrt(
            (account.unit.rotating[i] * unit_noise) ** 2
            + (shift * rate[rows, i]) ** 2
            + (LAW_ERROR * force) ** 2
            + 50.0**2
        )
        load = 0.5 * a.load[spread, i]
        grown = (2.0 * load / account.unit.loads[i]) ** (2.0 / 3.0)  # Hertz
        parts.append(
            (np.full(use.sum(), i), slides[use], braked[rows, i][use], turned[rows, i][use],
             noise[use], a.train[spread][use], slip[use], load[use], (stiffness[i] * grown)[use],
             a.place[spread, i][use], work[spread, i][use], a.time[rows][use])
        )  # fmt: skip
    joined = [np.concatenate(column) for column in zip(*parts, strict=True)]
    *fields, time = joined
    axle, is_sliding, *middle = fields
    return Windows(axle, is_sliding, *middle, weights=mean, time=time)  # type: ignore[misc]


def thinned(w: Windows, every: int) -> Windows:
    """Return every so many-th window."""
    if every == 1:
        return w
    rows = slice(0, None, every)
    kept = {f.name: getattr(w, f.name)[rows] for f in fields(w) if f.name != "weights"}
    return replace(w, **kept)


def work_before(account: Account) -> Floats:
    """Return the work that the wheels before left on the rail where each axle stands. [J/m]

    Of one wheel on one rail, all axles ahead summed up, from the momentum balance alone; a locked
    wheel is taken to pull as the others did, but hardly cleans.
    """
    a, rail = account.adhesion, account.unit.scenario.rail
    step = account.series.step
    slip = np.maximum(a.train[:, None] - a.rim, 0.0)
    creepage = np.clip(slip / np.maximum(a.train[:, None], 1.0), 0.0, 1.0)
    beyond = np.clip((creepage - rail.full_cleaning_slip) / (1.0 - rail.full_cleaning_slip), 0, 1)
    efficiency = 1.0 - beyond * (1.0 - rail.locked_cleaning_share)
    usual = (
        float(np.nanmean(a.used[a.is_sliding])) if np.isfinite(a.used[a.is_sliding]).any() else 0.0
    )
    force = np.where(np.isfinite(a.force), a.force, usual * a.load)
    power = 0.5 * efficiency * np.maximum(force, 0.0) * slip
    power[creepage < 0.01] = 0.0
    begin = float(a.place.min()) - CELL
    n_cells = int((float(a.place.max()) - begin) / CELL) + 3
    left = np.zeros(n_cells)
    found = np.zeros_like(power)
    for i in range(power.shape[1]):
        at = (a.place[:, i] - begin) / CELL
        found[:, i] = np.interp(at, np.arange(n_cells) + 0.5, left)
        moving = a.train > 0.5
        own = np.bincount(at[moving].astype(int), power[moving, i] * step, minlength=n_cells) / CELL
        visited = np.bincount(at[moving].astype(int), minlength=n_cells) > 0
        if visited.any():  # a fast train steps over cells: spread evenly what fell between
            rows = np.flatnonzero(visited)
            total = np.concatenate([[0.0], np.cumsum(own)])
            edges = np.concatenate([[rows[0]], rows[1:], [rows[-1] + 1]])
            even = np.diff(total[edges]) / np.diff(edges)
            left[rows[0] : rows[-1] + 1] += np.repeat(even, np.diff(edges))
    return found

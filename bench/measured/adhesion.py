"""Adhesion of every axle over time and place, with its band."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from slipbench.contract import Floats
from slipbench.measured.log import Flags
from slipbench.measured.series import Series
from slipbench.measured.speed import Z90, Speed
from slipbench.measured.unit import Unit, moved_loads

WINDOW = 0.42
"""Forces are means over this, weighed as a least-squares slope is (the best of four windows in a
trial with active slip control: .0039 rms against .0061 at .1 s and .0066 at .82 s). [s]"""

AXLE_GAIN, LOAD, INERTIA, ZERO = 0.05, 0.02, 0.03, 1e3
"""Deviations of one axle's brake gain, load, rotating mass [-], of a pressure's zero [Pa]
(assumed)."""

LEFT_SHIFT = 5e-3
"""Clock shift between pressure and speed that may be left after alignment, deviation. [s]"""

SLOWEST = 1.5
"""Below this train speed nothing is said of adhesion. [m/s]"""

SLIDING = 0.04
"""Creepage above which a rim surely slides, if it is also half a metre a second slow. [-]"""


@dataclass(frozen=True, eq=False)
class Adhesion:
    """What every axle did; (n, n_axles) unless said otherwise.

    Attributes
    ----------
    time, train : (n,)          [s], [m/s]
    place : float               of the axle since the log began, the front's start being 0 [m]
    rim : float                 rim speed, diameter put right [m/s]
    creepage, creepage_deviation : float   [-]
    brake : float               force of the brake at the rim, by the train's own gain [N]
    force : float               of the rail on both wheels, by momentum balance [N]; NaN about
                                locks, since the brake then only tells what it might hold, and
                                where the train is nearly at rest
    load : float                of the axle while the train slows [N]
    used, deviation : float     force over load, and its standard deviation [-]
    is_sliding, is_locked : bool
    """

    time: Floats
    train: Floats
    place: Floats
    rim: Floats
    creepage: Floats
    creepage_deviation: Floats
    brake: Floats
    force: Floats
    load: Floats
    used: Floats
    deviation: Floats
    is_sliding: Flags
    is_locked: Flags

    @property
    def low(self) -> Floats:
        """Lower end of the 90 % band of adhesion used. [-]"""
        return np.asarray(self.used - Z90 * self.deviation)

    @property
    def high(self) -> Floats:
        """Upper end of the 90 % band of adhesion used. [-]"""
        return np.asarray(self.used + Z90 * self.deviation)


def slope_weights(half: int) -> tuple[Floats, Floats]:
    """Return the weights of a least-squares slope, and of the mean that goes with it.

    The slope over 2 half + 1 samples is the mean of the derivative under parabolic weights; the
    brake's force is averaged under the same, so that both sides of the balance see the same time.

    Returns
    -------
    ((2 half + 1,), (2 half + 1,))   slope weights times step [-], mean weights
    """
    j = np.arange(-half, half + 1, dtype=np.float64)
    slope = j / (half * (half + 1) * (2 * half + 1) / 3.0)
    tail = np.cumsum(slope[::-1])[::-1]  # of the differences u_j - u_(j-1): parabola
    mean = 0.5 * (np.append(tail[1:], 0.0) + tail)  # trapezia between samples
    return slope, mean / mean.sum()


def weighed(values: Floats, weights: Floats) -> Floats:
    """Return the running weighed sum of columns; ends hold."""
    half = len(weights) // 2
    padded = np.pad(values, ((half, half), (0, 0)), mode="edge")
    found = np.zeros_like(values)
    for j, weight in enumerate(weights):
        found += weight * padded[j : j + len(values)]
    return found


def estimate_adhesion(series: Series, unit: Unit, speed: Speed) -> Adhesion:
    """Return adhesion axle by axle.

    Parameters
    ----------
    series, unit
    speed : Speed   of the train, by `estimate_speed`

    Notes
    -----
    F = (1 + b) B + m du/dt over a window; f = F / N. Deviations: gain of the train (from the
    smoother) and of the axle, load, zero of the pressure, noise of the slope, inertia, what is left
    of clock shifts.
    """
    half = max(2, round(0.5 * WINDOW / series.step))
    slope, mean = slope_weights(half)
    rim = speed.rim
    turned = unit.rotating * weighed(rim, slope) / series.step
    brake = speed.gain * weighed(speed.brake, mean)
    load = moved_loads(unit, speed.deceleration)
    train = speed.train[:, None]
    creepage = np.where(train > 1.0, (train - rim) / np.maximum(train, 1.0), 0.0)
    is_locked = (weighed(rim, np.full(2 * half + 1, 1.0 / (2 * half + 1))) < 0.3) & (
        train > SLOWEST
    )
    near_lock = weighed(is_locked.astype(np.float64), np.ones(2 * half + 1)) > 0.0
    unknown = near_lock | (train <= SLOWEST)
    force = brake + turned
    used = force / load
    rate = np.gradient(brake, series.step, axis=0)
    noise = unit.rotating * series.wheel_noise * np.sqrt(float(slope @ slope)) / series.step
    shift = max(series.shifts.get("pressure", (0.0, 0.02))[1], LEFT_SHIFT)
    common = speed.gain_deviation**2 + 0.02**2
    variance = (
        (common + AXLE_GAIN**2) * brake**2
        + (LOAD * force) ** 2
        + (unit.gains * ZERO) ** 2
        + noise**2
        + (INERTIA * turned) ** 2
        + (shift * rate) ** 2
    )
    deviation = np.sqrt(variance) / load
    rim_deviation = np.sqrt(series.wheel_noise**2 + (0.002 * train) ** 2)
    creepage_deviation = np.sqrt(speed.deviation[:, None] ** 2 + rim_deviation**2) / np.maximum(
        train, 1.0
    )
    smooth = weighed(creepage, np.full(2 * (half // 2) + 1, 1.0 / (2 * (half // 2) + 1)))
    is_sliding = (smooth > SLIDING) & (smooth * train > 0.5) & (train > SLOWEST)
    return Adhesion(
        time=speed.time,
        train=speed.train,
        place=speed.distance[:, None] - unit.offsets,
        rim=rim,
        creepage=creepage,
        creepage_deviation=creepage_deviation,
        brake=brake,
        force=np.where(unknown, np.nan, force),
        load=load,
        used=np.where(unknown, np.nan, used),
        deviation=np.where(unknown, np.nan, deviation),
        is_sliding=is_sliding | is_locked,
        is_locked=is_locked,
    )


def mean_used(adhesion: Adhesion, speed: Speed, unit: Unit) -> tuple[float, float, float]:
    """Return the mean adhesion of the train over the log with its 90 % band, from its motion.

    Deceleration less resistance and gradient, over weight; no pressure enters.

    Returns
    -------
    (mean, low, high)   [-]
    """
    from slipbench.measured.unit import resistance_force, rise_force

    braking = speed.brake.sum(axis=1) > 0.05 * unit.gains.sum() * unit.full_pressure
    moving = speed.train > 1.5
    rows = np.flatnonzero(braking & moving)
    if len(rows) < 10:
        return float("nan"), float("nan"), float("nan")
    first, last = rows[0], rows[-1]
    span = float(speed.time[last] - speed.time[first])
    lost = float(speed.train[first] - speed.train[last])
    inside = slice(first, last + 1)
    pull = resistance_force(unit, speed.train[inside]) + rise_force(unit, speed.distance[inside])
    weight = float(unit.loads.sum())
    mean = (unit.mass * lost / span - float(pull.mean())) / weight
    spread = np.hypot(speed.deviation[first], speed.deviation[last]) * unit.mass / span
    spread = np.hypot(spread, np.hypot(unit.mass * 0.005, 0.025 * mean * weight)) / weight
    return mean, mean - Z90 * float(spread), mean + Z90 * float(spread)

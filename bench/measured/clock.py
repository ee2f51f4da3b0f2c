"""Clock shifts between channels, from the log itself.

A vent of a sliding wheel shows in its pressure and in its speed at once, since the rail's force
does not jump. 50 ms between both are an error of adhesion of .009 in a vent, more than all else
together (computed for one tare axle), so shifts come first.
"""

from __future__ import annotations

import numpy as np

from slipbench.contract import Floats
from slipbench.measured.brakes import brake_forces
from slipbench.measured.series import Series
from slipbench.measured.unit import Unit

WIDEST = 0.5
"""Shifts are sought so far to both sides. [s]"""

_LAG = 0.12
"""Second differences are taken over this. [s]"""

MOST_CREEP = 0.002
"""What creepage of a rolling, braked rim may come to more than nothing (assumed). [-]"""

_LEAST_JUMP = 0.02
"""Jumps of a cylinder's impulse count from this share of the full force on. [-]"""


def pressure_shift(series: Series, unit: Unit) -> tuple[float, float, int]:
    """Return by how much the pressures tell the past, its standard deviation, and from how much.

    Returns
    -------
    (shift [s], deviation [s], samples)   deviation infinite where the log cannot tell

    Notes
    -----
    The second difference of m u + integral of B(t + shift) is that of the rail's impulse, which is
    smooth. Least squares over the shift, the gain of each trial fitted; the curvature of the sum
    of squares gives the deviation, its samples counted as correlated over the lag.
    """
    step = series.step
    lag = max(1, round(_LAG / step))
    force = brake_forces(series.pressure, unit) + series.effort
    force = np.nan_to_num(force)
    impulse = np.cumsum(force, axis=0) * step - 0.5 * step * force  # trapezia
    momentum = unit.rotating * series.wheel
    target = _second(momentum, lag)
    fastest = np.nanmax(series.wheel, axis=1, keepdims=True)
    sliding = (series.wheel < 0.96 * fastest - 0.3) & (series.wheel > 1.0) & (fastest > 5.0)
    jumps = _second(impulse, lag)
    large = _LEAST_JUMP * unit.gains * unit.full_pressure * lag * step
    reach = max(1, round(WIDEST / step))
    inside = slice(lag + reach, len(series.time) - lag - reach)
    if inside.stop - inside.start < 50:
        return 0.0, np.inf, 0
    use = (sliding & (np.abs(jumps) > large) & np.isfinite(target))[inside]
    use &= np.isfinite(series.pressure[inside])
    n = int(use.sum())
    if n < 100:
        return 0.0, np.inf, n
    trials = np.arange(-reach, reach + 1)
    y = target[inside][use]
    left = np.array([_left_over(y, _at(jumps, k, inside)[use]) for k in trials.tolist()])
    best = int(np.argmin(left))
    if best in (0, len(trials) - 1):
        return 0.0, np.inf, n
    bend = left[best - 1] - 2.0 * left[best] + left[best + 1]
    if not bend > 0.0:
        return 0.0, np.inf, n
    offset = 0.5 * (left[best - 1] - left[best + 1]) / bend
    effective = max(n / (2.0 * lag), 2.0)
    deviation = step * np.sqrt(2.0 * left[best] / (effective * bend)) if bend > 0.0 else np.inf
    return float((trials[best] + offset) * step), float(deviation), n


def _second(values: Floats, lag: int) -> Floats:
    found = np.full_like(values, np.nan)
    found[lag:-lag] = values[2 * lag :] - 2.0 * values[lag:-lag] + values[: -2 * lag]
    return found


def _at(values: Floats, k: int, inside: slice) -> Floats:
    return values[inside.start + k : inside.stop + k]


def _left_over(y: Floats, jumps: Floats) -> float:
    """Return the mean square that a gain times the jumps leaves of y."""
    x = np.nan_to_num(jumps)
    square = float(x @ x)
    gain = max(0.0, -float(x @ y) / square) if square > 0.0 else 0.0
    rest = y + gain * x
    return float(rest @ rest) / len(y)


def train_shift(series: Series) -> tuple[float, float]:
    """Return by how much the independent train speed tells the past, and its deviation. [s]

    From the fastest rim while nothing slides: the least squares of train + shift * its slope
    against (1 + c) times the rim, c the diameters' error. Infinite where deceleration hardly
    changes.
    """
    if not series.has_train:
        return 0.0, np.inf
    rim = np.nanmedian(series.wheel, axis=1)
    spread = np.nanmax(series.wheel, axis=1) - np.nanmin(series.wheel, axis=1)
    half = max(2, round(0.2 / series.step))
    kernel = np.ones(2 * half + 1) / (2 * half + 1)
    smooth = np.convolve(np.nan_to_num(series.train), kernel, "same")
    slope = np.gradient(smooth, series.step)
    rolling = np.isfinite(series.train) & (spread < np.maximum(0.6, 0.02 * rim)) & (rim > 3.0)
    rolling[: 2 * half] = rolling[-2 * half :] = False
    n = int(rolling.sum())
    if n < 100 or float(np.std(slope[rolling])) < 0.05:
        return 0.0, np.inf
    a = np.column_stack([rim[rolling], -slope[rolling]])
    y = series.train[rolling]
    solution, *_ = np.linalg.lstsq(a, y, rcond=None)
    rest = y - a @ solution
    effective = max(n / (2.0 * half), 3.0)
    variance = float(rest @ rest) / n * n / effective
    covariance = np.linalg.inv(a.T @ a) * variance
    # a braked rim creeps the more the harder it is braked, which looks like a late clock
    by_creep = MOST_CREEP * float(rim[rolling].mean()) / (2.0 * float(np.std(slope[rolling])))
    return float(solution[1]), float(np.hypot(np.sqrt(covariance[1, 1]), by_creep))


def align(series: Series, unit: Unit) -> tuple[Series, list[str]]:
    """Return the series with its clocks put right as far as it can tell, and what was done."""
    said = []
    shift, deviation, n = pressure_shift(series, unit)
    if np.isfinite(deviation):
        series = series.shifted("pressure", shift, max(deviation, 2e-3))
        said.append(
            f"pressures tell the past by {1e3 * shift:.0f} +- {1e3 * deviation:.0f} ms against the "
            f"wheels (from {n} samples of vents): put right"
        )
    else:
        said.append("too few vents of sliding wheels to compare the clocks of pressure and speed")
    if series.has_train:
        shift, deviation = train_shift(series)
        if np.isfinite(deviation) and abs(shift) > 2.5 * deviation and abs(shift) < WIDEST:
            series = series.shifted("train", shift, deviation)
            said.append(
                f"train speed tells the past by {1e3 * shift:.0f} +- {1e3 * deviation:.0f} ms: "
                "put right"
            )
    return series, said

"""What the train's speed lies between by physics alone."""

from __future__ import annotations

import numpy as np

from slipbench.contract import Floats
from slipbench.kernel.train import GRAVITY
from slipbench.measured.unit import Unit, resistance_force


def running_mean(values: Floats, half: int) -> Floats:
    """Return the running mean over 2 half + 1 rows of columns, fewer at the ends."""
    total = np.vstack([np.zeros((1, values.shape[1])), np.cumsum(np.nan_to_num(values), axis=0)])
    n = len(values)
    low, high = np.maximum(np.arange(n) - half, 0), np.minimum(np.arange(n) + half + 1, n)
    return np.asarray((total[high] - total[low]) / (high - low)[:, None])


def speed_bounds(time: Floats, rim: Floats, brake: Floats, unit: Unit) -> tuple[Floats, Floats]:
    """Return what the train's speed lies between by physics alone. (n,), (n,) [m/s]

    Parameters
    ----------
    rim, brake : (n, n_axles)

    Notes
    -----
    No braked rim runs faster than the train by more than `eps`, so every rim is a floor, carried on
    by the fastest deceleration there can be: all brakes at their largest and resistance; and back
    by the slowest, none. The roof starts from the first speed and falls with the slowest.
    """
    step = float(time[1] - time[0])
    start = float(np.max(rim[: max(1, round(0.3 / step))]))
    most = 1.15 * float(brake.sum(axis=1).max()) / unit.mass
    most += float(resistance_force(unit, np.array([start]))[0]) / unit.mass
    steep = max((abs(float(g[1])) for g in unit.grades), default=0.0) * GRAVITY
    most += steep
    top = running_mean(rim, max(1, round(0.1 / step))).max(axis=1) - 0.1 - 0.002 * start
    rise = steep  # downhill alone can speed a braked train up
    forward = np.maximum.accumulate(top + most * time) - most * time
    backward = (np.maximum.accumulate((top - rise * time)[::-1]))[::-1] + rise * time
    low = np.maximum(np.maximum(forward, backward), 0.0)
    high = start * 1.01 + 0.3 + rise * (time - time[0])
    return low, np.maximum(high, low)

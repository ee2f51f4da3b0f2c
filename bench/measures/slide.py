"""How far, how long and how deep the wheels slid, and the longest lock."""

import math
from dataclasses import dataclass

import numpy as np

from slipbench.measures.materials import FloatArray


@dataclass(frozen=True)
class LongestLock:
    """The longest time any wheel stood still under way.

    Parameters
    ----------
    i_axle : int         Axle, from 0.
    duration : float     [s]
    start_time : float   [s]
    start_speed : float  Train speed as it began. [m/s]
    """

    i_axle: int
    duration: float
    start_time: float
    start_speed: float


@dataclass(frozen=True)
class SlideUse:
    """Slides and locks of a stop.

    Parameters
    ----------
    sliding_time, sliding_distance : (n_axles,)   [s], [m]
    locked_time, locked_distance : (n_axles,)     [s], [m]
    n_locks : (n_axles,)                          Locks begun. [-]
    first_slide_time, first_slide_speed : (n_axles,)   NaN for an axle that never slid. [s], [m/s]
    histogram : (n_depths, n_speeds)              Time of all axles by creepage and speed. [s]
    creepage_edges : (n_depths + 1,)              [-]; the last depth ends at 1
    speed_edges : (n_speeds + 1,)                 [m/s]; the last is infinite
    longest_lock, longest_lock_time, longest_lock_speed : (n_axles,)
        Longest lock of each axle [s], when it began [s] and how fast the train then was [m/s]; 0
        without a lock.
    """

    sliding_time: FloatArray
    sliding_distance: FloatArray
    locked_time: FloatArray
    locked_distance: FloatArray
    n_locks: FloatArray
    first_slide_time: FloatArray
    first_slide_speed: FloatArray
    histogram: FloatArray
    creepage_edges: FloatArray
    speed_edges: FloatArray
    longest_lock: FloatArray
    longest_lock_time: FloatArray
    longest_lock_speed: FloatArray

    @property
    def longest(self) -> LongestLock | None:
        """The longest lock of all axles, None without any."""
        i_axle = int(np.argmax(self.longest_lock))
        if not self.longest_lock[i_axle] > 0.0:
            return None
        return LongestLock(
            i_axle,
            float(self.longest_lock[i_axle]),
            float(self.longest_lock_time[i_axle]),
            float(self.longest_lock_speed[i_axle]),
        )

    @property
    def time_by_depth(self) -> FloatArray:
        """Time of all axles in each band of creepage, whatever the speed. [s], (n_depths,)."""
        return np.asarray(self.histogram.sum(axis=1))


def depth_edges(n_depths: int) -> FloatArray:
    """Return edges of the creepage bands: 0, then doubling from 0.05, then 1. [-]."""
    return np.concatenate(([0.0], 0.05 * 2.0 ** np.arange(n_depths - 1), [1.0]))


def speed_edges(n_speeds: int, width: float = 5.0) -> FloatArray:
    """Return edges of the speed bands, the last one open. [m/s]."""
    return np.concatenate((width * np.arange(n_speeds), [math.inf]))

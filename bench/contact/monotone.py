"""Monotone cubic interpolation, and nothing more, so that a stop need not import scipy for it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def monotone_slopes(nodes: FloatArray, values: FloatArray) -> FloatArray:
    """Return the slopes at the nodes of the cubic that rises and falls only as the values do.

    Parameters
    ----------
    nodes : (n,) float64         Ascending, n >= 3.
    values : (n, ...) float64    Several columns are taken one by one.

    Returns
    -------
    (n, ...) float64

    Notes
    -----
    Inside, the weighted harmonic mean of the two chords, zero where they differ in sign; at the
    ends the three-point formula, limited so that the cubic stays monotone. The same as scipy's
    `PchipInterpolator`, to rounding (tests/contact/test_monotone.py).

    References
    ----------
    [FritschButland1984] SIAM J. Sci. Stat. Comput. 5, 300-304 (from memory, not verified).
    """
    width = np.diff(nodes).reshape(-1, *[1] * (values.ndim - 1))
    chord = np.diff(values, axis=0) / width
    before, after = chord[:-1], chord[1:]
    is_turn = before * after <= 0.0
    first, second = 2.0 * width[1:] + width[:-1], width[1:] + 2.0 * width[:-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        inside = (first + second) / (first / before + second / after)
    slopes = np.empty_like(values, dtype=np.float64)
    slopes[1:-1] = np.where(is_turn, 0.0, inside)
    slopes[0] = _end_slope(width[0], width[1], chord[0], chord[1])
    slopes[-1] = _end_slope(width[-1], width[-2], chord[-1], chord[-2])
    return slopes


def _end_slope(
    near: FloatArray, far: FloatArray, chord: FloatArray, next_chord: FloatArray
) -> FloatArray:
    slope = ((2.0 * near + far) * chord - near * next_chord) / (near + far)
    is_steep = (chord * next_chord <= 0.0) & (np.abs(slope) > 3.0 * np.abs(chord))
    limited = np.where(is_steep, 3.0 * chord, slope)
    result: FloatArray = np.where(slope * chord <= 0.0, 0.0, limited)
    return result


def cubic_value(
    place: float, nodes: FloatArray, values: FloatArray, slopes: FloatArray
) -> FloatArray:
    """Return the cubic of values and slopes at one place, the end cubics carried on beyond.

    Parameters
    ----------
    place : float
    nodes : (n,) float64
    values, slopes : (n, ...) float64

    Returns
    -------
    (...) float64
    """
    i = min(max(int(np.searchsorted(nodes, place, side="right")) - 1, 0), len(nodes) - 2)
    width = nodes[i + 1] - nodes[i]
    share = (place - nodes[i]) / width
    rest = 1.0 - share
    rise = values[i + 1] - values[i]
    bend_before, bend_after = width * slopes[i] - rise, rise - width * slopes[i + 1]
    bent = share * rest * (rest * bend_before + share * bend_after)
    result: FloatArray = np.asarray(values[i] + share * rise + bent)
    return result

"""The march of the strip algorithm, in scaled quantities.

Lengths are in semi-axes and tractions in units of the bound's peak, 2 mu N / (pi a b), so the
bound on a strip of half-length l is s (2 l - s), s the way from its leading edge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class March:
    """Outcome of one march over (n_cases,) cases.

    Attributes
    ----------
    force_x, force_y : (n_cases,) float64   Force of the rail on the wheel over mu N. [-]
    stick_fraction : (n_cases,) float64     Stick area over patch area. [-]
    history : list or None                  At each cell edge from the lead: traction x and y and
        whether the bound was met, each (n_cases, n_strips).
    """

    force_x: FloatArray
    force_y: FloatArray
    stick_fraction: FloatArray
    history: list[tuple[FloatArray, FloatArray, BoolArray]] | None


def strip_angles(n_strips: int) -> FloatArray:
    """Return the strip angles theta, y/b = sin theta; equal steps crowd strips at the rims.

    Parameters
    ----------
    n_strips : int   >= 1

    Returns
    -------
    (n_strips,) float64   [rad]
    """
    share = (np.arange(n_strips, dtype=np.float64) + 0.5) / n_strips
    return math.pi * (share - 0.5)


def _stick_share(margin_before: FloatArray, margin_after: FloatArray) -> FloatArray:
    """Return the sticking share of a cell from the distance to the bound at its two edges.

    The distances are divided by the way from the leading edge, which makes them linear in pure
    creepage and the share exact.  A cell entered slipping has margin_before = 0 and counts as all
    slip or, re-stuck, all stick.
    """
    crossing = margin_before - margin_after
    share = margin_before / np.where(crossing > 0.0, crossing, 1.0)
    return np.where(margin_after >= 0.0, 1.0, share)


def _limit_to_bound(
    p_x: FloatArray, p_y: FloatArray, way: FloatArray, half_length: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return a traction scaled back to the bound, and its margin over the way from the lead."""
    bound = way * np.maximum(2.0 * half_length - way, 0.0)
    size = np.hypot(p_x, p_y)
    scale = np.where(size > bound, bound / np.where(size > 0.0, size, 1.0), 1.0)
    margin = (bound - size) / np.where(way > 0.0, way, 1.0)
    return p_x * scale, p_y * scale, margin


def _twice_cell_mean(
    start: FloatArray, turn: FloatArray, end: FloatArray, share: FloatArray, bulge: FloatArray
) -> FloatArray:
    """Return twice a cell's mean traction: stick from start to turn, slip from turn to end.

    Trapezoids, plus `bulge`, what they miss of the curved bound.
    """
    return share * (start + turn) + (1.0 - share) * (turn + end) + bulge


def march_strips(
    slope_x: FloatArray,
    slope_y: FloatArray,
    spin_x: FloatArray,
    spin_y: FloatArray,
    grid: tuple[int, int],
    keep_history: bool = False,
) -> March:
    """March all strips of all cases from leading to trailing edge.

    Parameters
    ----------
    slope_x, slope_y, spin_x, spin_y : (n_cases,) float64
        The stick traction: dp = -(slope_x - spin_x y/b, slope_y + spin_y x/a) ds. [-]
    grid : (n_strips, n_cells)   Each >= 1.
    keep_history : bool          Keep the tractions at every cell edge.

    Returns
    -------
    March

    Notes
    -----
    The rigid slip is linear in x, so its midpoint value makes the stick traction exact.
    """
    n_strips, n_cells = grid
    angle = strip_angles(n_strips)
    half_length = np.cos(angle)
    step = 2.0 * half_length / n_cells
    gain_x = -(slope_x[:, None] - spin_x[:, None] * np.sin(angle)) * step
    lead_y = slope_y[:, None] + spin_y[:, None] * half_length
    # Where stick ends inside a cell p_y is a parabola; half its second derivative is `bow`.
    bow = 0.5 * spin_y[:, None] * step**2
    p_x, p_y = np.zeros(gain_x.shape), np.zeros(gain_x.shape)
    sum_x, sum_y, stick = np.zeros(gain_x.shape), np.zeros(gain_x.shape), np.zeros(gain_x.shape)
    margin = np.maximum(2.0 * half_length - np.hypot(gain_x / step, lead_y), 0.0)
    history = [(p_x, p_y, np.zeros(gain_x.shape, dtype=bool))]
    for i_cell in range(n_cells):
        middle = half_length - step * (i_cell + 0.5)
        gain_y = -(slope_y[:, None] + spin_y[:, None] * middle) * step
        stuck_x, stuck_y = p_x + gain_x, p_y + gain_y
        way = step * (i_cell + 1.0)
        end_x, end_y, margin_after = _limit_to_bound(stuck_x, stuck_y, way, half_length)
        share = _stick_share(margin, margin_after)
        at_turn = p_x + share * gain_x, p_y + share * gain_y - bow * share * (1.0 - share)
        turn_x, turn_y, _ = _limit_to_bound(*at_turn, step * (i_cell + share), half_length)
        stuck_size = np.hypot(stuck_x, stuck_y)
        bulge = step**2 * (1.0 - share) ** 3 / 3.0 / np.where(stuck_size > 0.0, stuck_size, 1.0)
        sum_x += _twice_cell_mean(p_x, turn_x, end_x, share, bulge * stuck_x)
        sum_y += _twice_cell_mean(p_y, turn_y, end_y, share, bulge * stuck_y)
        sum_y -= bow * share**3 / 3.0
        stick += share
        p_x, p_y, margin = end_x, end_y, np.maximum(margin_after, 0.0)
        if keep_history:
            history.append((p_x, p_y, margin_after < 0.0))
    # Strip width cos(theta) d(theta) times half the cell length: the sums hold twice the means.
    weight = (2.0 / math.pi) * half_length**2 * (math.pi / n_strips) / n_cells
    kept = history if keep_history else None
    return March(sum_x @ weight, sum_y @ weight, stick @ weight, kept)

"""Kalker's simplified theory: a patch cut into strips, each marched from its leading edge.

Lengths are in semi-axes and tractions in units of the bound's peak, 2 mu N / (pi a b).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bench.contact.hertz import require_positive
from bench.contact.rolling import (
    Creepages,
    CreepForces,
    NormalisedCreepages,
    RollingContact,
)
from bench.errors import InputError

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

ORDER_OF_STRIP = 2.0
"""Order in the cell size of the force of one strip, without spin."""
ORDER_OF_PATCH = 2.5
"""Order of the patch force on an n x n grid, without spin: the strips' slip fronts fall anywhere
in their cells, so n strip errors average like independent ones and gain half an order."""
ORDER_WITH_SPIN = 1.0
"""Order of the patch force with spin: scaling back is an implicit Euler step for the direction."""


@dataclass(frozen=True)
class SurfaceTractions:
    """Tractions of the rail on the wheel over the patch, strips by cell edges.

    Attributes
    ----------
    x : (n_strips, n_cells + 1) float64             Position, leading edge first. [m]
    y : (n_strips,) float64                         Strip centre. [m]
    longitudinal : (n_strips, n_cells + 1) float64  px. [Pa]
    lateral : (n_strips, n_cells + 1) float64       py. [Pa]
    bound : (n_strips, n_cells + 1) float64         Friction bound. [Pa]
    is_slipping : (n_strips, n_cells + 1) bool      Whether the bound was met there.
    """

    x: FloatArray
    y: FloatArray
    longitudinal: FloatArray
    lateral: FloatArray
    bound: FloatArray
    is_slipping: BoolArray


@dataclass(frozen=True)
class StripResult:
    """Outcome of the strip algorithm.

    Attributes
    ----------
    longitudinal_force, lateral_force : float   Fx, Fy of the rail on the wheel. [N]
    stick_fraction : float                 Stick area over patch area. [-]
    tractions : SurfaceTractions or None   Surface tractions, if asked for.
    """

    longitudinal_force: float
    lateral_force: float
    stick_fraction: float
    tractions: SurfaceTractions | None = None


@dataclass(frozen=True)
class _March:
    """Result of one march, scaled; leading axis = cases, then strips."""

    force_x: FloatArray
    force_y: FloatArray
    stick_fraction: FloatArray
    history: list[tuple[FloatArray, FloatArray, BoolArray]] | None


def _check_grid(n_strips: int, n_cells: int) -> None:
    if n_strips < 1:
        raise InputError(f"n_strips = {n_strips!r}: must be at least 1")
    if n_cells < 1:
        raise InputError(f"n_cells = {n_cells!r}: must be at least 1")


def _strip_angles(n_strips: int) -> FloatArray:
    """Return the strip angles theta, y/b = sin theta; equal steps crowd strips at the rims."""
    share = (np.arange(n_strips, dtype=np.float64) + 0.5) / n_strips
    return np.asarray(math.pi * (share - 0.5), dtype=np.float64)


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


def _march(
    slope_x: FloatArray,
    slope_y: FloatArray,
    spin_x: FloatArray,
    spin_y: FloatArray,
    grid: tuple[int, int],
    keep_tractions: bool = False,
) -> _March:
    """March all strips of all cases from leading to trailing edge.

    The four (n_cases,) arguments give the stick traction: dp = -(slope_x - spin_x y/b,
    slope_y + spin_y x/a) per step of -x/a.  The rigid slip is linear in x, so its midpoint value
    makes the stick traction exact.
    """
    n_strips, n_cells = grid
    angle = _strip_angles(n_strips)
    half_length, sine = np.cos(angle), np.sin(angle)
    step = 2.0 * half_length / n_cells
    gain_x = -(slope_x[:, None] - spin_x[:, None] * sine) * step
    shape = gain_x.shape
    p_x, p_y = np.zeros(shape), np.zeros(shape)
    sum_x, sum_y, stick = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    lead_y = (slope_y[:, None] + spin_y[:, None] * half_length) * step
    margin = np.maximum(2.0 * half_length - np.hypot(gain_x, lead_y) / step, 0.0)
    history = [(p_x, p_y, np.zeros(shape, dtype=bool))]
    for i_cell in range(n_cells):
        middle = half_length * (1.0 - (2.0 * i_cell + 1.0) / n_cells)
        gain_y = -(slope_y[:, None] + spin_y[:, None] * middle) * step
        stuck_x, stuck_y = p_x + gain_x, p_y + gain_y
        end_x, end_y, margin_after = _limit_to_bound(
            stuck_x, stuck_y, step * (i_cell + 1.0), half_length
        )
        share = _stick_share(margin, margin_after)
        # Where stick ends inside the cell; p_y is a parabola there, its second derivative spin_y.
        bow = 0.5 * spin_y[:, None] * step**2
        turn_x, turn_y, _ = _limit_to_bound(
            p_x + share * gain_x,
            p_y + share * gain_y - bow * share * (1.0 - share),
            step * (i_cell + share),
            half_length,
        )
        slip = 1.0 - share
        # Trapezoids, and what they miss: the bow of stick and of the bound (g'' = -2).
        stuck_size = np.hypot(stuck_x, stuck_y)
        bulge = (step * slip) ** 2 * slip / 3.0 / np.where(stuck_size > 0.0, stuck_size, 1.0)
        sum_x += share * (p_x + turn_x) + slip * (turn_x + end_x) + bulge * stuck_x
        sum_y += share * (p_y + turn_y) + slip * (turn_y + end_y) + bulge * stuck_y
        sum_y -= bow * share**3 / 3.0
        stick += share
        p_x, p_y, margin = end_x, end_y, np.maximum(margin_after, 0.0)
        if keep_tractions:
            history.append((p_x, p_y, margin_after < 0.0))
    # Strip width cos(theta) d(theta) x half the cell length: the sums hold twice the means.
    area_weight = half_length**2 * (math.pi / n_strips) / n_cells
    return _March(
        (2.0 / math.pi) * (sum_x @ area_weight),
        (2.0 / math.pi) * (sum_y @ area_weight),
        (2.0 / math.pi) * (stick @ area_weight),
        history if keep_tractions else None,
    )


def _slopes(
    tau_x: FloatArray, tau_y: FloatArray, tau_spin: FloatArray, axis_ratio: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return the stick traction slopes of the three-flexibility form (L1, L2, L3)."""
    straight = 3.0 * math.pi / 16.0
    return straight * tau_x, straight * tau_y, 2.0 * tau_spin / axis_ratio, 2.0 * tau_spin


def _single_flexibility_slopes(
    contact: RollingContact, creepages: Creepages
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return the stick traction slopes with one L, the creepage-weighted mean of L1, L2, L3."""
    patch, coefficients = contact.patch, contact.coefficients
    a, b = patch.semi_axis_rolling, patch.semi_axis_lateral
    c = math.sqrt(a * b)
    straight = 8.0 * a / (3.0 * contact.shear_modulus)
    flexibility = np.array(
        [
            straight / coefficients.c11,
            straight / coefficients.c22,
            math.pi * a * a / (4.0 * contact.shear_modulus * c * coefficients.c23),
        ]
    )
    xi, eta, phi = creepages
    size = np.array([abs(xi), abs(eta), c * abs(phi)])
    norm = float(np.linalg.norm(size))
    single = float(size @ flexibility) / norm if norm > 0.0 else float(flexibility[0])
    peak = 2.0 * contact.friction_limit / (math.pi * a * b)
    unit = a / (single * peak)
    return (
        np.array([xi * unit]),
        np.array([eta * unit]),
        np.array([phi * b * unit]),
        np.array([phi * a * unit]),
    )


def strip_traction_ratio(
    normalised_creepage: ArrayLike,
    *,
    lateral: float = 0.0,
    spin: float = 0.0,
    axis_ratio: float = 1.0,
    n_strips: int = 50,
    n_cells: int = 50,
) -> FloatArray:
    """Return the longitudinal F/(mu N) of the strip algorithm.

    Parameters
    ----------
    normalised_creepage : (...,) float   tau, linear longitudinal force over mu N. [-], any sign
    lateral : float      Linear lateral-creepage force over mu N, held constant. [-]
    spin : float         Linear spin force over mu N, held constant. [-]
    axis_ratio : float   a/b; matters only with spin. [-], > 0
    n_strips : int       Strips across the patch. >= 1
    n_cells : int        Cells along each strip. >= 1

    Returns
    -------
    (...,) float64   Signed like tau. [-]

    Raises
    ------
    InputError
        If the grid or the axis ratio is out of range.

    Notes
    -----
    Accuracy and references: see `strip_forces`.
    """
    _check_grid(n_strips, n_cells)
    ratio = require_positive("axis_ratio", axis_ratio, "-")
    tau = np.asarray(normalised_creepage, dtype=np.float64)
    flat = tau.ravel()
    slopes = _slopes(flat, np.full_like(flat, lateral), np.full_like(flat, spin), ratio)
    return -_march(*slopes, (n_strips, n_cells)).force_x.reshape(tau.shape)


def strip_stick_fraction(
    normalised: NormalisedCreepages,
    *,
    axis_ratio: float = 1.0,
    n_strips: int = 50,
    n_cells: int = 50,
) -> float:
    """Return the stick area over the patch area.

    Parameters
    ----------
    normalised : NormalisedCreepages   Linear forces over mu N. [-]
    axis_ratio : float                 a/b; matters only with spin. [-], > 0
    n_strips, n_cells : int            Grid; each >= 1.

    Returns
    -------
    float   [-], 0 to 1

    Raises
    ------
    InputError
        If the grid or the axis ratio is out of range.
    """
    _check_grid(n_strips, n_cells)
    ratio = require_positive("axis_ratio", axis_ratio, "-")
    parts = [np.array([value]) for value in normalised]
    slopes = _slopes(parts[0], parts[1], parts[2], ratio)
    return float(_march(*slopes, (n_strips, n_cells)).stick_fraction[0])


def strip_solution(
    contact: RollingContact,
    creepages: Creepages,
    *,
    n_strips: int = 50,
    n_cells: int = 50,
    has_single_flexibility: bool = False,
    with_tractions: bool = False,
) -> StripResult:
    """Solve the patch with Kalker's simplified theory.

    Parameters
    ----------
    contact : RollingContact        Patch, material and friction.
    creepages : Creepages           Longitudinal, lateral [-] and spin [1/m].
    n_strips : int                  Strips across the patch. >= 1
    n_cells : int                   Cells along each strip. >= 1
    has_single_flexibility : bool   One creepage-weighted L instead of L1, L2, L3.
    with_tractions : bool           Return the surface tractions too.

    Returns
    -------
    StripResult

    Raises
    ------
    InputError
        If the grid is out of range.

    Notes
    -----
    u = L p, L1 = 8a/(3 G C11), L2 = 8a/(3 G C22), L3 = pi a^2/(4 G sqrt(ab) C23): each
    reproduces its own linear force.  Friction bound mu (2N/(pi a b)) (1 - x^2/a^2 - y^2/b^2),
    parabolic (from memory).  A predicted traction beyond the bound is scaled back to it.
    Strips have equal steps of angle (y = b sin theta) and Simpson's rule runs along them, so the
    friction limit mu N comes out exactly and cannot be passed.
    Order of the patch force: `ORDER_OF_PATCH` without spin, `ORDER_WITH_SPIN` with it, see
    `tests/convergence/test_strip_order.py`.  At 50 x 50 the force is within 0.1 % of the closed
    form in pure longitudinal creepage, and within about 1 % of mu N of its own limit with spin.
    The model itself is at most about 3.6 % low against full elastic theory in pure longitudinal
    creep (computed, circle, nu = 0) and 10-15 % over general creepage and spin (memory).
    The spin moment is not computed.

    References
    ----------
    [Kalker1982] A fast algorithm for the simplified theory of rolling contact, Veh. Syst. Dyn.
    11, 1-13 (formulas from memory, each checked against its linear coefficient).
    """
    _check_grid(n_strips, n_cells)
    if has_single_flexibility:
        slopes = _single_flexibility_slopes(contact, creepages)
    else:
        parts = [np.array([value]) for value in contact.normalise(creepages)]
        slopes = _slopes(parts[0], parts[1], parts[2], contact.patch.axis_ratio)
    march = _march(*slopes, (n_strips, n_cells), keep_tractions=with_tractions)
    limit = contact.friction_limit
    return StripResult(
        limit * float(march.force_x[0]),
        limit * float(march.force_y[0]),
        float(march.stick_fraction[0]),
        _surface_tractions(contact, march, n_strips, n_cells) if with_tractions else None,
    )


def _surface_tractions(
    contact: RollingContact, march: _March, n_strips: int, n_cells: int
) -> SurfaceTractions:
    """Return the march's tractions in SI."""
    assert march.history is not None
    p_x, p_y, is_slipping = (np.stack([one[i][0] for one in march.history], -1) for i in range(3))
    a, b = contact.patch.semi_axis_rolling, contact.patch.semi_axis_lateral
    angle = _strip_angles(n_strips)
    edge = 1.0 - 2.0 * np.arange(n_cells + 1) / n_cells
    peak = 2.0 * contact.friction_limit / (math.pi * a * b)
    return SurfaceTractions(
        x=a * np.cos(angle)[:, None] * edge,
        y=b * np.sin(angle),
        longitudinal=peak * p_x,
        lateral=peak * p_y,
        bound=peak * (np.cos(angle) ** 2)[:, None] * (1.0 - edge**2),
        is_slipping=is_slipping.astype(np.bool_),
    )


def strip_forces(
    contact: RollingContact,
    creepages: Creepages,
    *,
    n_strips: int = 50,
    n_cells: int = 50,
    has_single_flexibility: bool = False,
) -> CreepForces:
    """Return Fx and Fy of the strip algorithm; see `strip_solution`.

    Parameters
    ----------
    contact, creepages, n_strips, n_cells, has_single_flexibility
        As in `strip_solution`.

    Returns
    -------
    CreepForces   [N]

    Raises
    ------
    InputError
        If the grid is out of range.
    """
    result = strip_solution(
        contact,
        creepages,
        n_strips=n_strips,
        n_cells=n_cells,
        has_single_flexibility=has_single_flexibility,
    )
    return CreepForces(result.longitudinal_force, result.lateral_force)

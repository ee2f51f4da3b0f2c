"""Hertz contact of wheel and rail: the elliptic patch, its peak pressure and the approach.

The axis ratio is solved, never read from a table of Hertz coefficients.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from slipbench.ground.errors import InputError


@dataclass(frozen=True)
class ContactPatch:
    """Elliptic contact between two elastic bodies.

    Attributes
    ----------
    semi_axis_rolling : float   Semi-axis a along the rolling direction x. [m]
    semi_axis_lateral : float   Semi-axis b along the lateral direction y. [m]
    peak_pressure : float       Largest normal pressure, at the centre. [Pa]
    approach : float            Approach of distant points of the two bodies. [m]
    load : float                Normal load carried by the patch. [N]
    """

    semi_axis_rolling: float
    semi_axis_lateral: float
    peak_pressure: float
    approach: float
    load: float

    @property
    def axis_ratio(self) -> float:
        """Ratio a/b of the rolling to the lateral semi-axis. [-]."""
        return self.semi_axis_rolling / self.semi_axis_lateral

    @property
    def area(self) -> float:
        """Area pi a b of the patch. [m^2]."""
        return math.pi * self.semi_axis_rolling * self.semi_axis_lateral


def require_positive(name: str, value: float, unit: str) -> float:
    """Return `value` as a float, or refuse it unless it is finite and above zero.

    Parameters
    ----------
    name : str      Name of the quantity, for the message.
    value : float   Value to check. [unit]
    unit : str      Unit, for the message.

    Raises
    ------
    InputError
        If `value` is not a finite number above zero.
    """
    number = float(value)
    if not (math.isfinite(number) and number > 0.0):
        raise InputError(f"{name} = {value!r} {unit}: must be a finite number above 0")
    return number


def require_poisson_ratio(value: float) -> float:
    """Return `value` as a float, or refuse it outside 0 to 0.5.

    Raises
    ------
    InputError
        If `value` is outside the range of the Kalker table, 0 to 0.5.
    """
    number = float(value)
    if not 0.0 <= number <= 0.5:
        raise InputError(f"poisson_ratio = {value!r} -: must lie between 0 and 0.5")
    return number


def shear_modulus(elastic_modulus: float, poisson_ratio: float) -> float:
    """Return the shear modulus G = E / (2 (1 + nu)). [Pa].

    Parameters
    ----------
    elastic_modulus : float   Young's modulus E. [Pa], > 0
    poisson_ratio : float     Poisson's ratio nu. [-], 0 to 0.5

    Raises
    ------
    InputError
        If a value is out of range.
    """
    modulus = require_positive("elastic_modulus", elastic_modulus, "Pa")
    return modulus / (2.0 * (1.0 + require_poisson_ratio(poisson_ratio)))


def contact_modulus_of(elastic_modulus: float, poisson_ratio: float) -> float:
    """Return E* = E / (2 (1 - nu^2)) of two bodies of the same material. [Pa].

    Parameters
    ----------
    elastic_modulus : float   Young's modulus E of both bodies. [Pa], > 0
    poisson_ratio : float     Poisson's ratio nu of both bodies. [-], 0 to 0.5

    Raises
    ------
    InputError
        If a value is out of range.
    """
    modulus = require_positive("elastic_modulus", elastic_modulus, "Pa")
    return modulus / (2.0 * (1.0 - require_poisson_ratio(poisson_ratio) ** 2))


def ellipse_axis_ratio(curvature_ratio: float) -> float:
    """Solve for the short-to-long axis ratio of a Hertz ellipse.

    Parameters
    ----------
    curvature_ratio : float   Larger over smaller curvature of the gap. [-], >= 1

    Returns
    -------
    float   Short over long semi-axis k. [-], 0 < k <= 1

    Raises
    ------
    InputError
        If `curvature_ratio` is below 1 or not finite.

    Notes
    -----
    [E(m)/k^2 - K(m)] / [K(m) - E(m)] = curvature ratio, m = 1 - k^2, with E = (1 - m (1 + q)/2) K
    written as (1 - q) / ((1 + q) k^2), which loses no digits near the circle. Its logarithm runs
    almost straight over that of k: false position with halving (Illinois).

    References
    ----------
    [Johnson1985] Contact Mechanics, ch. 4 (the condition; from memory, not verified).
    """
    if not (math.isfinite(curvature_ratio) and curvature_ratio >= 1.0):
        raise InputError(f"curvature_ratio = {curvature_ratio!r} -: must be finite and >= 1")
    if curvature_ratio == 1.0:
        return 1.0
    target = math.log(curvature_ratio)

    def excess(log_k: float) -> float:
        bend = _elliptic_integrals(log_k)[1]
        return math.log1p(-bend) - math.log1p(bend) - 2.0 * log_k - target

    # the left side lies between 1/k and 1/k^2
    low, high = -target, -0.5 * target
    at_low, at_high = excess(low), excess(high)
    for _ in range(60):
        middle = low - at_low * (high - low) / (at_high - at_low)
        if not low < middle < high or high - low <= 1e-15 * target:
            break
        at_middle = excess(middle)
        if at_middle > 0.0:
            low, at_low, at_high = middle, at_middle, 0.5 * at_high
        else:
            high, at_high, at_low = middle, at_middle, 0.5 * at_low
    return math.exp(middle)


def _elliptic_integrals(log_k: float) -> tuple[float, float]:
    """Return K(m) and q, with E(m) = (1 - m (1 + q) / 2) K(m), m = 1 - k^2, 0 < k <= 1.

    By the arithmetic-geometric mean, E = (1 - sum of 2^(n-1) c_n^2) K (Abramowitz and Stegun 17.6,
    from memory; tests/contact/test_hertz.py compares with scipy).
    """
    k = math.exp(log_k)
    first, second, half = 0.5 * (1.0 + k), math.sqrt(k), -0.5 * math.expm1(log_k)
    weight, bend = 1.0, half * half
    while half > 1e-9 * first:  # the next one would be its square
        half = 0.5 * (first - second)
        first, second = 0.5 * (first + second), math.sqrt(first * second)
        weight *= 2.0
        bend += weight * half * half
    complement = -math.expm1(2.0 * log_k)
    return 0.5 * math.pi / first, 2.0 * bend / complement if complement > 0.0 else 0.0


def hertz_ellipse(
    curvature_x: float, curvature_y: float, load: float, contact_modulus: float
) -> ContactPatch:
    """Return the Hertz ellipse for a gap A x^2 + B y^2.

    Parameters
    ----------
    curvature_x : float       Coefficient A of the gap along the rolling direction: half the sum
        of the two bodies' curvatures there, 1/(2 Rw) for a wheel on straight rail. [1/m], > 0
    curvature_y : float       Coefficient B of the gap along the lateral direction. [1/m], > 0
    load : float              Normal load N. [N], > 0
    contact_modulus : float   E*, with 1/E* = sum (1 - nu_i^2)/E_i. [Pa], > 0

    Returns
    -------
    ContactPatch

    Raises
    ------
    InputError
        If an argument is not a finite number above zero.

    Notes
    -----
    Smooth, frictionless, elastic bodies, patch small against the radii.  The long axis lies along
    the smaller curvature; A and B come in either order.  L^3 = 3 N E(m) / (2 pi E* (A+B) k^2),
    S = k L, p0 = 3 N / (2 pi L S), approach = p0 S K(m) / E*, m = 1 - k^2.
    Checked by `tests/validation/test_contact_hertz.py`.

    References
    ----------
    [Johnson1985] Contact Mechanics, ch. 4 (from memory, confirmed numerically).
    """
    a_gap = require_positive("curvature_x", curvature_x, "1/m")
    b_gap = require_positive("curvature_y", curvature_y, "1/m")
    force = require_positive("load", load, "N")
    modulus = require_positive("contact_modulus", contact_modulus, "Pa")
    k = ellipse_axis_ratio(max(a_gap, b_gap) / min(a_gap, b_gap))
    first_kind, bend = _elliptic_integrals(math.log(k))
    second_kind = (1.0 - 0.5 * (1.0 - k * k) * (1.0 + bend)) * first_kind
    long_cubed = 3.0 * force * second_kind / (2.0 * math.pi * modulus * (a_gap + b_gap) * k * k)
    long_axis = long_cubed ** (1.0 / 3.0)
    short_axis = k * long_axis
    peak = 3.0 * force / (2.0 * math.pi * long_axis * short_axis)
    approach = peak * short_axis * first_kind / modulus
    along, across = (long_axis, short_axis) if a_gap <= b_gap else (short_axis, long_axis)
    return ContactPatch(along, across, peak, approach, force)


def contact_patch(
    wheel_radius: float,
    rail_crown_radius: float,
    load: float,
    *,
    wheel_profile_radius: float = math.inf,
    elastic_modulus: float = 210e9,
    poisson_ratio: float = 0.28,
) -> ContactPatch:
    """Return the contact patch of a wheel on a straight rail.

    Parameters
    ----------
    wheel_radius : float           Rolling radius of the wheel. [m], > 0
    rail_crown_radius : float      Radius of the rail head across the rail. [m], > 0
    load : float                   Wheel load N. [N], > 0
    wheel_profile_radius : float   Radius of the wheel tread across the rail: infinite for a coned
        tread, positive convex, negative concave (worn). [m], not 0
    elastic_modulus : float        Young's modulus of wheel and rail. [Pa], > 0; the default is
        a common value for steel (assumed)
    poisson_ratio : float          Poisson's ratio of wheel and rail. [-], 0 to 0.5 (assumed)

    Returns
    -------
    ContactPatch

    Raises
    ------
    InputError
        If a value is out of range, or a concave tread fits the rail head so closely that the
        lateral gap curvature is not positive.

    Notes
    -----
    Yaw and rail inclination are left out: principal axes lie along x and y.
    """
    curvature_x = 0.5 / require_positive("wheel_radius", wheel_radius, "m")
    curvature_y = 0.5 / require_positive("rail_crown_radius", rail_crown_radius, "m")
    if math.isnan(wheel_profile_radius) or wheel_profile_radius == 0.0:
        raise InputError(
            f"wheel_profile_radius = {wheel_profile_radius!r} m: must be non-zero "
            "(infinite for a coned tread, negative for a concave one)"
        )
    curvature_y += 0.5 / wheel_profile_radius
    if curvature_y <= 0.0:
        raise InputError(
            f"wheel_profile_radius = {wheel_profile_radius!r} m: a concave tread must be flatter "
            f"than the rail crown, below -{rail_crown_radius!r} m"
        )
    modulus = contact_modulus_of(elastic_modulus, poisson_ratio)
    return hertz_ellipse(curvature_x, curvature_y, load, modulus)

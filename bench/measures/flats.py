"""Flats: how much a locked wheel wears away, how long the flat is, and how flats merge.

A flat is a chord of the wheel, equally wide all along. Its length is always a band, because the
two wear laws and their coefficients differ by a factor of two or three in length; no published
growth curve was readable, so none is claimed. Flats come from locked wheels only: sliding while
turning spreads its wear around the wheel (`slipbench.measures.drag`).
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from slipbench.ground.errors import InputError
from slipbench.measures.materials import (
    WEAR,
    FloatArray,
    WearCoefficients,
    checked_length,
    checked_lock,
    checked_samples,
)

# Rounding left by turning angles into one turn; far below any length that matters.
_ANGLE_ROUNDING = 1e-12

FLAT_WIDTH = 0.030
"""Width of the worn band across the tread (assumed: common practice, no source). [m]"""


class Band(NamedTuple):
    """Lower and upper end of an uncertain quantity, arrays of one shape."""

    low: FloatArray
    high: FloatArray


def flat_depth(flat_length: npt.ArrayLike, wheel_radius: float) -> FloatArray:
    """Return the depth of a flat, from its length.

    Parameters
    ----------
    flat_length : array    Chord length. [m], 0 to the wheel diameter
    wheel_radius : float   [m], > 0

    Returns
    -------
    array   R - sqrt(R^2 - L^2 / 4), written without cancellation. [m]

    Raises
    ------
    InputError   For a length that no chord of the wheel has, or a radius that is not > 0.
    """
    radius = checked_length("wheel_radius", wheel_radius)
    length = checked_samples("flat_length", "m", flat_length)
    if np.any(length > 2.0 * radius):
        raise InputError(
            f"flat_length = {length.max()} m is not allowed;"
            f" it must be <= the wheel diameter {2.0 * radius} m"
        )
    quarter_square = 0.25 * length**2
    return np.asarray(quarter_square / (radius + np.sqrt(radius**2 - quarter_square)))


def flat_length_from_depth(depth: npt.ArrayLike, wheel_radius: float) -> FloatArray:
    """Return the chord length of a flat, from its depth; the inverse of `flat_depth`.

    Parameters
    ----------
    depth : array          [m], 0 to the wheel radius
    wheel_radius : float   [m], > 0

    Raises
    ------
    InputError   For a depth beyond the wheel's centre, or a radius that is not > 0.
    """
    radius = checked_length("wheel_radius", wheel_radius)
    deep = checked_samples("depth", "m", depth)
    if np.any(deep > radius):
        raise InputError(
            f"depth = {deep.max()} m is not allowed; it must be <= the wheel radius {radius} m"
        )
    return np.asarray(2.0 * np.sqrt(deep * (2.0 * radius - deep)))


def flat_volume(flat_length: npt.ArrayLike, wheel_radius: float, flat_width: float) -> FloatArray:
    """Return the volume worn off a flat, from its length.

    Parameters
    ----------
    flat_length : array    [m], >= 0
    wheel_radius : float   [m], > 0
    flat_width : float     Width of the worn band across the tread. [m], > 0

    Returns
    -------
    array   w L^3 / (12 R). [m3]

    Raises
    ------
    InputError   For a value out of its range.

    Notes
    -----
    First term of the circular segment; too small by 0.3 (L / 2R)^2, 0.1 % at 50 mm
    (tests/validation/test_flat_geometry.py). A real flat begins narrower than it ends.
    """
    radius = checked_length("wheel_radius", wheel_radius)
    width = checked_length("flat_width", flat_width)
    length = checked_samples("flat_length", "m", flat_length)
    return np.asarray(width * length**3 / (12.0 * radius))


def flat_length_from_volume(
    volume: npt.ArrayLike, wheel_radius: float, flat_width: float
) -> FloatArray:
    """Return the length of a flat, from its worn volume; the inverse of `flat_volume`.

    Parameters
    ----------
    volume : array         [m3], >= 0
    wheel_radius : float   [m], > 0
    flat_width : float     [m], > 0

    Raises
    ------
    InputError   For a value out of its range.
    """
    radius = checked_length("wheel_radius", wheel_radius)
    width = checked_length("flat_width", flat_width)
    worn = checked_samples("volume", "m3", volume)
    return np.asarray(np.cbrt(12.0 * radius * worn / width))


def energy_wear_rate(energy_density: npt.ArrayLike, wear: WearCoefficients = WEAR) -> FloatArray:
    """Return mass worn per sliding distance and contact area, by the energy law.

    Parameters
    ----------
    energy_density : array   Contact energy per distance and area, T-gamma over A. [Pa], >= 0

    Returns
    -------
    array   [kg/m3], that is kg per m of distance and m2 of contact

    Raises
    ------
    InputError   For a value that is negative or not finite.

    Notes
    -----
    Mild slope up to the plateau, then the severe slope from the knee on. The mild branch gives way
    where it meets the plateau (10.38 N/mm2), not at the 10.4 N/mm2 usually printed, so the law is
    continuous and never falls.

    References
    ----------
    T-gamma map of R8T wheel steel (values from memory, not verified; prints differ in the third
    branch, this is the continuous form).
    """
    density = checked_samples("energy_density", "Pa", energy_density)
    mild = np.minimum(wear.mild_slope * density, wear.plateau_rate)
    severe = wear.severe_slope * np.maximum(density - wear.severe_knee, 0.0)
    return np.asarray(mild + severe)


def archard_area_rate(
    normal_load: npt.ArrayLike, coefficient: float, hardness: float
) -> FloatArray:
    """Return volume worn per sliding distance, by Archard's law K N / H.

    Parameters
    ----------
    normal_load : array   [N], >= 0
    coefficient : float   K. [-]
    hardness : float      H. [Pa]

    Returns
    -------
    array   [m2], that is m3 per m

    Raises
    ------
    InputError   For a load that is negative or not finite.
    """
    return np.asarray(checked_samples("normal_load", "N", normal_load) * coefficient / hardness)


def energy_area_rate(
    contact_force: npt.ArrayLike, contact_area: float | FloatArray, wear: WearCoefficients = WEAR
) -> FloatArray:
    """Return volume worn per sliding distance of a locked wheel, by the energy law.

    Parameters
    ----------
    contact_force : array   Tangential force; locked, this is the energy per distance. [N], >= 0
    contact_area : float or array   [m2], > 0

    Returns
    -------
    array   [m2], that is m3 per m

    Raises
    ------
    InputError   For a force that is negative or not finite.
    """
    force = checked_samples("contact_force", "N", contact_force)
    return np.asarray(contact_area * energy_wear_rate(force / contact_area, wear) / wear.density)


def locked_wheel_wear(
    time: npt.ArrayLike,
    normal_load: npt.ArrayLike,
    contact_force: npt.ArrayLike,
    train_speed: npt.ArrayLike,
    contact_area: float,
    wear: WearCoefficients = WEAR,
) -> Band:
    """Return the volume a locked wheel has worn off since the lock began, as a band.

    Parameters
    ----------
    time : (n_samples,) array   Samples of one lock. [s], increasing
    normal_load : array         Load of this wheel. [N], >= 0
    contact_force : array       Tangential force of this wheel; its sign is ignored. [N]
    train_speed : array         Sliding speed. [m/s], >= 0
    contact_area : float        Of the round wheel on the rail, by Hertz. [m2], > 0

    Returns
    -------
    Band of (n_samples,) arrays   Worn volume; 0 at the first sample. [m3]

    Raises
    ------
    InputError   For unequal lengths, time that does not increase, or a value out of its range.

    Notes
    -----
    The band holds Archard's law with its low and high coefficient and the energy law on the
    contact area of the round wheel and on that of a grown flat, whichever of the four has worn
    least and most so far. Archard's law knows no friction: on a slippery rail the top of the
    band is its own.
    """
    instants, load, force, speed = checked_lock(
        time,
        normal_load=("N", normal_load),
        contact_force=("N", np.abs(contact_force)),
        train_speed=("m/s", train_speed),
    )
    rates = np.stack(
        (
            archard_area_rate(load, wear.archard_low, wear.hardness),
            archard_area_rate(load, wear.archard_high, wear.hardness),
            energy_area_rate(force, contact_area, wear),
            energy_area_rate(force, wear.contact_area_worn, wear),
        )
    )
    worn = rates * speed
    steps = 0.5 * (worn[:, 1:] + worn[:, :-1]) * np.diff(instants)
    volumes = np.zeros(worn.shape)
    volumes[:, 1:] = np.cumsum(steps, axis=1)
    return Band(volumes.min(axis=0), volumes.max(axis=0))


def flat_length_band(volume: Band, wheel_radius: float, flat_width: float) -> Band:
    """Return flat lengths [m] for a band of worn volumes [m3].

    Raises
    ------
    InputError   For a value out of its range.
    """
    return Band(
        flat_length_from_volume(volume.low, wheel_radius, flat_width),
        flat_length_from_volume(volume.high, wheel_radius, flat_width),
    )


def flat_patch_radius(
    flat_length: npt.ArrayLike, flat_width: float, initial_radius: npt.ArrayLike
) -> FloatArray:
    """Return the radius of a disc as large as the contact on a flat.

    Parameters
    ----------
    flat_length : array      Length so far. [m], >= 0
    flat_width : float       [m], > 0
    initial_radius : array   Radius of a disc as large as the elastic contact before the flat.
        [m], > 0

    Returns
    -------
    array   sqrt(L w / pi), never below `initial_radius`. [m]

    Raises
    ------
    InputError   For a value out of its range.

    Notes
    -----
    The whole flat carries load and heat evenly (assumed). The shorter the flat, the hotter:
    take the low end of the length band for the top of the temperature.
    """
    width = checked_length("flat_width", flat_width)
    least = checked_samples("initial_radius", "m", initial_radius)
    if np.any(least == 0.0):
        raise InputError("initial_radius = 0 m is not allowed; it must be > 0")
    length = checked_samples("flat_length", "m", flat_length)
    return np.asarray(np.maximum(least, np.sqrt(length * width / math.pi)))


@dataclass(frozen=True)
class MergedFlats:
    """Flats of one wheel that do not overlap, in order around the wheel.

    Parameters
    ----------
    angles : (n_flats,) array    Centres. [rad], 0 <= angle < 2 pi, increasing
    lengths : (n_flats,) array   Lengths along the tread. [m]
    wheel_radius : float         [m]
    """

    angles: FloatArray
    lengths: FloatArray
    wheel_radius: float

    @property
    def longest(self) -> float:
        """Length of the longest flat, 0 without any. [m]."""
        return float(self.lengths.max(initial=0.0))

    @property
    def gaps(self) -> FloatArray:
        """Sound tread between each flat and the next one around the wheel. [m], (n_flats,)."""
        steps = np.diff(self.angles, append=self.angles[:1] + 2.0 * math.pi)
        following = np.roll(self.lengths, -1)
        gaps = self.wheel_radius * steps - 0.5 * (self.lengths + following)
        return np.asarray(np.maximum(gaps, 0.0))

    def at_least(self, length: float) -> "MergedFlats":
        """Return the flats that are `length` [m] or longer."""
        is_long = self.lengths >= length
        return MergedFlats(self.angles[is_long], self.lengths[is_long], self.wheel_radius)


def merge_flats(angles: npt.ArrayLike, lengths: npt.ArrayLike, wheel_radius: float) -> MergedFlats:
    """Join the flats of one wheel that overlap.

    Parameters
    ----------
    angles : (n_flats,) array    Centre of each flat around the wheel; any turn. [rad]
    lengths : (n_flats,) array   Length of each. [m], >= 0; those of length 0 are dropped
    wheel_radius : float         [m], > 0

    Returns
    -------
    MergedFlats

    Raises
    ------
    InputError   For unequal numbers of angles and lengths, or a value out of its range.

    Notes
    -----
    A wheel that turns again and locks again starts a flat elsewhere. Lengths count along the tread
    (chord and arc differ by 0.1 % at 60 mm). Flats that overlap or touch become one, as long as
    all the tread they cover, and at least as long as one flat of their summed volume,
    (sum L^3)^(1/3): so locking twice on the same spot lengthens the flat (own assumption).
    Repeated until none overlap; no flat is longer than the circumference.
    """
    radius = checked_length("wheel_radius", wheel_radius)
    length = np.atleast_1d(checked_samples("lengths", "m", lengths))
    centre = np.atleast_1d(np.asarray(angles, dtype=np.float64))
    if centre.shape != length.shape or centre.ndim != 1:
        raise InputError(
            f"angles and lengths have shapes {centre.shape} and {length.shape};"
            " allowed: one row each, equally long"
        )
    if not np.all(np.isfinite(centre)):
        raise InputError("angles [rad] must be finite")
    is_flat = length > 0.0
    centre, length = _in_one_turn(centre[is_flat]), length[is_flat]
    length = np.minimum(length, 2.0 * math.pi * radius)
    n_before = -1
    while n_before != length.size:
        n_before = length.size
        centre, length = _merge_once(centre, length, radius)
    order = np.argsort(centre, kind="stable")
    return MergedFlats(centre[order], length[order], radius)


def _in_one_turn(angle: FloatArray) -> FloatArray:
    """Return angles in [0, 2 pi); the remainder of a tiny negative one rounds up to 2 pi."""
    turned = np.mod(angle, 2.0 * math.pi)
    return np.asarray(np.where(turned < 2.0 * math.pi, turned, 0.0))


def _merge_once(
    centre: FloatArray, length: FloatArray, radius: float
) -> tuple[FloatArray, FloatArray]:
    """Join every chain of overlapping arcs into one arc."""
    if length.size == 0:
        return centre, length
    span = length / radius
    cut = _sound_spot(centre, span)
    if cut is None:
        return np.zeros(1), np.array([2.0 * math.pi * radius])
    start = np.mod(centre - 0.5 * span - cut, 2.0 * math.pi)
    order = np.argsort(start, kind="stable")
    reach = np.maximum.accumulate((start + span)[order])
    is_first = np.concatenate(([True], start[order][1:] > reach[:-1]))
    chains = np.split(order, np.flatnonzero(is_first)[1:])
    centres, lengths = [], []
    for chain in chains:
        if chain.size == 1:
            centres.append(float(centre[chain[0]]))
            lengths.append(float(length[chain[0]]))
            continue
        first, last = float(start[chain].min()), float((start + span)[chain].max())
        same_volume = float(np.cbrt(np.sum(length[chain] ** 3)))
        longest = float(length[chain].max())
        centres.append(cut + 0.5 * (first + last))
        lengths.append(max(radius * (last - first), same_volume, longest))
    around = 2.0 * math.pi * radius
    return _in_one_turn(np.array(centres)), np.minimum(np.array(lengths), around)


def _sound_spot(centre: FloatArray, span: FloatArray) -> float | None:
    """Return the end of an arc that no other arc covers, or None if the wheel is all flat."""
    start, end = centre - 0.5 * span, centre + 0.5 * span
    past_start = np.mod(end[:, None] - start[None, :], 2.0 * math.pi)
    is_covered = past_start < span[None, :] - _ANGLE_ROUNDING
    is_covered[np.diag_indices(centre.size)] = span >= 2.0 * math.pi - _ANGLE_ROUNDING
    spots = np.flatnonzero(~is_covered.any(axis=1))
    return None if spots.size == 0 else float(end[spots[0]])

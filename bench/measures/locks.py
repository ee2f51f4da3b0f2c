"""Every lock of a stop at once: wear, flat length and temperature, from what the stop tallied.

No traces are needed: a log keeps where each lock began and ended, a trail samples it in between on
a growing grid of time. Energies between samples are exact sums, so no heat is lost however long a
lock lasts. The laws are those of `flats` and `temperature`; only the
bookkeeping over many locks is here.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from slipbench.measures.flats import (
    FLAT_WIDTH,
    Band,
    archard_area_rate,
    energy_area_rate,
    flat_length_from_volume,
    flat_patch_radius,
)
from slipbench.measures.limits import TRANSFORMATION, TransformationThresholds
from slipbench.measures.materials import (
    STEEL,
    WEAR,
    FloatArray,
    SteelProperties,
    WearCoefficients,
    moving_disc_response,
    stationary_disc_response,
)
from slipbench.measures.temperature import share_heat, step_edges

MARTENSITE_WORDS = ("none", "possible", "likely")
"""Risk of martensite, by the number that stands for it in a summary."""

FIRST_KEPT = 12
"""So many samples of the beginning of a lock are kept: its temperature peaks there."""

ALWAYS_SOLVED = 16
"""So many locks with the highest bound are always solved, hot or not."""


@dataclass(frozen=True)
class LockSamples:
    """Locks on their samples, one row a lock; short ones repeat their end.

    Parameters
    ----------
    i_axle : (n_locks,) int             Axle, from 0.
    rim_travel : (n_locks,)             Rim travel where the wheel stood still. [m]
    wheel_load : (n_locks,)             Of one wheel as the lock began. [N]
    contact_area : (n_locks,)           Of the round wheel under that load, by Hertz. [m2]
    start_time : (n_locks,)             [s]
    elapsed : (n_locks, n_samples)      Since the lock began, 0 first. [s]
    distance : (n_locks, n_samples)     Slid so far. [m]
    energy : (n_locks, n_samples)       Dissipated so far by one wheel. [J]
    train_speed : (n_locks, n_samples)  [m/s]
    """

    i_axle: npt.NDArray[np.int64]
    rim_travel: FloatArray
    wheel_load: FloatArray
    contact_area: FloatArray
    start_time: FloatArray
    elapsed: FloatArray
    distance: FloatArray
    energy: FloatArray
    train_speed: FloatArray

    def rows(self, chosen: npt.NDArray[np.int64]) -> "LockSamples":
        """Return some of the locks."""
        return LockSamples(**{name: values[chosen] for name, values in vars(self).items()})


def lock_samples(
    log: Mapping[str, FloatArray],
    trail: Mapping[str, FloatArray],
    contact_area: FloatArray,
    every: int = 2,
) -> LockSamples:
    """Put the log of a stop's locks and their trail together.

    Parameters
    ----------
    log : mapping of (n_locks,)     `axle`, `start_time`, `duration`, `start_speed`, `end_speed`,
        `locked_distance`, `contact_energy` (both wheels), `rim_travel`, `wheel_load`
    trail : mapping of (n_rows,)    `lock`, `elapsed`, `locked_distance`, `contact_energy` (both
        wheels), `train_speed`; in order of time, locks mixed
    contact_area : (n_locks,)       Of the round wheel as each lock began. [m2], > 0
    every : int                     Of the samples between the first twelve and the last two, one in
        so many is kept: the trail is finer than heat and wear need.

    Returns
    -------
    LockSamples
    """
    order = np.argsort(trail["lock"], kind="stable")
    lock, elapsed = trail["lock"][order].astype(np.int64), trail["elapsed"][order]
    is_kept = elapsed < log["duration"][lock] * (1.0 - 1e-9)
    n_locks = log["axle"].size
    ranks = np.arange(lock.size) - np.searchsorted(lock, np.arange(n_locks))[lock]
    n_left = np.bincount(lock[is_kept], minlength=n_locks)[lock] - ranks
    is_kept &= (ranks % every == 0) | (ranks < FIRST_KEPT) | (n_left <= 2)
    order, lock = order[is_kept], lock[is_kept]
    counts = np.bincount(lock, minlength=n_locks)
    n_samples = int(counts.max(initial=0)) + 2
    column = np.arange(lock.size) - np.searchsorted(lock, np.arange(n_locks))[lock] + 1

    def padded(start: float | FloatArray, between: FloatArray, end: FloatArray) -> FloatArray:
        filled = np.repeat(end[:, None], n_samples, axis=1)
        filled[:, 0] = start
        filled[lock, column] = between[order]
        return filled

    return LockSamples(
        i_axle=log["axle"].astype(np.int64),
        rim_travel=log["rim_travel"],
        wheel_load=log["wheel_load"],
        contact_area=contact_area,
        start_time=log["start_time"],
        elapsed=padded(0.0, trail["elapsed"], log["duration"]),
        distance=padded(0.0, trail["locked_distance"], log["locked_distance"]),
        energy=0.5 * padded(0.0, trail["contact_energy"], log["contact_energy"]),
        train_speed=padded(log["start_speed"], trail["train_speed"], log["end_speed"]),
    )


def worn_volumes(locks: LockSamples, wear: WearCoefficients = WEAR) -> Band:
    """Return the volume one wheel has worn off by each sample of each lock, as a band.

    Parameters
    ----------
    locks : LockSamples
    wear : WearCoefficients

    Returns
    -------
    Band of (n_locks, n_samples)   [m3]

    Notes
    -----
    As `slipbench.measures.flats.locked_wheel_wear`: the band holds Archard's law with both its
    coefficients and the energy law on both its areas, that of the round wheel and that of a flat.
    Force between samples is the mean one, energy over distance, and the load that of the lock's
    beginning.
    """
    slid = np.diff(locks.distance, axis=1)
    spent = np.diff(locks.energy, axis=1)
    force = np.divide(spent, slid, out=np.zeros_like(slid), where=slid > 0.0)
    force = np.maximum(force, 0.0)
    load = locks.wheel_load[:, None]
    rates = (
        archard_area_rate(load, wear.archard_low, wear.hardness),
        archard_area_rate(load, wear.archard_high, wear.hardness),
        energy_area_rate(force, locks.contact_area[:, None], wear),
        energy_area_rate(force, wear.contact_area_worn, wear),
    )
    volumes = np.zeros((4, *locks.distance.shape))
    for volume, rate in zip(volumes, rates, strict=True):
        np.cumsum(rate * slid, axis=1, out=volume[:, 1:])
    return Band(volumes.min(axis=0), volumes.max(axis=0))


@dataclass(frozen=True)
class LockHeat:
    """Temperatures of locks, one row a lock.

    Parameters
    ----------
    elapsed : (n_locks, n_samples)            Since the lock began. [s]
    temperature_rise : (n_locks, n_samples)   Hottest point of the spot above the bodies' own. [K]
    wheel_heat_flux : (n_locks, n_samples)    Into the wheel. [W/m2]
    patch_radius : (n_locks, n_samples)       [m]
    """

    elapsed: FloatArray
    temperature_rise: FloatArray
    wheel_heat_flux: FloatArray
    patch_radius: FloatArray

    @property
    def peak(self) -> FloatArray:
        """Highest rise of each lock. [K], (n_locks,)."""
        return np.asarray(self.temperature_rise.max(axis=1, initial=0.0))


def flat_lengths(volumes: Band, wheel_radius: FloatArray, flat_width: float = FLAT_WIDTH) -> Band:
    """Return the length of each lock's flat at each sample, as a band. [m].

    Parameters
    ----------
    volumes : Band of (n_locks, n_samples)   [m3]
    wheel_radius : (n_locks,)                [m], > 0
    flat_width : float                       [m], > 0
    """
    root = np.cbrt(wheel_radius)[:, None]  # a flat is as long as the cube root of its radius
    low, high = (root * flat_length_from_volume(v, 1.0, flat_width) for v in volumes)
    return Band(low, high)


def patch_radii(
    length_low: FloatArray, contact_area: FloatArray, flat_width: float = FLAT_WIDTH
) -> FloatArray:
    """Return the radius of the contact at each sample: as the shortest flat of the band. [m].

    It begins as large as the round wheel's contact, which of all that follows is the hottest.

    Parameters
    ----------
    length_low : (n_locks, n_samples)   Shortest flat so far. [m]
    contact_area : (n_locks,)           Of the round wheel. [m2], > 0
    flat_width : float                  [m], > 0
    """
    return flat_patch_radius(length_low, flat_width, np.sqrt(contact_area / np.pi)[:, None])


def heat_flux(locks: LockSamples, patch_radius: FloatArray) -> FloatArray:
    """Return the friction heat flux of the step centred on each sample. [W/m2].

    Means over the step, from exact energies: none at the first sample, which has no step.
    """
    power = np.maximum(_step_means(locks.elapsed, locks.energy), 0.0)
    return np.asarray(power / (np.pi * patch_radius**2))


def rail_response(
    locks: LockSamples, patch_radius: FloatArray, steel: SteelProperties = STEEL
) -> FloatArray:
    """Return the rail's rise over its heat flux at the mean speed of each step. [K m2/W]."""
    speed = _step_means(locks.elapsed, locks.distance)
    return moving_disc_response(np.maximum(speed, 0.0), patch_radius, steel)


def _step_means(elapsed: FloatArray, total: FloatArray) -> FloatArray:
    """Return the mean rate of a running total over each sample's step; 0 where it has no width."""
    edges = step_edges(elapsed)
    totals = np.zeros_like(edges)
    totals[:, 1:-1] = 0.5 * (total[:, 1:-1] + total[:, 2:])
    totals[:, -1] = total[:, -1]
    width = np.diff(edges, axis=1)
    means = np.zeros_like(elapsed)
    np.divide(np.diff(totals, axis=1), width, out=means[:, 1:], where=width > 0.0)
    return means


def temperature_bound(
    locks: LockSamples, patch_radius: FloatArray, steel: SteelProperties = STEEL
) -> FloatArray:
    """Return a rise that no sample of a lock exceeds: the rail taking all of the heat. [K].

    A locked wheel takes only some per cent of it, so the bound is close.
    """
    response = rail_response(locks, patch_radius, steel)
    return np.asarray((response * heat_flux(locks, patch_radius)).max(axis=1, initial=0.0))


def lock_temperatures(
    locks: LockSamples, patch_radius: FloatArray, steel: SteelProperties = STEEL
) -> LockHeat:
    """Return the temperatures of many locks, solved side by side.

    Parameters
    ----------
    locks : LockSamples
    patch_radius : (n_locks, n_samples)   [m], > 0
    steel : SteelProperties

    Returns
    -------
    LockHeat

    Notes
    -----
    Same model and same steps as `slipbench.measures.temperature.locked_wheel_temperature`, on the
    samples of the trail: the peak of a real stop's lock within 2 % of an independent integral
    solution (tests/validation/test_locked_axle_temperature.py). Where grip jumps under a lock,
    steps straddle the jump and smooth it: up to 6 % of the peak there.
    """
    flux = heat_flux(locks, patch_radius)
    rail = rail_response(locks, patch_radius, steel)
    wheel_flux = share_heat(locks.elapsed, flux, patch_radius, rail, steel)
    wheel_flux[:, 0] = 0.0
    rise = np.maximum(rail * (flux - wheel_flux), 0.0)
    rise[:, 0] = 0.0
    return LockHeat(locks.elapsed, rise, wheel_flux, patch_radius)


def spot_temperature_after(
    heat: LockHeat, elapsed: FloatArray, steel: SteelProperties = STEEL
) -> FloatArray:
    """Return the rise of each lock's spot at a time after its end, by conduction alone. [K].

    Parameters
    ----------
    heat : LockHeat
    elapsed : (n_locks,)   Since each lock began, not before its end. [s]
    """
    edges = step_edges(heat.elapsed)
    age = np.maximum(elapsed[:, None] - edges, 0.0)
    radius = heat.patch_radius[:, 1:]
    steps = stationary_disc_response(age[:, :-1], radius, steel) - stationary_disc_response(
        age[:, 1:], radius, steel
    )
    return np.asarray(np.einsum("ij,ij->i", steps, heat.wheel_heat_flux[:, 1:]))


def martensite_flags(
    heat: LockHeat,
    body_temperature: float,
    steel: SteelProperties = STEEL,
    thresholds: TransformationThresholds = TRANSFORMATION,
) -> npt.NDArray[np.int64]:
    """Return the risk of martensite of each lock: 0 none, 1 possible, 2 likely.

    Parameters
    ----------
    heat : LockHeat
    body_temperature : float   Of wheel and rail away from the contact. [K], > 0
    steel : SteelProperties
    thresholds : TransformationThresholds

    Returns
    -------
    (n_locks,) int   index into `MARTENSITE_WORDS`

    Notes
    -----
    The rule of `limits.martensite_risk`, asked at one moment: the critical cooling
    time after the spot was last hot enough, is it cold enough?
    """
    temperature = body_temperature + heat.temperature_rise
    is_hot = temperature >= thresholds.austenitisation_temperature
    n_locks, n_samples = temperature.shape
    last_hot = n_samples - 1 - np.argmax(is_hot[:, ::-1], axis=1)
    due = heat.elapsed[np.arange(n_locks), last_hot] + thresholds.critical_cooling_time
    later = body_temperature + spot_temperature_after(heat, due, steel)
    within = np.array([np.interp(due[i], heat.elapsed[i], temperature[i]) for i in range(n_locks)])
    at_due = np.where(due > heat.elapsed[:, -1], later, within)
    is_quenched = is_hot.any(axis=1) & (at_due <= thresholds.quenched_temperature)
    shifted = thresholds.austenitisation_temperature + thresholds.rapid_heating_shift
    is_sure = temperature.max(axis=1, initial=0.0) >= shifted
    return np.where(is_quenched, np.where(is_sure, 2, 1), 0).astype(np.int64)


def locks_to_solve(bound: FloatArray, limit: float) -> npt.NDArray[np.int64]:
    """Return which locks are worth solving: all that may pass `limit` [K], and the hottest few."""
    hottest = np.argsort(-bound, kind="stable")[:ALWAYS_SOLVED]
    return np.union1d(hottest, np.flatnonzero(bound >= limit)).astype(np.int64)

"""What the wheels of a stop look like afterwards: flats around the tread, heat, who must go."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from slipbench.measures.flats import Band, MergedFlats, flat_depth, merge_flats
from slipbench.measures.limits import (
    FLAT_LIMITS,
    REFERENCE_LIMIT,
    TRANSFORMATION,
    FlatLimit,
    check_flat_limits,
    flat_risk_index,
)
from slipbench.measures.locks import (
    LockSamples,
    flat_lengths,
    lock_temperatures,
    locks_to_solve,
    martensite_flags,
    patch_radii,
    temperature_bound,
    worn_volumes,
)
from slipbench.measures.materials import STEEL, WEAR, FloatArray, SteelProperties, WearCoefficients


@dataclass(frozen=True)
class WheelDamage:
    """Flats and heat of the wheels, by axle; both wheels of an axle are alike.

    Parameters
    ----------
    wheel_radius : (n_axles,)              [m]
    flats_low, flats_high : tuple          Merged flats around each axle's wheels at the low and the
        high end of the wear laws, one `MergedFlats` an axle.
    locked_temperature : (n_axles,)        Highest rise of a locked spot. [K], 0 without a lock
    martensite : (n_axles,) int            0 none, 1 possible, 2 likely.
    flat_risk_by_axle : (n_axles,)         See `slipbench.measures.limits.flat_risk_index`. [-]
    """

    wheel_radius: FloatArray
    flats_low: tuple[MergedFlats, ...]
    flats_high: tuple[MergedFlats, ...]
    locked_temperature: FloatArray
    martensite: npt.NDArray[np.int64]
    flat_risk_by_axle: FloatArray

    @property
    def flat_length(self) -> Band:
        """Longest flat of each axle's wheels, as a band. [m], (n_axles,)."""
        low, high = (
            np.array([flats.longest for flats in side])
            for side in (self.flats_low, self.flats_high)
        )
        return Band(low, high)

    @property
    def flat_depth(self) -> Band:
        """Depth of that flat by the chord. [m], (n_axles,)."""
        low, high = (
            np.array(
                [
                    float(flat_depth(min(length, 2.0 * radius), radius))
                    for length, radius in zip(side, self.wheel_radius.tolist(), strict=True)
                ]
            )
            for side in self.flat_length
        )
        return Band(low, high)

    @property
    def flat_risk(self) -> float:
        """Largest flat risk index of any wheel. [-]."""
        return float(self.flat_risk_by_axle.max(initial=0.0))

    def over_limit(self, limit: FlatLimit = REFERENCE_LIMIT) -> "OverLimit":
        """Return which axles break a rule: surely (low end of the band), and perhaps (high)."""
        surely, perhaps = (
            tuple(
                i_axle
                for i_axle, flats in enumerate(side)
                if flats.lengths.size
                and not all(one.is_passed for one in check_flat_limits(flats, (limit,)))
            )
            for side in (self.flats_low, self.flats_high)
        )
        return OverLimit(limit, surely, perhaps)

    def withdrawals(self, limits: tuple[FlatLimit, ...] = FLAT_LIMITS) -> "tuple[OverLimit, ...]":
        """Return for each rule which axles would have to be withdrawn."""
        return tuple(self.over_limit(limit) for limit in limits)


@dataclass(frozen=True)
class OverLimit:
    """Which axles break one rule.

    Parameters
    ----------
    limit : FlatLimit
    surely : tuple of int    Axles (from 0) whose flats break it at the low end of the band.
    perhaps : tuple of int   Axles whose flats break it at the high end; holds `surely`.
    """

    limit: FlatLimit
    surely: tuple[int, ...]
    perhaps: tuple[int, ...]


def wheel_damage(
    locks: LockSamples,
    wheel_radius: FloatArray,
    body_temperature: float,
    wear: WearCoefficients = WEAR,
    steel: SteelProperties = STEEL,
) -> WheelDamage:
    """Return what the locks of a stop did to the wheels.

    Parameters
    ----------
    locks : LockSamples            Of all axles.
    wheel_radius : (n_axles,)      [m]
    body_temperature : float       Of treads and rail away from the contact. [K]
    wear : WearCoefficients
    steel : SteelProperties

    Returns
    -------
    WheelDamage

    Notes
    -----
    Wear is always a band (`worn_volumes`); temperatures go with its low end, the smallest and
    hottest contact, which begins as that of the round wheel by Hertz. They are neither an upper nor
    a lower side: steel that does not change with temperature and worn metal that carries no heat
    away make them high; an even flux makes them low by up to a seventh, as Hertz's pressure is half
    as high again in the middle of the ellipse as on the mean. Archard's law knows no friction, and
    on a slippery rail it is the top of the band: so there the risk index hardly depends on
    friction, only on load and on how far the wheel was dragged. A wheel that turns, however slowly,
    gets no flat here: it spreads its wear, which `drag` tells.
    """
    n_axles = wheel_radius.size
    hottest, flags = np.zeros(n_axles), np.zeros(n_axles, dtype=np.int64)
    none = MergedFlats(np.zeros(0), np.zeros(0), 1.0)
    if locks.i_axle.size == 0:
        nothing = (none,) * n_axles
        return WheelDamage(wheel_radius, nothing, nothing, hottest, flags, np.zeros(n_axles))
    lengths = flat_lengths(worn_volumes(locks, wear), wheel_radius[locks.i_axle])
    radii = patch_radii(lengths.low, locks.contact_area)
    limit = TRANSFORMATION.austenitisation_temperature - body_temperature
    chosen = locks_to_solve(temperature_bound(locks, radii, steel), limit)
    heat = lock_temperatures(locks.rows(chosen), radii[chosen], steel)
    np.maximum.at(hottest, locks.i_axle[chosen], heat.peak)
    np.maximum.at(flags, locks.i_axle[chosen], martensite_flags(heat, body_temperature, steel))
    merged = [_around(locks, side[:, -1], wheel_radius) for side in lengths]
    damage = WheelDamage(wheel_radius, merged[0], merged[1], hottest, flags, np.zeros(n_axles))
    index = flat_risk_index(damage.flat_length.high)
    return WheelDamage(wheel_radius, merged[0], merged[1], hottest, flags, index)


def _around(
    locks: LockSamples, length: FloatArray, wheel_radius: FloatArray
) -> tuple[MergedFlats, ...]:
    """Put each lock's flat where the wheel stood still, and merge those that overlap."""
    found = []
    for i_axle, radius in enumerate(wheel_radius.tolist()):
        own = locks.i_axle == i_axle
        angles = locks.rim_travel[own] / radius
        if angles.size > 1:
            found.append(merge_flats(angles, length[own], radius))
        else:  # nothing to merge
            found.append(MergedFlats(np.mod(angles, 2.0 * np.pi), length[own], radius))
    return tuple(found)

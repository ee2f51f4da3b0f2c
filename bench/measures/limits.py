"""What is tolerated: flat lengths by rule book, steel temperatures, and one index of risk.

Rule-book numbers are configurable defaults. Passing them here says nothing about compliance:
most clauses were not read, and each limit says so.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from slipbench.ground.errors import InputError
from slipbench.ground.marks import MARKS
from slipbench.measures.flats import MergedFlats
from slipbench.measures.materials import (
    ZERO_CELSIUS,
    FloatArray,
    checked_length,
    checked_samples,
    marked,
    require_positive_fields,
)
from slipbench.measures.temperature import LockedWheelHeat, wheel_spot_temperature

UNVERIFIED = "unverified: check your licensed copy"


@dataclass(frozen=True)
class FlatLimit:
    """One rule on flats.

    Parameters
    ----------
    document : str           Rule and clause.
    scope : str              Vehicles it is about.
    single_length : float    A flat this long or longer fails. [m]
    pair_length : float      Two adjoining flats, each this long or longer, fail; infinite if the
        rule knows no pairs. [m]
    diameter_above, diameter_up_to : float   Wheel diameters the rule is for. [m]
    mark : str               "published" (clause seen), "secondary" (copy seen) or "memory".
    reading : str            What was read, or that it is unverified.

    Raises
    ------
    InputError   For a length that is not > 0 or a mark that is not known.
    """

    document: str
    scope: str
    single_length: float
    pair_length: float = math.inf
    diameter_above: float = 0.0
    diameter_up_to: float = math.inf
    mark: str = "memory"
    reading: str = UNVERIFIED

    def __post_init__(self) -> None:
        checked_length(f"FlatLimit.single_length of {self.document}", self.single_length)
        if not self.pair_length > 0.0:
            raise InputError(
                f"FlatLimit.pair_length of {self.document} = {self.pair_length} m is not allowed;"
                " it must be > 0"
            )
        if self.mark not in MARKS:
            raise InputError(
                f"FlatLimit.mark of {self.document} = {self.mark!r} is not allowed;"
                f" allowed: {', '.join(MARKS)}"
            )

    def applies_to(self, wheel_diameter: float) -> bool:
        """Say whether the rule is for wheels of this diameter [m]."""
        return self.diameter_above < wheel_diameter <= self.diameter_up_to


FLAT_LIMITS = (
    FlatLimit(
        document="49 CFR 229.75(a)",
        scope="locomotives",
        single_length=0.0635,
        pair_length=0.0508,
        mark="secondary",
        reading="clause read in a secondary copy; check the official text",
    ),
    FlatLimit(
        document="Indian Railways, Railway Board 2005, zonal letter of 23 Aug 2021",
        scope="coaches and locomotives",
        single_length=0.050,
        mark="published",
        reading="letter read; if hammering is heard, 30 km/h to the next station",
    ),
    FlatLimit(
        document="Indian Railways, Railway Board 2005, zonal letter of 23 Aug 2021",
        scope="freight wagons",
        single_length=0.060,
        mark="published",
        reading="letter read; if hammering is heard, 30 km/h to the next station",
    ),
    FlatLimit(
        document="AAR interchange rule 41",
        scope="freight wagons",
        single_length=0.0508,
        pair_length=0.0381,
    ),
    FlatLimit(
        document="GCU appendix 9 / EN 15313, diameter above 840 mm",
        scope="freight wagons / wheelsets in service",
        single_length=0.060,
        diameter_above=0.840,
    ),
    FlatLimit(
        document="GCU appendix 9 / EN 15313, diameter above 630 up to 840 mm",
        scope="freight wagons / wheelsets in service",
        single_length=0.040,
        diameter_above=0.630,
        diameter_up_to=0.840,
    ),
)

REFERENCE_LIMIT = FLAT_LIMITS[1]


@dataclass(frozen=True)
class LimitVerdict:
    """Whether the flats of one wheel pass one rule.

    Parameters
    ----------
    limit : FlatLimit   The rule.
    is_passed : bool    No flat, and no pair of flats, reaches it.
    reason : str        What was compared, in one line.
    """

    limit: FlatLimit
    is_passed: bool
    reason: str


def check_flat_limits(
    flats: MergedFlats,
    limits: tuple[FlatLimit, ...] = FLAT_LIMITS,
    adjoining_gap: float = math.inf,
) -> tuple[LimitVerdict, ...]:
    """Compare the flats of one wheel with the rules for its diameter.

    Parameters
    ----------
    flats : MergedFlats     From `slipbench.measures.flats.merge_flats`.
    limits : tuple          Rules; those for other diameters are left out of the answer.
    adjoining_gap : float   Flats with at most this much sound tread between them adjoin. [m]

    Returns
    -------
    tuple of LimitVerdict   In the order of `limits`.

    Raises
    ------
    InputError   If `adjoining_gap` is negative or not a number.

    Notes
    -----
    A flat as long as the limit fails, also where a rule may tolerate equality. No rule that was
    read says what adjoining means; by default any two flats of one wheel adjoin. Lengths are
    uncertain bands: check the low and the high end, and call a rule failed only if both fail.
    """
    if not adjoining_gap >= 0.0:
        raise InputError(f"adjoining_gap = {adjoining_gap} m is not allowed; it must be >= 0")
    return tuple(
        _judge(flats, limit, adjoining_gap)
        for limit in limits
        if limit.applies_to(2.0 * flats.wheel_radius)
    )


def _judge(flats: MergedFlats, limit: FlatLimit, adjoining_gap: float) -> LimitVerdict:
    longest = f"longest flat {1e3 * flats.longest:.1f} mm, limit {1e3 * limit.single_length:.1f} mm"
    if flats.longest >= limit.single_length:
        return LimitVerdict(limit, False, longest)
    paired = flats.at_least(limit.pair_length)
    if paired.lengths.size >= 2 and bool(np.any(paired.gaps <= adjoining_gap)):
        pair = f"adjoining flats, each at least {1e3 * limit.pair_length:.1f} mm"
        return LimitVerdict(limit, False, pair)
    return LimitVerdict(limit, True, longest)


def flat_risk_index(
    length_high: npt.ArrayLike,
    limit_length: float = REFERENCE_LIMIT.single_length,
    exponent: float = 3.0,
) -> FloatArray:
    """Return one number between 0 and 1 for how bad a flat may be.

    Parameters
    ----------
    length_high : array    Top of the flat-length band. [m], >= 0; 0 without any lock
    limit_length : float   Length of an even chance: the withdrawal limit. [m], > 0
    exponent : float       Steepness. [-], > 0; 3 makes it a function of worn volume

    Returns
    -------
    array   1 - 2^(-(L / L_limit)^exponent): exactly 0 at no length, 1/2 at the limit, 0.996 at
        twice the limit for exponent 3. [-]

    Raises
    ------
    InputError   For a value out of its range.

    Notes
    -----
    A scale for ranking, not a probability: shape and exponent are assumed, and only the limit
    length has a source (`REFERENCE_LIMIT`). It never falls as the length grows.
    """
    length = checked_samples("length_high", "m", length_high)
    limit = checked_length("limit_length", limit_length)
    if not (math.isfinite(exponent) and exponent > 0.0):
        raise InputError(f"exponent = {exponent} is not allowed; it must be finite and > 0")
    return np.asarray(-np.expm1(-math.log(2.0) * (length / limit) ** exponent))


@dataclass(frozen=True)
class TransformationThresholds:
    """When pearlitic wheel steel turns into martensite.

    Parameters
    ----------
    austenitisation_temperature : float   Slow heating: above this, austenite forms. [K]
    rapid_heating_shift : float           Rapid heating moves that up by at most this. [K]
    quenched_temperature : float          Pearlite has not formed if the spot falls below this
                                          in time. [K]
    critical_cooling_time : float         Longest fall between the two that still makes
                                          martensite. [s]

    Raises
    ------
    InputError   If a value is not finite and > 0, or the temperatures are out of order.

    Notes
    -----
    Full-scale evidence: martensite was found beneath all of more than 200 flats made by locked
    wheels (Jergeus et al. 1999, Proc. IMechE F 213(1), 1-13, abstract). Its growth data were
    not readable, so nothing here is fitted to them.
    """

    austenitisation_temperature: float = marked(
        720.0 + ZERO_CELSIUS, "K", "memory", "A1 of carbon steel"
    )
    rapid_heating_shift: float = marked(150.0, "K", "assumed", "shift at flash heating, at most")
    quenched_temperature: float = marked(500.0 + ZERO_CELSIUS, "K", "memory", "pearlite nose")
    critical_cooling_time: float = marked(5.0, "s", "memory", "0.5-0.6 % C steel, order only")

    def __post_init__(self) -> None:
        require_positive_fields(self)
        if self.quenched_temperature >= self.austenitisation_temperature:
            raise InputError(
                f"TransformationThresholds.quenched_temperature = {self.quenched_temperature} K is"
                f" not allowed; it must be < {self.austenitisation_temperature} K (austenitisation)"
            )


TRANSFORMATION = TransformationThresholds()

MartensiteRisk = Literal["none", "possible", "likely"]


def quench_time(
    heat: LockedWheelHeat,
    body_temperature: float,
    thresholds: TransformationThresholds = TRANSFORMATION,
) -> float:
    """Return how long the spot takes from austenite to where pearlite can no longer form.

    Parameters
    ----------
    heat : LockedWheelHeat     A solved lock.
    body_temperature : float   Temperature of wheel and rail away from the contact. [K], > 0
    thresholds : TransformationThresholds

    Returns
    -------
    float   From the last moment above `austenitisation_temperature` to the first one below
        `quenched_temperature`, during the lock (the patch grows, the train slows) or after it;
        infinite if never so hot, or never so cold again within 1000 s. [s]

    Raises
    ------
    InputError   If `body_temperature` is not finite and > 0.

    Notes
    -----
    After the lock, conduction into the wheel alone cools the spot: an upper side. Linear between
    samples.
    """
    if not (math.isfinite(body_temperature) and body_temperature > 0.0):
        raise InputError(
            f"body_temperature = {body_temperature} K is not allowed; it must be finite and > 0"
        )
    later = heat.time[-1] + np.geomspace(1e-4, 1e3, 200)
    time = np.concatenate((heat.time, later))
    rise = np.concatenate((heat.temperature_rise, wheel_spot_temperature(heat, later)))
    temperature = body_temperature + rise
    is_hot = temperature >= thresholds.austenitisation_temperature
    if not is_hot.any():
        return math.inf
    i_hot = int(np.flatnonzero(is_hot)[-1])
    is_cold = temperature[i_hot:] <= thresholds.quenched_temperature
    if not is_cold.any():
        return math.inf
    i_cold = i_hot + int(np.argmax(is_cold))
    left = _crossing(time, temperature, i_hot, thresholds.austenitisation_temperature)
    arrived = _crossing(time, temperature, i_cold - 1, thresholds.quenched_temperature)
    return arrived - left


def _crossing(time: FloatArray, values: FloatArray, i_before: int, level: float) -> float:
    """Return when `values` falls through `level` in the step after `i_before`."""
    before, after = values[i_before], values[i_before + 1]
    step = time[i_before + 1] - time[i_before]
    return float(time[i_before] + step * (before - level) / (before - after))


def martensite_risk(
    peak_temperature: float,
    cooling_time: float,
    thresholds: TransformationThresholds = TRANSFORMATION,
) -> MartensiteRisk:
    """Say whether a spot so hot and cooled so fast may hold martensite.

    Parameters
    ----------
    peak_temperature : float   Highest absolute surface temperature. [K], >= 0
    cooling_time : float       From `quench_time`. [s]
    thresholds : TransformationThresholds

    Returns
    -------
    "none", "possible" or "likely"
        none: never hot enough, or cooled too slowly. possible: hot enough for slow heating.
        likely: hot enough also with the full shift of rapid heating.

    Raises
    ------
    InputError   If `peak_temperature` is negative or not finite, or `cooling_time` is negative.

    Notes
    -----
    A flag with a band, not a metallurgical model: no holding time, no composition. The peak itself
    is an upper-side estimate.
    """
    peak = float(checked_samples("peak_temperature", "K", peak_temperature))
    if not cooling_time >= 0.0:
        raise InputError(f"cooling_time = {cooling_time} s is not allowed; it must be >= 0")
    is_quenched = cooling_time <= thresholds.critical_cooling_time
    if peak < thresholds.austenitisation_temperature or not is_quenched:
        return "none"
    shifted = thresholds.austenitisation_temperature + thresholds.rapid_heating_shift
    return "likely" if peak >= shifted else "possible"

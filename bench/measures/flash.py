"""How hot the contact of a turning, sliding wheel flashes, and the heat its friction makes.

Pure functions of samples. Temperatures are rises above the body's own [K].
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from slipbench.ground.errors import InputError
from slipbench.measures.materials import STEEL, FloatArray, SteelProperties, checked_samples

PECLET_NUMBER_VALID = 10.0


@dataclass(frozen=True)
class HeatProfile:
    """Shape of the friction heat along the contact, from edge to edge.

    Parameters
    ----------
    flash_constant : float   C_q of `flash_temperature`, on the peak heat flux. [-]
    peak_to_mean : float     Peak over mean heat flux on an elliptical contact. [-]

    Notes
    -----
    C_q = max over x of the integral of f(s) / sqrt(pi (x - s)) ds from -1 to x. Closed forms for
    uniform and parabola; the Hertzian value is the numerical maximum (at x = 0.652, flow along x).
    The often quoted 1.11 of Blok goes with the full contact length; C_q goes with half of it.
    """

    flash_constant: float
    peak_to_mean: float


HEAT_PROFILES = {
    "uniform": HeatProfile(2.0 * math.sqrt(2.0 / math.pi), 1.0),
    "hertz": HeatProfile(1.23461983096, 1.5),
    "parabola": HeatProfile(16.0 / 15.0 * 1.5**1.5 / math.sqrt(math.pi), 2.0),
}


def heat_profile(name: str) -> HeatProfile:
    """Look up a heat profile.

    Raises
    ------
    InputError   For a name that is not in `HEAT_PROFILES`.
    """
    if name not in HEAT_PROFILES:
        raise InputError(
            f"heat profile {name!r} is not known; allowed: {', '.join(sorted(HEAT_PROFILES))}"
        )
    return HEAT_PROFILES[name]


def friction_heat_flux(
    contact_force: npt.ArrayLike,
    slip_speed: npt.ArrayLike,
    contact_area: npt.ArrayLike,
    profile: str = "uniform",
) -> FloatArray:
    """Return the peak heat flux that friction makes in an elliptical contact.

    Parameters
    ----------
    contact_force : array   Tangential force of one wheel; its sign is ignored. [N]
    slip_speed : array      Speed at which the surfaces slide; its sign is ignored. [m/s]
    contact_area : array    Area of the contact. [m2], > 0
    profile : str           A key of `HEAT_PROFILES`; "uniform" gives the mean flux.

    Returns
    -------
    array   Peak heat flux into both bodies together. [W/m2]

    Raises
    ------
    InputError   For an unknown profile, an area that is not > 0, or a value that is not finite.

    Notes
    -----
    All of the contact is taken to slide, and all friction power to become heat there.
    """
    shape = heat_profile(profile)
    area = checked_samples("contact_area", "m2", contact_area)
    if np.any(area == 0.0):
        raise InputError("contact_area = 0 m2 is not allowed; it must be > 0")
    force = checked_samples("contact_force", "N", np.abs(contact_force))
    speed = checked_samples("slip_speed", "m/s", np.abs(slip_speed))
    return np.asarray(shape.peak_to_mean * force * speed / area)


@dataclass(frozen=True)
class FlashTemperature:
    """What `flash_temperature` found, one entry a sample.

    Parameters
    ----------
    temperature_rise : array   Highest surface temperature above the bodies' own. [K]
    rail_heat_share : array    Share of the heat that enters the rail; 0 where nothing moves. [-]
    wheel_peclet, rail_peclet : array   Peclet number a v / (2 diffusivity) of each body. [-]
    is_valid : array of bool   Both Peclet numbers exceed `PECLET_NUMBER_VALID`, or no heat.
    """

    temperature_rise: FloatArray
    rail_heat_share: FloatArray
    wheel_peclet: FloatArray
    rail_peclet: FloatArray
    is_valid: npt.NDArray[np.bool_]


def flash_temperature(
    peak_heat_flux: npt.ArrayLike,
    semi_axis: npt.ArrayLike,
    wheel_speed: npt.ArrayLike,
    train_speed: npt.ArrayLike,
    profile: str = "hertz",
    wheel_steel: SteelProperties = STEEL,
    rail_steel: SteelProperties = STEEL,
) -> FlashTemperature:
    """Return the flash temperature of a wheel that rolls and slides.

    Parameters
    ----------
    peak_heat_flux : array      Peak friction heat flux, centre strip (`friction_heat_flux`). [W/m2]
    semi_axis : array           Half length of the contact along the rail. [m], > 0
    wheel_speed, train_speed : array   Rim and train speed: both surfaces as seen from the contact.
        [m/s], >= 0
    profile : str               A key of `HEAT_PROFILES`.

    Returns
    -------
    FlashTemperature   Arrays of the inputs' common shape.

    Raises
    ------
    InputError   For a value < 0 or not finite, a semi-axis of 0, an unknown profile, or heat where
        neither surface moves.

    Notes
    -----
    dT = C_q q sqrt(a) / (e_w sqrt(v_w) + e_r sqrt(v_r)), e the effusivity: heat flows across the
    surface only, so both bodies heat alike along the contact and share in the ratio e sqrt(v).
    For both Peclet numbers above about 10; otherwise `is_valid` is False and
    `locked_wheel_temperature` is the better model. Material enters the contact at the body's own
    temperature: heat left from the wheel's last turn is not in here.

    References
    ----------
    Blok's maximum and the thin heated layer: Ertz & Knothe, Wear 253 (2002) 498-508 (first page
    read; formulas not visible). The constants C_q are derived, see `HeatProfile`.
    """
    constant = heat_profile(profile).flash_constant
    flux = checked_samples("peak_heat_flux", "W/m2", peak_heat_flux)
    semi_axis = checked_samples("semi_axis", "m", semi_axis)
    if np.any(semi_axis == 0.0):
        raise InputError("semi_axis = 0 m is not allowed; it must be > 0")
    wheel = checked_samples("wheel_speed", "m/s", wheel_speed)
    rail = checked_samples("train_speed", "m/s", train_speed)
    wheel_uptake = wheel_steel.effusivity * np.sqrt(wheel)
    rail_uptake = rail_steel.effusivity * np.sqrt(rail)
    uptake = wheel_uptake + rail_uptake
    if np.any((uptake == 0.0) & (flux > 0.0)):
        raise InputError("wheel_speed = train_speed = 0 m/s with friction heat is not allowed")
    safe_uptake = np.where(uptake > 0.0, uptake, 1.0)
    wheel_peclet = semi_axis * wheel / (2.0 * wheel_steel.diffusivity)
    rail_peclet = semi_axis * rail / (2.0 * rail_steel.diffusivity)
    slowest = np.minimum(wheel_peclet, rail_peclet)
    return FlashTemperature(
        temperature_rise=np.asarray(constant * flux * np.sqrt(semi_axis) / safe_uptake),
        rail_heat_share=np.asarray(rail_uptake / safe_uptake),
        wheel_peclet=np.asarray(wheel_peclet),
        rail_peclet=np.asarray(rail_peclet),
        is_valid=np.asarray((slowest > PECLET_NUMBER_VALID) | (flux == 0.0)),
    )

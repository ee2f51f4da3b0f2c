"""What wheel and rail are made of: steel, how it takes heat and how it wears.

Every field of a record carries its unit and a mark in ``dataclasses.fields(record)[i].metadata``:
``published`` (seen in a source), ``secondary`` (seen second-hand), ``memory`` (value from memory,
not verified), ``derived`` or ``assumed``. Use `dataclasses.replace` for your own values.
"""

import math
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
import numpy.typing as npt

from slipbench.ground.errors import InputError
from slipbench.ground.marks import MARKS

FloatArray = npt.NDArray[np.float64]

ZERO_CELSIUS = 273.15


def marked(default: float, unit: str, mark: str, note: str) -> Any:
    """Make a dataclass field that keeps value, unit, mark and note together.

    Parameters
    ----------
    default : float   The value, in `unit`.
    unit : str        SI unit, ``"-"`` for a pure number.
    mark : str        One of `MARKS`.
    note : str        Where the value comes from, or why it was assumed.

    Raises
    ------
    InputError   If `mark` is not one of `MARKS`.
    """
    if mark not in MARKS:
        raise InputError(f"mark = {mark!r} is not allowed; allowed: {', '.join(MARKS)}")
    return field(default=default, metadata={"unit": unit, "mark": mark, "note": note})


def require_positive_fields(record: Any) -> None:
    """Refuse a record that holds a value which is not positive and finite.

    Raises
    ------
    InputError   Names the record, the field, the value and its unit.
    """
    for entry in fields(record):
        value = getattr(record, entry.name)
        if not (math.isfinite(value) and value > 0.0):
            raise InputError(
                f"{type(record).__name__}.{entry.name} = {value} {entry.metadata['unit']}"
                " is not allowed; it must be finite and > 0"
            )


def checked_samples(name: str, unit: str, values: npt.ArrayLike) -> FloatArray:
    """Return `values` as float64, or say which one cannot be used.

    Parameters
    ----------
    name, unit : str    What is being read, for the message.
    values : array      Any shape. [unit], finite and >= 0

    Raises
    ------
    InputError   For a value that is negative, infinite or not a number; names its index.
    """
    array = np.asarray(values, dtype=np.float64)
    is_bad = ~(np.isfinite(array) & (array >= 0.0))
    if is_bad.any():
        i_bad = int(np.flatnonzero(is_bad)[0])
        raise InputError(
            f"{name}[{i_bad}] = {array.flat[i_bad]} {unit} is not allowed;"
            " it must be finite and >= 0"
        )
    return array


def checked_length(name: str, value: float) -> float:
    """Return a length, or say why it cannot be used.

    Raises
    ------
    InputError   If `value` [m] is not finite and > 0.
    """
    if not (math.isfinite(value) and value > 0.0):
        raise InputError(f"{name} = {value} m is not allowed; it must be finite and > 0")
    return float(value)


def checked_lock(time: npt.ArrayLike, **series: tuple[str, npt.ArrayLike]) -> list[FloatArray]:
    """Return the samples of one lock as equally long arrays, time first.

    Parameters
    ----------
    time : (n_samples,) float64   Strictly increasing, at least one sample. [s]
    **series                      ``name=(unit, values)``; a scalar is repeated.

    Raises
    ------
    InputError   For time that does not increase, another length, or a value < 0 or not finite.
    """
    instants = np.asarray(time, dtype=np.float64)
    if instants.ndim != 1 or instants.size == 0:
        raise InputError(
            f"time has shape {instants.shape}; it must be one row of at least one sample [s]"
        )
    steps = np.diff(instants)
    if not np.all(np.isfinite(instants)) or np.any(steps <= 0.0):
        i_bad = 0 if steps.size == 0 else int(np.argmin(steps > 0.0)) + 1
        raise InputError(
            f"time[{i_bad}] = {instants[i_bad]} s is not allowed; it must be finite and increase"
        )
    checked = [instants]
    for name, (unit, values) in series.items():
        array = checked_samples(name, unit, values)
        if array.shape not in ((), instants.shape):
            raise InputError(
                f"{name} has shape {array.shape}; allowed: a scalar or {instants.shape} like time"
            )
        checked.append(np.broadcast_to(array, instants.shape))
    return checked


@dataclass(frozen=True)
class SteelProperties:
    """Thermal properties of wheel or rail steel, constant over temperature.

    Parameters
    ----------
    conductivity : float    Heat conductivity. [W/(m K)]
    density : float         Mass density. [kg/m3]
    specific_heat : float   Heat capacity by mass. [J/(kg K)]

    Raises
    ------
    InputError   If a value is not finite and > 0.

    Notes
    -----
    Steel conducts less and stores more as it warms, with a peak of heat capacity where it
    transforms; constant values make temperatures of several hundred kelvin upper-side estimates.
    The defaults suit a contact some hundred kelvin warm; `STEEL_NEAR_ROOM_TEMPERATURE` is the
    other set in use. The effusivities differ by 2 %.
    """

    conductivity: float = marked(45.0, "W/(m K)", "memory", "carbon steel, some hundred K warm")
    density: float = marked(7850.0, "kg/m3", "memory", "carbon steel")
    specific_heat: float = marked(480.0, "J/(kg K)", "memory", "carbon steel, slightly warm")

    def __post_init__(self) -> None:
        require_positive_fields(self)

    @property
    def diffusivity(self) -> float:
        """Heat diffusivity, conductivity / (density * specific heat). [m2/s]."""
        return self.conductivity / (self.density * self.specific_heat)

    @property
    def effusivity(self) -> float:
        """Square root of conductivity * density * specific heat. [W s^0.5/(m2 K)]."""
        return math.sqrt(self.conductivity * self.density * self.specific_heat)


STEEL = SteelProperties()
STEEL_NEAR_ROOM_TEMPERATURE = SteelProperties(conductivity=50.0, specific_heat=450.0)


def stationary_disc_response(
    elapsed: npt.ArrayLike, patch_radius: npt.ArrayLike, steel: SteelProperties = STEEL
) -> FloatArray:
    """Return the centre temperature under a unit heat flux that stays on one spot.

    Parameters
    ----------
    elapsed : array        Time since the flux began. [s], >= 0
    patch_radius : array   Radius of the uniformly heated disc. [m], > 0

    Returns
    -------
    array   Temperature rise over heat flux. [K m2/W]

    Raises
    ------
    Nothing: ranges are checked by the callers that take user input.

    Notes
    -----
    Half-space, uniform disc: T = (2 q sqrt(D t) / k) [1/sqrt(pi) - ierfc(a / (2 sqrt(D t)))],
    D the diffusivity; written without cancellation for long times. Early it is the plane wall
    2 q sqrt(t/pi) / effusivity, late the steady a q / k.

    References
    ----------
    Carslaw & Jaeger, Conduction of Heat in Solids (from memory, not verified; checked against
    finite differences in tests/measures/test_temperature.py).
    """
    radius = np.asarray(patch_radius, dtype=np.float64)
    depth = 2.0 * np.sqrt(steel.diffusivity * np.asarray(elapsed, dtype=np.float64))
    ratio = np.divide(
        radius, depth, out=np.full(np.broadcast(radius, depth).shape, np.inf), where=depth > 0.0
    )
    spread = -depth * np.expm1(-ratio * ratio) / math.sqrt(math.pi)
    faded = np.array([math.erfc(x) for x in ratio.ravel().tolist()]).reshape(ratio.shape)
    return np.asarray((spread + radius * faded) / steel.conductivity)


def moving_disc_response(
    train_speed: npt.ArrayLike, patch_radius: npt.ArrayLike, steel: SteelProperties = STEEL
) -> FloatArray:
    """Return the hottest temperature under a unit heat flux that moves along the rail.

    Parameters
    ----------
    train_speed : array    Speed of the disc over the rail. [m/s], >= 0
    patch_radius : array   Radius of the uniformly heated disc. [m], > 0

    Returns
    -------
    array   Steady temperature rise over heat flux. [K m2/W]

    Raises
    ------
    Nothing: ranges are checked by the callers that take user input.

    Notes
    -----
    2 a / (k sqrt(pi (1.273 + Pe))), Pe = a v / (2 diffusivity): exact for Pe = 0 and Pe large,
    within 2.3 % of the moving-disc integral between (tests/validation/test_flash_temperature.py).
    Reached after the disc has moved about its own length, within a few milliseconds.

    References
    ----------
    Form of Tian & Kennedy (value from memory, not verified).
    """
    radius = np.asarray(patch_radius, dtype=np.float64)
    peclet = radius * np.asarray(train_speed, dtype=np.float64) / (2.0 * steel.diffusivity)
    return np.asarray(2.0 * radius / (steel.conductivity * np.sqrt(math.pi * (1.273 + peclet))))


@dataclass(frozen=True)
class WearCoefficients:
    """How fast a locked wheel wears: two laws, and how far each can be off.

    Parameters
    ----------
    archard_low, archard_high : float   Wear coefficient K of V = K N s / H. [-]
    hardness : float                    Indentation hardness H of the softer body. [Pa]
    density : float                     Steel density, to turn worn mass into volume. [kg/m3]
    mild_slope : float                  Mass per contact energy, first branch. [kg/J]
    plateau_rate : float                Mass per area and distance, second branch. [kg/m3]
    severe_slope : float                Mass per contact energy above the knee. [kg/J]
    severe_knee : float                 Energy per distance and area where wear turns severe. [Pa]
    contact_area_worn : float           Contact area on a grown flat. [m2]

    Raises
    ------
    InputError   If a value is not finite and > 0, or a lower bound lies above its upper one.

    Notes
    -----
    The energy law was fitted to rolling contact at moderate creepage; a locked wheel is far
    outside of it. Its branches are joined where they meet (`energy_wear_rate`). Before a flat has
    grown its area is that of the round wheel, by Hertz.
    """

    archard_low: float = marked(
        1e-4, "-", "memory", "published wear map, sliding faster than 0.7 m/s, lower end"
    )
    archard_high: float = marked(
        1e-3, "-", "memory", "published wear map, sliding faster than 0.7 m/s, upper end"
    )
    hardness: float = marked(3.0e9, "Pa", "assumed", "about 300 HV")
    density: float = marked(7850.0, "kg/m3", "memory", "carbon steel")
    mild_slope: float = marked(5.3e-9, "kg/J", "memory", "R8T wheel, 5.3 ug/m/mm2 per N/mm2")
    plateau_rate: float = marked(55e-3, "kg/m3", "memory", "R8T wheel, 55 ug/m/mm2")
    severe_slope: float = marked(61.9e-9, "kg/J", "memory", "R8T wheel, 61.9 ug/m/mm2 per N/mm2")
    severe_knee: float = marked(77.2e6, "Pa", "memory", "R8T wheel, 77.2 N/mm2")
    contact_area_worn: float = marked(1500e-6, "m2", "assumed", "a flat of 50 mm by 30 mm")

    def __post_init__(self) -> None:
        require_positive_fields(self)
        if self.archard_low > self.archard_high:
            raise InputError(
                f"WearCoefficients.archard_low = {self.archard_low} is not allowed;"
                f" it must be <= archard_high = {self.archard_high}"
            )


WEAR = WearCoefficients()


@dataclass(frozen=True)
class TreadHeatSink:
    """One lumped heat store for the tread and rim of a wheel.

    Parameters
    ----------
    heat_capacity : float         Mass times specific heat of the rim. [J/K]
    cooling_conductance : float   Heat lost per kelvin above ambient, air and rail together. [W/K]
    sliding_share : float         Share of the contact friction heat that the wheel keeps. [-]
    disc_share : float            Share of the disc's brake heat that reaches the rim. [-]

    Raises
    ------
    InputError   If a value is not finite and > 0, or a share exceeds 1.

    Notes
    -----
    All four are assumptions. Half of the sliding heat is what two equal bodies rolling at nearly
    equal speed share; a locked wheel keeps only some per cent of it (`locked_wheel_temperature`).
    Discs on the axle pass the rim almost nothing, discs on the wheel web more.
    """

    heat_capacity: float = marked(72e3, "J/K", "assumed", "150 kg of rim at 480 J/(kg K)")
    cooling_conductance: float = marked(40.0, "W/K", "assumed", "30 minutes of time constant")
    sliding_share: float = marked(0.5, "-", "assumed", "two equal bodies at nearly equal speed")
    disc_share: float = marked(0.02, "-", "assumed", "axle-mounted disc, little crosses the hub")

    def __post_init__(self) -> None:
        require_positive_fields(self)
        for name in ("sliding_share", "disc_share"):
            if getattr(self, name) > 1.0:
                raise InputError(
                    f"TreadHeatSink.{name} = {getattr(self, name)} is not allowed; allowed: (0, 1]"
                )


TREAD_HEAT_SINK = TreadHeatSink()

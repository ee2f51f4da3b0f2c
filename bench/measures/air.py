"""Air: what a stop used, and whether a full application would still be there after it."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from slipbench.measures.materials import FloatArray

NORMAL_DENSITY = 1.185
"""Of a normal litre's air: 20 degrees C, 100 kPa, 65 % humid, the reference atmosphere of ISO 6358
(value from memory, fairly sure). [kg/m3]"""


@dataclass(frozen=True)
class AirUse:
    """Air of a stop.

    Parameters
    ----------
    vented : (n_axles,)               To atmosphere through the slip control's valves. [kg]
    released : (n_axles,)             To atmosphere through the brake control. [kg]
    filled : (n_axles,)               Into the cylinders. [kg]
    cycles : (n_axles,)               Vents commanded of each valve; each ends in a refill. [-]
    lowest_reservoir : (n_vehicles,)  Gauge pressure; NaN where reservoirs are not modelled. [Pa]
    next_application : (n_vehicles,)  Cylinder pressure that a full application after release could
        still reach, over the full one, without recharging; NaN where not modelled. [-]
    lowest_main : (n_vehicles,)       Lowest gauge pressure of the main pipe; NaN where it is kept
        up. [Pa]
    compressed : float                By the compressors. [kg]
    recharge_time : float             In which the compressors, running throughout, would bring all
        reservoirs back; NaN where they never do or none is modelled. [s]
    residual : float                  Of all air of the train, over what was moved. [-]
    """

    vented: FloatArray
    released: FloatArray
    filled: FloatArray
    cycles: FloatArray
    lowest_reservoir: FloatArray
    next_application: FloatArray
    lowest_main: FloatArray
    compressed: float
    recharge_time: float
    residual: float

    @property
    def normal_litres(self) -> float:
        """Air vented by slip control, in litres at 20 degrees C and 100 kPa (ANR)."""
        return normal_litres(float(self.vented.sum()))

    @property
    def is_full_application_left(self) -> bool | None:
        """Whether every vehicle has a full application left; None where not modelled."""
        if np.isnan(self.next_application).all():
            return None
        return bool(np.nanmin(self.next_application) >= 1.0)


def normal_litres(mass: float) -> float:
    """Return a mass of air [kg] in normal litres (ANR: 20 degrees C, 100 kPa)."""
    return 1e3 * mass / NORMAL_DENSITY


def next_application(
    reservoir: npt.ArrayLike,
    reservoir_volume: npt.ArrayLike,
    cylinder_volume: npt.ArrayLike,
    full_pressure: npt.ArrayLike,
) -> FloatArray:
    """Return the pressure a full application from release would reach, over the full one.

    Parameters
    ----------
    reservoir : (n_vehicles,)         Gauge pressure after the stop. [Pa], >= 0
    reservoir_volume : (n_vehicles,)  [m3]; 0 or less: not modelled
    cylinder_volume : (n_vehicles,)   All cylinders of the vehicle. [m3]
    full_pressure : (n_vehicles,)     Gauge pressure of a full application at its load. [Pa]

    Returns
    -------
    (n_vehicles,)   1 if the reservoir keeps above the full pressure; NaN if not modelled. [-]

    Notes
    -----
    Isothermal, nothing recharged meanwhile, cylinders empty at first: reservoir and cylinders end
    at one gauge pressure V_r p_r / (V_r + V_c) where that is below the full one.
    """
    given = (reservoir, reservoir_volume, cylinder_volume, full_pressure)
    left, volume, cylinders, full = np.broadcast_arrays(
        *(np.asarray(x, dtype=np.float64) for x in given)
    )
    is_modelled = volume > 0.0
    volume = np.where(is_modelled, volume, 1.0)
    shared = volume * left / (volume + cylinders)
    after = left - cylinders * full / volume
    safe = np.where(full > 0.0, full, 1.0)
    is_left = (after >= full) | (full <= 0.0)
    share = np.where(is_left, 1.0, np.minimum(shared / safe, 1.0))
    return np.asarray(np.where(is_modelled, share, math.nan))

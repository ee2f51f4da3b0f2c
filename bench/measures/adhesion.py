"""How much of the adhesion that was there a stop used.

Utilisation alone misleads. Where the creep curve is flat, a locked wheel takes as much from the
rail as one held at the peak: no slip control at all then scores about 1, and flattens its wheels.
Where sliding cleans the rail, a strategy that never slides scores about 1 on the poor rail it
leaves poor. Read it beside the distance, the shortest possible one and the flats.
"""

import math
from dataclasses import dataclass

import numpy as np

from slipbench.ground.errors import InputError
from slipbench.measures.materials import FloatArray


@dataclass(frozen=True)
class AdhesionUse:
    """Adhesion over the braked way, by axle; an axle that was never braked holds NaN.

    Parameters
    ----------
    demanded : (n_axles,)      Demanded rim force net of wheel inertia, over axle load. [-]
    peak : (n_axles,)          Peak of the creep curve met, over axle load. [-]
    used : (n_axles,)          Rail force up to the usable one, over axle load. [-]
    utilisation : (n_axles,)   Used over usable work, in (0, 1]. [-]
    re_spin_work : (n_axles,)  Rail force above the usable one over distance: wheels that spin up
        again. [J]
    train : float              Utilisation of the whole train. [-]
    initial : (n_axles,)       Rail force over axle load as the axle's first slide began; NaN if it
        never slid. [-]
    """

    demanded: FloatArray
    peak: FloatArray
    used: FloatArray
    utilisation: FloatArray
    re_spin_work: FloatArray
    train: float
    initial: FloatArray

    @property
    def mean_initial(self) -> float:
        """Mean over axles of the adhesion at which the first slide began, NaN without any. [-]."""
        slid = self.initial[np.isfinite(self.initial)]
        return float(slid.mean()) if slid.size else math.nan


def adhesion_use(
    used_work: FloatArray,
    usable_work: FloatArray,
    demanded_work: FloatArray,
    peak_work: FloatArray,
    load_work: FloatArray,
    re_spin_work: FloatArray,
    initial_adhesion: FloatArray,
) -> AdhesionUse:
    """Return how adhesion was used, from work added up over the braked way.

    Parameters
    ----------
    used_work, usable_work, demanded_work, peak_work : (n_axles,)
        Rail force capped at the usable one, usable force min(peak, net demand), net demand and
        peak, each over distance. [J]
    load_work : (n_axles,)         Axle load over the same distance. [J]
    re_spin_work : (n_axles,)      Rail force above the usable one over distance. [J]
    initial_adhesion : (n_axles,)  Where the first slide began; NaN without one. [-]
    """
    total = float(usable_work.sum())
    return AdhesionUse(
        demanded=_ratio(demanded_work, load_work),
        peak=_ratio(peak_work, load_work),
        used=_ratio(used_work, load_work),
        utilisation=_ratio(used_work, usable_work),
        re_spin_work=re_spin_work,
        train=float(used_work.sum()) / total if total > 0.0 else math.nan,
        initial=initial_adhesion,
    )


def _ratio(part: FloatArray, whole: FloatArray) -> FloatArray:
    ratio: FloatArray = np.full(part.shape, math.nan)
    np.divide(part, whole, out=ratio, where=whole > 0.0)
    return ratio


def realised_share(distance: float, yardstick: float) -> float:
    """Return how much of what a yardstick shows to be possible a stop realised.

    Parameters
    ----------
    distance : float    Stopping distance; NaN or infinite if the train did not stop. [m]
    yardstick : float   Of the same stop: `shortest_possible`, which no strategy can beat, or the
        distance of `peak_follower`, which cleaning strategies can beat. [m], > 0

    Returns
    -------
    float   yardstick / distance: 1 as good as the yardstick, 0 if the train did not stop; NaN
        where there is no yardstick. [-]

    Raises
    ------
    InputError   for a distance or a yardstick that is not above zero
    """
    for name, value in (("distance", distance), ("yardstick", yardstick)):
        if value <= 0.0:
            raise InputError(f"{name} = {value} m is not allowed; it must be > 0")
    if not math.isfinite(yardstick):
        return math.nan
    return yardstick / distance if math.isfinite(distance) else 0.0

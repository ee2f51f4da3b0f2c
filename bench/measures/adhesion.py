"""How much of the adhesion that was there a stop used.

Utilisation alone misleads. Where the creep curve is flat, a locked wheel takes as much from the
rail as one held at the peak: no slip control at all then scores about 1, and flattens its wheels.
Where sliding cleans the rail, a strategy that never slides scores about 1 on the poor rail it
leaves poor. Read it beside the distance, the shortest possible one and the flats.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from slipbench.ground.errors import InputError
from slipbench.measures.materials import FloatArray


@dataclass(frozen=True)
class AdhesionUse:
    """Adhesion over the braked way, by axle; a stop in which no brake was applied holds NaN.

    Parameters
    ----------
    demanded : (n_axles,)      Demanded rim force net of wheel inertia, over axle load. [-]
    peak : (n_axles,)          Peak of the creep curve met, over axle load. [-]
    used : (n_axles,)          Rail force up to the usable one, over axle load; below zero on an
        axle that is not braked, whose own momentum the rail has to take. [-]
    utilisation : (n_axles,)   Used over usable work, 0 to 1. [-]
    re_spin_work : (n_axles,)  Braking force above the usable one over distance: the rail spins
        wheels up again. [J]
    driven_work : (n_axles,)   Braking force below zero, sign turned, over distance: the rail drives
        a wheel that runs ahead of the train for a moment. [J]
    train : float              Utilisation of the whole train. [-]
    initial : (n_axles,)       Rail force over axle load as the axle's first slide began; NaN if it
        never slid. [-]
    """

    demanded: FloatArray
    peak: FloatArray
    used: FloatArray
    utilisation: FloatArray
    re_spin_work: FloatArray
    driven_work: FloatArray
    train: float
    initial: FloatArray

    @property
    def mean_initial(self) -> float:
        """Mean over axles of the adhesion at which the first slide began, NaN without any. [-]."""
        slid = self.initial[np.isfinite(self.initial)]
        return float(slid.mean()) if slid.size else math.nan


def adhesion_use(
    works: Mapping[str, FloatArray], is_braked: bool, initial_adhesion: FloatArray
) -> AdhesionUse:
    """Return how adhesion was used, from work added up over the braked way.

    Parameters
    ----------
    works : mapping of (n_axles,)  Over the way on which the axle's brake was demanded, by name [J]:
        `used`, `usable`, `excess`, `driven` and `inertia` as `split_force` of the kernel's tally
        splits the rail force; `demanded`, the demanded rim force net of wheel inertia; `peak` of
        the creep curve; `load` of the axle.
    is_braked : bool               Whether the handle left release at all.
    initial_adhesion : (n_axles,)  Where the first slide began; NaN without one. [-]

    Notes
    -----
    Braking force is the rail force and what the wheel's own momentum gives as the train slows,
    m_rot |dv/dt|: of a rolling wheel it is its brake's force, of one without brake none. It is
    split at zero and at what is usable, min(peak + m_rot |dv/dt|, demand), moment by moment, and
    each part is booked: used - driven + excess - inertia is the work of the rail force. So
    utilisation needs no clipping to lie between 0 and 1. It is 0 where brakes were applied and none
    of the demand reached an axle, as where a fault leaves no braked axle, or a stop ends before the
    brake acts.
    """
    total = float(works["usable"].sum())
    nothing = 0.0 if is_braked else math.nan
    return AdhesionUse(
        demanded=_ratio(works["demanded"], works["load"]),
        peak=_ratio(works["peak"], works["load"]),
        used=_ratio(works["used"] - works["inertia"], works["load"]),
        utilisation=_ratio(works["used"], works["usable"], nothing),
        re_spin_work=works["excess"],
        driven_work=works["driven"],
        train=float(works["used"].sum()) / total if total > 0.0 else nothing,
        initial=initial_adhesion,
    )


def _ratio(part: FloatArray, whole: FloatArray, otherwise: float = math.nan) -> FloatArray:
    ratio: FloatArray = np.full(part.shape, otherwise)
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

"""The train as one body on its line: running resistance and gradient."""

import math
from typing import Any

from slipbench.compiling.jit import part
from slipbench.kernel.records import Train

GRAVITY = 9.80665
"""Standard acceleration of free fall, by definition (CGPM 1901). [m/s2]"""


@part
def running_resistance(train_speed: float, train: Train) -> float:
    """Return the running resistance of the train, a + b v + c v^2 times its mass. [N]"""
    return train.mass * (
        train.resistance_constant
        + train_speed * (train.resistance_linear + train_speed * train.resistance_quadratic)
    )


@part
def gradient_force(distance: float, axles: Any, grades: Any) -> float:
    """Return the force of gravity along the track, positive where it retards. [N]

    Parameters
    ----------
    distance : float            of the train's front [m]
    axles : (n_axles,) AXLE     each pulls with the mass it carries where it stands
    grades : (n_grades, 2)      from distance [m] ascending, rise over run [-], + uphill
    """
    if grades.shape[0] == 0:
        return 0.0
    force = 0.0
    for i_axle in range(axles.shape[0]):
        place = distance - axles[i_axle].offset
        rise = 0.0
        for i_grade in range(grades.shape[0]):
            if grades[i_grade, 0] > place:
                break
            rise = grades[i_grade, 1]
        # the sine of a slope of 100 permille differs from its tangent by half a per cent
        force += axles[i_axle].mass_carried * GRAVITY * rise / math.sqrt(1.0 + rise * rise)
    return force


@part
def curve_force(distance: float, axles: Any, curves: Any) -> float:
    """Return the additional resistance of the curves the train stands in. [N]

    Parameters
    ----------
    distance : float            of the train's front [m]
    axles : (n_axles,) AXLE
    curves : (n_curves, 2)      from distance [m] ascending, resistance over weight [-]
    """
    if curves.shape[0] == 0:
        return 0.0
    force = 0.0
    for i_axle in range(axles.shape[0]):
        place = distance - axles[i_axle].offset
        share = 0.0
        for i_curve in range(curves.shape[0]):
            if curves[i_curve, 0] > place:
                break
            share = curves[i_curve, 1]
        force += axles[i_axle].mass_carried * GRAVITY * share
    return force

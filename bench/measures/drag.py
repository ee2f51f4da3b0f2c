"""Wear of wheels that are dragged nearly locked: spread over the turns they still make."""

import math
from dataclasses import dataclass

import numpy as np

from slipbench.ground.errors import InputError
from slipbench.measures.flats import FLAT_WIDTH, Band, archard_area_rate, energy_area_rate
from slipbench.measures.materials import WEAR, FloatArray, WearCoefficients, checked_samples


@dataclass(frozen=True)
class DragWear:
    """What nearly locked wheels wore off, by axle; both wheels of an axle are alike.

    Parameters
    ----------
    distance : (n_axles,)      Slid while nearly locked. [m]
    turns : (n_axles,)         Turns the wheel made meanwhile. [-]
    depth : Band of (n_axles,) Worn off the part of the tread that came round. [m]
    time, speed : (n_axles,)   When it first was, and the train's speed then; NaN if it never was.
        [s], [m/s]
    """

    distance: FloatArray
    turns: FloatArray
    depth: Band
    time: FloatArray
    speed: FloatArray


def drag_depth(
    distance: FloatArray,
    travel: FloatArray,
    energy: FloatArray,
    wheel_load: FloatArray,
    contact_area: FloatArray,
    wheel_radius: FloatArray,
    wear: WearCoefficients = WEAR,
    width: float = FLAT_WIDTH,
) -> Band:
    """Return how deep dragging nearly locked wears the tread, as a band.

    Parameters
    ----------
    distance : (n_axles,)       Slid. [m], >= 0
    travel : (n_axles,)         Way of the rim meanwhile. [m], >= 0
    energy : (n_axles,)         Dissipated by one wheel. [J], >= 0
    wheel_load : (n_axles,)     Of one wheel. [N]
    contact_area : (n_axles,)   Of the round wheel, by Hertz. [m2], > 0
    wheel_radius : (n_axles,)   [m], > 0
    wear : WearCoefficients
    width : float               Of the worn band across the tread. [m], > 0

    Returns
    -------
    Band   volume over width and the tread that came round, its circumference at most; 0 where
        nothing slid. [m]

    Raises
    ------
    InputError   for a distance, travel or energy that is negative or not finite

    Notes
    -----
    The volume is that of the wear laws of locked wheels (`flats`), for the sliding is the same; but
    the metal comes off all around, so there is no flat and the contact stays that of the round
    wheel. Wear of a wheel that makes less than a turn is spread over the arc it turned through.
    Mean force over the way: energy over distance. Where wheels were dragged more than once, they
    are taken to go on where they ended (assumed).
    """
    slid = checked_samples("distance", "m", distance)
    turned = checked_samples("travel", "m", travel)
    spent = checked_samples("energy", "J", energy)
    if not width > 0.0:
        raise InputError(f"width = {width} m is not allowed; it must be > 0")
    force = np.divide(spent, slid, out=np.zeros_like(slid), where=slid > 0.0)
    rates = np.stack(
        (
            archard_area_rate(wheel_load, wear.archard_low, wear.hardness),
            archard_area_rate(wheel_load, wear.archard_high, wear.hardness),
            energy_area_rate(force, contact_area, wear),
        )
    )
    ground = width * np.minimum(turned, 2.0 * math.pi * wheel_radius)
    depth = np.divide(
        rates * slid, ground, out=np.zeros_like(rates), where=(slid > 0.0) & (ground > 0.0)
    )
    return Band(depth.min(axis=0), depth.max(axis=0))

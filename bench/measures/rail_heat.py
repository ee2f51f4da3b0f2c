"""Heat that locked wheels left on the rail, by place: damage is to track as well as train."""

import math
from dataclasses import dataclass

import numpy as np

from slipbench.measures.materials import FloatArray

PLACE_SHARE = 0.1
"""A place counts as heated where it took more than this share of the worst place's heat."""


@dataclass(frozen=True)
class RailHeat:
    """Friction heat under locked wheels on one rail.

    Parameters
    ----------
    place : (n_cells,)   Middle of each cell, distance from where the train's front began. [m]
    heat : (n_cells,)    Per metre of one rail, all wheels. [J/m]
    cell_length : float  [m]
    """

    place: FloatArray
    heat: FloatArray
    cell_length: float

    @property
    def largest(self) -> float:
        """Heat at the worst place. [J/m]."""
        return float(self.heat.max(initial=0.0))

    @property
    def worst_place(self) -> float:
        """Where that is, NaN without any heat. [m]."""
        return float(self.place[np.argmax(self.heat)]) if self.largest > 0.0 else math.nan

    @property
    def total(self) -> float:
        """Heat of the whole rail. [J]."""
        return float(self.heat.sum()) * self.cell_length

    @property
    def heated_length(self) -> float:
        """Length of rail that took more than a tenth of the worst place's heat. [m]."""
        if self.largest == 0.0:
            return 0.0
        return float((self.heat > PLACE_SHARE * self.largest).sum()) * self.cell_length


def rail_heat(heat: FloatArray, start: float, cell_length: float) -> RailHeat:
    """Return the heat of one rail by place.

    Parameters
    ----------
    heat : (n_cells,)    [J/m]
    start : float        Where the first cell begins. [m]
    cell_length : float  [m]
    """
    place = start + cell_length * (np.arange(heat.size, dtype=np.float64) + 0.5)
    return RailHeat(np.asarray(place, dtype=np.float64), heat.copy(), cell_length)

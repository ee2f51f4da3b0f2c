"""The rail as a train leaves it, to be met by the next one."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from slipbench.contract import Floats
from slipbench.ground.errors import InputError
from slipbench.ground.telling import shown


@dataclass(frozen=True, eq=False)
class RailState:
    """What the cells of one rail remember; the other rail is taken as equal.

    Attributes
    ----------
    start : float              where the first cell begins, from where the train's front started [m]
    cell_length : float        [m]
    work : (n_cells,) float64  cleaning work W of all wheels so far [J/m]
    sand : (n_cells,) float64  sand lying on it [kg/m]
    """

    start: float
    cell_length: float
    work: Floats
    sand: Floats

    def __post_init__(self) -> None:
        """Check what a train is to meet: lengths and works that can be."""
        for name, value in (("start", self.start), ("cell_length", self.cell_length)):
            is_number = isinstance(value, int | float | np.number) and not isinstance(value, bool)
            if not is_number or not math.isfinite(value):
                raise InputError(f"rail state: {name} = {shown(value)} m; allowed: a finite number")
        if not self.cell_length > 0.0:
            raise InputError(f"rail state: cell_length = {self.cell_length:g} m; allowed: above 0")
        for name, unit in (("work", "J/m"), ("sand", "kg/m")):
            values = np.asarray(getattr(self, name))
            if values.dtype.kind not in "fiu" or values.ndim != 1:
                raise InputError(f"rail state: {name}: must be numbers, one a cell")
            if not (np.isfinite(values).all() and (values >= 0.0).all()):
                raise InputError(f"rail state: {name}: must be finite and >= 0 {unit} in each cell")
        if len(self.work) != len(self.sand):
            raise InputError(
                f"rail state: work of {len(self.work)} cells and sand of {len(self.sand)}; "
                "must be as many"
            )

    @property
    def distance(self) -> Floats:
        """Middle of each cell. (n_cells,) [m]"""
        return self.start + (np.arange(len(self.work), dtype=np.float64) + 0.5) * self.cell_length

    def redeposited(self, share: float) -> RailState:
        """Return the rail after the weather has laid down a share of the film again.

        Parameters
        ----------
        share : float   0 leaves it as it is, 1 undoes all cleaning; sand stays. [-]

        Raises
        ------
        InputError   if the share is out of range
        """
        if not (math.isfinite(share) and 0.0 <= share <= 1.0):
            raise InputError(f"share = {share!r}; allowed: 0 to 1")
        return replace(self, work=self.work * (1.0 - share))

    def laid_out(self, start: float, n_cells: int, cell_length: float) -> tuple[Floats, Floats]:
        """Return work and sand on another train's cells, zero where nothing is remembered.

        Raises
        ------
        InputError   if the cells are of another length
        """
        if not math.isclose(cell_length, self.cell_length, rel_tol=1e-12):
            raise InputError(
                f"rail left with cells of {self.cell_length:g} m cannot be met in cells of "
                f"{cell_length:g} m; allowed: the same rail.cell_length"
            )
        shift = round((start - self.start) / cell_length)
        work, sand = np.zeros(n_cells), np.zeros(n_cells)
        first, last = max(0, shift), min(len(self.work), shift + n_cells)
        if last > first:
            work[first - shift : last - shift] = self.work[first:last]
            sand[first - shift : last - shift] = self.sand[first:last]
        return work, sand

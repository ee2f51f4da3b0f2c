"""The rail as cells, wholly as the scenario lays them."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from slipbench.contract import Floats
from slipbench.kernel import fixed
from slipbench.scenario import RandomFriction, Scenario


def pack_cells(scenario: Scenario) -> tuple[float, Any]:
    """Return where the rail begins [m] and its cells, wholly as the scenario lays them.

    The rail reaches from under the train's rear axle to beyond `run.maximum_distance`.

    Returns
    -------
    (float, (n_cells,) CELL)
    """
    rail = scenario.rail
    cell = rail.cell_length
    behind = max(scenario.train.axle_positions)
    n_behind = math.ceil(behind / cell) + 1
    n_ahead = math.ceil(scenario.run.maximum_distance / cell) + 2
    start = -n_behind * cell
    cells = np.zeros(n_behind + n_ahead, fixed.CELL)
    centres = start + (np.arange(len(cells)) + 0.5) * cell
    for i, section in enumerate(rail.sections):
        first = 0 if i == 0 else int(np.searchsorted(centres, section.from_distance))
        for name in fixed.CELL.names or ():
            cells[name][first:] = getattr(section, name)
    if rail.random is not None:
        cells["friction"] = random_friction(rail.random, start, len(cells), cell)
        cells["recovered_friction"] = np.maximum(cells["recovered_friction"], cells["friction"])
    return start, cells


def random_friction(law: RandomFriction, start: float, n_cells: int, cell_length: float) -> Floats:
    """Return friction drawn patch by patch for every cell; the same seed gives the same rail.

    Patches are drawn ahead from the train's front and, by a generator of their own, back from it:
    so the rail changes neither with the length of the stop nor with that of the train.

    Returns
    -------
    (n_cells,) float64   [-]
    """
    ahead, behind = np.random.default_rng(law.seed).spawn(2)
    n_behind = min(round(-start / cell_length), n_cells)
    friction = np.empty(n_cells)
    friction[:n_behind] = _draw_patches(law, behind, n_behind, cell_length)[::-1]
    friction[n_behind:] = _draw_patches(law, ahead, n_cells - n_behind, cell_length)
    return friction


def _draw_patches(
    law: RandomFriction, generator: np.random.Generator, n_cells: int, cell_length: float
) -> Floats:
    friction = np.empty(n_cells)
    place = 0.0
    i_cell = 0
    while i_cell < n_cells:
        is_long, length = generator.random(), generator.exponential(law.mean_patch)
        long = generator.uniform(law.long_from, law.long_to)
        value = law.median_friction * math.exp(law.spread * generator.standard_normal())
        place += long if is_long < law.long_share else length
        last = min(n_cells, round(place / cell_length))
        friction[i_cell:last] = min(max(value, law.lowest_friction), law.highest_friction)
        i_cell = last
    return friction

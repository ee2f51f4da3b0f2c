"""The rail as cells, wholly as the scenario lays them."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from bench.contract import Floats
from bench.kernel import records
from bench.scenario import RandomFriction, Scenario


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
    cells = np.zeros(n_behind + n_ahead, records.CELL)
    centres = start + (np.arange(len(cells)) + 0.5) * cell
    for i, section in enumerate(rail.sections):
        first = 0 if i == 0 else int(np.searchsorted(centres, section.from_distance))
        for name in records.CELL.names or ():
            cells[name][first:] = getattr(section, name)
    if rail.random is not None:
        cells["friction"] = random_friction(rail.random, start, len(cells), cell)
        cells["recovered_friction"] = np.maximum(cells["recovered_friction"], cells["friction"])
    return start, cells


def random_friction(law: RandomFriction, start: float, n_cells: int, cell_length: float) -> Floats:
    """Return friction drawn patch by patch for every cell; the same seed gives the same rail.

    Patches begin at the rail's start, so a rail does not change with the length of the stop.

    Returns
    -------
    (n_cells,) float64   [-]
    """
    generator = np.random.default_rng(law.seed)
    friction = np.empty(n_cells)
    place, end = start, start + n_cells * cell_length
    i_cell = 0
    while place < end:
        is_long, length = generator.random(), generator.exponential(law.mean_patch)
        long = generator.uniform(law.long_from, law.long_to)
        value = law.median_friction * math.exp(law.spread * generator.standard_normal())
        place += max(long if is_long < law.long_share else length, cell_length)
        last = min(n_cells, round((place - start) / cell_length))
        friction[i_cell:last] = min(max(value, law.lowest_friction), law.highest_friction)
        i_cell = last
    return friction

"""The kernel as one function, to be compiled for a unit without Python (`compiling.objects`)."""

from __future__ import annotations

from typing import Any

import numba

from slipbench.kernel.loop import accept, finish, observe, plan_next_sample
from slipbench.kernel.rail import enter_cell
from slipbench.kernel.records import WORLD_TYPE
from slipbench.kernel.step import advance

GO, OBSERVE, ACCEPT, ENTER, FINISH = range(5)
"""What it is called for: go on to a time or the next sample; fill an observation; take commands
and plan the next sample; put the axles into their cells; put on the rail what the axles hold."""

SIGNATURE = numba.int64(numba.int64, numba.float64, numba.int64, WORLD_TYPE)


def run_part(task: int, until: float, i_group: int, world: Any) -> int:
    """Do one part of a stop; see `slipbench.kernel.plain`, which has them one by one."""
    if task == GO:
        return advance(until, world)
    if task == OBSERVE:
        observe(i_group, world)
    elif task == ACCEPT:
        refused = accept(i_group, world)
        plan_next_sample(i_group, world)
        return refused
    elif task == ENTER:
        for i_axle in range(world.axle_states.shape[0]):
            state = world.axle_states[i_axle]
            enter_cell(
                state.i_cell, world.cells, world.rail_work, world.rail_sand, world.train[0], state
            )
    elif task == FINISH:
        finish(world)
    return -1

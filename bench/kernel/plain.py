"""The pieces of the time loop, compiled one by one for the loop that calls a strategy as Python.

A module of its own, so that nobody waits for it who runs compiled strategies only.
"""

from typing import Any

import numba
from numba import njit

from bench.kernel.cache import compiled_here
from bench.kernel.loop import accept, finish, observe, plan_next_sample, record
from bench.kernel.records import RUNNING, WORLD_TYPE
from bench.kernel.step import advance

with compiled_here():

    @njit(numba.void(numba.float64, WORLD_TYPE), cache=True, error_model="numpy")
    def advance_compiled(until: float, world: Any) -> None:
        """Advance to the next sample, and record."""
        advance(until, world)
        if world.train_state[0].status == RUNNING:
            record(world, False)

    @njit(numba.void(numba.int64, WORLD_TYPE), cache=True, error_model="numpy")
    def observe_compiled(i_group: int, world: Any) -> None:
        """Fill one controller's observation."""
        observe(i_group, world)

    @njit(numba.int64(numba.int64, WORLD_TYPE), cache=True, error_model="numpy")
    def accept_compiled(i_group: int, world: Any) -> int:
        """Take one controller's commands and plan its next sample; -1, or the axle refused."""
        refused = accept(i_group, world)
        plan_next_sample(i_group, world)
        return refused

    @njit(numba.void(WORLD_TYPE), cache=True, error_model="numpy")
    def finish_compiled(world: Any) -> None:
        """Put on the rail what the axles hold, and record the end."""
        finish(world)

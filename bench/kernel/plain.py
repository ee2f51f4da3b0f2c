"""The pieces of the time loop, compiled one by one for the loop that calls a strategy as Python.

A module of its own, so that nobody waits for it who runs compiled strategies only.
"""

from typing import Any

import numba

from slipbench.compiling.cache import compiled_here
from slipbench.compiling.jit import entry
from slipbench.kernel.loop import accept, finish, observe, plan_next_sample
from slipbench.kernel.records import WORLD_TYPE
from slipbench.kernel.step import advance

with compiled_here():

    @entry(numba.int64(numba.float64, WORLD_TYPE))
    def advance_compiled(until: float, world: Any) -> int:
        """Go on to the next sample of a controller, or to a time; see `advance`."""
        return advance(until, world)

    @entry(numba.void(numba.int64, WORLD_TYPE))
    def observe_compiled(i_group: int, world: Any) -> None:
        """Fill one controller's observation."""
        observe(i_group, world)

    @entry(numba.int64(numba.int64, WORLD_TYPE))
    def accept_compiled(i_group: int, world: Any) -> int:
        """Take one controller's commands and plan its next sample; -1, or the axle refused."""
        refused = accept(i_group, world)
        plan_next_sample(i_group, world)
        return refused

    @entry(numba.void(WORLD_TYPE))
    def finish_compiled(world: Any) -> None:
        """Put on the rail what the axles hold, and record the end."""
        finish(world)

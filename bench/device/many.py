"""One thread a stop: the time loop of `slipbench.kernel.loop`, for many stops side by side.

The text below is compiled for a GPU in the process that holds it, where the kernel's functions are
its own; a test compiles it for the processor and finds the bits of `simulate`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

from slipbench.device.flat import NO_TRACES, PARTS
from slipbench.kernel.codes import RUNNING
from slipbench.kernel.loop import PAUSED, accept, finish, observe, plan_next_sample
from slipbench.kernel.records import World
from slipbench.kernel.step import advance

_LOOP = """
def run_one(i, {arguments}):
    world = World(
{of_stop}{without_rows}    )
    memory = memory_of[starts[{last}, i] : starts[{last}, i] + lengths[{last}, i]]
    parameters = values[i]
    state = world.train_state[0]
    pause_at = state.n_axle_steps + turn
    while state.status == RUNNING:
        if state.n_axle_steps >= pause_at:
            return
        i_group = advance(math.inf, world)
        if i_group < 0:
            break
        group = world.groups[i_group]
        observe(i_group, world)
        first, last = group.first_axle, group.first_axle + group.n_axles
        update(
            world.observation[first:last],
            parameters,
            memory[first + i_group : last + i_group + 1],
            world.command[first:last],
            world.signals[i_group],
        )
        refused = accept(i_group, world)
        if refused >= 0:
            came_to[i] = refused
            return
        plan_next_sample(i_group, world)
    finish(world)
    came_to[i] = -1

def run_stops({arguments}):
    i = grid(1)
    if i < came_to.shape[0] and came_to[i] == PAUSED:
        run_one(i, {arguments})
"""
"""The loop of every stop; what it is given stands in braces."""


def _text() -> str:
    """Return the source of the loop: it takes forty arrays, which numba takes one by one."""
    of_stop = "".join(
        f"        part_{part}[starts[{k}, i] : starts[{k}, i] + lengths[{k}, i]],\n"
        for k, part in enumerate(PARTS)
    )
    without_rows = "".join(f"        part_{name},\n" for name in NO_TRACES)
    arrays = ", ".join(f"part_{part}" for part in (*PARTS, *NO_TRACES))
    arguments = f"came_to, turn, starts, lengths, values, memory_of, {arrays}"
    return _LOOP.format(
        arguments=arguments, of_stop=of_stop, without_rows=without_rows, last=len(PARTS)
    )


def _executed(file: str = "<many stops>", **more: Any) -> dict[str, Any]:
    names: dict[str, Any] = {
        "PAUSED": PAUSED,
        "RUNNING": RUNNING,
        "World": World,
        "accept": accept,
        "advance": advance,
        "finish": finish,
        "math": math,
        "observe": observe,
        "plan_next_sample": plan_next_sample,
        **more,
    }
    exec(compile(_text(), file, "exec"), names)
    return names


def one_stop(update: Callable[..., Any]) -> Callable[..., None]:
    """Return the Python function that runs stop `i` of many, to be compiled.

    Its arguments: i; came_to (n,) `PAUSED`, -1 at the end, or the axle whose command was refused;
    turn, pieces of time after which it comes back; starts and lengths (len(PARTS) + 1, n), rows of
    each part that are the stop's, of the memory last; values (n, n_parameters); the memory; then
    each part of all stops, row behind row, and the traces, empty.
    """
    function: Callable[..., None] = _executed(update=update)["run_one"]
    return function


def stops_kernel(update: Any, folder: Path | None = None) -> Any:
    """Return a GPU's kernel: `one_stop`'s arguments without the first.

    Parameters
    ----------
    update : function   of a strategy, of the GPU
    folder : Path       of the kernel compiled for it, which is kept there; None: not kept
    """
    from numba import cuda as untyped

    cuda: Any = untyped
    file = None if folder is None else folder / "many_stops.py"
    if file is not None:  # numba keeps what it compiled beside the file a function stands in
        file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        if not file.is_file() or file.read_text(encoding="utf-8") != _text():
            file.write_text(_text(), encoding="utf-8")
    names = _executed("<many stops>" if file is None else str(file), update=update, grid=cuda.grid)
    names["run_one"] = cuda.jit(device=True)(names["run_one"])
    return cuda.jit(cache=file is not None)(names["run_stops"])

"""One thread a stop: `slipbench.kernel.loop.run_to_pause`, for many stops side by side.

The text below is compiled for a GPU in the process that holds it, where the kernel's functions are
its own; a test compiles it for the processor and finds the bits of `simulate`.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from slipbench.device.flat import NO_TRACES, PARTS
from slipbench.kernel.loop import PAUSED, run_to_pause
from slipbench.kernel.records import World

_THREAD = """
def run_one(i, {arguments}):
    world = World(
{of_stop}{without_rows}    )
    memory = memory_of[starts[{last}, i] : starts[{last}, i] + lengths[{last}, i]]
    state = world.train_state[0]
    state.pause_at = state.n_axle_steps + turn
    came = run_to_pause(world, update, values[i], memory)
    if came != PAUSED:
        came_to[i] = came

def run_stops({arguments}):
    i = grid(1)
    if i < came_to.shape[0] and came_to[i] == PAUSED:
        run_one(i, {arguments})
"""
"""What a thread does: gathers the rows of its stop, and runs it on; its arguments are in braces."""


def _text() -> str:
    """Return the source: it takes forty arrays, which numba takes one by one."""
    of_stop = "".join(
        f"        part_{part}[starts[{k}, i] : starts[{k}, i] + lengths[{k}, i]],\n"
        for k, part in enumerate(PARTS)
    )
    without_rows = "".join(f"        part_{name},\n" for name in NO_TRACES)
    arrays = ", ".join(f"part_{part}" for part in (*PARTS, *NO_TRACES))
    arguments = f"came_to, turn, starts, lengths, values, memory_of, {arrays}"
    return _THREAD.format(
        arguments=arguments, of_stop=of_stop, without_rows=without_rows, last=len(PARTS)
    )


def _executed(file: str = "<many stops>", **more: Any) -> dict[str, Any]:
    names: dict[str, Any] = {
        "PAUSED": PAUSED,
        "World": World,
        "run_to_pause": run_to_pause,
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

"""Run one stop."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numba
import numpy as np

from bench.contract import Controller, Update
from bench.errors import InputError
from bench.kernel.cache import strategies_compiled_here
from bench.kernel.loop import UPDATE_SIGNATURE, run_compiled
from bench.kernel.records import RUNNING, World
from bench.native import NativeUpdate, stray_text
from bench.packing import pack
from bench.rail_state import RailState
from bench.scenario import Scenario, load_scenario
from bench.stop import Stop, make_stop


def simulate(
    scenario: Scenario | str,
    controller: Controller,
    seed: int = 0,
    *,
    compiled: bool = True,
    with_traces: bool = True,
    rail_before: RailState | None = None,
) -> Stop:
    """Run one stop of a scenario under a strategy.

    Parameters
    ----------
    scenario : Scenario or str   or the name of a shipped scenario, or the path of a TOML file
    controller : Controller
    seed : int                   of sampling phases and tooth angles, 0 to 2**63 - 1
    compiled : bool              False runs the strategy as plain Python (slow, for prototyping);
                                 the physics is the same compiled function either way
    rail_before : RailState      the rail as an earlier stop left it (`Stop.rail_after`)
    with_traces : bool           False keeps the summary only

    Returns
    -------
    Stop

    Raises
    ------
    InputError   for a scenario that cannot be read, a seed out of range, or a strategy that gives
                 a command its equipment cannot follow (naming strategy, axle and time)
    """
    if isinstance(scenario, str):
        scenario = load_scenario(scenario)
    if isinstance(seed, bool) or not isinstance(seed, int | np.integer) or not 0 <= seed < 2**63:
        raise InputError(f"seed = {seed!r}; allowed: a whole number from 0 to 2**63 - 1")
    world = pack(scenario, controller, int(seed), with_traces, rail_before)
    memory = np.zeros((len(world.axles) + len(world.groups), controller.n_memory))
    parameters = controller.parameter_values
    if compiled:
        update = compile_update(controller.update)
        refused = int(run_compiled(world, update, parameters, memory))
    else:
        refused = _run_plain(world, controller.update, parameters, memory)
    if refused >= 0:
        raise InputError(_command_complaint(world, controller, refused))
    return make_stop(scenario, controller, int(seed), world)


@lru_cache(maxsize=64)
def compile_update(update: Update) -> Any:
    """Return a strategy's function compiled for the kernel; a shipped one is kept on disk.

    Raises
    ------
    InputError   when numba cannot compile it, in one line
    """
    if hasattr(update, "py_func"):  # already compiled by its author
        return update
    if isinstance(update, NativeUpdate):
        return update.compiled
    is_shipped = update.__module__.startswith("controllers.")
    try:
        with strategies_compiled_here():
            return numba.njit(UPDATE_SIGNATURE, cache=is_shipped, error_model="numpy")(update)
    except numba.core.errors.NumbaError as error:
        reason = next((line for line in str(error).splitlines() if line.strip()), "")
        where = f"{update.__module__}.{update.__qualname__}"
        raise InputError(
            f"controller function {where} does not compile: {reason.strip()}; "
            "run it as plain Python, or keep to the subset numba compiles"
        ) from error


def _run_plain(world: World, update: Update, parameters: Any, memory: Any) -> int:
    """Run a stop calling the strategy as plain Python; the physics is the compiled one."""
    from bench.kernel.plain import (  # compiled when first needed
        accept_compiled,
        advance_compiled,
        finish_compiled,
        observe_compiled,
    )

    state = world.train_state[0]
    while state["status"] == RUNNING:
        advance_compiled(world.group_states["next_sample"].min(), world)
        if state["status"] != RUNNING:
            break
        for i_group, group in enumerate(world.groups):
            if world.group_states[i_group]["next_sample"] > state["time"]:
                continue
            observe_compiled(i_group, world)
            first = int(group["first_axle"])
            last = first + int(group["n_axles"])
            update(
                world.observation[first:last],
                parameters,
                memory[first + i_group : last + i_group + 1],
                world.command[first:last],
                world.signals[i_group],
            )
            refused = int(accept_compiled(i_group, world))
            if refused >= 0:
                return refused
    finish_compiled(world)
    return -1


def _command_complaint(world: World, controller: Controller, i_axle: int) -> str:
    valve, factor = world.command[i_axle].tolist()
    vehicle = int(world.axles["i_group"][i_axle]) + 1 if controller.scope == "vehicle" else "all"
    limit = float(world.train["demand_factor_limit"][0])
    time = float(world.train_state["time"][0])
    strayed = stray_text(factor) if isinstance(controller.update, NativeUpdate) else ""
    if strayed:
        return f"controller {controller.name}: {strayed} (vehicle {vehicle}) at {time:.3f} s"
    return (
        f"controller {controller.name}: command of axle {i_axle + 1} (vehicle {vehicle}) at "
        f"{time:.3f} s is valve {valve:g}, demand factor "
        f"{factor:g}; allowed: valve 0 (fill), 1 (hold) or 2 (vent), factor 0 to {limit:g}"
    )

"""Run one stop."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from slipbench.contract import Controller, Floats
from slipbench.ground.errors import InputError, StopFailed
from slipbench.ground.telling import shown
from slipbench.kernel.codes import BROKEN, MOST_STEP_PIECES, TOO_MANY_PIECES
from slipbench.kernel.loop import PAUSED, run_compiled
from slipbench.kernel.records import World
from slipbench.packing import pack
from slipbench.packing.rail_state import RailState
from slipbench.scenario import Scenario, load_scenario
from slipbench.stop.stop import Stop, Way, make_stop, make_way
from slipbench.strategies.foreign import ForeignUpdate
from slipbench.strategies.registry import find_controller
from slipbench.strategies.update import compile_update

PIECES_A_TURN = 200_000
"""Pieces of time the compiled loop takes before Python has a turn: some 0.1 s."""


def simulate(
    scenario: Scenario | str | Path,
    strategy: Controller | str | Path,
    seed: int = 0,
    *,
    compiled: bool = True,
    with_traces: bool = True,
    rail_before: RailState | None = None,
) -> Stop:
    """Run one stop of a scenario under a strategy.

    Parameters
    ----------
    scenario : Scenario, or the name of a shipped one, or the path of a TOML file
    strategy : Controller, or text as on the command line: `NAME[:KEY=VALUE...]` or
        `FILE[:NAME][:KEY=VALUE...]`
    seed : int                   of the equipment drawn (`scenario.equipment`), sampling phases and
                                 tooth angles, 0 to 2**63 - 1
    compiled : bool              False runs the strategy as plain Python (slow, for prototyping);
                                 the physics is the same compiled function either way
    rail_before : RailState      the rail as an earlier stop left it (`Stop.rail_after`)
    with_traces : bool           False keeps the summary only

    Returns
    -------
    Stop

    Raises
    ------
    InputError   for a scenario or strategy that cannot be read, a seed out of range, a
                 strategy that gives a command its equipment cannot follow (naming strategy, axle
                 and time)
    StopFailed   an `InputError`: the stop took more pieces of time than `run.maximum_pieces`, or
                 its values are so extreme that the arithmetic breaks down
    """
    if isinstance(scenario, str | Path):
        scenario = load_scenario(scenario)
    if not isinstance(scenario, Scenario):
        raise InputError(
            f"scenario {shown(scenario)}: must be a Scenario, or the name or path of one"
        )
    controller = _controller_of(strategy, compiled)
    world = _finished(scenario, controller, seed, compiled, with_traces, rail_before)
    return make_stop(scenario, controller, int(seed), world)


def simulate_way(
    scenario: Scenario,
    controller: Controller,
    seed: int = 0,
    *,
    compiled: bool = True,
    rail_before: RailState | None = None,
) -> Way:
    """Run one stop for the way it takes, and leave out what it was worth otherwise.

    The same stop as that of `simulate`, for searches that look at nothing else: wheels, heat, air
    and findings cost about as much time as a short stop itself.

    Raises
    ------
    InputError, StopFailed   as of `simulate`
    """
    world = _finished(scenario, controller, seed, compiled, False, rail_before)
    return make_way(scenario, world)


def _finished(
    scenario: Scenario,
    controller: Controller,
    seed: int,
    compiled: bool,
    with_traces: bool,
    rail_before: RailState | None,
) -> World:
    """Return the records of a stop that was run to its end."""
    if isinstance(seed, bool) or not isinstance(seed, int | np.integer) or not 0 <= seed < 2**63:
        raise InputError(f"seed = {shown(seed)}; allowed: a whole number from 0 to 2**63 - 1")
    if rail_before is not None and not isinstance(rail_before, RailState):
        raise InputError(f"rail_before = {shown(rail_before)}; allowed: a RailState or None")
    world = pack(scenario, controller, int(seed), with_traces, rail_before)
    memory = np.zeros((len(world.axles) + len(world.groups), controller.n_memory))
    try:
        _run(world, controller, memory, compiled)
    finally:
        if isinstance(controller.update, ForeignUpdate):
            controller.update.release(memory)
    _check_end(scenario, controller, int(seed), world)
    return world


def _check_end(scenario: Scenario, controller: Controller, seed: int, world: World) -> None:
    """Raise `StopFailed` for a stop that came to no end."""
    failure = _failure(scenario, world)
    if failure:
        raise StopFailed(
            f"scenario {scenario.name}, strategy {controller.name}, seed {seed}: {failure}"
        )


def conclude(
    scenario: Scenario, controller: Controller, seed: int, world: World, refused: int = -1
) -> Stop:
    """Return the account of a world that was run to its end.

    Parameters
    ----------
    refused : int   the axle whose command its equipment could not follow; -1 if none

    Raises
    ------
    InputError   for that command
    StopFailed   if it came to no end
    """
    if refused >= 0:
        raise InputError(_command_complaint(world, controller, refused))
    _check_end(scenario, controller, seed, world)
    return make_stop(scenario, controller, seed, world)


def _run(world: World, controller: Controller, memory: Floats, compiled: bool) -> None:
    """Run a stop to its end, or raise for a command the equipment cannot follow."""
    if not compiled:
        for _ in run_sample_by_sample(world, controller, controller.update, memory):
            pass
        return
    update = compile_update(controller.update)
    refused = _run_in_turns(world, update, controller.parameter_values, memory)
    if refused >= 0:
        raise InputError(_command_complaint(world, controller, refused))


def get_ready(controller: Controller, compiled: bool) -> None:
    """Compile or load what a stop of a strategy needs, which `simulate` would do by itself.

    Raises
    ------
    InputError   when its function cannot be compiled
    """
    if compiled:
        compile_update(controller.update)
    else:
        import slipbench.kernel.plain  # noqa: F401


def _run_in_turns(world: World, update: Any, parameters: Floats, memory: Floats) -> int:
    """Run a stop to its end, Python having a turn now and then: for Ctrl-C and whoever watches."""
    state = world.train_state
    came_to = PAUSED
    while came_to == PAUSED:
        state["pause_at"] = state["n_axle_steps"] + PIECES_A_TURN
        came_to = int(run_compiled(world, update, parameters, memory))
    return came_to


def _failure(scenario: Scenario, world: World) -> str:
    """Return why a stop came to no end, and where; empty if it did."""
    state, axles = world.train_state[0], world.axle_states
    where = (
        f"{float(state['time']):.3f} s, {float(state['distance']):.1f} m, "
        f"{float(state['speed']):.2f} m/s"
    )
    if state["status"] == BROKEN:
        return f"a number ceased to be finite at {where}; look for extreme values"
    if state["status"] != TOO_MANY_PIECES:
        return ""
    most, i_axle = scenario.run.maximum_pieces, int(np.argmin(axles["elapsed"]))
    if state["n_axle_steps"] >= most:
        return f"more than {most} pieces of time (run.maximum_pieces) were taken by {where}"
    return (
        f"a step of {1e3 * float(state['step_duration']):.3g} ms took more than "
        f"{MOST_STEP_PIECES} pieces of time an axle at {where}; axle {i_axle + 1} got no further, "
        f"at {float(axles['wheel_speed'][i_axle]):.3f} m/s of its rim"
    )


def _controller_of(strategy: object, compiled: bool) -> Controller:
    if isinstance(strategy, str | Path):
        return find_controller(str(strategy), compile_file=compiled).controller
    if not isinstance(strategy, Controller):
        raise InputError(
            f"strategy {shown(strategy)}: must be a Controller, or the name or file of one"
        )
    return strategy


def run_sample_by_sample(
    world: World, controller: Controller, update: Any, memory: Any
) -> Iterator[None]:
    """Run a stop to its end, the physics compiled, pausing before every sample of a controller.

    Parameters
    ----------
    world : World
    controller : Controller
    update : callable       its function, plain or compiled
    memory : (n_axles + n_groups, n_memory)

    Raises
    ------
    InputError   for a command the equipment cannot follow
    """
    from slipbench.kernel.plain import (  # compiled when first needed
        accept_compiled,
        advance_compiled,
        finish_compiled,
        observe_compiled,
    )

    while (i_group := int(advance_compiled(math.inf, world))) >= 0:
        yield
        group = world.groups[i_group]
        observe_compiled(i_group, world)
        first = int(group["first_axle"])
        last = first + int(group["n_axles"])
        update(
            world.observation[first:last],
            controller.parameter_values,
            memory[first + i_group : last + i_group + 1],
            world.command[first:last],
            world.signals[i_group],
        )
        refused = int(accept_compiled(i_group, world))
        if refused >= 0:
            raise InputError(_command_complaint(world, controller, refused))
    yield
    finish_compiled(world)


def _command_complaint(world: World, controller: Controller, i_axle: int) -> str:
    valve, factor, *dynamic = world.command[i_axle].tolist()
    vehicle = int(world.axles["i_group"][i_axle]) + 1 if controller.scope == "vehicle" else "all"
    limit = float(world.brakes["demand_factor_limit"][world.axles["i_vehicle"][i_axle]])
    time = float(world.train_state["clock"][0])
    update = controller.update
    said = update.complaint(factor) if isinstance(update, ForeignUpdate) else ""
    if said:
        return f"strategy {controller.name}: {said} (vehicle {vehicle}) at {time:.3f} s"
    more, allowed = "", ""
    if dynamic:
        more, allowed = f", dynamic factor {dynamic[0]:g}", ", dynamic factor 0 to 1"
    return (
        f"strategy {controller.name}: command of axle {i_axle + 1} (vehicle {vehicle}) at "
        f"{time:.3f} s is valve {valve:g}, demand factor {factor:g}{more}; "
        f"allowed: valve 0 (fill), 1 (hold) or 2 (vent), factor 0 to {limit:g}{allowed}"
    )

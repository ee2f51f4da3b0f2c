"""The processes beside a GPU: scenarios to packed stops, and what moved to summaries."""

from __future__ import annotations

import signal
from collections.abc import Sequence
from multiprocessing.connection import Connection

import numpy as np

from slipbench.device.flat import flat_of, flattened, put_back
from slipbench.device.process import MEMORY, TIMED_OUT, Chunk, Moved
from slipbench.ground.errors import InputError, StopFailed
from slipbench.kernel.records import World
from slipbench.packing import pack
from slipbench.running.candidate import controller_of
from slipbench.running.limit import too_long
from slipbench.running.pool import end_with_parent
from slipbench.running.task import Outcome, Task, failed_outcome, summary_text
from slipbench.stop.simulation import conclude


def packed(tasks: Sequence[Task]) -> tuple[list[World], Chunk]:
    """Return the worlds of stops of one strategy, and what a GPU is given of them."""
    controllers = [controller_of(task.candidate).controller for task in tasks]
    worlds = [
        pack(task.scenario, controller, task.seed, with_traces=False)
        for task, controller in zip(tasks, controllers, strict=True)
    ]
    lengths = np.array([len(w.axles) + len(w.groups) for w in worlds], dtype=np.int64)
    memory = flat_of(np.zeros((0, controllers[0].n_memory)), lengths)
    values = np.array([c.parameter_values for c in controllers]).reshape(len(tasks), -1)
    chunk = Chunk(flattened(worlds) | {MEMORY: memory}, values)
    return [_slim(world) for world in worlds], chunk


def _slim(world: World) -> World:
    """Return a world without what only its run needs: a megabyte a stop."""
    none = np.zeros(1)
    return world._replace(cells=world.cells[:1].copy(), law=none, lanes=none)


def concluded(
    tasks: Sequence[Task], worlds: Sequence[World], moved: Moved, machine: str, stop_limit: float
) -> list[Outcome]:
    """Return the outcomes of stops a GPU ran, packed together.

    Raises
    ------
    InputError   for a command its equipment could not follow
    """
    outcomes = []
    for i, (task, world, came_to) in enumerate(zip(tasks, worlds, moved.came_to, strict=True)):
        where = f"scenario {task.scenario.name}, strategy {task.candidate.label}, seed {task.seed}"
        if came_to == TIMED_OUT:
            reason = too_long(where, stop_limit)
            outcomes.append(failed_outcome(task, reason, moved.seconds, machine))
            continue
        put_back(world, moved.parts, i, moved.begins)
        try:
            outcomes.append(_outcome(task, world, int(came_to), machine, moved.seconds))
        except InputError as problem:
            raise InputError(f"{where}: {problem}") from problem
    return outcomes


def _outcome(task: Task, world: World, came_to: int, machine: str, seconds: float) -> Outcome:
    controller = controller_of(task.candidate).controller
    try:
        stop = conclude(task.scenario, controller, task.seed, world, came_to)
    except StopFailed as problem:
        return failed_outcome(task, str(problem), seconds, machine)
    return Outcome(task.key, summary_text(stop.summary), machine, seconds)


def serve(pipe: Connection, machine: str, stop_limit: float) -> None:
    """Pack and conclude what is asked for until the pipe ends.

    Asked is a list of `Task`, answered by a `Chunk`; or the `Moved` of the oldest chunk, answered
    by a list of `Outcome`. A text is an `InputError`.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    end_with_parent()
    waiting: list[tuple[list[Task], list[World]]] = []
    while True:
        try:
            asked: list[Task] | Moved = pipe.recv()
        except EOFError:
            return
        try:
            if isinstance(asked, Moved):
                tasks, worlds = waiting.pop(0)
                pipe.send(concluded(tasks, worlds, asked, machine, stop_limit))
            else:
                worlds, chunk = packed(asked)
                waiting.append((asked, worlds))
                pipe.send(chunk)
        except InputError as problem:
            pipe.send(str(problem))

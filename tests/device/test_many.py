"""The text that a GPU runs, compiled for the processor: the same bits as `simulate`."""

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numba
import numpy as np
import pytest

from slipbench.device.flat import (
    EMPTY,
    NO_TRACES,
    PARTS,
    STATES,
    Flat,
    flat_of,
    flat_part,
    joined,
    put_back,
)
from slipbench.device.many import one_stop
from slipbench.device.packing import concluded, packed
from slipbench.device.process import MEMORY, Chunk, Moved
from slipbench.kernel.columns import TRACED_AXLE, TRACED_TRAIN
from slipbench.kernel.loop import PAUSED
from slipbench.running.candidate import candidate_of
from slipbench.running.task import Task, make_task, run_task
from slipbench.scenario import load_scenario
from slipbench.strategies.registry import find_controller
from slipbench.strategies.update import compile_update


def in_full(flat: Flat) -> np.ndarray:
    """Return the rows of a part as the GPU makes them."""
    if flat.ends is not None:
        return np.repeat(flat.rows, np.diff(flat.ends, prepend=0))
    if len(flat.rows) < flat.n_rows:
        return np.zeros((flat.n_rows, *flat.rows.shape[1:]), flat.rows.dtype)
    return flat.rows


def outcomes_of(tasks: Sequence[Task], chunks: Sequence[Chunk], worlds: Any, run: Any) -> list[str]:
    """Run packed stops one by one on the processor, in turns; return their summaries."""
    flats = {name: joined([c.parts[name] for c in chunks]) for name in (*PARTS, MEMORY)}
    arrays = {name: in_full(flat) for name, flat in flats.items()}
    starts = np.stack([flat.starts for flat in flats.values()])
    lengths = np.stack([flat.lengths for flat in flats.values()])
    values = np.concatenate([chunk.values for chunk in chunks])
    came_to = np.full(len(tasks), PAUSED, np.int64)
    traces = [np.zeros((0, len(TRACED_TRAIN))), np.zeros((0, 1, len(TRACED_AXLE)))]
    for i in range(len(tasks)):
        n_turns = 0
        while came_to[i] == PAUSED:
            run(i, came_to, 3_000, starts, lengths, values, arrays[MEMORY],
                *(arrays[name] for name in PARTS), *traces)  # fmt: skip
            n_turns += 1
        assert n_turns > 1
    back = (*STATES, "lock_log", "lock_trail", "rail_heat", "rail_sand")
    moved = {name: flats[name].holding(arrays[name]) for name in back}
    found, first = [], 0
    for chunk in chunks:
        last = first + len(chunk.values)
        came = Moved(
            came_to[first:last], {n: flat.part(first, last) for n, flat in moved.items()}, {}, 0.0
        )
        outcomes = concluded(tasks[first:last], worlds[first:last], came, "machine", 9.0)
        found += [outcome.summary for outcome in outcomes]
        first = last
    return found


@pytest.mark.slow  # compiles the whole loop once more
def test_stops_of_several_rails_and_values_laid_side_by_side_are_those_of_simulate() -> None:
    known = find_controller("slip_band")
    deeper = replace(known, controller=known.controller.with_parameters(fill_slip=0.05))
    rails = [
        replace(load_scenario(name), initial_speed=12.0) for name in ("wet_leaf", "damp_oxide")
    ]
    tasks = [
        make_task(rail, candidate_of(strategy), seed)
        for rail in rails
        for strategy in (known, deeper)
        for seed in (3, 4)
    ]
    halves = [packed(tasks[:3]), packed(tasks[3:])]
    worlds = [world for half, _ in halves for world in half]
    run = numba.njit(error_model="numpy")(one_stop(compile_update(known.controller.update)))
    found = outcomes_of(tasks, [chunk for _, chunk in halves], worlds, run)
    assert found == [run_task(task).summary for task in tasks]
    assert len({json.loads(text)["stopping_distance"] for text in found}) == len(tasks)


def ramp(count: int, n_equal: int) -> np.ndarray:
    rows = np.zeros(count, [("a", np.float64), ("b", np.int64)])
    rows["a"] = np.arange(count) // n_equal
    return rows


@pytest.mark.parametrize("n_equal", [1, 3, 5, 400])
@pytest.mark.parametrize("changed", [lambda rows: rows, lambda rows: rows[:-7]])
def test_parts_keep_every_row(n_equal: int, changed: Callable[[Any], Any]) -> None:
    each = [ramp(600, n_equal), ramp(300, 1), changed(ramp(600, n_equal))]
    two = [flat_part("cells", each), flat_part("cells", each[1:])]
    whole = joined(two)
    rows = in_full(whole)
    for i, array in enumerate([*each, *each[1:]]):
        first = whole.starts[i]
        assert rows[first : first + whole.lengths[i]].tobytes() == array.tobytes()
    assert two[0].n_rows == 900 + (len(each[2]) if len(each[2]) != 600 else 0)


def test_what_is_zero_does_not_travel() -> None:
    flat = flat_part("lock_trail", [np.zeros((20, 5)), np.zeros((20, 5))])
    assert len(flat.rows) == 0 and flat.n_rows == 40 and flat.starts.tolist() == [0, 20]


def test_every_part_is_of_one_kind() -> None:
    from slipbench.device.flat import FIXED
    from slipbench.kernel.records import World

    moved = {"observation", *STATES, *EMPTY}
    assert {*FIXED} | moved | {*NO_TRACES} == {*World._fields}
    assert not {*FIXED} & moved


def test_what_came_back_is_put_where_it_was() -> None:
    from types import SimpleNamespace

    world: Any = SimpleNamespace(rail_heat=np.zeros(9), rail_sand=np.zeros(4))
    heat = flat_of(np.array([9.0, 5.0, 6.0]), np.array([1, 2]))
    sand = flat_of(np.arange(8.0), np.array([4, 4]))
    put_back(world, {"rail_heat": heat, "rail_sand": sand}, 1, {"rail_heat": np.array([0, 3])})
    assert world.rail_heat.tolist() == [0.0, 0.0, 0.0, 5.0, 6.0, 0.0, 0.0, 0.0, 0.0]
    assert world.rail_sand.tolist() == [4.0, 5.0, 6.0, 7.0]

"""The floor that weighs braking against cleaning (proof: `slipbench.stop.shortest`).

It goes through a fictitious stop as `slipbench.kernel.floor` does. What the rail gives comes from
`slipbench.kernel.worth`: each stretch of equal cells keeps what the axles that have passed it can
have given and left, and an axle that enters it adds what the largest sum then grows by.
"""

import math
from typing import Any

import numba
import numpy as np

from slipbench.compiling.cache import compiled_here
from slipbench.compiling.jit import entry, inner
from slipbench.kernel.codes import (
    RAIL_AND_CONTACT,
    RAIL_MEMORY,
    RUNNING,
    STOPPED,
    TOO_FAR,
    TOO_LONG,
)
from slipbench.kernel.driver import move_handle, time_to_handle_event
from slipbench.kernel.floor import (
    LONGEST_STEP,
    drag_bound,
    fastest_fill,
    fill_cylinders,
    grip_in_step,
    line_force,
    most_braking,
    most_cleaning,
    most_self_cleaned,
    resistance_bound,
    walk,
)
from slipbench.kernel.rail import pass_friction, sanded_friction
from slipbench.kernel.records import WORLD_TYPE, Axle, AxleState, Cell, Train, World
from slipbench.kernel.worth import (
    N_NODES,
    N_SLIPS,
    N_WORTHS,
    node_friction,
    pass_place,
    worth_of,
)

_FALL_IN_STRETCH = 0.008
"""A stretch is so long that the train loses at most this share of its speed in it."""

_CELLS_TO_REST = 3.0
"""The last metres, so many cells at the hardest deceleration, are not resolved."""

_FLOATS = numba.types.Array(numba.float64, 1, "C")
_TABLE = numba.types.Array(numba.float64, 2, "C")


@inner
def _is_alike(i: int, k: int, world: World) -> bool:
    """Return whether two cells are the same to every wheel that comes."""
    one, two = world.cells[i], world.cells[k]
    return (
        one.friction == two.friction
        and one.recovered_friction == two.recovered_friction
        and one.cleaning_work == two.cleaning_work
        and one.cleaning_exponent == two.cleaning_exponent
        and one.friction_ratio == two.friction_ratio
        and one.friction_decay == two.friction_decay
        and one.adhesion_reduction == two.adhesion_reduction
        and one.slip_reduction == two.slip_reduction
        and world.rail_work[i] == world.rail_work[k]
        and world.rail_sand[i] == world.rail_sand[k]
    )


@inner
def _stretch_end(first: int, speed: float, hardest: float, stretch_of: Any, world: World) -> int:
    """Return the last cell of the stretch that begins with a cell: all alike, none in another."""
    if world.sanders.shape[0] > 0:
        return first
    longest = _FALL_IN_STRETCH * speed * speed / hardest / world.train[0].cell_length
    last = min(world.cells.shape[0] - 1, first + max(int(longest), 1) - 1)
    end = first
    while end < last and stretch_of[end + 1] < 0 and _is_alike(first, end + 1, world):
        end += 1
    return end


@inner
def _most_left(
    work: float, sand: float, load: float, most: float, cell: Cell, train: Train
) -> float:
    """Return a cleaning work that no pass exceeds, from W on. [J/m]"""
    own = train.contact_share * most * load if train.cleaning_law == RAIL_AND_CONTACT else 0.0
    return work + most * load * pass_friction(cell, work, own, sanded_friction(sand, train))


@inner
def _slowest(speed: float, length: float, hardest: float, kept: float, braking: float) -> float:
    """Return a speed that no train falls below on a length of track. [m/s]

    By the hardest deceleration there is; or by momentum: what the brakes take, and at most what
    wheels at standstill take when they spin up.
    """
    by_rail = speed * speed - 2.0 * hardest * length
    by_brake = kept * kept * speed * speed - 2.0 * braking * length
    return math.sqrt(max(by_rail, by_brake, 1e-6))


@inner
def _load_under(
    deceleration: float, hardest: float, axle: Axle, axle_state: AxleState
) -> tuple[Any, Any]:
    """Return load and stiffness of a wheel at the heaviest up to a deceleration. [N], [N]

    `axle_state` holds them for the hardest deceleration; between it and none they run linearly.
    """
    share = min(deceleration / hardest, 1.0)
    load = axle.wheel_load + share * (axle_state.wheel_load - axle.wheel_load)
    return load, axle.contact_stiffness * (load / axle.wheel_load) ** (2.0 / 3.0)


@inner
def _pass_stretch(
    price: float,
    slowest: float,
    load: float,
    stiffness: float,
    sand: float,
    i_cell: int,
    base: float,
    top: float,
    worths: Any,
    sums: Any,
    nodes: Any,
    room: Any,
    best: Any,
    world: World,
) -> tuple[Any, Any]:
    """Let an axle pass; return the largest sum of priced forces and the most work left. [J/m]"""
    train, cell = world.train[0], world.cells[i_cell]
    most = most_cleaning(train)
    start, largest, slope = nodes[0], nodes[1], nodes[2]
    step = max(top - base, 1e-6) / N_NODES
    node_friction(base, step, sand, load, most, cell, train, start, largest, slope)
    total = pass_place(
        price,
        slowest,
        load,
        stiffness,
        base,
        top,
        cell,
        train,
        world.law[0],
        worths,
        start,
        largest,
        slope,
        sums,
        room,
        best[0],
        best[1],
        best[2],
    )
    return total, _most_left(top, sand, load, most, cell, train)


with compiled_here():

    @entry(
        numba.float64(numba.int64, numba.float64, *[_FLOATS] * 2, _TABLE, WORLD_TYPE),
        allocates=True,
    )
    def weigh_place(
        i_cell: int, hardest: float, speeds: Any, prices: Any, passes: Any, world: Any
    ) -> float:
        """Return the largest sum of priced forces of all axles passing one cell. [N]

        Parameters
        ----------
        i_cell : int
        hardest : float        deceleration. [m/s2]
        speeds : (n_axles,)    of the train as each axle passes. [m/s]
        prices : (n_axles,)    [-]
        passes : (n_axles, 2)  filled: force [N] and creepage [-] of each axle in that sum
        world : World          its axles loaded for that deceleration
        """
        n_axles = world.axles.shape[0]
        base = top = world.rail_work[i_cell]
        worths, sums = np.empty(N_WORTHS), np.empty(N_WORTHS)
        kept = np.empty((n_axles + 1, N_WORTHS))
        nodes, room = np.empty((3, N_NODES + 1)), np.empty((9, N_SLIPS))
        best = np.empty((n_axles, 3, N_WORTHS))
        for q in range(N_WORTHS):
            worths[q] = worth_of(q, 1.0)
            sums[q] = kept[0, q] = worths[q] * base
        total = 0.0
        for i in range(n_axles):
            own = world.axle_states[i]
            total, top = _pass_stretch(
                prices[i],
                speeds[i],
                own.wheel_load,
                own.contact_stiffness,
                0.0,
                i_cell,
                base,
                top,
                worths,
                sums,
                nodes,
                room,
                best[i],
                world,
            )
            for q in range(N_WORTHS):
                kept[i + 1, q] = sums[q]
        m = 0
        for i in range(n_axles - 1, -1, -1):
            passes[i, 0], passes[i, 1] = best[i, 1, m], best[i, 2, m]
            work, least = best[i, 0, m], math.inf
            for q in range(N_WORTHS):
                here = kept[i, q] - worths[q] * work
                if here < least:
                    least, m = here, q
        return total

    @entry(numba.void(*[numba.float64] * 4, *[_FLOATS] * 2, WORLD_TYPE), allocates=True)
    def run_priced_floor(
        fastest: float,
        hardest: float,
        gaining: float,
        hardest_braking: float,
        borne: Any,
        due_demand: Any,
        world: Any,
    ) -> None:
        """Run one fictitious stop; `world.train_state` then holds its distance and status.

        Parameters
        ----------
        fastest : float        speed no train here can exceed. [m/s]
        hardest : float        deceleration no train here can exceed. [m/s2]
        gaining : float        nor any acceleration. [m/s2]
        hardest_braking : float   largest demand of all axles, resistance and line. [N]
        borne : (n_axles,)     Lambda: how far each axle counts as limited by its brake alone, once
                               its brake can do more than the rail or as much as `due_demand`. [-]
        due_demand : (n_axles,)   brake force at the rim. [N]
        world : World          as for `run_floor`
        """
        state, train, run, law = world.train_state[0], world.train[0], world.run[0], world.law[0]
        most, n_axles, n_cells = most_cleaning(train), world.axles.shape[0], world.cells.shape[0]
        filling = fastest_fill(world)
        if train.cleaning_law != RAIL_MEMORY:
            for i in range(n_axles):
                own = world.axle_states[i]
                work, sand = world.rail_work[own.i_cell], world.rail_sand[own.i_cell]
                most_self_cleaned(
                    world.cells[own.i_cell], work, sand, world.axles[i], train, law, own
                )
        # a stretch is a run of equal cells; its number, taken modulo, is its row below
        n_rows = 2 * (world.axle_states[0].i_cell - world.axle_states[n_axles - 1].i_cell) + 16
        stretch_of = np.full(n_cells, -1, np.int64)
        stretch_end = np.zeros(n_cells, np.int64)
        n_stretches = 0
        worths, sums = np.empty((n_rows, N_WORTHS)), np.empty((n_rows, N_WORTHS))
        base_of, top_of, sum_of = np.zeros(n_rows), np.zeros(n_rows), np.zeros(n_rows)
        nodes, room = np.empty((3, N_NODES + 1)), np.empty((9, N_SLIPS))
        best = np.empty((3, N_WORTHS))
        # of each axle: the last cell it has been weighed for, what a metre of it gives, whether its
        # brake can do more than the rail, and whether the rail counts yet
        weighed_to, gives = np.full(n_axles, -1, np.int64), np.zeros(n_axles)
        is_due, by_rail = np.zeros(n_axles, np.int64), np.zeros(n_axles, np.int64)
        filled = np.zeros(world.vehicle_states.shape[0])
        middle = np.zeros(world.vehicle_states.shape[0])
        mass, harder = train.mass, 0.0
        for i in range(n_axles):
            mass += world.axles[i].rotating_mass
        # what wheels at standstill may give back at once when they spin up, as a share of speed
        kept = train.mass / mass
        braking = hardest_braking / mass
        rest = 2.0 * braking * _CELLS_TO_REST * train.cell_length
        while state.status == RUNNING:
            move_handle(world)
            speed = state.speed
            duration = min(run.maximum_step, LONGEST_STEP, time_to_handle_event(world))
            fill_cylinders(duration, filling, filled, middle, world)
            place = speed * duration
            line = resistance_bound(speed, fastest, line_force(state.distance, place, world), train)
            line += drag_bound(duration, world)
            impulse, gripping = duration * line, 0.0
            for i in range(n_axles):
                gripping += grip_in_step(duration, world.axles[i], world.axle_states[i], i, world)
            # no train decelerates harder here than all peaks together, nor has it before
            harder = min(max(harder, (gripping + max(line, 0.0)) / train.mass), hardest)
            for i in range(n_axles):
                axle, own = world.axles[i], world.axle_states[i]
                demand = most_braking(middle[axle.i_vehicle], axle, world)
                if not is_due[i] and borne[i] < 1.0:
                    grip = grip_in_step(duration, axle, own, i, world)
                    is_due[i] = 1 if demand >= min(grip, due_demand[i]) else 0
                metre = gives[i]
                reach = own.to_border - 1.01 * place
                ahead = own.i_cell
                is_first = weighed_to[i] < 0
                while is_first or (reach <= 0.0 and ahead < n_cells - 1):
                    if not is_first:
                        ahead += 1
                        reach += train.cell_length
                    is_lone, is_first = is_first, False
                    if ahead <= weighed_to[i]:
                        continue
                    if stretch_of[ahead] < 0:  # no axle has been here yet
                        end = ahead
                        if not is_lone:  # the cell an axle starts in stands alone
                            end = _stretch_end(ahead, speed, hardest, stretch_of, world)
                        row = n_stretches % n_rows
                        for k in range(ahead, end + 1):
                            stretch_of[k] = n_stretches
                            stretch_end[k] = end
                        n_stretches += 1
                        base_of[row] = top_of[row] = world.rail_work[ahead]
                        sum_of[row] = 0.0
                        for q in range(N_WORTHS):
                            worths[row, q] = worth_of(q, 1.0 / speed)
                            sums[row, q] = worths[row, q] * base_of[row]
                    if is_due[i] and not by_rail[i]:
                        by_rail[i] = 1
                        lost = (1.0 - borne[i]) * axle.rotating_mass
                        state.speed = (mass * state.speed - lost * fastest) / (mass - lost)
                        mass -= lost
                    row = stretch_of[ahead] % n_rows
                    sand = world.rail_sand[ahead]
                    for k in range(world.sanders.shape[0]):
                        if world.sanders[k].i_axle == i:
                            flow = world.sanders[k].rate * duration * world.sanders[k].placement
                            sand += (world.sander_states[k].pending + flow) / train.cell_length
                    sand = max(world.rail_sand[ahead], min(sand, train.sand_limit))
                    length = (stretch_end[ahead] - ahead + 1) * train.cell_length + 2.0 * place
                    slowest = _slowest(speed, length, hardest, kept, braking)
                    load, stiffness = _load_under(max(harder, gaining), hardest, axle, own)
                    total, top = _pass_stretch(
                        (1.0 - borne[i]) / slowest if by_rail[i] else 0.0,
                        slowest,
                        load,
                        stiffness,
                        sand,
                        ahead,
                        base_of[row],
                        top_of[row],
                        worths[row],
                        sums[row],
                        nodes,
                        room,
                        best,
                        world,
                    )
                    gives[i] = total - sum_of[row]
                    sum_of[row], top_of[row] = total, top
                    weighed_to[i] = stretch_end[ahead]
                    metre = max(metre, gives[i])
                impulse += metre * place
                impulse += demand * duration * (borne[i] if by_rail[i] else 1.0)
            change = min(-impulse / mass, 0.0)
            path = (state.speed + 0.5 * change) * duration
            state.speed += change
            state.acceleration = change / duration
            for i in range(n_axles):
                walk(duration, path, max(state.speed, 0.1), most, world, i)
            state.distance += path
            state.time += duration
            if state.speed <= 0.0 or state.speed * state.speed <= rest:
                square = max(state.speed, 0.0) ** 2
                state.distance += max(0.5 * square / hardest, 0.5 * kept * kept * square / braking)
                state.status = STOPPED
            elif state.distance >= run.maximum_distance:
                state.status = TOO_FAR
            elif state.time >= run.maximum_time:
                state.status = TOO_LONG

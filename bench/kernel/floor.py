"""The stop of a fictitious train that no strategy can beat (proof: `slipbench.stop.shortest`)."""

import math
from typing import Any

import numba
import numpy as np

from slipbench.compiling.cache import compiled_here
from slipbench.compiling.jit import entry, inner, part
from slipbench.kernel.air import ATMOSPHERE, mass_flow, pressure_rate
from slipbench.kernel.codes import (
    MEASURED_CURVE,
    RAIL_AND_CONTACT,
    RAIL_MEMORY,
    RAMPS,
    RUNNING,
    SPEED_PROPORTIONAL,
    STOPPED,
    TOO_FAR,
    TOO_LONG,
)
from slipbench.kernel.creep import find_peak
from slipbench.kernel.driver import move_handle, time_to_handle_event
from slipbench.kernel.drives import limit_force
from slipbench.kernel.loads import has_transfer, transfer_load
from slipbench.kernel.rail import (
    conditioned_friction,
    enter_cell,
    leave_cell,
    pass_friction,
    sanded_friction,
)
from slipbench.kernel.records import WORLD_TYPE, Axle, AxleState, Cell, Law, Train, World
from slipbench.kernel.sanding import lay_sand
from slipbench.kernel.track_brake import magnet_force
from slipbench.kernel.train import curve_force, gradient_force, running_resistance

_SPEED_STEP = 0.995
"""Peaks are taken at a speed up to this factor lower than the present one, where they are higher.
They are found anew when the train has slowed to it."""

AT_REST = 5e-3

LONGEST_STEP = 5e-3
"""The floor's own steps are never longer, whatever the scenario's. [s]"""


@part
def most_cleaning(train: Train) -> float:
    """Return the largest product of cleaning efficiency and creepage. [-]

    Up to the full-cleaning slip f the product is the creepage; beyond, s (1 - (s - f) d) with
    d = (1 - share) / (1 - f) is a parabola with its top at (1 + f d) / (2 d).
    """
    full, share = train.full_cleaning_slip, train.locked_cleaning_share
    fall = (1.0 - share) / (1.0 - full)
    if fall <= 0.0:
        return 1.0
    top = min(max((1.0 + full * fall) / (2.0 * fall), full), 1.0)
    return max(full, top * (1.0 - (top - full) * fall))


@inner
def peak_force(train_speed: float, axle: Axle, axle_state: AxleState, law: Law) -> float:
    """Return the peak force at this or a slightly lower speed, never below the true one. [N]

    The peak over load and friction is kept until the speed falls below that it was found for, or
    friction leaves [f, 1.01 f] around that f. More friction means less tau at a given slip, so less
    of the friction is used: the ratio kept is too large there, never too small.
    """
    if law.kind == MEASURED_CURVE:  # its largest value at any speed is one
        return 2.0 * axle_state.wheel_load * axle_state.friction
    is_old = axle_state.peak_speed < 0.0 or train_speed < axle_state.peak_speed
    is_old = (
        is_old
        or not axle_state.peak_friction <= axle_state.friction <= 1.01 * axle_state.peak_friction
    )
    if is_old:
        axle_state.peak_speed = train_speed * _SPEED_STEP
        axle_state.peak_friction = axle_state.friction
        force = find_peak(axle_state.peak_speed, axle, axle_state, law)[1]
        axle_state.peak_ratio = force / (axle_state.wheel_load * axle_state.friction)
    return axle_state.peak_ratio * axle_state.wheel_load * axle_state.friction


@inner
def most_self_cleaned(
    cell: Cell, work: float, sand: float, axle: Axle, train: Train, law: Law, axle_state: AxleState
) -> None:
    """Set the largest friction a contact can keep up by its own work: creepage one, lowest speed.

    From the recovered friction downwards, force and friction settle on their largest common value.
    Where the rail remembers as well: the mean of the pass that cleans most, all friction used.
    """
    if train.cleaning_law == RAIL_AND_CONTACT:
        most = train.contact_share * most_cleaning(train) * axle_state.wheel_load
        axle_state.friction = pass_friction(cell, work, most, sanded_friction(sand, train))
        return
    axle_state.friction = cell.recovered_friction + sanded_friction(sand, train)
    for _ in range(60):
        before = axle_state.friction
        if law.kind == MEASURED_CURVE:
            force = 2.0 * axle_state.wheel_load * axle_state.friction
        else:
            force = find_peak(AT_REST, axle, axle_state, law)[1]
        axle_state.friction = conditioned_friction(cell, 0.5 * force) + sanded_friction(sand, train)
        if before - axle_state.friction < 1e-9:
            break
    axle_state.friction = before
    axle_state.peak_speed = -1.0


@inner
def walk(
    duration: float, path: float, speed: float, cleaning: float, world: World, i_axle: int
) -> None:
    """Move an axle along its cells; each left behind is cleaned as much as a wheel ever could.

    Its sanders run all the time, their hoppers never empty.
    """
    train, law = world.train[0], world.law[0]
    axle, axle_state = world.axles[i_axle], world.axle_states[i_axle]
    for i in range(world.sanders.shape[0]):
        sander = world.sanders[i]
        if sander.i_axle == i_axle:
            flow = sander.rate
            if sander.mode == SPEED_PROPORTIONAL:
                flow = min(flow, sander.density * (speed + path / duration))
            world.sander_states[i].pending += flow * duration * sander.placement
    axle_state.to_border -= path
    while axle_state.to_border <= 0.0:
        grip = peak_force(speed, axle, axle_state, law)
        axle_state.cell_energy = 0.5 * cleaning * grip * train.cell_length
        leave_cell(train, world.rail_work, world.rail_sand, axle_state)
        ahead = min(axle_state.i_cell + 1, world.cells.shape[0] - 1)
        for i in range(world.sanders.shape[0]):
            if world.sanders[i].i_axle == i_axle:
                lay_sand(ahead, train, world.rail_sand, world.sander_states[i])
        enter_cell(ahead, world.cells, world.rail_work, world.rail_sand, train, axle_state)
        if train.cleaning_law != RAIL_MEMORY:
            work, sand = world.rail_work[ahead], world.rail_sand[ahead]
            most_self_cleaned(world.cells[ahead], work, sand, axle, train, law, axle_state)
        axle_state.to_border += train.cell_length


@inner
def grip_in_step(
    duration: float, axle: Axle, axle_state: AxleState, i_axle: int, world: World
) -> float:
    """Return the largest peak force of all cells an axle may stand in during a step. [N]"""
    train, law, speed = world.train[0], world.law[0], world.train_state[0].speed
    grip = peak_force(speed, axle, axle_state, law)
    reach = speed * duration * 1.01 - axle_state.to_border
    here, energy = axle_state.i_cell, axle_state.cell_energy
    friction, known_friction = axle_state.friction, axle_state.peak_friction
    ratio, at_speed = axle_state.peak_ratio, axle_state.peak_speed
    if reach <= 0.0:
        return grip
    pending = 0.0
    for i in range(world.sanders.shape[0]):
        if world.sanders[i].i_axle == i_axle:
            flow = world.sanders[i].rate * duration * world.sanders[i].placement
            pending += (world.sander_states[i].pending + flow) / train.cell_length
    ahead = here
    while reach > 0.0 and ahead < world.cells.shape[0] - 1:
        ahead += 1
        reach -= train.cell_length
        enter_cell(ahead, world.cells, world.rail_work, world.rail_sand, train, axle_state)
        sand = max(world.rail_sand[ahead], min(world.rail_sand[ahead] + pending, train.sand_limit))
        if train.cleaning_law != RAIL_MEMORY:
            work = world.rail_work[ahead]
            most_self_cleaned(world.cells[ahead], work, sand, axle, train, law, axle_state)
        else:
            gained = sanded_friction(sand, train) - sanded_friction(world.rail_sand[ahead], train)
            axle_state.friction += gained
        grip = max(grip, peak_force(speed, axle, axle_state, law))
    cell = world.cells[here]
    axle_state.i_cell, axle_state.cell_energy = here, energy
    axle_state.friction, axle_state.peak_friction = friction, known_friction
    axle_state.peak_ratio, axle_state.peak_speed = ratio, at_speed
    axle_state.friction_ratio, axle_state.friction_decay = cell.friction_ratio, cell.friction_decay
    axle_state.adhesion_reduction, axle_state.slip_reduction = (
        cell.adhesion_reduction,
        cell.slip_reduction,
    )
    return grip


@inner
def most_braking(pressure: float, axle: Axle, world: World) -> float:
    """Return the largest brake force an axle can have now, of air and drive together. [N]

    Parameters
    ----------
    pressure : float   of its cylinders above the spring's, at most. [Pa]
    axle : AXLE
    world : World      its vehicles' demands as the step ends

    Notes
    -----
    A drive is asked no more than its share of the demand, and gives no more than at the speed
    where its fade begins: its envelope is largest there, whatever speed the wheels slide at. Air
    may still be held from before, so neither counts as taking the other's place.
    """
    force = axle.brake_gain * axle.pad_share * pressure
    if axle.i_drive < 0:
        return force
    drive, required = world.drives[axle.i_drive], 0.0
    for i in range(world.vehicles.shape[0]):
        if world.train[0].blends_train or i == axle.i_vehicle:
            own = world.vehicle_states[i]
            required += own.demand * own.load_factor * world.vehicles[i].demand_force
    most = min(limit_force(drive.fade_from, drive), drive.share * required)
    factor = world.brakes[axle.i_vehicle].demand_factor_limit  # of a torque that follows at once
    return force + factor * axle.drive_gain * most


@inner
def drag_bound(duration: float, world: World) -> float:
    """Return what the track brakes add to the resistance in a step at most. [N]

    Their force over speed falls with speed, so that of a slower train is the larger impulse per
    metre. Once lowered they stay so, whatever the speed; `film` is that of the best rail.
    """
    train_state, total = world.train_state[0], 0.0
    for i in range(world.magnets.shape[0]):
        magnet, own = world.magnets[i], world.magnet_states[i]
        if train_state.acting_position < magnet.least_position:
            continue
        if own.applied_time < 0.0:
            own.applied_time = train_state.time
        if train_state.time + duration >= own.applied_time + magnet.lowering_time:
            here = magnet_force(train_state.speed, own.film, magnet)
            total += 2.0 * max(here, magnet_force(0.98 * train_state.speed, own.film, magnet))
    return total


@inner
def _limited_force(
    grip: float, demand: float, duration: float, cap: float, axle_state: AxleState
) -> float:
    """Move an axle's store of momentum (`wheel_speed` holds it, N s); return its rail force. [N]

    The rail gives its peak until the store is full; a full store passes on no more than the demand.
    """
    stored = axle_state.wheel_speed + (grip - demand) * duration
    if stored > cap:
        force = demand + (cap - axle_state.wheel_speed) / duration
        axle_state.wheel_speed = cap
        return force
    axle_state.wheel_speed = max(stored, 0.0)
    return grip


@inner
def resistance_bound(speed: float, fastest: float, force: float, train: Train) -> float:
    """Return resistance and gradient so that their impulse per metre is never too small. [N]"""
    resistance = max(
        running_resistance(speed, train), running_resistance(fastest, train) * speed / fastest
    )
    if force < 0.0:
        force *= speed / fastest
    return resistance + force


@inner
def _change_limited(
    duration: float, n_limited: int, fastest: float, pressures: Any, extra: float, world: World
) -> float:
    """Return the change of speed where the leading axles are limited by the rail, the rest not."""
    train = world.train[0]
    force, mass = extra, train.mass
    for i_axle in range(world.axles.shape[0]):
        axle, own = world.axles[i_axle], world.axle_states[i_axle]
        demand = most_braking(pressures[axle.i_vehicle], axle, world)
        if i_axle < n_limited:
            grip = grip_in_step(duration, axle, own, i_axle, world)
            force += _limited_force(grip, demand, duration, axle.rotating_mass * fastest, own)
        else:
            force += demand
            mass += axle.rotating_mass
    return -force * duration / mass


@inner
def _change_pooled(duration: float, pressures: Any, extra: float, world: World) -> float:
    """Return the change of speed where all wheels share one store of momentum."""
    train_state, train = world.train_state[0], world.train[0]
    grip, demand, rotating = 0.0, 0.0, 0.0
    for i_axle in range(world.axles.shape[0]):
        axle = world.axles[i_axle]
        grip += grip_in_step(duration, axle, world.axle_states[i_axle], i_axle, world)
        demand += most_braking(pressures[axle.i_vehicle], axle, world)
        rotating += axle.rotating_mass
    store = world.axle_states[0]
    stored = store.wheel_speed + (grip - demand) * duration
    change = -(grip + extra) * duration / train.mass
    if stored > rotating * (train_state.speed + change):  # full: wheels keep up with the train
        change = -(demand + extra) * duration - rotating * train_state.speed + store.wheel_speed
        change /= train.mass + rotating
        stored = rotating * (train_state.speed + change)
    store.wheel_speed = max(stored, 0.0)
    return change


@inner
def fastest_fill(world: World) -> float:
    """Return a rate no cylinder fills faster than. [Pa/s]"""
    rate = 0.0
    for i_axle in range(world.axles.shape[0]):
        axle = world.axles[i_axle]
        brake = world.brakes[axle.i_vehicle]
        if brake.air_model == RAMPS:
            rate = max(rate, brake.fill_rate)
            continue
        full = max(brake.pipe_pressure, brake.reservoir_pressure) + ATMOSPHERE
        flow = mass_flow(full, 1.0, brake.fill_conductance, brake.critical_ratio)
        rate = max(rate, pressure_rate(flow, axle.cylinder_volume))
    return rate


@inner
def fill_cylinders(duration: float, filling: float, filled: Any, middle: Any, world: World) -> None:
    """Move on demand and cylinder pressures, nothing eased and every valve always filling.

    Parameters
    ----------
    duration : float         of the step [s]
    filling : float          as of `fastest_fill` [Pa/s]
    filled : (n_vehicles,)   pressures above the spring's, moved to the end of the step [Pa]
    middle : (n_vehicles,)   filled: their means, at the demand factor's limit [Pa]
    """
    for i in range(filled.shape[0]):
        vehicle = world.vehicle_states[i]
        # above the spring: a cylinder that reached it meets the rest no sooner than this
        brake = world.brakes[i]
        scale = (brake.full_pressure - brake.spring_pressure) * vehicle.load_factor
        target = scale * (vehicle.demand + vehicle.demand_rate * duration)
        if world.drives.shape[0] > 0 and vehicle.demand + vehicle.demand_rate > 0.0:
            target = max(target, brake.prefill_pressure - brake.spring_pressure)
        full = min(target, filled[i] + filling * duration)
        # a factor acts at once on an ideal brake, and no later than that on any other
        middle[i] = 0.5 * (filled[i] + full) * brake.demand_factor_limit
        filled[i] = full
        vehicle.demand += vehicle.demand_rate * duration


@inner
def line_force(distance: float, path: float, world: World) -> float:
    """Return the largest force of gradient and curves at the ends and in the middle of a step."""
    force = -math.inf
    for share in (0.0, 0.5, 1.0):
        place = distance + share * path
        here = gradient_force(place, world.axles, world.grades)
        here += curve_force(place, world.axles, world.curves)
        force = max(force, here)
    return force


with compiled_here():

    @entry(numba.void(numba.float64, numba.float64, WORLD_TYPE))
    def load_heaviest(deceleration: float, acceleration: float, world: Any) -> None:
        """Give each axle the largest load it can have between the two.

        Parameters
        ----------
        deceleration, acceleration : float   [m/s2], >= 0
        world : World          loads and stiffness in its axle states are set
        """
        for i in range(world.vehicles.shape[0]):
            vehicle = world.vehicles[i]
            if not has_transfer(vehicle):
                continue
            transfer_load(-deceleration, vehicle, world.axles, world.axle_states)
            for k in range(vehicle.first_axle, vehicle.first_axle + vehicle.n_axles):
                state, axle = world.axle_states[k], world.axles[k]
                # what it gains one way it loses the other
                gained = state.wheel_load - axle.wheel_load
                if gained < 0.0:
                    gained *= -acceleration / deceleration
                state.wheel_load = axle.wheel_load + gained
                state.contact_stiffness = axle.contact_stiffness * (
                    state.wheel_load / axle.wheel_load
                ) ** (2.0 / 3.0)

    @entry(numba.void(numba.int64, numba.float64, WORLD_TYPE), allocates=True)
    def run_floor(n_limited: int, fastest: float, world: Any) -> None:
        """Run one fictitious stop; `world.train_state` then holds its distance and status.

        Parameters
        ----------
        n_limited : int   leading axles limited by the rail one by one; -1: all, pooled
        fastest : float   speed no train here can exceed. [m/s]
        world : World     its handle programme must not ease; `wheel_speed` must hold each axle's
                          momentum [N s] (pooled: that of all in the first)
        """
        state, train, run = world.train_state[0], world.train[0], world.run[0]
        cleaning = most_cleaning(train)
        filling = fastest_fill(world)
        if train.cleaning_law != RAIL_MEMORY:
            for i_axle in range(world.axles.shape[0]):
                own = world.axle_states[i_axle]
                axle, cell = world.axles[i_axle], world.cells[own.i_cell]
                work, sand = world.rail_work[own.i_cell], world.rail_sand[own.i_cell]
                most_self_cleaned(cell, work, sand, axle, train, world.law[0], own)
        after = np.zeros(world.vehicle_states.shape[0])
        middle = np.zeros(world.vehicle_states.shape[0])
        while state.status == RUNNING:
            move_handle(world)
            duration = min(run.maximum_step, LONGEST_STEP, time_to_handle_event(world))
            if state.acceleration < 0.0:
                to_rest = (state.speed - 0.5 * AT_REST) / -state.acceleration
                duration = min(duration, max(to_rest, 1e-9))
            fill_cylinders(duration, filling, after, middle, world)
            extra = resistance_bound(
                state.speed,
                fastest,
                line_force(state.distance, state.speed * duration, world),
                train,
            )
            extra += drag_bound(duration, world)
            if n_limited < 0:
                change = _change_pooled(duration, middle, extra, world)
            else:
                change = _change_limited(duration, n_limited, fastest, middle, extra, world)
            change = min(change, 0.0)
            path = (state.speed + 0.5 * change) * duration
            state.speed += change
            state.acceleration = change / duration
            for i_axle in range(world.axles.shape[0]):
                walk(duration, path, max(state.speed, AT_REST), cleaning, world, i_axle)
            state.distance += path
            state.time += duration
            if state.speed <= AT_REST:
                state.status = STOPPED
            elif state.distance >= run.maximum_distance:
                state.status = TOO_FAR
            elif state.time >= run.maximum_time:
                state.status = TOO_LONG

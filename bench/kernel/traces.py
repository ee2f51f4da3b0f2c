"""What a stop writes down on its way, for pictures: a row for the train, and one for each axle."""

from slipbench.compiling.jit import inlined
from slipbench.kernel.columns import (
    AXLE_BRAKE_FORCE,
    AXLE_CONTACT_ENERGY,
    AXLE_DYNAMIC_FORCE,
    AXLE_FRICTION,
    AXLE_MEASURED_WHEEL_SPEED,
    AXLE_PRESSURE,
    AXLE_RAIL_FORCE,
    AXLE_USABLE_FORCE,
    AXLE_VALVE,
    AXLE_WHEEL_SPEED,
    TRAIN_DEMAND,
    TRAIN_DISTANCE,
    TRAIN_HANDLE,
    TRAIN_ISOLATION_LEFT,
    TRAIN_RESERVOIR,
    TRAIN_TIME,
    TRAIN_TRACK_FORCE,
    TRAIN_TRAIN_SPEED,
)
from slipbench.kernel.records import World
from slipbench.kernel.tally import usable_force


@inlined
def _record_axle(i_axle: int, world: World) -> None:
    """Write what one axle does now into the row of the traces that is being written."""
    train_state = world.train_state[0]
    axle, axle_state = world.axles[i_axle], world.axle_states[i_axle]
    cell = world.axle_traces[train_state.n_traces, i_axle]
    cell[AXLE_WHEEL_SPEED], cell[AXLE_PRESSURE] = axle_state.wheel_speed, axle_state.pressure
    force = axle_state.rail_force if axle_state.is_locked else axle_state.brake_force
    cell[AXLE_BRAKE_FORCE] = force
    cell[AXLE_RAIL_FORCE], cell[AXLE_FRICTION] = axle_state.rail_force, axle_state.friction
    vehicle = world.vehicle_states[axle.i_vehicle]
    pressure = vehicle.air_demand * vehicle.load_factor
    brake = world.brakes[axle.i_vehicle]
    pressure *= brake.full_pressure - brake.spring_pressure
    demanded = axle.brake_gain * pressure + axle_state.dynamic_demand
    known = (
        axle_state.peak_ratio,
        axle_state.peak_creepage,
        axle_state.peak_speed,
        axle_state.peak_friction,
    )
    cell[AXLE_USABLE_FORCE] = usable_force(
        train_state.speed, demanded, train_state.acceleration, axle, axle_state, world.law[0]
    )
    # a stop with traces must not know a peak that the same stop without them does not
    (
        axle_state.peak_ratio,
        axle_state.peak_creepage,
        axle_state.peak_speed,
        axle_state.peak_friction,
    ) = known
    cell[AXLE_VALVE] = axle_state.valve
    cell[AXLE_MEASURED_WHEEL_SPEED] = axle_state.measured_speed
    cell[AXLE_CONTACT_ENERGY] = axle_state.contact_energy
    cell[AXLE_DYNAMIC_FORCE] = axle_state.dynamic_force


@inlined
def record(world: World, is_last: int) -> None:
    """Write one row of the traces, if the interval since the last has passed and there is room."""
    train_state = world.train_state[0]
    if train_state.n_traces >= world.train_traces.shape[0]:
        return
    if (
        not is_last and train_state.time < train_state.next_trace - 1e-9
    ):  # steps add up with rounding
        return
    row = world.train_traces[train_state.n_traces]
    row[TRAIN_TIME], row[TRAIN_DISTANCE] = train_state.time, train_state.distance
    row[TRAIN_TRAIN_SPEED] = train_state.speed
    row[TRAIN_DEMAND], row[TRAIN_HANDLE] = train_state.demand, train_state.position
    row[TRAIN_ISOLATION_LEFT] = max(0.0, train_state.isolated_until - train_state.time)
    lowest = world.vehicle_states[0].reservoir
    for i in range(world.vehicle_states.shape[0]):
        lowest = min(lowest, world.vehicle_states[i].reservoir)
    row[TRAIN_RESERVOIR] = lowest
    row[TRAIN_TRACK_FORCE] = train_state.track_force
    for i_axle in range(world.axles.shape[0]):
        _record_axle(i_axle, world)
    train_state.n_traces += 1
    train_state.next_trace = train_state.time + world.run[0].trace_interval

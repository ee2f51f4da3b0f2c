"""What a stop writes down on its way, for pictures: a row for the train, and one for each axle."""

from typing import Any

from slipbench.compiling.jit import inlined
from slipbench.kernel.tally import usable_force


@inlined
def record(world: Any, is_last: int) -> None:
    """Write one row of the traces, if the interval since the last has passed and there is room."""
    state = world.train_state[0]
    if state.n_traces >= world.train_traces.shape[0]:
        return
    if not is_last and state.time < state.next_trace - 1e-9:  # steps add up with rounding
        return
    train = world.train[0]
    row = world.train_traces[state.n_traces]
    row[0], row[1], row[2] = state.time, state.distance, state.speed
    row[3], row[4] = state.demand, state.position
    row[5] = max(0.0, state.isolated_until - state.time)
    row[6] = world.vehicle_states[0].reservoir
    for i in range(world.vehicle_states.shape[0]):
        row[6] = min(row[6], world.vehicle_states[i].reservoir)
    for i_axle in range(world.axles.shape[0]):
        axle, moving = world.axles[i_axle], world.axle_states[i_axle]
        cell = world.axle_traces[state.n_traces, i_axle]
        cell[0], cell[1] = moving.wheel_speed, moving.pressure
        cell[2] = moving.rail_force if moving.is_locked else moving.brake_force
        cell[3], cell[4] = moving.rail_force, moving.friction
        vehicle = world.vehicle_states[axle.i_vehicle]
        pressure = vehicle.demand * vehicle.load_factor
        pressure *= train.full_pressure - train.spring_pressure
        demanded = axle.brake_gain * pressure
        known = moving.peak_ratio, moving.peak_creepage, moving.peak_speed, moving.peak_friction
        cell[5] = usable_force(
            state.speed, demanded, state.acceleration, axle, moving, world.law[0]
        )
        # a stop with traces must not know a peak that the same stop without them does not
        moving.peak_ratio, moving.peak_creepage, moving.peak_speed, moving.peak_friction = known
        cell[6], cell[7] = moving.valve, moving.measured_speed
        cell[8] = moving.contact_energy
    state.n_traces += 1
    state.next_trace = state.time + world.run[0].trace_interval

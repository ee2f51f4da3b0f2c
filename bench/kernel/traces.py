"""What a stop writes down on its way, for pictures: a row for the train, and one for each axle."""

from slipbench.compiling.jit import inlined
from slipbench.kernel.records import World
from slipbench.kernel.tally import usable_force


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
    train = world.train[0]
    row = world.train_traces[train_state.n_traces]
    row[0], row[1], row[2] = train_state.time, train_state.distance, train_state.speed
    row[3], row[4] = train_state.demand, train_state.position
    row[5] = max(0.0, train_state.isolated_until - train_state.time)
    row[6] = world.vehicle_states[0].reservoir
    for i in range(world.vehicle_states.shape[0]):
        row[6] = min(row[6], world.vehicle_states[i].reservoir)
    for i_axle in range(world.axles.shape[0]):
        axle, axle_state = world.axles[i_axle], world.axle_states[i_axle]
        cell = world.axle_traces[train_state.n_traces, i_axle]
        cell[0], cell[1] = axle_state.wheel_speed, axle_state.pressure
        cell[2] = axle_state.rail_force if axle_state.is_locked else axle_state.brake_force
        cell[3], cell[4] = axle_state.rail_force, axle_state.friction
        vehicle = world.vehicle_states[axle.i_vehicle]
        pressure = vehicle.demand * vehicle.load_factor
        pressure *= train.full_pressure - train.spring_pressure
        demanded = axle.brake_gain * pressure
        known = (
            axle_state.peak_ratio,
            axle_state.peak_creepage,
            axle_state.peak_speed,
            axle_state.peak_friction,
        )
        cell[5] = usable_force(
            train_state.speed, demanded, train_state.acceleration, axle, axle_state, world.law[0]
        )
        # a stop with traces must not know a peak that the same stop without them does not
        (
            axle_state.peak_ratio,
            axle_state.peak_creepage,
            axle_state.peak_speed,
            axle_state.peak_friction,
        ) = known
        cell[6], cell[7] = axle_state.valve, axle_state.measured_speed
        cell[8] = axle_state.contact_energy
    train_state.n_traces += 1
    train_state.next_trace = train_state.time + world.run[0].trace_interval

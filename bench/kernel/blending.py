"""How dynamic and air brake share the demand.

Once a step every drive follows what is asked of it, within its limits, and air fills what is
missing; within the step both run linearly. Steps end where a drive's own slip control looks.
"""

from typing import Any

from slipbench.compiling.jit import apart, inner
from slipbench.kernel.drives import command_drive, envelope, follow
from slipbench.kernel.records import Train, Vehicle, VehicleState, World


@inner
def _required(ahead: float, vehicle: Vehicle, vehicle_state: VehicleState) -> float:
    """Return what the demand asks of all rims of a vehicle, a time ahead. [N]"""
    demand = vehicle_state.demand + vehicle_state.demand_rate * ahead
    return demand * vehicle_state.load_factor * vehicle.demand_force


@inner
def _required_of(unit: int, ahead: float, world: World) -> float:
    """Return the same of a unit: a vehicle, or the train where `unit` is below zero. [N]"""
    required = 0.0
    for i in range(world.vehicles.shape[0]):
        if unit < 0 or i == unit:
            required += _required(ahead, world.vehicles[i], world.vehicle_states[i])
    return required


@inner
def _air_share(required: float, without: float, capable: float, has_drives: bool) -> float:
    """Return the share of its own demand that a vehicle's air brake is to give. [-]

    Parameters
    ----------
    required, without : float   of the unit, and of its vehicles without drives in that [N]
    capable : float             what its drives give [N]
    has_drives : bool           this vehicle; those without fill first
    """
    missing, own = required - capable, without
    if has_drives:
        missing, own = missing - without, required - without
    return min(max(missing / own, 0.0), 1.0) if own > 0.0 else 0.0


@inner
def _prefill(train: Train, vehicle_state: VehicleState) -> float:
    """Return the demand a prefilled cylinder meets already. [-]"""
    if not vehicle_state.is_prefilled or vehicle_state.load_factor <= 0.0:
        return 0.0
    pressing = max(train.prefill_pressure - train.spring_pressure, 0.0)
    return pressing / (train.full_pressure - train.spring_pressure) / vehicle_state.load_factor


@inner
def _capable(unit: int, ahead: float, is_reduced: bool, world: World) -> float:
    """Return what a unit's drives give by the train's speed, now and `blending_lead` later. [N]

    `ahead` is zero or the step's length [s]; `is_reduced` counts what slip control takes off.
    """
    train_state, total = world.train_state[0], 0.0
    fall = min(train_state.acceleration, 0.0) * (ahead + world.train[0].blending_lead)
    speed = max(train_state.speed + fall, 0.0)
    for i in range(world.drives.shape[0]):
        drive, own = world.drives[i], world.drive_states[i]
        if unit >= 0 and drive.i_vehicle != unit:
            continue
        line = drive.receptivity * train_state.line_share
        command = own.command_after if ahead > 0.0 else own.command
        now = max(train_state.speed + min(train_state.acceleration, 0.0) * ahead, 0.0)
        most = min(envelope(now, line, drive), envelope(speed, line, drive))
        force = drive.n_axles * min(command, most)
        if is_reduced:
            force *= own.factor_after if ahead > 0.0 else own.factor_acting
        total += force
    return total


@inner
def _fill_with_air(unit: int, duration: float, is_off: bool, world: World) -> tuple[Any, Any]:
    """Let the air brakes of a unit fill what its drives leave; return what they are to give. [N]

    Returns
    -------
    (float, float)   as the step begins, as it ends
    """
    train = world.train[0]
    required_0, required_1 = _required_of(unit, 0.0, world), _required_of(unit, duration, world)
    capable_0, capable_1 = (
        _capable(unit, 0.0, False, world),
        _capable(unit, duration, False, world),
    )
    reduced_0, reduced_1 = _capable(unit, 0.0, True, world), _capable(unit, duration, True, world)
    without_0 = without_1 = given_0 = given_1 = 0.0
    for i in range(world.vehicles.shape[0]):
        if (unit < 0 or i == unit) and world.vehicles[i].n_drives == 0:
            without_0 += _required(0.0, world.vehicles[i], world.vehicle_states[i])
            without_1 += _required(duration, world.vehicles[i], world.vehicle_states[i])
    for i in range(world.vehicles.shape[0]):
        if unit >= 0 and i != unit:
            continue
        vehicle, own = world.vehicles[i], world.vehicle_states[i]
        has_drives = vehicle.n_drives > 0
        demand = own.demand + own.demand_rate * duration
        if is_off:
            own.air_demand, own.air_rate = own.demand, own.demand_rate
        else:
            able_0, able_1 = (capable_0, capable_1) if has_drives else (reduced_0, reduced_1)
            before = own.demand * _air_share(required_0, without_0, able_0, has_drives)
            after = demand * _air_share(required_1, without_1, able_1, has_drives)
            later = follow(own.air_demand, before, after, duration, train.friction_lag)
            own.air_rate = (max(later, 0.0) - own.air_demand) / duration
        scale, least = own.load_factor * vehicle.air_force, _prefill(world.brakes[i], own)
        given_0 += scale * max(own.air_demand, least)
        given_1 += scale * max(own.air_demand + own.air_rate * duration, least)
    return max(required_0 - given_0, 0.0), max(required_1 - given_1, 0.0)


@inner
def _brake_axles(
    unit: int, duration: float, allowed_0: float, allowed_1: float, world: World
) -> None:
    """Set what the drives of a unit give their axles: all they can, no more than air leaves. [N]"""
    total_0 = total_1 = 0.0
    for i in range(world.drives.shape[0]):
        drive, own = world.drives[i], world.drive_states[i]
        if unit < 0 or drive.i_vehicle == unit:
            total_0 += drive.n_axles * own.force * own.factor_acting
            total_1 += drive.n_axles * own.force_after * own.factor_after
    scale_0 = min(1.0, allowed_0 / total_0) if total_0 > 0.0 else 1.0
    scale_1 = min(1.0, allowed_1 / total_1) if total_1 > 0.0 else 1.0
    for i in range(world.drives.shape[0]):
        drive, own = world.drives[i], world.drive_states[i]
        if unit >= 0 and drive.i_vehicle != unit:
            continue
        for k in range(drive.first_axle, drive.last_axle + 1):
            if world.axles[k].i_drive != i:
                continue
            axle_state, gain = world.axle_states[k], world.axles[k].drive_gain
            demand_0, demand_1 = scale_0 * own.force * gain, scale_1 * own.force_after * gain
            axle_state.dynamic_demand = demand_0
            axle_state.dynamic_demand_rate = (demand_1 - demand_0) / duration
            force_0, force_1 = demand_0 * own.factor_acting, demand_1 * own.factor_after
            axle_state.dynamic_force = force_0
            axle_state.dynamic_rate = (force_1 - force_0) / duration


@inner
def _prefill_cylinders(world: World) -> None:
    """Fill cylinders a little before the first fade begins; a released brake empties them."""
    train_state, train = world.train_state[0], world.train[0]
    fade_from = 0.0
    for i in range(world.drives.shape[0]):
        fade_from = max(fade_from, world.drives[i].fade_from)
    fade_from -= min(train_state.acceleration, 0.0) * train.prefill_time
    for i in range(world.vehicles.shape[0]):
        own = world.vehicle_states[i]
        if own.demand == 0.0:
            own.is_prefilled = 0
        elif train_state.speed <= fade_from and (
            train.blends_train or world.vehicles[i].n_drives > 0
        ):
            own.is_prefilled = 1


@apart
def blend(duration: float, world: World) -> None:
    """Set for the coming step what dynamic and air brake give: dynamic first, air fills.

    Parameters
    ----------
    duration : float   of the step. [s]
    world : World      `air_demand` of the vehicles, states of drives, `dynamic_*` of their axles

    Notes
    -----
    What a drive is asked follows the demand with its jerk limit, then a dead time and a lag, and
    its envelope caps that at once. Air is asked for the demand less what the drives will give a
    lead later, and follows with a lag; the drives give way to what air already gives. What slip
    control takes off is not made up for on the same vehicle; by train, trailers fill it. Second
    order in the step.
    """
    train = world.train[0]
    emergency = train.n_steps + 1
    is_off = train.blends_emergency == 0 and world.train_state[0].acting_position == emergency
    _prefill_cylinders(world)
    for i in range(world.drives.shape[0]):
        unit = -1 if train.blends_train else world.drives[i].i_vehicle
        wanted = world.drives[i].share * _required_of(unit, duration, world)
        command_drive(i, duration, wanted, is_off, world)
    n_units = 1 if train.blends_train else world.vehicles.shape[0]
    for i in range(n_units):
        if train.blends_train or world.vehicles[i].n_drives > 0:
            unit = -1 if train.blends_train else i
            allowed_0, allowed_1 = _fill_with_air(unit, duration, is_off, world)
            _brake_axles(unit, duration, allowed_0, allowed_1, world)

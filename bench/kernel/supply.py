"""Compressed air on its way: compressors, main reservoirs, the pipe along the train, charging.

Each vehicle holds a part of the main pipe, and what main reservoirs it carries, at one pressure;
the parts exchange air through the pipe between them. Compressors fill it under their governor,
auxiliary consumers draw from it, and through a reducing valve it charges the vehicle's brake
reservoir. All is moved once a step, by masses, so that every gram stays booked; pressures change
within seconds.
"""

from typing import Any

from slipbench.compiling.jit import inner, part
from slipbench.kernel.air import ATMOSPHERE, mass_flow, mass_of, pressure_rate
from slipbench.kernel.codes import RAMPS
from slipbench.kernel.records import Train, TrainState, Vehicle, VehicleState


@part
def run_compressors(duration: float, brakes: Any, vehicles: Any, vehicle_states: Any) -> None:
    """Let compressors run as their governors say, and auxiliary consumers take their air.

    Parameters
    ----------
    duration : float   of the step. [s]
    brakes : (n_vehicles,) TRAIN   cut-in and cut-out pressure of each governor
    vehicles : (n_vehicles,) VEHICLE
    vehicle_states : (n_vehicles,) VEHICLE_STATE   `main`, masses and governors are moved on
    """
    for i in range(vehicle_states.shape[0]):
        vehicle, own = vehicles[i], vehicle_states[i]
        if own.main < brakes[i].cut_in:
            own.is_pumping = 1
        elif own.main >= brakes[i].cut_out:
            own.is_pumping = 0
        gained = vehicle.compressor_flow * duration if own.is_pumping else 0.0
        there = max(mass_of(own.main, vehicle.main_volume), 0.0)
        used = min(vehicle.auxiliary_flow * duration, there + gained)
        own.compressed_mass += gained
        own.consumed_mass += used
        own.main += pressure_rate(gained - used, vehicle.main_volume)


@part
def level_pipe(duration: float, train: Train, vehicles: Any, vehicle_states: Any) -> None:
    """Let air flow along the pipe from vehicle to vehicle, never past the balance of the two.

    Parameters as in `run_compressors`; ISO 6358 flow through the train's `pipe_conductance`.
    """
    for i in range(vehicle_states.shape[0] - 1):
        here, there = vehicle_states[i], vehicle_states[i + 1]
        higher, lower = max(here.main, there.main), min(here.main, there.main)
        flow = mass_flow(
            higher + ATMOSPHERE, lower + ATMOSPHERE, train.pipe_conductance, train.critical_ratio
        )
        own, other = vehicles[i].main_volume, vehicles[i + 1].main_volume
        balance = mass_of(higher - lower, own * other / (own + other))
        moved = min(flow * duration, balance)
        if here.main < there.main:
            moved = -moved
        here.main -= pressure_rate(moved, own)
        there.main += pressure_rate(moved, other)


@part
def charge_reservoir(
    duration: float, train: Train, vehicle: Vehicle, vehicle_state: VehicleState
) -> None:
    """Draw a step's air from a vehicle's reservoir and charge it from the main pipe.

    The mass balance closes to rounding: what the pressure lost is what was drawn less what came in.

    Parameters
    ----------
    duration : float          of the step. [s]
    train : TRAIN             conductance, and the pressure the reducing valve lets through
    vehicle : VEHICLE               its part of the main pipe
    vehicle_state : VEHICLE_STATE   reservoir and main pipe are moved on
    """
    vehicle_state.drawn_mass += vehicle_state.flow
    if train.air_model == RAMPS:
        vehicle_state.flow = 0.0
        return
    supply, volume = train.pipe_pressure, train.reservoir_volume
    if train.has_main and vehicle_state.main < supply:  # the reducing valve stands open
        supply = vehicle_state.main
        volume *= vehicle.main_volume / (vehicle.main_volume + volume)
    charged = 0.0
    if not vehicle_state.is_isolated:
        charged = duration * mass_flow(
            supply + ATMOSPHERE,
            vehicle_state.reservoir + ATMOSPHERE,
            train.charging_conductance,
            train.critical_ratio,
        )
        most = max(mass_of(supply - vehicle_state.reservoir, volume), 0.0) + vehicle_state.flow
        charged = min(charged, most)
        if train.has_main:
            charged = min(charged, max(mass_of(vehicle_state.main, vehicle.main_volume), 0.0))
            vehicle_state.main -= pressure_rate(charged, vehicle.main_volume)
    vehicle_state.charged_mass += charged
    vehicle_state.reservoir += pressure_rate(charged - vehicle_state.flow, train.reservoir_volume)
    vehicle_state.flow = 0.0


@inner
def _note_lowest(time: float, speed: float, vehicle_state: VehicleState) -> None:
    vehicle_state.lowest_main = min(vehicle_state.lowest_main, vehicle_state.main)
    if vehicle_state.reservoir < vehicle_state.lowest_reservoir:
        vehicle_state.lowest_reservoir = vehicle_state.reservoir
        vehicle_state.lowest_reservoir_time = time
        vehicle_state.lowest_reservoir_speed = speed


@part
def move_air(
    duration: float,
    train_state: TrainState,
    train: Train,
    brakes: Any,
    vehicles: Any,
    vehicle_states: Any,
) -> None:
    """Move all air but that of the cylinders on by a step.

    Parameters
    ----------
    duration : float       of the step, which has just ended. [s]
    train_state : TRAIN_STATE   time and speed now
    train : TRAIN          what the pipe along the train has
    brakes : (n_vehicles,) TRAIN   with each vehicle's own brake values
    vehicles, vehicle_states   as in `run_compressors`
    """
    if train.has_main:
        run_compressors(duration, brakes, vehicles, vehicle_states)
        level_pipe(duration, train, vehicles, vehicle_states)
    for i in range(vehicle_states.shape[0]):
        charge_reservoir(duration, brakes[i], vehicles[i], vehicle_states[i])
        _note_lowest(train_state.time, train_state.speed, vehicle_states[i])

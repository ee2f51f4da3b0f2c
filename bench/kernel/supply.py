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
from slipbench.kernel.records import RAMPS


@part
def run_compressors(duration: float, train: Any, vehicles: Any, states: Any) -> None:
    """Let compressors run as their governors say, and auxiliary consumers take their air.

    Parameters
    ----------
    duration : float   of the step. [s]
    train : TRAIN      cut-in and cut-out pressure
    vehicles : (n_vehicles,) VEHICLE
    states : (n_vehicles,) VEHICLE_STATE   `main`, masses and governors are moved on
    """
    for i in range(states.shape[0]):
        packed, own = vehicles[i], states[i]
        if own.main < train.cut_in:
            own.is_pumping = 1
        elif own.main >= train.cut_out:
            own.is_pumping = 0
        gained = packed.compressor_flow * duration if own.is_pumping else 0.0
        there = max(mass_of(own.main, packed.main_volume), 0.0)
        used = min(packed.auxiliary_flow * duration, there + gained)
        own.compressed_mass += gained
        own.consumed_mass += used
        own.main += pressure_rate(gained - used, packed.main_volume)


@part
def level_pipe(duration: float, train: Any, vehicles: Any, states: Any) -> None:
    """Let air flow along the pipe from vehicle to vehicle, never past the balance of the two.

    Parameters as in `run_compressors`; ISO 6358 flow through `pipe_conductance`.
    """
    for i in range(states.shape[0] - 1):
        here, there = states[i], states[i + 1]
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
def charge_reservoir(duration: float, train: Any, packed: Any, vehicle: Any) -> None:
    """Draw a step's air from a vehicle's reservoir and charge it from the main pipe.

    The mass balance closes to rounding: what the pressure lost is what was drawn less what came in.

    Parameters
    ----------
    duration : float          of the step. [s]
    train : TRAIN             conductance, and the pressure the reducing valve lets through
    packed : VEHICLE          its part of the main pipe
    vehicle : VEHICLE_STATE   reservoir and main pipe are moved on
    """
    vehicle.drawn_mass += vehicle.flow
    if train.air_model == RAMPS:
        vehicle.flow = 0.0
        return
    supply, volume = train.pipe_pressure, train.reservoir_volume
    if train.has_main and vehicle.main < supply:  # the reducing valve stands open
        supply = vehicle.main
        volume *= packed.main_volume / (packed.main_volume + volume)
    charged = 0.0
    if not vehicle.is_isolated:
        charged = duration * mass_flow(
            supply + ATMOSPHERE,
            vehicle.reservoir + ATMOSPHERE,
            train.charging_conductance,
            train.critical_ratio,
        )
        charged = min(charged, max(mass_of(supply - vehicle.reservoir, volume), 0.0) + vehicle.flow)
        if train.has_main:
            charged = min(charged, max(mass_of(vehicle.main, packed.main_volume), 0.0))
            vehicle.main -= pressure_rate(charged, packed.main_volume)
    vehicle.charged_mass += charged
    vehicle.reservoir += pressure_rate(charged - vehicle.flow, train.reservoir_volume)
    vehicle.flow = 0.0


@inner
def _note_lowest(time: float, speed: float, vehicle: Any) -> None:
    vehicle.lowest_main = min(vehicle.lowest_main, vehicle.main)
    if vehicle.reservoir < vehicle.lowest_reservoir:
        vehicle.lowest_reservoir = vehicle.reservoir
        vehicle.lowest_reservoir_time = time
        vehicle.lowest_reservoir_speed = speed


@part
def move_air(duration: float, moving: Any, train: Any, vehicles: Any, states: Any) -> None:
    """Move all air but that of the cylinders on by a step.

    Parameters
    ----------
    duration : float       of the step, which has just ended. [s]
    moving : TRAIN_STATE   time and speed now
    train, vehicles, states   as in `run_compressors`
    """
    if train.has_main:
        run_compressors(duration, train, vehicles, states)
        level_pipe(duration, train, vehicles, states)
    for i in range(states.shape[0]):
        charge_reservoir(duration, train, vehicles[i], states[i])
        _note_lowest(moving.time, moving.speed, states[i])

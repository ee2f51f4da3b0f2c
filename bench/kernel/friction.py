"""Friction of pads and blocks, brake force at the rim, and the heat it leaves.

Forces are written against a design friction: at it the cylinder pressure gives the demanded rim
force. What this stop's friction makes of that is one ratio.
"""

from typing import Any

from slipbench.compiling.jit import folded, part
from slipbench.kernel.codes import CAST_IRON, COMPOSITE
from slipbench.kernel.records import Axle, AxleState

_KMH = 3.6
_GRAVITY = 9.81  # the number in the two published formulas, not the constant of nature
_COLDEST_SHARE = 0.05


@part
def cast_iron_friction(block_force: float, rim_speed: float) -> float:
    """Return the friction of a cast-iron tread block. [-]

    Parameters
    ----------
    block_force : float   of one block. [N], >= 0
    rim_speed : float     [m/s], >= 0

    Notes
    -----
    mu = 0.6 (16 F/g + 100) / (80 F/g + 100) (V + 100) / (5 V + 100), F in kN, V in km/h: it climbs
    towards standstill and falls with block force.

    References
    ----------
    Karwatzki's formula, value from memory, not verified.
    """
    force = block_force / 1e3 / _GRAVITY
    speed = rim_speed * _KMH
    by_force = (16.0 * force + 100.0) / (80.0 * force + 100.0)
    return 0.6 * by_force * (speed + 100.0) / (5.0 * speed + 100.0)


@part
def composite_friction(block_force: float, rim_speed: float) -> float:
    """Return the friction of a composite tread block. [-]

    mu = 0.44 (K + 20) / (4 K + 20) (V + 150) / (2 V + 150), K in tonnes-force, V in km/h.

    References
    ----------
    Russian traction rules, value from memory, not verified.
    """
    force = block_force / 1e3 / _GRAVITY
    speed = rim_speed * _KMH
    by_force = (force + 20.0) / (4.0 * force + 20.0)
    return 0.44 * by_force * (speed + 150.0) / (2.0 * speed + 150.0)


@part
def friction_share(pressure: float, rim_speed: float, axle: Axle, axle_state: AxleState) -> float:
    """Return the friction of an axle's brake over its design friction. [-]

    Parameters
    ----------
    pressure : float      cylinder gauge pressure. [Pa], >= 0
    rim_speed : float     [m/s], >= 0
    axle : AXLE           kind of brake and its terms
    axle_state : AXLE_STATE    its temperature above ambient counts for disc pads

    Notes
    -----
    Disc pads: nearly flat, `pad_share` (wetness and the pad itself) with a linear term in rim speed
    and one in temperature, never below 0.05.
    """
    if axle.friction_kind == CAST_IRON or axle.friction_kind == COMPOSITE:
        clamp = axle.brake_gain * pressure / axle.design_friction / axle.n_blocks
        if axle.friction_kind == CAST_IRON:
            friction = cast_iron_friction(clamp, rim_speed)
        else:
            friction = composite_friction(clamp, rim_speed)
        return axle.pad_share * friction / axle.design_friction
    share = axle.pad_share * (
        1.0 + axle.pad_speed_term * rim_speed + axle.pad_heat_term * axle_state.temperature
    )
    return max(share, _COLDEST_SHARE)


@part
def is_constant(axle: Axle) -> bool:
    """Return whether the friction depends on nothing that changes during a stop."""
    return (
        axle.friction_kind != CAST_IRON
        and axle.friction_kind != COMPOSITE
        and axle.pad_speed_term == 0.0
        and axle.pad_heat_term == 0.0
    )


@folded
def rim_force(
    pressure: float,
    pressure_rate: float,
    demand_factor: float,
    is_ideal: int,
    axle: Axle,
    axle_state: AxleState,
) -> tuple[Any, Any]:
    """Return the brake force at the rim of one axle, and its rate of change. [N], [N/s]

    Parameters
    ----------
    pressure, pressure_rate : float   of the cylinder, as far as it presses [Pa], [Pa/s]
    demand_factor : float             acts on the torque itself where `is_ideal`. [-]
    is_ideal : int
    axle : AXLE
    axle_state : AXLE_STATE   rim speed, its acceleration over the last piece, temperature

    Notes
    -----
    Where friction depends on the rim's speed its change is carried on with the acceleration of the
    piece before.
    """
    pressure = max(pressure, 0.0)
    gain = axle.brake_gain
    if is_ideal:
        gain *= demand_factor
    if is_constant(axle):
        gain *= axle.pad_share
        return gain * pressure, gain * pressure_rate
    speed = max(axle_state.wheel_speed, 0.0)
    share = friction_share(pressure, speed, axle, axle_state)
    ahead = 1e-3
    later = friction_share(
        max(pressure + pressure_rate * ahead, 0.0),
        max(speed + axle_state.wheel_acceleration * ahead, 0.0),
        axle,
        axle_state,
    )
    force = gain * pressure * share
    force_later = gain * max(pressure + pressure_rate * ahead, 0.0) * later
    return force, (force_later - force) / ahead


@part
def heat_brake(
    duration: float, heat: float, train_speed: float, axle: Axle, axle_state: AxleState
) -> None:
    """Move on the temperature of an axle's discs or treads, above ambient. [K]

    Parameters
    ----------
    duration : float      [s]
    heat : float          of the brake in that time. [J]
    train_speed : float   of the cooling air. [m/s]

    Notes
    -----
    One lump a disc set or tread: C dT = dQ - (c0 + c1 v) T dt, by the midpoint rule; pieces are
    milliseconds, cooling takes minutes. Assumed; it leaves out radiation and the temperature of
    the rubbing skin.
    """
    cooling = (axle.cooling + axle.cooling_speed_term * train_speed) * duration
    per_joule = 1.0 / axle.heat_capacity
    middle = axle_state.temperature + 0.5 * heat * per_joule
    axle_state.temperature += (heat - cooling * middle) * per_joule
    axle_state.hottest = max(axle_state.hottest, axle_state.temperature)

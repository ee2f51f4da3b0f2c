"""Axle load under braking: body and bogie pitch, following the deceleration with a short lag."""

from typing import Any

from slipbench.compiling.jit import folded, part
from slipbench.kernel.records import Vehicle


@part
def transfer_load(acceleration: float, vehicle: Vehicle, axles: Any, states: Any) -> None:
    """Set the wheel loads of one vehicle's axles, and the contact stiffness that goes with them.

    Parameters
    ----------
    acceleration : float       of the train, as the pitch has followed it (`PITCH_TIME`), below zero
                               when braking. [m/s2]
    vehicle : VEHICLE          masses, heights and distances
    axles : (n_axles,) AXLE    of the train; their loads and stiffness at rest
    states : (n_axles,) AXLE_STATE   `wheel_load` and `contact_stiffness` are set

    Notes
    -----
    Each bogie carries an equal share of the body's push. The body pitches about the
    height at which it pushes its bogies: first and last bogie gain and lose
    m_b a (h_b - h_p) / L. A bogie pitches under its share of the push at the pivot's height and its
    own inertia at axle height: its axles gain and lose (m_b a h_p / n + m_bogie a r) / wheelbase
    each side. The moments of the wheels' own spin, couplers and springs are left out. What one axle
    gains another loses, so the sum stays the weight to rounding. Stiffness G a b C11 follows load
    to the power 2/3 (Hertz).
    """
    first, n_axles = vehicle.first_axle, vehicle.n_axles
    per_bogie = 2 if vehicle.wheelbase > 0.0 else 1
    n_bogies = n_axles // per_bogie
    push = -acceleration
    body = 0.0
    if n_bogies > 1 and vehicle.bogie_spacing > 0.0:
        lever = vehicle.body_height - vehicle.pivot_height
        body = vehicle.body_mass * push * lever / vehicle.bogie_spacing
    over_base = 1.0 / vehicle.wheelbase if per_bogie == 2 else 0.0
    at_pivot = vehicle.body_mass * push * vehicle.pivot_height / n_bogies
    i = first
    for i_bogie in range(n_bogies):
        by_body = body / per_bogie
        if i_bogie > 0:
            by_body = -by_body if i_bogie == n_bogies - 1 else 0.0
        side = 1.0
        for _ in range(per_bogie):
            axle, axle_state = axles[i], states[i]
            pitch = (at_pivot + vehicle.bogie_mass * push * axle.wheel_radius) * over_base
            load = max(axle.wheel_load + 0.5 * (by_body + side * pitch), 0.05 * axle.wheel_load)
            axle_state.wheel_load = load
            by_load = _cube_root(load / axle.wheel_load)
            axle_state.contact_stiffness = axle.contact_stiffness * by_load * by_load
            side = -side
            i += 1


@folded
def _cube_root(x: float) -> Any:
    """Return the cube root of a number near one, by Halley's method. [-]

    From the tangent and its bend at one, two steps leave rounding between 0.6 and 1.5, and 1e-6 at
    0.05, less than any load.
    """
    above = x - 1.0
    root = 1.0 + above * (1.0 / 3.0 - above * (1.0 / 9.0))
    for _ in range(2):
        cube = root * root * root
        root *= (cube + 2.0 * x) / (2.0 * cube + x)
    return root


@part
def has_transfer(vehicle: Vehicle) -> bool:
    """Return whether a vehicle's loads move at all."""
    return vehicle.body_height > 0.0 or vehicle.pivot_height > 0.0

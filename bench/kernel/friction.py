"""Brake force at the wheel rim from cylinder pressure."""

from numba import njit


@njit(error_model="numpy")
def rim_force(pressure, demand_factor, is_ideal, axle):
    """Return the brake force at the rim of one axle. [N]

    Parameters
    ----------
    pressure : float        Cylinder gauge pressure. [Pa], >= 0
    demand_factor : float   Acts on the torque itself where `is_ideal`. [-]
    is_ideal : int
    axle : AXLE             `brake_gain`: pad friction, piston area and lever ratios. [N/Pa]

    Notes
    -----
    Disc pads: friction independent of speed and pressure, hence constant deceleration.
    """
    force = axle.brake_gain * max(pressure, 0.0)
    if is_ideal:
        return force * demand_factor
    return force

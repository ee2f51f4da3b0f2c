"""Drive the slip onto a chosen surface with a torque that has its sign, smoothed by the valve.

Principle: sliding-mode control. The surface is the target slip, s = rim speed less the target's.
The equivalent part of the brake force balances the estimated rail force and keeps the wheel moving
as the target does; the switching part drives s to zero at a fixed rate, whatever the estimate's
error up to that rate. Inside a boundary layer the switching part is made proportional, since the
valve's delay would else turn it into chatter; the valve then follows the wanted pressure.
(An adhesion observer with a sliding mode of higher order, for traction: Appl. Sci. 2025, 15(7),
3909, abstract only; here of first order, for stepped valves.)
Observes: wheel speeds and pressures of its own vehicle, and demand; brake gain and masses as
vehicle data. When every axle slides at once, the reference runs on the estimated rail forces and on
one axle at a time freed as a probe.
Known weakness: one slip target for every rail; the boundary layer trades chatter for accuracy.
"""

from slipbench.contract import (
    DEMAND_FACTOR,
    SLIDE,
    VALVE,
    Controller,
    Floats,
    Parameter,
)
from slipbench.controllers.parts.adhesion import FORCE
from slipbench.controllers.parts.reference import PROBED
from slipbench.controllers.parts.settings import cut_out_speed, patience, target_slip
from slipbench.controllers.parts.slip_servo import (
    N_MOTION,
    N_SERVO,
    full_brake,
    note_rolling,
    sense_motion,
    servo_valve,
    slide_lasts,
)
from slipbench.controllers.parts.vehicle_data import (
    BRAKE_GAIN,
    FORCE_DATA,
    ROTATING_MASS,
    VALVE_DATA,
)
from slipbench.controllers.parts.wheels import SPEED

TARGET_SLIP, REACHING_RATE, BOUNDARY, PATIENCE, CUT_OUT_SPEED = 0, 1, 2, 3, 4
LEAST_SLIP_SPEED = 0.15
"""Slip speed that can still be told at walking pace. [m/s]"""


def update(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Balance the rail force of each axle and push its slip towards the surface."""
    n_axles = observation.shape[0]
    state = memory[n_axles]
    reference, slowing = sense_motion(
        observation, parameters[PATIENCE], parameters[CUT_OUT_SPEED], parameters, memory
    )
    is_sliding = slide_lasts(
        observation, reference, 0.6 * parameters[TARGET_SLIP], parameters[CUT_OUT_SPEED], memory
    )
    signals[SLIDE] = 1.0 if is_sliding else 0.0
    slip_speed = max(parameters[TARGET_SLIP] * reference, LEAST_SLIP_SPEED)
    for i_axle in range(n_axles):
        row = observation[i_axle]
        own = memory[i_axle]
        note_rolling(reference - own[SPEED], slip_speed, own)
        surface = own[SPEED] - (reference - slip_speed)
        sign = min(max(surface / parameters[BOUNDARY], -1.0), 1.0)
        acceleration = -slowing * (1.0 - parameters[TARGET_SLIP])
        acceleration -= parameters[REACHING_RATE] * sign
        force = own[FORCE] - parameters[ROTATING_MASS] * acceleration
        wanted = force / parameters[BRAKE_GAIN]
        if state[PROBED] == i_axle + 1.0:
            wanted = 0.0
        elif not is_sliding:
            wanted = full_brake(parameters)
        command[i_axle, DEMAND_FACTOR] = 1.0
        command[i_axle, VALVE] = servo_valve(wanted, 1.0, row, parameters, own)


CONTROLLER = Controller(
    name="sliding_mode",
    title="balance the estimated rail force and push the slip to its surface",
    update=update,
    parameters=(
        target_slip(0.08, 0.02, 0.5),
        Parameter(
            "reaching_rate",
            3.0,
            "m/s2",
            0.5,
            10.0,
            "set by hand",
            doc=(
                "Rate at which the slip speed is driven to its target outside the boundary layer."
            ),
        ),
        Parameter(
            "boundary",
            0.6,
            "m/s",
            0.05,
            3.0,
            "set by hand",
            doc=("Half-width of the layer in slip speed within which the drive is proportional."),
        ),
        patience(5.0),
        cut_out_speed(),
        *VALVE_DATA,
        *FORCE_DATA,
    ),
    observes=("measured_wheel_speed", "measured_pressure", "brake_demand", "sample_time"),
    n_memory=max(N_MOTION, N_SERVO),
)

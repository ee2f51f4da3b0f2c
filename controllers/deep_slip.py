"""Hold every axle in a deliberate deep slide that cleans the rail.

Principle: where the film yields to friction work, a wheel held at half the train's speed cleans the
rail for all wheels behind it (gross-sliding control for the shortest emergency stop, at the cost of
the treads: Uchida, Ohyama and Nomura, RTRI Report 2000 and 2001, abstracts only). Each axle's
pressure is steered so that its rim settles at the target slip; the rail force told by its motion
says which pressure that is.
Observes: wheel speeds and pressures of its own vehicle, and demand; brake gain and masses as
vehicle data. Every axle slides at once by intent: the reference runs on the estimated rail forces
and on one axle at a time freed as a probe.
Known weakness: where the creep curve falls steeply and the film does not clean, it stops later than
every strategy that grips. Treads wear along the whole slide.
"""

from slipbench.contract import (
    DEMAND_FACTOR,
    SLIDE,
    VALVE,
    Controller,
    Floats,
)
from slipbench.controllers.parts.reference import PROBED
from slipbench.controllers.parts.settings import cut_out_speed, patience, settling_time, target_slip
from slipbench.controllers.parts.slip_servo import (
    N_MOTION,
    N_SERVO,
    full_brake,
    sense_motion,
    servo_valve,
    slide_lasts,
    wanted_pressure,
)
from slipbench.controllers.parts.vehicle_data import FORCE_DATA, VALVE_DATA

TARGET_SLIP, SETTLING_TIME, PATIENCE, CUT_OUT_SPEED = 0, 1, 2, 3
SLIDING_SLIP = 0.04
"""Beyond this slip of any wheel a slide is in progress. Assumed. [-]"""


def update(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Hold each axle at the deep slip, one of them rolling now and then as a probe."""
    n_axles = observation.shape[0]
    state = memory[n_axles]
    reference, slowing = sense_motion(
        observation, parameters[PATIENCE], parameters[CUT_OUT_SPEED], parameters, memory
    )
    is_sliding = slide_lasts(
        observation, reference, SLIDING_SLIP, parameters[CUT_OUT_SPEED], memory
    )
    signals[SLIDE] = 1.0 if is_sliding else 0.0
    for i_axle in range(n_axles):
        row = observation[i_axle]
        own = memory[i_axle]
        wanted = wanted_pressure(
            parameters[TARGET_SLIP],
            reference,
            slowing,
            parameters[SETTLING_TIME],
            parameters,
            own,
        )
        if state[PROBED] == i_axle + 1.0:
            wanted = 0.0
        elif not is_sliding:
            wanted = full_brake(parameters)
        command[i_axle, DEMAND_FACTOR] = 1.0
        command[i_axle, VALVE] = servo_valve(wanted, 1.0, row, parameters, own)


CONTROLLER = Controller(
    name="deep_slip",
    title="hold every axle in a deliberate deep slide that cleans the rail",
    update=update,
    parameters=(
        target_slip(0.5, 0.1, 0.8),
        settling_time(0.3),
        patience(4.0),
        cut_out_speed(),
        *VALVE_DATA,
        *FORCE_DATA,
    ),
    observes=("measured_wheel_speed", "measured_pressure", "brake_demand", "sample_time"),
    n_memory=max(N_MOTION, N_SERVO),
)

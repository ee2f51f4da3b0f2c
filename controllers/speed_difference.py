"""Release an axle that turns slower than the vehicle's fastest by a fixed speed.

Principle: each wheel is compared with a reference: the fastest wheel of the vehicle, which may not
fall faster than a train can slow, so that all wheels sliding together are noticed as well. Beyond
the release difference the cylinder is vented, between the two differences it is held, below the
lower one it is filled.
Observes: measured wheel speeds of its own vehicle.
When every axle slides at once the reference sinks with its limit alone, so on a long common slide
wheels lock, the sooner the less the train itself slows: this is what the plain reference gives,
kept as the yardstick.
Known weakness: that; a fixed speed is a small slip at 30 m/s and a locked wheel at walking pace;
blind to how fast the wheel slows, so it vents late.
"""

from slipbench.contract import (
    DEMAND_FACTOR,
    FILL,
    HOLD,
    SAMPLE_TIME,
    SLIDE,
    VALVE,
    VENT,
    Controller,
    Floats,
    Parameter,
)
from slipbench.controllers.parts.pulses import end_vent
from slipbench.controllers.parts.reference import highest_axle
from slipbench.controllers.parts.settings import cut_out_speed, slowing_limit
from slipbench.controllers.parts.wheels import N_WHEEL, SPEED, sense_wheels

RELEASE_DIFFERENCE, APPLY_DIFFERENCE, SLOWING_LIMIT, CUT_OUT_SPEED = 0, 1, 2, 3
VENTED = N_WHEEL  # of an axle's memory


def update(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Vent, hold or fill each axle by its distance below the reference."""
    n_axles = observation.shape[0]
    sample_time = observation[0, SAMPLE_TIME]
    sense_wheels(observation, memory)
    reference = highest_axle(memory, memory[n_axles, 0], parameters[SLOWING_LIMIT], sample_time)
    memory[n_axles, 0] = reference
    signals[SLIDE] = 0.0
    for i_axle in range(n_axles):
        own = memory[i_axle]
        difference = reference - own[SPEED]
        valve = HOLD
        if reference < parameters[CUT_OUT_SPEED] or difference < parameters[APPLY_DIFFERENCE]:
            valve = FILL
        elif difference > parameters[RELEASE_DIFFERENCE]:
            valve = VENT
            signals[SLIDE] = 1.0
        command[i_axle, DEMAND_FACTOR] = 1.0
        command[i_axle, VALVE] = end_vent(valve, own[SPEED], sample_time, own[VENTED : VENTED + 1])


CONTROLLER = Controller(
    name="speed_difference",
    title="vent an axle a fixed speed below the vehicle's fastest",
    update=update,
    parameters=(
        Parameter(
            "release_difference",
            1.59,
            "m/s",
            0.3,
            6.0,
            (
                "set by hand after an earlier tuning; "
                "4 mph = 1.79 m/s in one published rule, secondary"
            ),
            doc="Rim speed below the reference beyond which the cylinder is vented.",
        ),
        Parameter(
            "apply_difference",
            0.181,
            "m/s",
            0.1,
            5.0,
            "set by hand after an earlier tuning",
            doc=(
                "Rim speed below the reference under which the cylinder is filled again; "
                "held in between."
            ),
        ),
        slowing_limit(0.916, "set by hand after an earlier tuning; 1.2 to 2 from memory, weak"),
        cut_out_speed(1.38, "set by hand after an earlier tuning; 3 to 5 km/h from memory, weak"),
    ),
    observes=("measured_wheel_speed", "brake_demand", "sample_time"),
    n_memory=N_WHEEL + 1,
    is_permutable=True,
)

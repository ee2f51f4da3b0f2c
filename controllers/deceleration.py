"""Release an axle whose rim slows faster than any train could.

Principle: the rim's acceleration, from successive measured speeds, decides alone. Slowing beyond
the vent threshold vents; once the wheel no longer slows, the cylinder is held; once the wheel has
spun up and its acceleration has died away again (it rolls), or the hold has lasted too long, it is
filled.
Observes: measured wheel speeds of each axle by itself; needs no reference speed.
When every axle slides at once nothing changes: each is judged by itself.
Known weakness: a slide that grows slowly stays below the threshold and is never seen, as on a light
application on very slippery rail, where wheels lock for the whole stop; noise of the speed
measurement must be smoothed, which costs time.
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
from slipbench.controllers.parts.settings import cut_out_speed
from slipbench.controllers.parts.wheels import ACCELERATION, N_WHEEL, SPEED, sense_wheels

VENT_DECELERATION, RE_ACCELERATION, LONGEST_HOLD, CUT_OUT_SPEED = 0, 1, 2, 3
PHASE, HELD_TIME, HAS_SPUN_UP, VENTED = N_WHEEL, N_WHEEL + 1, N_WHEEL + 2, N_WHEEL + 3  # of an axle
APPLYING, VENTING, HOLDING = 0.0, 1.0, 2.0


def update(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Move each axle through applying, venting and holding by its rim acceleration."""
    sample_time = observation[0, SAMPLE_TIME]
    sense_wheels(observation, memory)
    signals[SLIDE] = 0.0
    for i_axle in range(observation.shape[0]):
        own = memory[i_axle]
        speed = own[SPEED]
        acceleration = own[ACCELERATION]
        if own[PHASE] == APPLYING and acceleration < -parameters[VENT_DECELERATION]:
            own[PHASE] = VENTING
        elif own[PHASE] == VENTING and acceleration > 0.0:
            own[PHASE] = HOLDING
            own[HELD_TIME] = 0.0
            own[HAS_SPUN_UP] = 0.0
        elif own[PHASE] == HOLDING:
            own[HELD_TIME] += sample_time
            if acceleration > parameters[RE_ACCELERATION]:
                own[HAS_SPUN_UP] = 1.0
            elif (own[HAS_SPUN_UP] == 1.0 and acceleration < 0.5 * parameters[RE_ACCELERATION]) or (
                own[HELD_TIME] > parameters[LONGEST_HOLD]
            ):
                own[PHASE] = APPLYING
            if acceleration < -parameters[VENT_DECELERATION]:
                own[PHASE] = VENTING
        command[i_axle, DEMAND_FACTOR] = 1.0
        if own[PHASE] == VENTING and speed > 0.0:
            signals[SLIDE] = 1.0
        valve = FILL
        if own[PHASE] == VENTING:
            valve = VENT
        elif own[PHASE] == HOLDING and speed >= parameters[CUT_OUT_SPEED]:
            valve = HOLD
        command[i_axle, VALVE] = end_vent(valve, speed, sample_time, own[VENTED : VENTED + 1])


CONTROLLER = Controller(
    name="deceleration",
    title="vent an axle whose rim slows faster than a train can",
    update=update,
    parameters=(
        Parameter(
            "vent_deceleration",
            4.78,
            "m/s2",
            1.5,
            12.0,
            "set by hand after an earlier tuning; 2.5 to 4 from memory, weak",
            doc="Deceleration of the rim beyond which the cylinder is vented.",
        ),
        Parameter(
            "re_acceleration",
            1.03,
            "m/s2",
            0.3,
            10.0,
            "set by hand after an earlier tuning; 1 to 2 from memory, weak",
            doc=(
                "Acceleration of the rim above which it is taken to spin up again; the vent ends."
            ),
        ),
        Parameter(
            "longest_hold",
            1.12,
            "s",
            0.05,
            3.0,
            "set by hand after an earlier tuning",
            doc=("Longest time the pressure is held after a vent before it is filled again."),
        ),
        cut_out_speed(1.02, "set by hand after an earlier tuning; 3 to 5 km/h from memory, weak"),
    ),
    observes=("measured_wheel_speed", "brake_demand", "sample_time"),
    n_memory=N_WHEEL + 4,
    is_permutable=True,
)

"""Regulate each axle's slip to a target with a PI controller whose output is valve pulses.

Principle: the cylinder integrates what the valve does, so a PI controller of pressure becomes, in
its velocity form, a duty: proportional to the slip's error and to its rate of change. In every
pulse period the valve fills or vents for that share of the period and holds for the rest. Slip is
reckoned as slip speed, so the gains serve at every train speed. (PI control of creep, with an
optimum estimated: Zirek and Onat, Railway Engineering Science 2020, abstract only; there with
continuous torque, for traction.)
Observes: measured wheel speeds of its own vehicle, and demand. When every axle slides at once, the
reference is founded anew by a probe axle.
Known weakness: one slip target for every rail; the pulse period adds to the valve's delay, which
bounds the gains; it does not know its pressure.
"""

from slipbench.compiling.helper import helper
from slipbench.contract import (
    DEMAND_FACTOR,
    FILL,
    SAMPLE_TIME,
    SLIDE,
    VALVE,
    VENT,
    Controller,
    Floats,
    Parameter,
)
from slipbench.controllers.parts.pulses import end_vent, pulse
from slipbench.controllers.parts.reference import N_STATE, PROBED, probed_axle
from slipbench.controllers.parts.settings import cut_out_speed, patience, slowing_limit, target_slip
from slipbench.controllers.parts.wheels import N_WHEEL, SPEED, sense_wheels

TARGET_SLIP, SLIP_GAIN, RATE_GAIN, PULSE_PERIOD, SMOOTHING_TIME = 0, 1, 2, 3, 4
SLOWING_LIMIT, PATIENCE, CUT_OUT_SPEED = 5, 6, 7
ERROR, RATE, PULSE_TIME, VENTED = (
    N_WHEEL,
    N_WHEEL + 1,
    N_WHEEL + 2,
    N_WHEEL + 3,
)  # of an axle's memory

LEAST_SLIP_SPEED = 0.2
"""Target's slip speed at least: speeds come in steps at walking pace. [m/s]"""

LEAST_SLIDE, ROLLING = 0.1, 0.4
"""A wheel so little slower than the reference is taken to roll [m/s], as one at less than this
share of the target's slip speed. [-]"""

LARGEST_RATE = 8.0
"""Bound of the rate of change of slip speed: a reference founded anew jumps. [m/s2]"""


@helper
def duty(error: float, sample_time: float, parameters: Floats, own: Floats) -> float:
    """Return the PI controller's duty from the slip speed missing to the target. [-]

    Parameters
    ----------
    error : float         slip speed at the target less the present one. [m/s]
    sample_time : float   [s]
    parameters, own       of the strategy, and the axle's memory
    """
    share = sample_time / (sample_time + parameters[SMOOTHING_TIME])
    raw = min(max((error - own[ERROR]) / sample_time, -LARGEST_RATE), LARGEST_RATE)
    own[RATE] += share * (raw - own[RATE])
    own[ERROR] = error
    wanted = parameters[SLIP_GAIN] * error + parameters[RATE_GAIN] * own[RATE]
    return float(min(max(wanted, -1.0), 1.0))


def update(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Turn each axle's slip error into a pulse of its valve."""
    n_axles = observation.shape[0]
    sample_time = observation[0, SAMPLE_TIME]
    state = memory[n_axles]
    sense_wheels(observation, memory)
    reference = probed_axle(
        observation,
        parameters[SLOWING_LIMIT],
        parameters[PATIENCE],
        parameters[CUT_OUT_SPEED],
        memory,
    )
    wanted_slip_speed = max(parameters[TARGET_SLIP] * reference, LEAST_SLIP_SPEED)
    rolling = max(ROLLING * wanted_slip_speed, LEAST_SLIDE)
    signals[SLIDE] = 0.0
    for i_axle in range(n_axles):
        own = memory[i_axle]
        slip_speed = reference - own[SPEED]
        wanted = duty(wanted_slip_speed - slip_speed, sample_time, parameters, own)
        valve = pulse(
            wanted, parameters[PULSE_PERIOD], sample_time, own[PULSE_TIME : PULSE_TIME + 1]
        )
        if state[PROBED] == i_axle + 1.0:
            valve = VENT
        elif reference < parameters[CUT_OUT_SPEED] or slip_speed < rolling:
            valve = FILL
        elif slip_speed > 0.6 * wanted_slip_speed:
            signals[SLIDE] = 1.0
        command[i_axle, DEMAND_FACTOR] = 1.0
        command[i_axle, VALVE] = end_vent(valve, own[SPEED], sample_time, own[VENTED : VENTED + 1])


CONTROLLER = Controller(
    name="slip_target",
    title="PI control of slip with pulsed valves",
    update=update,
    parameters=(
        target_slip(0.05, 0.02, 0.6),
        Parameter(
            "slip_gain",
            0.5,
            "s/m",
            0.02,
            5.0,
            "set by hand",
            doc="Share of a pulse period for each m/s of error in slip speed.",
        ),
        Parameter(
            "rate_gain",
            0.3,
            "s2/m",
            0.0,
            2.0,
            "set by hand",
            doc="Share of a pulse period for each m/s2 of its rate of change.",
        ),
        Parameter(
            "pulse_period",
            0.05,
            "s",
            0.01,
            0.5,
            "set by hand",
            doc=(
                "Length of one valve pulse with its pause; within it the valve acts for "
                "the wanted share."
            ),
        ),
        Parameter(
            "smoothing_time",
            0.0,
            "s",
            0.0,
            0.3,
            "assumed: speeds are filtered",
            doc="Time constant of the low pass over the rim's change of speed.",
        ),
        slowing_limit(),
        patience(2.0, 0.2, 10.0),
        cut_out_speed(),
    ),
    observes=("measured_wheel_speed", "brake_demand", "sample_time"),
    n_memory=max(N_STATE, N_WHEEL + 4),
)

"""Step each axle through applying, waiting, releasing and regripping by its estimated rail force.

Principle: the usual phases of a valve control, with the adhesion force estimated from pressure and
rim deceleration saying how far to go. Applying, the cylinder is filled at once to a share of the
largest force the rail last bore, then in pulses. When the rim slows faster than a train can, the
pressure is held; when it slows faster still, or the estimate has fallen well below its largest
value, the cylinder is vented, but only until the brake force is safely below the rail force. The
wheel then spins up by itself and, once it no longer gains, is applied again. (Four phases with an
estimated adhesion force: Actuators 2024, 13(2), 47, abstract only; thresholds are this project's.)
Observes: wheel speeds and pressures of its own vehicle; brake gain and mass as vehicle data. Each
axle is judged by its own motion; the vehicle's fastest wheel only guards: a wheel far below it is
vented. When every axle slides at once nothing changes but that the guard sinks with its limit.
Known weakness: a slide growing slower than the thresholds passes for braking until the guard sees
it; every cycle gives away the force between the release and the next application.
"""

from slipbench.compiling.helper import helper
from slipbench.contract import (
    DEMAND_FACTOR,
    FILL,
    HOLD,
    PRESSURE,
    SAMPLE_TIME,
    SLIDE,
    VALVE,
    VENT,
    Controller,
    Floats,
    Parameter,
)
from slipbench.controllers.parts.adhesion import FORCE, N_ADHESION, estimate_force
from slipbench.controllers.parts.pulses import end_vent, pulse
from slipbench.controllers.parts.reference import highest_axle
from slipbench.controllers.parts.settings import cut_out_speed, slowing_limit
from slipbench.controllers.parts.vehicle_data import BRAKE_GAIN, FORCE_DATA
from slipbench.controllers.parts.wheels import ACCELERATION, SPEED, sense_wheels

HOLD_DECELERATION, VENT_DECELERATION, FORCE_DROP, RELEASE_SHARE, REGRIP_SHARE = 0, 1, 2, 3, 4
FILL_DUTY, GAIN_ENDED, GUARD_SLIP, SLOWING_LIMIT, CUT_OUT_SPEED = 5, 6, 7, 8, 9

PHASE, PHASE_TIME, LARGEST_FORCE = N_ADHESION, N_ADHESION + 1, N_ADHESION + 2  # of an axle
PULSE_TIME, VENTED, HAS_GAINED = N_ADHESION + 3, N_ADHESION + 4, N_ADHESION + 5
REFERENCE = 0  # of the vehicle's memory

APPLYING, WAITING, RELEASING, REGRIPPING = 0.0, 1.0, 2.0, 3.0

PULSE_PERIOD = 0.1
"""Of the slow application. Assumed. [s]"""

LONGEST_WAIT, LONGEST_REGRIP = 0.3, 1.5
"""Longest hold while the wheel slows, and while it should spin up. Assumed. [s]"""


@helper
def next_phase(is_far_below: bool, brake_force: float, parameters: Floats, own: Floats) -> float:
    """Return the phase an axle is in from now on.

    Parameters
    ----------
    is_far_below : bool      the guard: the wheel turns far slower than the vehicle's fastest
    brake_force : float      at the rim, by pressure. [N]
    parameters, own          of the strategy, and the axle's memory
    """
    phase, acceleration = own[PHASE], own[ACCELERATION]
    slows = acceleration < -parameters[HOLD_DECELERATION]
    has_dropped = own[FORCE] < (1.0 - parameters[FORCE_DROP]) * own[LARGEST_FORCE]
    must_release = acceleration < -parameters[VENT_DECELERATION] or is_far_below
    if phase == APPLYING:
        if must_release:
            return RELEASING
        return WAITING if slows else APPLYING
    if phase == WAITING:
        if must_release or (slows and (has_dropped or own[PHASE_TIME] > LONGEST_WAIT)):
            return RELEASING
        return WAITING if slows else APPLYING
    if phase == RELEASING:
        is_below = brake_force < parameters[RELEASE_SHARE] * own[FORCE]
        return REGRIPPING if is_below or brake_force <= 0.0 else RELEASING
    if acceleration > 2.0 * parameters[GAIN_ENDED]:
        own[HAS_GAINED] = 1.0
    has_ended = own[HAS_GAINED] == 1.0 and acceleration < parameters[GAIN_ENDED]
    if has_ended and not is_far_below:
        return APPLYING
    if own[HAS_GAINED] == 0.0 and own[PHASE_TIME] > 0.15 and acceleration < 0.0:
        # it slides still, or, its cylinder empty, it rolls
        return RELEASING if brake_force > 0.0 or is_far_below else APPLYING
    return APPLYING if own[PHASE_TIME] > LONGEST_REGRIP and not is_far_below else REGRIPPING


@helper
def _valve(brake_force: float, parameters: Floats, row: Floats, own: Floats) -> int:
    """Return the valve position of an axle's phase."""
    if own[PHASE] == RELEASING:
        return VENT
    if own[PHASE] != APPLYING:
        return HOLD
    if own[LARGEST_FORCE] <= 0.0 or brake_force < parameters[REGRIP_SHARE] * own[LARGEST_FORCE]:
        return FILL
    sample_time = row[SAMPLE_TIME]
    return pulse(parameters[FILL_DUTY], PULSE_PERIOD, sample_time, own[PULSE_TIME : PULSE_TIME + 1])


@helper
def _note_phase(phase: float, sample_time: float, own: Floats) -> None:
    """Enter a phase, or stay; keep the largest force borne since the last slide began."""
    if phase != own[PHASE]:
        if phase == REGRIPPING:
            own[HAS_GAINED] = 0.0
            own[LARGEST_FORCE] = max(own[FORCE], 0.8 * own[LARGEST_FORCE])
        own[PHASE] = phase
        own[PHASE_TIME] = 0.0
    own[PHASE_TIME] = min(own[PHASE_TIME] + sample_time, 100.0)
    if own[LARGEST_FORCE] > 0.0:
        own[LARGEST_FORCE] = max(own[LARGEST_FORCE], own[FORCE])


def update(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Move each axle through its phases and command the valve of the phase."""
    n_axles = observation.shape[0]
    sample_time = observation[0, SAMPLE_TIME]
    sense_wheels(observation, memory)
    reference = highest_axle(
        memory, memory[n_axles, REFERENCE], parameters[SLOWING_LIMIT], sample_time
    )
    memory[n_axles, REFERENCE] = reference
    signals[SLIDE] = 0.0
    for i_axle in range(n_axles):
        row = observation[i_axle]
        own = memory[i_axle]
        estimate_force(row, parameters, own)
        brake_force = parameters[BRAKE_GAIN] * row[PRESSURE]
        is_far_below = own[SPEED] < (1.0 - parameters[GUARD_SLIP]) * reference
        phase = next_phase(is_far_below, brake_force, parameters, own)
        _note_phase(phase, sample_time, own)
        valve = _valve(brake_force, parameters, row, own)
        if reference < parameters[CUT_OUT_SPEED]:
            valve = FILL
        elif own[PHASE] == RELEASING or own[PHASE] == REGRIPPING:
            signals[SLIDE] = 1.0
        command[i_axle, DEMAND_FACTOR] = 1.0
        command[i_axle, VALVE] = end_vent(valve, own[SPEED], sample_time, own[VENTED : VENTED + 1])


CONTROLLER = Controller(
    name="phase_logic",
    title="apply, wait, release and regrip by the estimated rail force",
    update=update,
    parameters=(
        Parameter(
            "hold_deceleration",
            2.8,
            "m/s2",
            1.0,
            4.0,
            "set by hand after an earlier tuning",
            doc="Deceleration of the rim beyond which the pressure is held.",
        ),
        Parameter(
            "vent_deceleration",
            4.12,
            "m/s2",
            1.5,
            10.0,
            "set by hand after an earlier tuning",
            doc="Deceleration of the rim beyond which the cylinder is vented.",
        ),
        Parameter(
            "force_drop",
            0.555,
            "-",
            0.02,
            0.6,
            "set by hand after an earlier tuning",
            doc=(
                "Share the estimated rail force may fall below its largest value before "
                "the brake is released."
            ),
        ),
        Parameter(
            "release_share",
            0.954,
            "-",
            0.2,
            0.98,
            "set by hand after an earlier tuning: of the rail force",
            doc=("Share of the rail force the brake force must fall below before a vent ends."),
        ),
        Parameter(
            "regrip_share",
            0.881,
            "-",
            0.3,
            1.0,
            "set by hand after an earlier tuning: of the largest force",
            doc=(
                "Share of the largest rail force borne up to which the cylinder is filled at once."
            ),
        ),
        Parameter(
            "fill_duty",
            0.207,
            "-",
            0.02,
            1.0,
            "set by hand after an earlier tuning",
            doc="Share of a pulse period in which the cylinder is filled beyond that.",
        ),
        Parameter(
            "gain_ended",
            0.441,
            "m/s2",
            0.1,
            3.0,
            "set by hand after an earlier tuning",
            doc="Acceleration of the rim under which its spinning up counts as ended.",
        ),
        Parameter(
            "guard_slip",
            0.155,
            "-",
            0.1,
            0.8,
            "set by hand after an earlier tuning",
            doc=(
                "Slip against the fastest wheel beyond which the cylinder is vented "
                "whatever the phase."
            ),
        ),
        slowing_limit(1.37, "set by hand after an earlier tuning; 1.2 to 2 from memory, weak"),
        cut_out_speed(1.02, "set by hand after an earlier tuning"),
        *FORCE_DATA,
    ),
    observes=("measured_wheel_speed", "measured_pressure", "brake_demand", "sample_time"),
    n_memory=N_ADHESION + 6,
)

"""Search the slip at which the rail gives the largest force, by trying a little to either side.

Principle: perturb and observe. Each axle is held at a slip that steps up and down about its own
target; the mean rail force at one side is compared with the mean of the two spells before and after
at the other, so that a steady drift (speed, film) cancels. The target moves a step towards the side
with more force. Only samples at which the wheel has settled count: while it is on its way from one
side to the other, an error of the assumed rotating mass would pass for rail force, and that error
is some 20 per cent, since motored and trailing wheelsets differ. (Perturb and observe and steepest
gradient for adhesion, both with weaknesses: arXiv 2406.13650, abstract only.)
Observes: wheel speeds and pressures of its own vehicle, and demand; brake gain and masses as
vehicle data. When every axle slides at once, the reference runs on the estimated rail forces and on
one axle at a time freed as a probe.
Known weakness: it finds the peak of the rail as it is and sees nothing of what sliding does for the
wheels behind; on a flat curve it wanders; it needs spells of a second or two, many to a stop.
"""

from slipbench.compiling.helper import helper
from slipbench.contract import (
    DEMAND_FACTOR,
    SAMPLE_TIME,
    SLIDE,
    VALVE,
    Controller,
    Floats,
    Parameter,
)
from slipbench.controllers.parts.adhesion import FORCE
from slipbench.controllers.parts.reference import PROBED
from slipbench.controllers.parts.settings import cut_out_speed, patience, settling_time
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
from slipbench.controllers.parts.wheels import ACCELERATION, SPEED

FIRST_SLIP, LEAST_SLIP, LARGEST_SLIP, SWING, STEP, SPELL = 0, 1, 2, 3, 4, 5
SETTLING_TIME, PATIENCE, CUT_OUT_SPEED = 6, 7, 8

TARGET, SIDE, SPELL_TIME, FORCE_SUM, N_SUMMED = (  # of an axle's memory
    N_SERVO,
    N_SERVO + 1,
    N_SERVO + 2,
    N_SERVO + 3,
    N_SERVO + 4,
)
LAST_MEAN, MEAN_BEFORE, N_SPELLS = N_SERVO + 5, N_SERVO + 6, N_SERVO + 7

NOTICEABLE = 0.004
"""A smaller difference of force counts as none. Assumed. [-]"""


SETTLED = 0.3
"""A rim whose acceleration is so near that of the slip held is settled. Assumed. [m/s2]"""

SLIDING_SLIP = 0.018
"""Beyond this slip of any wheel a slide is in progress, wherever the search is. Assumed. [-]"""

COUNTED_SHARE = 0.4
"""A spell goes on until its settled samples fill this share of `spell`. Assumed. [-]"""

MOST_SPELLS = 3.0
"""A wheel not settled after so many times `spell` tells nothing. Assumed. [-]"""


@helper
def _begin(i_axle: int, parameters: Floats, own: Floats) -> None:
    """Start the search afresh; neighbouring axles swing against each other."""
    own[TARGET] = parameters[FIRST_SLIP]
    own[SIDE] = 1.0 if i_axle % 2 == 0 else -1.0
    own[SPELL_TIME] = 0.0
    own[FORCE_SUM] = 0.0
    own[N_SUMMED] = 0.0
    own[N_SPELLS] = 0.0


@helper
def _end_spell(parameters: Floats, own: Floats) -> None:
    """Compare this spell and the one before last with the last, and move the target."""
    mean = own[FORCE_SUM] / max(own[N_SUMMED], 1.0)
    own[N_SPELLS] = min(own[N_SPELLS] + 1.0, 3.0)
    if own[N_SPELLS] == 3.0 and own[LAST_MEAN] > 0.0:
        gain = (0.5 * (mean + own[MEAN_BEFORE]) / own[LAST_MEAN] - 1.0) * own[SIDE]
        if gain > NOTICEABLE:
            own[TARGET] += parameters[STEP]
        elif gain < -NOTICEABLE:
            own[TARGET] -= parameters[STEP]
        own[TARGET] = max(min(own[TARGET], parameters[LARGEST_SLIP]), parameters[LEAST_SLIP])
    own[MEAN_BEFORE] = own[LAST_MEAN]
    own[LAST_MEAN] = mean
    own[SIDE] = -own[SIDE]
    own[SPELL_TIME] = 0.0
    own[FORCE_SUM] = 0.0
    own[N_SUMMED] = 0.0


@helper
def _search(
    slip: float, slowing: float, sample_time: float, parameters: Floats, own: Floats
) -> float:
    """Go on with an axle's search while it slides at a slip; return the slip to be held."""
    own[SPELL_TIME] += sample_time
    if abs(own[ACCELERATION] + slowing * (1.0 - slip)) < SETTLED:
        own[FORCE_SUM] += own[FORCE]
        own[N_SUMMED] += 1.0
    counted = own[N_SUMMED] * sample_time
    if own[SPELL_TIME] >= parameters[SPELL] and counted >= COUNTED_SHARE * parameters[SPELL]:
        _end_spell(parameters, own)
    elif own[SPELL_TIME] >= MOST_SPELLS * parameters[SPELL]:
        own[N_SPELLS] = -1.0  # nothing of this spell is to be compared with the next
        _end_spell(parameters, own)
    if slip < 0.4 * own[TARGET]:
        own[N_SPELLS] = 0.0  # it rolls under the whole demand, or is a probe: nothing to compare
    return float(own[TARGET] * (1.0 + parameters[SWING] * own[SIDE]))


def update(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Hold each axle a swing above or below its target, and move the target by what it gave."""
    n_axles = observation.shape[0]
    sample_time = observation[0, SAMPLE_TIME]
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
        if own[TARGET] == 0.0 or not is_sliding:
            _begin(i_axle, parameters, own)
        slip = 1.0 - own[SPEED] / max(reference, 0.1)
        held = _search(slip, slowing, sample_time, parameters, own)
        wanted = wanted_pressure(
            held, reference, slowing, parameters[SETTLING_TIME], parameters, own
        )
        if state[PROBED] == i_axle + 1.0:
            wanted = 0.0
        elif not is_sliding:
            wanted = full_brake(parameters)
        command[i_axle, DEMAND_FACTOR] = 1.0
        command[i_axle, VALVE] = servo_valve(wanted, 1.0, row, parameters, own)


CONTROLLER = Controller(
    name="optimum_seeking",
    title="search the slip of the largest rail force by perturb and observe",
    update=update,
    parameters=(
        Parameter(
            "first_slip", 0.03, "-", 0.01, 0.4, "set by hand", doc="Slip the search begins at."
        ),
        Parameter(
            "least_slip",
            0.015,
            "-",
            0.005,
            0.2,
            "assumed",
            doc="Smallest slip the search may go to.",
        ),
        Parameter(
            "largest_slip", 0.5, "-", 0.05, 0.8, "assumed", doc="Largest slip the search may go to."
        ),
        Parameter(
            "swing",
            0.2,
            "-",
            0.05,
            0.8,
            "set by hand: of the target",
            doc="How far each spell lies to either side of the target, as a share of it.",
        ),
        Parameter(
            "step",
            0.01,
            "-",
            0.001,
            0.1,
            "assumed",
            doc="How far the target moves after a comparison.",
        ),
        Parameter(
            "spell",
            0.6,
            "s",
            0.2,
            4.0,
            "set by hand",
            doc="Time at one side of the target before sides are changed.",
        ),
        settling_time(0.3),
        patience(5.0),
        cut_out_speed(),
        *VALVE_DATA,
        *FORCE_DATA,
    ),
    observes=("measured_wheel_speed", "measured_pressure", "brake_demand", "sample_time"),
    n_memory=max(N_MOTION, N_SERVO + 8),
)

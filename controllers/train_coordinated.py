"""Share the work along the train: leading axles clean, trailing axles grip and take more demand.

Principle: while any wheel slides, a fixed share of the train's axles, from the front, is held in a
deep slide that cleans the rail; all others are held at a small slip near the peak of the creep
curve. What the sliding axles do not bear of the demand is asked of those that still roll under
theirs, through the demand factor, as far as the equipment allows.
Observes: wheel speeds and pressures of the whole train, and demand; brake gain and masses as
vehicle data. When every axle slides at once, the reference runs on the estimated rail forces of all
axles and on one gripping axle at a time freed as a probe.
What it gains from 75 mph on the shipped rails (experiment `what_moved_demand_gains`): at factor
limit 1.0, which is what is fitted, no demand moves by the limit's meaning, and the cleaning
axles alone shorten the stop on wet_leaf by 25 %, autumn_guide 17 %, tough_film 12 %, detergent and
damp_oxide 3 %, and lengthen it on grease by 7 % and frost by 5 %. Equipment that allows 1.3 (set
`factor_limit` no higher than the scenario's `brake.demand_factor_limit`) shortens detergent by a
further 8 % and frost by 4 %, where cleaned rail bears more than the demand; on the others trailing
axles never bear their own demand, and nothing changes.
Known weakness: it needs a train-wide bus; the share is fixed, so rail that does not clean is
punished for what rail that cleans gains.
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
    demanded_force,
    full_brake,
    sense_motion,
    servo_valve,
    slide_lasts,
    wanted_pressure,
)
from slipbench.controllers.parts.vehicle_data import (
    FORCE_DATA,
    VALVE_DATA,
)

CLEANING_SHARE, DEEP_SLIP, GRIP_SLIP, FACTOR_LIMIT, FACTOR_RATE = 0, 1, 2, 3, 4
SETTLING_TIME, PATIENCE, CUT_OUT_SPEED = 5, 6, 7
FACTOR = N_MOTION  # of the train's memory

SLACK = 0.02
"""Share of the demand that may be missing before it is asked of others. Assumed. [-]"""


@helper
def _move_factor(
    observation: Floats,
    slowing: float,
    is_sliding: bool,
    parameters: Floats,
    memory: Floats,
    train: Floats,
) -> None:
    """Raise the demand factor while demand is missing, lower it while there is too much."""
    n_axles = observation.shape[0]
    force = 0.0
    for i_axle in range(n_axles):
        force += memory[i_axle, FORCE]
    asked = n_axles * demanded_force(observation, slowing, parameters, train)
    change = parameters[FACTOR_RATE] * observation[0, SAMPLE_TIME]
    if not is_sliding or force > asked:
        change = -change
    elif force > (1.0 - SLACK) * asked:
        change = 0.0
    train[FACTOR] = min(max(train[FACTOR] + change, 1.0), max(parameters[FACTOR_LIMIT], 1.0))


def update(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Hold leading axles deep and trailing ones at the small slip, moving demand to the latter."""
    n_axles = observation.shape[0]
    train = memory[n_axles]
    reference, slowing = sense_motion(
        observation, parameters[PATIENCE], parameters[CUT_OUT_SPEED], parameters, memory
    )
    is_sliding = slide_lasts(
        observation, reference, 0.6 * parameters[GRIP_SLIP], parameters[CUT_OUT_SPEED], memory
    )
    signals[SLIDE] = 1.0 if is_sliding else 0.0
    _move_factor(observation, slowing, is_sliding, parameters, memory, train)
    n_deep = int(n_axles * parameters[CLEANING_SHARE]) if is_sliding else 0
    for i_axle in range(n_axles):
        row = observation[i_axle]
        own = memory[i_axle]
        slip, factor = parameters[GRIP_SLIP], train[FACTOR]
        if i_axle < n_deep:
            slip, factor = parameters[DEEP_SLIP], 1.0
        wanted = wanted_pressure(
            slip, reference, slowing, parameters[SETTLING_TIME], parameters, own
        )
        if train[PROBED] == i_axle + 1.0:
            wanted = 0.0
        elif not is_sliding:
            wanted = full_brake(parameters)
        command[i_axle, DEMAND_FACTOR] = factor
        command[i_axle, VALVE] = servo_valve(wanted, factor, row, parameters, own)


CONTROLLER = Controller(
    name="train_coordinated",
    title="leading axles clean the rail, trailing axles grip and take more demand",
    update=update,
    parameters=(
        Parameter(
            "cleaning_share",
            0.25,
            "-",
            0.0,
            0.9,
            "set by hand: of the axles",
            doc="Share of the train's axles, from the front, held in a deep slide.",
        ),
        Parameter(
            "deep_slip",
            0.5,
            "-",
            0.1,
            0.8,
            "set by hand",
            doc="Slip of the leading axles that clean.",
        ),
        Parameter(
            "grip_slip",
            0.04,
            "-",
            0.01,
            0.2,
            "set by hand",
            doc="Slip of the axles that grip, near the peak of the creep curve.",
        ),
        Parameter(
            "factor_limit",
            1.0,
            "-",
            1.0,
            3.0,
            "no more than the equipment's demand_factor_limit",
            is_data=True,
            doc="Largest demand factor asked of axles that still roll.",
        ),
        Parameter(
            "factor_rate",
            0.3,
            "1/s",
            0.05,
            2.0,
            "assumed",
            doc="How fast the demand factor changes.",
        ),
        settling_time(0.2),
        patience(5.0),
        cut_out_speed(),
        *VALVE_DATA,
        *FORCE_DATA,
    ),
    observes=("measured_wheel_speed", "measured_pressure", "brake_demand", "sample_time"),
    n_memory=max(N_MOTION + 1, N_SERVO),
    scope="train",
)

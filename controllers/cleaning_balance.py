"""Let leading axles slide deep as long as the rail they clean repays the force they give up.

Principle: every axle is held at a small slip, close to the peak of its creep curve. When a slide
has begun, the first axles of the train are let into a deep slide for a trial. From then on the rail
forces are weighed every few seconds. Along the deep axles force grows by what each has cleaned for
the next; between the last deep axle and the first gripping one it jumps by what the deep slide
costs. These two numbers give the train's brake force for any number of deep axles:

    sum over deep axles i:      min(D, r F (1 + d i))
    sum over gripping axles i:  min(D, F (1 + d n + g (i - n)))

with D the demanded force, F that of a gripping axle on the rail as it was found, r the share of it
left in a deep slide, d the gain an axle cleaned for, and g the same of a gripping axle (less, in
proportion to its cleaning work). The number n that makes the sum largest is taken. So on film that
cleans and hardly punishes a deep slide most of the train slides, on film that does neither none
does, and where two axles are enough for the rest to bear the whole demand, two do.

Observes: wheel speeds and pressures of the whole train, and demand; brake gain and masses as
vehicle data (a common error of them cancels in the weighing). When every axle slides at once, the
reference runs on the estimated rail forces and on one axle at a time freed as a probe.
Where it stands (`slipbench compare --speed 50mph,75mph,100mph --seeds 4`, nine rails, eleven others
that see no truth): shorter than every other at equal or lower flat risk in 11 of 27 cases; on dry
and wet rail (6 cases) nothing slides and nearly all are equal; in the others somebody is as short
or shorter: `train_coordinated` on damp oxide, `optimum_seeking` on grease, `slip_target` on frost,
`deep_slip` at 50 mph on film that cleans. So it does not win everywhere; it is at most 1.3 %
behind, where the next best is 20 % behind somewhere.
Known weakness: it needs a train-wide bus and takes the gain from axle to axle as a straight line;
the trial costs a little on rail that does not clean; where one film ends and another begins it is
wrong until the next weighing. Deep slides wear treads, which this bench does not count as flats.
This project's own.
"""

from slipbench.compiling.helper import helper
from slipbench.contract import (
    DEMAND_FACTOR,
    SAMPLE_TIME,
    SLIDE,
    VALVE,
    WHEEL_SPEED,
    Controller,
    Floats,
    Parameter,
)
from slipbench.controllers.parts.adhesion import FORCE
from slipbench.controllers.parts.reference import PROBED
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

GRIP_SLIP, DEEP_SLIP, N_TRIED, LARGEST_SHARE, WEIGHING_TIME, TRIAL_TIME = 0, 1, 2, 3, 4, 5
RETRIAL_TIME, SETTLING_TIME, PATIENCE, CUT_OUT_SPEED, LOAD_TRANSFER = 6, 7, 8, 9, 10

MEAN_FORCE, SETTLED_TIME = N_SERVO, N_SERVO + 1  # of an axle's memory
N_DEEP, SLIDE_TIME, SINCE_WEIGHED = N_MOTION, N_MOTION + 1, N_MOTION + 2  # of the train's memory
FOUND_FORCE, TRIAL_AT = N_MOTION + 3, N_MOTION + 4
SETTLED = 1.0
"""A mean force counts once its axle has been at its slip so long. [s]"""

AVERAGING_TIME = 1.0
"""Time constant of the mean forces. [s]"""

BEARS_ALL = 0.95
"""An axle with more than this share of the demanded force is limited by the demand. [-]"""

STAYING_GAIN = 0.003
"""Advantage of the present number of deep axles, against changes for nothing. [-]"""


@helper
def brake_force(
    n_deep: int,
    n_axles: int,
    found: float,
    kept: float,
    gain: float,
    grip_gain: float,
    demanded: float,
) -> float:
    """Return the train's brake force with its first axles in a deep slide. [N]

    Parameters
    ----------
    n_deep, n_axles : int   deep axles, all axles
    found : float           force of a gripping axle on the rail as found. [N]
    kept : float            share of it left in a deep slide. [-]
    gain, grip_gain : float   what a deep and a gripping axle add to those behind. [-]
    demanded : float        rail force that bears the whole demand. [N]
    """
    force = 0.0
    for i_axle in range(n_axles):
        if i_axle < n_deep:
            force += min(demanded, kept * found * (1.0 + gain * i_axle))
        else:
            growth = 1.0 + gain * n_deep + grip_gain * (i_axle - n_deep)
            force += min(demanded, found * growth)
    return force


@helper
def _fit_deep_axles(n_deep: int, demanded: float, memory: Floats) -> tuple[float, float, float]:
    """Fit a line through the settled deep axles' forces; return their number, base [N], gain.

    The number is negative where most of them bear the whole demand: the rail has become good.
    """
    n_bearing = 0
    n, places, forces, squares, products = 0.0, 0.0, 0.0, 0.0, 0.0
    for i_axle in range(n_deep):
        force = memory[i_axle, MEAN_FORCE]
        if force > BEARS_ALL * demanded:
            n_bearing += 1
        elif memory[i_axle, SETTLED_TIME] > SETTLED:
            n += 1.0
            places += i_axle
            forces += force
            squares += i_axle * i_axle
            products += i_axle * force
    if 2 * n_bearing > n_deep:
        return -1.0, 0.0, 0.0
    spread = n * squares - places * places
    if n < 2.0 or spread <= 0.0:
        return n, 0.0, 0.0
    slope = (n * products - places * forces) / spread
    base = max((forces - slope * places) / n, 1.0)
    return n, base, min(max(slope / base, 0.0), 2.0)


@helper
def _force_as_found(
    n_deep: int, gain: float, grip_gain: float, demanded: float, memory: Floats, train: Floats
) -> float:
    """Return what an axle would grip on the rail as found, from the first gripping axles. [N]"""
    force, growth, n = 0.0, 0.0, 0
    for i_axle in range(n_deep, memory.shape[0] - 1):
        is_settled = memory[i_axle, SETTLED_TIME] > SETTLED and train[PROBED] != i_axle + 1.0
        if is_settled and memory[i_axle, MEAN_FORCE] < BEARS_ALL * demanded and n < 4:
            force += memory[i_axle, MEAN_FORCE]
            growth += 1.0 + gain * n_deep + grip_gain * (i_axle - n_deep)
            n += 1
    if n == 0:
        return float(train[FOUND_FORCE])  # all bear the demand: as found before the trial
    return force / growth


@helper
def weigh(demanded: float, parameters: Floats, memory: Floats, train: Floats) -> int:
    """Return how many leading axles should slide deep, from the settled mean forces."""
    n_axles = memory.shape[0] - 1
    n_deep = int(train[N_DEEP])
    n_settled, base, gain = _fit_deep_axles(n_deep, demanded, memory)
    if n_settled < 2.0:
        return 0 if n_settled < 0.0 else n_deep
    grip_gain = gain * parameters[GRIP_SLIP] / (0.6 * parameters[DEEP_SLIP])
    found = _force_as_found(n_deep, gain, grip_gain, demanded, memory, train)
    kept = min(base / max(found, base), 1.0)
    found = base / kept
    grip_gain = gain * parameters[GRIP_SLIP] / (kept * parameters[DEEP_SLIP])
    best, most = n_deep, 0.0
    for n_tried in range(int(n_axles * parameters[LARGEST_SHARE]) + 1):
        force = brake_force(n_tried, n_axles, found, kept, gain, grip_gain, demanded)
        if n_tried == n_deep:
            force *= 1.0 + STAYING_GAIN
        if force > most:
            best, most = n_tried, force
    return best


@helper
def _plan(
    is_sliding: bool,
    demanded: float,
    sample_time: float,
    parameters: Floats,
    memory: Floats,
    train: Floats,
) -> None:
    """Begin a trial, weigh, or go back to gripping, each at its time."""
    if not is_sliding:
        train[N_DEEP] = 0.0
        train[SLIDE_TIME] = 0.0
        train[TRIAL_AT] = parameters[TRIAL_TIME]
        return
    train[SLIDE_TIME] += sample_time
    train[SINCE_WEIGHED] += sample_time
    if train[N_DEEP] == 0.0:
        if train[SLIDE_TIME] > train[TRIAL_AT]:
            n_most = int((memory.shape[0] - 1) * parameters[LARGEST_SHARE])
            train[N_DEEP] = min(float(int(parameters[N_TRIED])), float(n_most))
            train[FOUND_FORCE] = memory[0, MEAN_FORCE]
            train[SINCE_WEIGHED] = 0.0
    elif train[SINCE_WEIGHED] > parameters[WEIGHING_TIME]:
        train[SINCE_WEIGHED] = 0.0
        train[N_DEEP] = float(weigh(demanded, parameters, memory, train))
        if train[N_DEEP] == 0.0:
            train[TRIAL_AT] = train[SLIDE_TIME] + parameters[RETRIAL_TIME]


@helper
def _note_mean_force(
    slip: float, reference: float, load_share: float, is_probed: bool, row: Floats, own: Floats
) -> None:
    """Average an axle's force at the load it has at rest, while it is at its slip."""
    sample_time = row[SAMPLE_TIME]
    slip_speed = reference - row[WHEEL_SPEED]
    is_there = abs(slip_speed - slip * reference) < 0.3 * slip * reference + 0.1
    if is_probed or not is_there:
        own[SETTLED_TIME] = 0.0
    else:
        own[SETTLED_TIME] = min(own[SETTLED_TIME] + sample_time, 100.0)
    share = sample_time / (sample_time + min(own[SETTLED_TIME], AVERAGING_TIME))
    own[MEAN_FORCE] += share * (own[FORCE] / load_share - own[MEAN_FORCE])


def update(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Estimate forces and speed, plan the number of deep axles, hold each axle at its slip."""
    n_axles = observation.shape[0]
    train = memory[n_axles]
    reference, slowing = sense_motion(
        observation, parameters[PATIENCE], parameters[CUT_OUT_SPEED], parameters, memory
    )
    is_sliding = slide_lasts(
        observation, reference, 0.6 * parameters[GRIP_SLIP], parameters[CUT_OUT_SPEED], train
    )
    demanded = demanded_force(observation, slowing, parameters, train)
    _plan(is_sliding, demanded, observation[0, SAMPLE_TIME], parameters, memory, train)
    signals[SLIDE] = 1.0 if is_sliding else 0.0
    for i_axle in range(n_axles):
        row = observation[i_axle]
        own = memory[i_axle]
        slip = parameters[GRIP_SLIP]
        if i_axle < train[N_DEEP]:
            slip = parameters[DEEP_SLIP]
        is_probed = train[PROBED] == i_axle + 1.0
        pitch = min(parameters[LOAD_TRANSFER] * slowing, 0.5)
        load_share = 1.0 + pitch if i_axle % 2 == 0 else 1.0 - pitch
        _note_mean_force(slip, reference, load_share, is_probed, row, own)
        wanted = wanted_pressure(
            slip, reference, slowing, parameters[SETTLING_TIME], row, parameters, own
        )
        if is_probed:
            wanted = 0.0
        elif not is_sliding:
            wanted = full_brake(parameters)
        command[i_axle, DEMAND_FACTOR] = 1.0
        command[i_axle, VALVE] = servo_valve(wanted, 1.0, row, parameters, own)


CONTROLLER = Controller(
    name="cleaning_balance",
    title="leading axles slide deep while the rail they clean repays it",
    update=update,
    parameters=(
        Parameter("grip_slip", 0.04, "-", 0.01, 0.2, "tuned by hand"),
        Parameter("deep_slip", 0.5, "-", 0.1, 0.8, "tuned by hand"),
        Parameter("n_tried", 3.0, "-", 2.0, 8.0, "tuned by hand: axles of the trial"),
        Parameter("largest_share", 0.875, "-", 0.0, 0.95, "tuned by hand: share of axles deep"),
        Parameter("weighing_time", 2.0, "s", 0.5, 10.0, "tuned by hand"),
        Parameter("trial_time", 0.4, "s", 0.2, 5.0, "tuned by hand: slide before the trial"),
        Parameter("retrial_time", 30.0, "s", 5.0, 600.0, "assumed"),
        Parameter("settling_time", 0.2, "s", 0.1, 2.0, "tuned by hand"),
        Parameter("patience", 5.0, "s", 0.5, 20.0, "tuned by hand"),
        Parameter("cut_out_speed", 0.8, "m/s", 0.3, 2.5, "assumed"),
        Parameter(
            "load_transfer",
            0.043,
            "s2/m",
            0.0,
            0.3,
            "vehicle data of the shipped unit",
            "share of its load a bogie's leading axle gains and the other loses, per deceleration",
            is_data=True,
        ),
        *VALVE_DATA,
        *FORCE_DATA,
    ),
    observes=("measured_wheel_speed", "measured_pressure", "brake_demand", "sample_time"),
    n_memory=max(N_MOTION + 5, N_SERVO + 2),
    scope="train",
)

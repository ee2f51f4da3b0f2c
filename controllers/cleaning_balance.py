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

What makes it hold with equipment as it comes. An axle's force is reckoned from its pressure, and
pads differ by 5 per cent and more, as much as two or three axles clean: forces of different axles
cannot be weighed against each other as they are. So while all axles grip, each axle's force is
noted and the line through all of them (what gripping axles clean for each other) is taken out: what
is left is pads and load. In the trial every axle behind is compared with itself before it: there
pads, loads and the level of the rail cancel, and the mean over six axles tells d to a fraction of a
per cent. A trial begins to count once the axles that are to slide deep do so, and while fewer than
two axles behind tell anything it goes on: weighed too early, or by one axle of a worn train, it
took film that cleans for film that does not. Later d follows the slope along the deep axles, the
more the more of them there are.
Speeds, diameters, dead sensors and the delays of the valves are the shared parts' business
(`parts`). Gripping axles are held at a slip speed that grows with the root of the train's speed, as
that of the peak does on every shipped rail (0.12 to 0.17 m/s per root of m/s, computed; that it
holds on others is assumed).

Observes: wheel speeds and pressures of the whole train, and demand; brake gain and masses as
vehicle data (a common error of them cancels in the weighing). When every axle slides at once, the
reference runs on the estimated rail forces and on one axle at a time freed as a probe.
Where it stands: experiment `what_real_equipment_costs`.
Known weakness: it needs a train-wide bus and takes the gain from axle to axle as a straight line;
the trial costs a little on rail that does not clean; a border between films within the first two
seconds of a slide passes for pads; where one film ends and another begins it is wrong until the
next weighing. Deep slides wear treads, which this bench does not count as flats.
This project's own.
"""

import math

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
from slipbench.controllers.parts.wheels import SPEED

GRIP_SLIP, DEEP_SLIP, N_TRIED, LARGEST_SHARE, WEIGHING_TIME, TRIAL_TIME = 0, 1, 2, 3, 4, 5
RETRIAL_TIME, SETTLING_TIME, PATIENCE, CUT_OUT_SPEED, LOAD_TRANSFER = 6, 7, 8, 9, 10

MEAN_FORCE, SETTLED_TIME, FOUND, PADS = N_SERVO, N_SERVO + 1, N_SERVO + 2, N_SERVO + 3  # an axle's
N_DEEP, SLIDE_TIME, SINCE_WEIGHED, TRAVELLED = N_MOTION, N_MOTION + 1, N_MOTION + 2, N_MOTION + 3
FOUND_FORCE, TRIAL_AT, GAIN, KEPT = N_MOTION + 4, N_MOTION + 5, N_MOTION + 6, N_MOTION + 7

SETTLED, PADS_SETTLED = 1.0, 0.5
"""A mean force counts once its axle has been at its slip so long; before a trial, so long. [s]"""

AVERAGING_TIME = 1.0
"""Time constant of the mean forces. [s]"""

BEARS_ALL = 0.95
"""An axle with more than this share of the demanded force is limited by the demand. [-]"""

STAYING_GAIN = 0.005
"""Advantage of the present number of deep axles, against changes for nothing. [-]"""

LARGEST_PADS = 0.3
"""Pads of an axle are not believed to differ by more from the mean. [-]"""

NEAR_REAR = 6
"""So many axles behind the deep ones tell what these clean. [-]"""

WAY_OF_A_TRIAL = 60.0
"""So far the train goes with a number of deep axles before it weighs: cleaned rail has to reach the
axles behind, and their mean forces have to follow. Assumed. [m]"""

GRIP_SPEED, LARGEST_GRIP_SLIP = 10.0, 0.2
"""`grip_slip` is that at this speed [m/s], and at walking pace no more than this [-]."""

GRIP_BAND, DEEP_BAND = 0.7, 0.3
"""An axle is at its slip within this share of it: worn valves swing a gripping one by half. [-]"""

FEWEST_TOLD, PATIENT_UNTIL = 2.0, -3.5
"""A trial is believed by so many axles behind; while none is, `GAIN` counts the weighings from -1
down to here, three more."""

GAIN_SPREAD = 30.0
"""Deep axles' own slope counts half where the sum of squares of their places is this. [-]"""


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
def _is_told(settled: float, demanded: float, own: Floats) -> bool:
    """Return whether an axle's mean force is that of the rail: settled, and not all it is asked."""
    return bool(own[SETTLED_TIME] > settled and own[MEAN_FORCE] < BEARS_ALL * demanded)


@helper
def _line(
    i_first: int, i_end: int, settled: float, demanded: float, memory: Floats
) -> tuple[float, float, float, float]:
    """Fit a line through axles' mean forces, pads set right, over their places.

    Returns
    -------
    (float, float, float, float)   axles told, force at place 0 [N], slope [N], squares of places
    """
    n, places, forces, squares, products = 0.0, 0.0, 0.0, 0.0, 0.0
    for i_axle in range(i_first, i_end):
        own = memory[i_axle]
        if _is_told(settled, demanded, own):
            force = own[MEAN_FORCE] / (1.0 + own[PADS])
            n += 1.0
            places += i_axle
            forces += force
            squares += i_axle * i_axle
            products += i_axle * force
    spread = squares - places * places / max(n, 1.0)
    slope = 0.0
    if n > 1.0 and spread > 0.0:
        slope = (products - places * forces / n) / spread
    return n, (forces - slope * places) / max(n, 1.0), slope, max(spread, 0.0)


@helper
def learn_pads(demanded: float, memory: Floats, train: Floats) -> None:
    """Note what each axle's force is while all grip, and how far it is off the line through all.

    An axle's force is reckoned from its pressure, and pads differ by as much as several axles
    clean: forces of different axles cannot be weighed against each other before that is known. The
    line is what gripping axles clean for each other; what is off it is pads, and load.
    """
    n_axles = memory.shape[0] - 1
    for i_axle in range(n_axles):
        memory[i_axle, PADS] = 0.0
    n, base, slope, _ = _line(0, n_axles, PADS_SETTLED, demanded, memory)
    train[FOUND_FORCE] = base if n > 3.0 else memory[0, MEAN_FORCE]
    for i_axle in range(n_axles):
        own = memory[i_axle]
        own[FOUND] = 0.0
        expected = base + slope * i_axle
        if n > 3.0 and expected > 0.0 and _is_told(PADS_SETTLED, demanded, own):
            own[FOUND] = own[MEAN_FORCE]
            pads = own[MEAN_FORCE] / expected - 1.0
            own[PADS] = min(max(pads, -LARGEST_PADS), LARGEST_PADS)


@helper
def gain_of_trial(n_deep: int, demanded: float, memory: Floats) -> float:
    """Return what a deep axle adds to those behind: their force over what each had before. [-]

    Each is compared with itself, so pads and loads cancel. One that bears the whole demand by now
    tells a least value; negative where too few tell anything.
    """
    grown, n = 0.0, 0.0
    for i_axle in range(n_deep, min(n_deep + NEAR_REAR, memory.shape[0] - 1)):
        own = memory[i_axle]
        if own[FOUND] > 0.0 and own[SETTLED_TIME] > SETTLED:
            grown += own[MEAN_FORCE] / own[FOUND] - 1.0
            n += 1.0
        elif own[FOUND] > 0.0 and own[MEAN_FORCE] > BEARS_ALL * demanded:
            grown += max(demanded / own[FOUND] - 1.0, 0.0)
            n += 1.0
    if n < min(FEWEST_TOLD, memory.shape[0] - 1.0 - n_deep):
        return -1.0
    return max(grown / (n * n_deep), 0.0)


@helper
def weigh(demanded: float, parameters: Floats, memory: Floats, train: Floats) -> int:
    """Return how many leading axles should slide deep, from the settled mean forces."""
    n_axles = memory.shape[0] - 1
    n_deep = int(train[N_DEEP])
    n_bearing = 0
    for i_axle in range(n_deep):
        if memory[i_axle, MEAN_FORCE] > BEARS_ALL * demanded:
            n_bearing += 1
    if 2 * n_bearing > n_deep:
        return 0  # the rail has become good
    n_told, base, slope, spread = _line(0, n_deep, SETTLED, demanded, memory)
    if n_told < 2.0:
        return n_deep
    gain = min(max(slope / max(base, 1.0), 0.0), 2.0)
    if train[GAIN] < 0.0:
        by_rear = gain_of_trial(n_deep, demanded, memory)
        if by_rear < 0.0 and train[GAIN] > PATIENT_UNTIL:
            train[GAIN] -= 1.0
            return n_deep
        gain = by_rear if by_rear >= 0.0 else gain
    else:
        gain = train[GAIN] + spread / (spread + GAIN_SPREAD) * (gain - train[GAIN])
    places = 0.0
    for i_axle in range(n_deep):
        if _is_told(SETTLED, demanded, memory[i_axle]):
            places += i_axle
    # the line through the middle of the deep axles with that gain
    base = (n_told * base + slope * places) / (n_told + gain * places)
    kept, found = _kept_force(n_deep, base, gain, demanded, parameters, memory, train)
    train[GAIN], train[KEPT] = gain, kept
    grip_gain = gain * _grip_share(parameters) / kept
    best, most = n_deep, 0.0
    for n_tried in range(int(n_axles * parameters[LARGEST_SHARE]) + 1):
        force = brake_force(n_tried, n_axles, found, kept, gain, grip_gain, demanded)
        if n_tried == n_deep:
            force *= 1.0 + STAYING_GAIN
        if force > most:
            best, most = n_tried, force
    return best


@helper
def _grip_share(parameters: Floats) -> float:
    """Return the work of a gripping axle over that of a deep one of the same force. [-]"""
    return float(min(parameters[GRIP_SLIP] / parameters[DEEP_SLIP], 1.0))


@helper
def _kept_force(
    n_deep: int,
    base: float,
    gain: float,
    demanded: float,
    parameters: Floats,
    memory: Floats,
    train: Floats,
) -> tuple[float, float]:
    """Return the share of its force an axle keeps in a deep slide, and the force gripping. [-], [N]

    On the rail as found; from the axles that grip, or, where all bear the demand, from before.
    """
    grip_gain = gain * _grip_share(parameters) / max(train[KEPT], 0.3)
    force, growth = 0.0, 0.0
    for i_axle in range(n_deep, memory.shape[0] - 1):
        own = memory[i_axle]
        if _is_told(SETTLED, demanded, own) and train[PROBED] != i_axle + 1.0:
            force += own[MEAN_FORCE] / (1.0 + own[PADS])
            growth += 1.0 + gain * n_deep + grip_gain * (i_axle - n_deep)
    if growth > 0.0:
        found = force / growth
    elif train[KEPT] > 0.0:
        found = base / train[KEPT]
    else:
        found = train[FOUND_FORCE]
    kept = min(max(base / max(found, 1.0), 0.05), 1.0)
    return kept, base / kept


@helper
def _has_begun(demanded: float, memory: Floats, train: Floats) -> bool:
    """Return whether most axles that are to slide deep do so, or bear all that is demanded. [N]"""
    n_there = 0.0
    for i_axle in range(int(train[N_DEEP])):
        own = memory[i_axle]
        if own[SETTLED_TIME] > 0.0 or own[MEAN_FORCE] > BEARS_ALL * demanded:
            n_there += 1.0
    return bool(2.0 * n_there > train[N_DEEP])


@helper
def _plan(
    is_sliding: bool,
    demanded: float,
    way: float,
    sample_time: float,
    parameters: Floats,
    memory: Floats,
    train: Floats,
) -> None:
    """Begin a trial, weigh, or go back to gripping, each at its time. [way of a sample: m]"""
    if not is_sliding:
        train[N_DEEP] = 0.0
        train[SLIDE_TIME] = 0.0
        train[TRIAL_AT] = parameters[TRIAL_TIME]
        return
    train[SLIDE_TIME] += sample_time
    train[SINCE_WEIGHED] += sample_time
    if _has_begun(demanded, memory, train):
        train[TRAVELLED] += way
    if train[N_DEEP] == 0.0:
        if train[SLIDE_TIME] > train[TRIAL_AT]:
            n_most = int((memory.shape[0] - 1) * parameters[LARGEST_SHARE])
            train[N_DEEP] = min(float(int(parameters[N_TRIED])), float(n_most))
            learn_pads(demanded, memory, train)
            train[GAIN], train[KEPT] = -1.0, 0.0
            train[SINCE_WEIGHED], train[TRAVELLED] = 0.0, 0.0
    elif train[SINCE_WEIGHED] > parameters[WEIGHING_TIME] and train[TRAVELLED] > WAY_OF_A_TRIAL:
        train[SINCE_WEIGHED], train[TRAVELLED] = 0.0, 0.0
        train[N_DEEP] = float(weigh(demanded, parameters, memory, train))
        if train[N_DEEP] == 0.0:
            train[TRIAL_AT] = train[SLIDE_TIME] + parameters[RETRIAL_TIME]


@helper
def grip_slip(reference: float, parameters: Floats) -> float:
    """Return the slip at which an axle grips: near the peak of the creep curve at any speed. [-]

    The slip speed of the peak grows with the root of the train's speed, where friction falls with
    slip speed. [reference: train's speed, m/s]
    """
    slip = parameters[GRIP_SLIP] * math.sqrt(GRIP_SPEED / max(reference, 1.0))
    return float(min(slip, LARGEST_GRIP_SLIP))


@helper
def _note_mean_force(
    slip: float,
    reference: float,
    load_share: float,
    is_probed: bool,
    band: float,
    sample_time: float,
    own: Floats,
) -> None:
    """Average an axle's force at the load it has at rest, while it is at its slip."""
    slip_speed = reference - own[SPEED]
    is_there = abs(slip_speed - slip * reference) < band * slip * reference + 0.1
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
    sample_time = observation[0, SAMPLE_TIME]
    train = memory[n_axles]
    reference, slowing = sense_motion(
        observation, parameters[PATIENCE], parameters[CUT_OUT_SPEED], parameters, memory
    )
    grip = grip_slip(reference, parameters)
    is_sliding = slide_lasts(observation, reference, 0.6 * grip, parameters[CUT_OUT_SPEED], memory)
    demanded = demanded_force(observation, slowing, parameters, train)
    way = reference * sample_time
    _plan(is_sliding, demanded, way, sample_time, parameters, memory, train)
    signals[SLIDE] = 1.0 if is_sliding else 0.0
    for i_axle in range(n_axles):
        row = observation[i_axle]
        own = memory[i_axle]
        slip, band = grip, GRIP_BAND
        if i_axle < train[N_DEEP]:
            slip, band = parameters[DEEP_SLIP], DEEP_BAND
        is_probed = train[PROBED] == i_axle + 1.0
        pitch = min(parameters[LOAD_TRANSFER] * slowing, 0.5)
        load_share = 1.0 + pitch if i_axle % 2 == 0 else 1.0 - pitch
        _note_mean_force(slip, reference, load_share, is_probed, band, sample_time, own)
        wanted = wanted_pressure(
            slip, reference, slowing, parameters[SETTLING_TIME], parameters, own
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
        Parameter(
            "grip_slip",
            0.05,
            "-",
            0.01,
            0.2,
            "set by hand",
            doc="Slip of the axles that grip, near the peak of the creep curve.",
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
            "n_tried",
            3.0,
            "-",
            2.0,
            8.0,
            "set by hand: axles of the trial",
            doc="Axles let into a deep slide for the trial.",
        ),
        Parameter(
            "largest_share",
            0.875,
            "-",
            0.0,
            0.95,
            "set by hand: share of axles deep",
            doc="Largest share of the train's axles that may slide deep.",
        ),
        Parameter(
            "weighing_time",
            2.0,
            "s",
            0.5,
            10.0,
            "set by hand",
            doc="Time between two weighings of the rail forces.",
        ),
        Parameter(
            "trial_time",
            1.5,
            "s",
            0.2,
            5.0,
            "set by hand: slide before the trial",
            doc="Time from the beginning of a slide to the first trial.",
        ),
        Parameter(
            "retrial_time",
            30.0,
            "s",
            5.0,
            600.0,
            "assumed",
            doc="Time after which a trial is repeated where none slides deep.",
        ),
        settling_time(0.2),
        patience(5.0),
        cut_out_speed(),
        Parameter(
            "load_transfer",
            0.043,
            "s2/m",
            0.0,
            0.3,
            "vehicle data of the shipped unit",
            "Share of its load a bogie's leading axle gains and the other loses, per m/s2.",
            is_data=True,
        ),
        *VALVE_DATA,
        *FORCE_DATA,
    ),
    observes=("measured_wheel_speed", "measured_pressure", "brake_demand", "sample_time"),
    n_memory=max(N_MOTION + 8, N_SERVO + 4),
    scope="train",
)

"""Codes, sizes and thresholds that the kernel and those who pack for it share."""

QUEUE_LENGTH = 16
"""Valve commands on their way, or samples not yet taken, at once (delay over sample time + 1)."""

N_KEPT = 64
"""What was asked of a drive, kept for its dead time, at so many moments."""

N_LANES = 16
"""Axles moved together at most."""

AT_TIME, AT_SPEED, AT_DISTANCE, AFTER = 0, 1, 2, 3
"""What releases an entry of the handle programme; `AFTER` counts from the entry before."""

RUNNING, STOPPED, TOO_FAR, TOO_LONG, BROKEN, TOO_MANY_PIECES = 0, 1, 2, 3, 4, 5
"""How a stop stands or ended."""

MOST_STEP_PIECES = 20_000
"""No axle needs so many pieces of time for one step; a step that takes them ends the stop."""

POLACH, TRACTION_TABLE, MEASURED_CURVE = 0, 1, 2
"""How the creep law is evaluated."""

N_TABLE = 401
"""Nodes of a traction table: the origin and 400 on a logarithmic grid."""

N_CURVE_SPEEDS, N_CURVE = 8, 241
"""Most train speeds of a measured curve, and its nodes of creepage."""

RAIL_MEMORY, CONTACT_ONLY, RAIL_AND_CONTACT = 0, 1, 2
"""Cleaning laws: the rail remembers for the wheels behind; the contact cleans only itself; both."""

FIXED_RATE, SPEED_PROPORTIONAL = 0, 1
"""How a sander doses."""

DISC, CAST_IRON, COMPOSITE = 0, 1, 2
"""Kinds of friction pair."""

RAMPS, FLOW = 0, 1
"""How cylinder pressure moves: at given rates, or by ISO 6358 flow from a reservoir."""

(
    SENSOR_DEAD,
    SENSOR_STUCK,
    SENSOR_NOISY,
    VALVE_STUCK_FILL,
    VALVE_STUCK_HOLD,
    VALVE_STUCK_VENT,
    VENT_BLOCKED,
    CONTROLLER_DEAD,
    SUPPLY_ISOLATED,
    LOAD_TARE,
    LOAD_CRUSH,
    SANDER_EMPTY,
    CAR_UNBRAKED,
    CONTROL_SUPPLY_LOST,
    CONTROL_WIRE_BROKEN,
    DYNAMIC_LOST,
    TRACK_LOST,
    LINE_LOST,
) = range(18)
"""Kinds of fault."""

SLIDE_RESTORE, SLIDE_CUT_OUT, SLIDE_HAND_OVER = 0, 1, 2
"""What a drive's own slip control does on a slide."""

MAGNETIC, EDDY_CURRENT = 0, 1
"""Kinds of track brake."""

HOLD_PROGRAMME, EASE_ON_ACTIVITY = 0, 1
"""What the driver does beyond the handle programme: nothing, or ease when wheels slide."""

JERK_TIME = 0.5
"""Acceleration is smoothed over this before its rate of change is taken (assumed). [s]"""

PITCH_TIME = 0.25
"""Body and bogie pitch follow the train's acceleration with this time constant (assumed). [s]"""

N_LOCK_LOG = 4000
"""Locks kept in the log; more are counted only."""

N_LOCK_TRAIL = 20000
"""Samples of all locks together; a lock that finds no room keeps its start, its end and what it had
until then."""

FAST_FALL, NEAR_LOCK = 3.0, 0.2
"""A rim that slows faster than any train is about to lock [m/s2], and then does this much [m/s]."""

FIRST_TRAIL, TRAIL_GROWTH = 0.001, 1.15
"""A running lock is sampled after this time, and then whenever it has grown by this factor. [s]

Its peak temperature comes some 10 to 20 ms into the lock.
"""

CROWDED_TRAIL, CROWDED_GROWTH = 0.7, 1.5
"""From this share of the trail on samples are spared: a lock has to grow by this factor."""

SPEEDOMETER_TOLERANCE = 2.2352
"""The cab's speedometer counts as wrong when it is off by more: five miles an hour (assumed).
[m/s]"""

SLIDE_SIGNAL = 0
"""Column of the signals on which sanders trigger."""

SENSOR = (
    *("rim_travel", "next_pulse", "n_pulses"),
    *("pulse_time", "sampled_pulse_time", "measured_speed"),
    *("pulse_shift", "deviate"),
)
"""What the state of a sensor is that loses no pulse meanwhile."""

TEETH = (
    *("pulse_pitch", "pulses_per_metre", "assumed_pitch"),
    *("pitch_error", "turns_per_metre", "pitch_phase"),
)
"""What its toothed wheel is like."""

ADHESION_WORKS = ("used", "usable", "excess", "driven", "inertia", "demanded", "peak", "load")
"""Works of the rail force, its parts and its bounds over distance, axle by axle."""

SLIDE_BANDS, SPEED_BANDS = 6, 10
"""Rows of the slide histogram: creepage up to .05, .1, .2, .4, .8 and above; columns: speed."""

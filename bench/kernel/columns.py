"""Numbers and names that the kernel and the strategies share. No compiled code in here."""

FILL, HOLD, VENT = 0, 1, 2
"""Valve positions. Fill is the rest position: it connects the cylinder to the demanded pressure."""

OBSERVED = (
    "measured_wheel_speed",
    "measured_pressure",
    "brake_demand",
    "sample_time",
    "dynamic_force",
    "dynamic_demand",
    "train_speed",
    "wheel_speed",
    "peak_force",
    "peak_creepage",
    "demanded_force",
    "rotating_mass",
    "train_acceleration",
)
"""Columns of the observation, in order. `slipbench.contract` says what each means."""

(
    MEASURED_WHEEL_SPEED,
    MEASURED_PRESSURE,
    BRAKE_DEMAND,
    SAMPLE_TIME,
    DYNAMIC_FORCE,
    DYNAMIC_DEMAND,
    TRAIN_SPEED,
    WHEEL_SPEED,
    PEAK_FORCE,
    PEAK_CREEPAGE,
    DEMANDED_FORCE,
    ROTATING_MASS,
    TRAIN_ACCELERATION,
) = range(len(OBSERVED))

VALVE, DEMAND_FACTOR, DYNAMIC_FACTOR = 0, 1, 2
"""Columns of the command; the last only for a strategy that commands the dynamic brake."""

N_MEASURED = 6
"""The first columns are what fitted equipment sees; the rest is truth."""

TRACED_TRAIN = (
    "time",
    "distance",
    "train_speed",
    "demand",
    "handle",
    "isolation_left",
    "reservoir",
    "track_force",
)
"""Columns of the train's traces; their numbers have the same names, led by `TRAIN_`."""

(
    TRAIN_TIME,
    TRAIN_DISTANCE,
    TRAIN_TRAIN_SPEED,
    TRAIN_DEMAND,
    TRAIN_HANDLE,
    TRAIN_ISOLATION_LEFT,
    TRAIN_RESERVOIR,
    TRAIN_TRACK_FORCE,
) = range(len(TRACED_TRAIN))

TRACED_AXLE = (
    "wheel_speed",
    "pressure",
    "brake_force",
    "rail_force",
    "friction",
    "usable_force",
    "valve",
    "measured_wheel_speed",
    "contact_energy",
    "dynamic_force",
)
"""Columns of an axle's traces; their numbers are led by `AXLE_`."""

(
    AXLE_WHEEL_SPEED,
    AXLE_PRESSURE,
    AXLE_BRAKE_FORCE,
    AXLE_RAIL_FORCE,
    AXLE_FRICTION,
    AXLE_USABLE_FORCE,
    AXLE_VALVE,
    AXLE_MEASURED_WHEEL_SPEED,
    AXLE_CONTACT_ENERGY,
    AXLE_DYNAMIC_FORCE,
) = range(len(TRACED_AXLE))

LOCK_COLUMNS = (
    "axle",  # from 0
    "start_time",
    "duration",
    "start_speed",
    "end_speed",
    "start_distance",  # of the axle [m]
    "locked_distance",
    "contact_energy",  # both wheels [J]
    "rim_travel",  # where the wheel stood still, rim travel since the start [m]
    "wheel_load",
)
"""Columns of the lock log; their numbers are led by `LOCK_`."""

(
    LOCK_AXLE,
    LOCK_START_TIME,
    LOCK_DURATION,
    LOCK_START_SPEED,
    LOCK_END_SPEED,
    LOCK_START_DISTANCE,
    LOCK_LOCKED_DISTANCE,
    LOCK_CONTACT_ENERGY,
    LOCK_RIM_TRAVEL,
    LOCK_WHEEL_LOAD,
) = range(len(LOCK_COLUMNS))

TRAIL_COLUMNS = (
    "lock",  # row of the lock log
    "elapsed",  # since the lock began [s]
    "locked_distance",  # so far [m]
    "contact_energy",  # so far, both wheels [J]
    "train_speed",
)
"""Columns of the lock trail: how locks went on between start and end; numbers led by `TRAIL_`."""

(
    TRAIL_LOCK,
    TRAIL_ELAPSED,
    TRAIL_LOCKED_DISTANCE,
    TRAIL_CONTACT_ENERGY,
    TRAIL_TRAIN_SPEED,
) = range(len(TRAIL_COLUMNS))

FAULT_COLUMNS = ("time", "train_speed", "distance")
"""Columns of the fault log: when each acted, time negative if it never did; led by `FAULT_`."""

FAULT_TIME, FAULT_TRAIN_SPEED, FAULT_DISTANCE = range(len(FAULT_COLUMNS))

"""Numbers and names that the kernel and the strategies share. No compiled code in here."""

FILL, HOLD, VENT = 0, 1, 2
"""Valve positions. Fill is the rest position: it connects the cylinder to the demanded pressure."""

OBSERVED = (
    "measured_wheel_speed",
    "measured_pressure",
    "brake_demand",
    "sample_time",
    "train_speed",
    "wheel_speed",
    "peak_force",
    "peak_creepage",
    "demanded_force",
    "rotating_mass",
    "train_acceleration",
)
"""Columns of the observation, in order. `slipbench.contract` says what each means."""

N_MEASURED = 4
"""The first columns are what fitted equipment sees; the rest is truth."""

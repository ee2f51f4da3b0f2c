"""What a vehicle and its slip control exchange: units and words, for all that is written."""

from __future__ import annotations

from collections.abc import Mapping

from slipbench.exchange.outline import INTEGER, REAL

SEEN: Mapping[str, tuple[str, str]] = {
    "measured_wheel_speed": ("m/s", "rim speed as its sensor gives it"),
    "measured_pressure": ("Pa", "brake cylinder, gauge, as its transducer gives it"),
    "brake_demand": ("", "demand acting now over the emergency demand"),
    "dynamic_force": ("N", "what the axle's drive gives at the rim; 0 without one"),
    "dynamic_demand": ("N", "what it would give, had no slip control taken off"),
    "sample_time": ("s", "time between two samples"),
}
"""Columns of the observation that fitted equipment sees: unit and meaning."""

COMMANDS: Mapping[str, tuple[str, float, str]] = {
    "valve": (INTEGER, 0.0, "0 fill (the rest), 1 hold, 2 vent"),
    "demand_factor": (REAL, 1.0, "share of the demanded pressure"),
    "dynamic_factor": (REAL, 1.0, "share of the dynamic brake's demand"),
}
"""Columns of the command, in their order: kind, rest and meaning; the last is not always there."""

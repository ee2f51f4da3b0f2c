"""What a strategy must know of its vehicle where it reckons with forces and valve times.

A shared part, no strategy. The two blocks stand last in a strategy's parameters, valves before
forces, so their places count from the end. They are data, not for tuning; another unit needs its
own. Sources: the shipped unit's own values (memory or assumed there), averaged over its axles.
"""

from slipbench.contract import Parameter

FULL_PRESSURE, FILL_RATE, VENT_RATE, FILL_DELAY, VENT_DELAY = -8, -7, -6, -5, -4
"""Places of `VALVE_DATA` in the parameters, when `FORCE_DATA` follows."""

BRAKE_GAIN, ROTATING_MASS, AXLE_MASS = -3, -2, -1
"""Places of `FORCE_DATA` in the parameters."""

_SOURCE = "vehicle data of the shipped unit"


def _data(name: str, value: float, unit: str, low: float, high: float, doc: str) -> Parameter:
    return Parameter(name, value, unit, low, high, _SOURCE, doc, is_data=True)


VALVE_DATA = (
    _data("full_pressure", 3e5, "Pa", 2e4, 1e6, "Cylinder pressure at emergency demand, laden."),
    _data("fill_rate", 5e5, "Pa/s", 1e4, 1e7, "Rise of cylinder pressure while its valve fills."),
    _data("vent_rate", 6.5e5, "Pa/s", 1e4, 1e7, "Fall while its valve vents, at full pressure."),
    _data("fill_delay", 0.04, "s", 0.0, 1.0, "From a fill command to its effect."),
    _data("vent_delay", 0.03, "s", 0.0, 1.0, "From a vent command to its effect."),
)

FORCE_DATA = (
    _data(
        "brake_gain",
        0.05495,
        "N/Pa",
        1e-4,
        1.0,
        "Rim force of an axle for a pascal, mean over axles.",
    ),
    _data(
        "rotating_mass", 737.0, "kg", 10.0, 5e3, "Mass that stands for an axle's rotation, mean."
    ),
    _data(
        "axle_mass", 11112.0, "kg", 1e3, 4e4, "Mass an axle carries, tare, and its rotating mass."
    ),
)

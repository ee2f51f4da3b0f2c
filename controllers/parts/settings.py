"""Parameters that several strategies have: name, unit, bounds and meaning; defaults are their own.

A shared part, no strategy. Where a default comes from stands with the strategy, since each was set
for it.
"""

from slipbench.contract import Parameter

BY_HAND = "set by hand"
"""Mark of a default that no tuning command gave."""


def cut_out_speed(default: float = 0.8, source: str = "assumed") -> Parameter:
    """Return the speed below which a strategy leaves the brake alone. [m/s]"""
    return Parameter(
        "cut_out_speed",
        default,
        "m/s",
        0.3,
        2.5,
        source,
        doc="Reference speed below which the strategy leaves the brake alone.",
    )


def patience(default: float, low: float = 0.5, high: float = 20.0) -> Parameter:
    """Return how long a reference may do without a rolling wheel, set by hand. [s]"""
    return Parameter(
        "patience",
        default,
        "s",
        low,
        high,
        BY_HAND,
        doc=(
            "Time without a rolling wheel (at 8 m/s and above) before a probe axle is "
            "freed to found the reference."
        ),
    )


def settling_time(default: float, low: float = 0.1, high: float = 2.0) -> Parameter:
    """Return the time in which a wheel is to come to its slip, set by hand. [s]"""
    return Parameter(
        "settling_time",
        default,
        "s",
        low,
        high,
        BY_HAND,
        doc="Time in which a wheel is to come to its slip; the wanted pressure follows from it.",
    )


def slowing_limit(default: float = 1.2, source: str = "1.2 to 2 from memory, weak") -> Parameter:
    """Return the deceleration a train is believed capable of. [m/s2]"""
    return Parameter(
        "slowing_limit",
        default,
        "m/s2",
        0.8,
        4.0,
        source,
        doc=(
            "Deceleration a train is believed capable of at emergency demand; the "
            "reference falls no faster."
        ),
    )


def target_slip(default: float, low: float, high: float) -> Parameter:
    """Return the slip each axle is held at, set by hand. [-]"""
    return Parameter(
        "target_slip",
        default,
        "-",
        low,
        high,
        BY_HAND,
        doc="Slip each axle is held at, as a share of the train's speed.",
    )

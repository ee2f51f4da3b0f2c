"""A driver who eases the brake when the wheels slide, from what a cab shows and nothing else.

The cab shows the speed of the leading bogie's axles and the gauge of its cylinders, and lets its
valves be heard. Everything else is hidden: the function takes only these.
"""

from typing import Any

from slipbench.compiling.jit import part
from slipbench.kernel.records import Driver, TrainState

SPEED_SPREAD, GAUGE, HEARD, GAUGE_EXPECTED = 0, 1, 2, 3
"""What the cab shows: spread of the leading bogie's measured speeds [m/s], lowest cylinder gauge
of that bogie [Pa], valves heard venting [-], the gauge of a brake left alone [Pa]."""

N_CAB = 4

_NOTICED_SPREAD = 2.0
"""A speedometer that differs from what the driver feels by this is noticed (assumed). [m/s]"""


@part
def is_activity(cab: Any, driver: Driver) -> bool:
    """Return whether the cab shows slip control at work."""
    if cab[HEARD] > 0.0 or cab[SPEED_SPREAD] > _NOTICED_SPREAD:
        return True
    return cab[GAUGE] < (1.0 - driver.pressure_drop) * cab[GAUGE_EXPECTED]


@part
def decide(time: float, cab: Any, driver: Driver, train_state: TrainState) -> float:
    """Return the handle position the driver selects now, -1 for leaving it.

    Parameters
    ----------
    time : float          [s]
    cab : (N_CAB,)        what the cab shows now, a tuple or an array
    driver : DRIVER       reaction time, calm time, positions
    train_state : TRAIN_STATE   the driver's memory: `activity_since`, `activity_last`,
                                `eased_since`

    Notes
    -----
    Activity that lasts for the reaction time makes the driver ease; calm for the calm time, and the
    reaction time on top, makes the driver brake fully again. Assumed: no measurement of drivers.
    """
    if is_activity(cab, driver):
        train_state.activity_last = time
        if train_state.activity_since < 0.0:
            train_state.activity_since = time
    elif train_state.activity_since >= 0.0 and time - train_state.activity_last > 0.5:
        train_state.activity_since = -1.0
    if train_state.eased_since < 0.0:
        if (
            train_state.activity_since >= 0.0
            and time - train_state.activity_since >= driver.reaction_time
        ):
            train_state.eased_since = time
            train_state.n_eased += 1
            return driver.eased_position
        return -1
    calm = time - max(train_state.activity_last, train_state.eased_since)
    if calm >= driver.calm_time + driver.reaction_time:
        train_state.eased_since = -1.0
        train_state.activity_since = -1.0
        return driver.full_position
    return -1

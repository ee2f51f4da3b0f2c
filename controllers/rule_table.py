"""Look the valve's duty up in a table of graded rules over slip and rim acceleration.

Principle: each axle's slip is graded (none, small, right, large, huge, in shares of a target) and
so is its rim acceleration (slows hard, slows, steady, gains, gains hard). Every pair of grades has
a rule: how much to fill or to vent. Between grades the rules are mixed by how near each is, as in
fuzzy control with triangular grades, and the mix is given as a valve pulse. (Fuzzy creep control
for traction: Tian and others, WIT Transactions on the Built Environment 135, 2014, abstract only.
The rules here are this project's.)
Observes: measured wheel speeds of its own vehicle, and demand. When every axle slides at once, the
reference is founded anew by a probe axle.
Known weakness: twenty-five rules from judgement; one slip target for every rail; near standstill
rim acceleration comes in steps.
"""

from slipbench.compiling.helper import helper
from slipbench.contract import (
    DEMAND_FACTOR,
    FILL,
    SAMPLE_TIME,
    SLIDE,
    VALVE,
    VENT,
    Controller,
    Floats,
    Parameter,
)
from slipbench.controllers.parts.pulses import end_vent, pulse
from slipbench.controllers.parts.reference import N_STATE, PROBED, probed_axle
from slipbench.controllers.parts.settings import cut_out_speed, patience, slowing_limit, target_slip
from slipbench.controllers.parts.wheels import ACCELERATION, N_WHEEL, SPEED, sense_wheels

TARGET_SLIP, ACCELERATION_SCALE, PULSE_PERIOD = 0, 1, 2
SLOWING_LIMIT, PATIENCE, CUT_OUT_SPEED = 3, 4, 5
PULSE_TIME, VENTED = N_WHEEL, N_WHEEL + 1  # of an axle's memory

SLIP_GRADES = (0.3, 0.6, 1.0, 1.6, 3.0)
"""None, small, right, large, huge; in targets. [-]"""

ACCELERATION_GRADES = (-3.0, -1.0, 0.0, 1.0, 3.0)
"""Slows hard, slows, steady, gains, gains hard; in `acceleration_scale`. [-]"""

RULES = (
    (0.2, 1.0, 1.0, 1.0, 1.0),
    (-0.5, 0.0, 0.4, 0.6, 1.0),
    (-1.0, -0.4, 0.0, 0.2, 0.5),
    (-1.0, -0.8, -0.4, 0.0, 0.0),
    (-1.0, -1.0, -1.0, -0.3, 0.0),
)
"""Duty, 1 filling, -1 venting: a row a grade of slip, a column a grade of acceleration. [-]"""

LEAST_SLIP_SPEED = 0.2
"""Target's slip speed at least: speeds come in steps at walking pace. [m/s]"""

LEAST_SLIDE = 0.1
"""A wheel so little slower than the reference is taken to roll. [m/s]"""


@helper
def _place(value: float, grades: tuple[float, ...]) -> tuple[int, float]:
    """Return the lower of the two grades a value lies between, and the share of the upper."""
    lower = 0
    for i_grade in range(1, 4):
        if value >= grades[i_grade]:
            lower = i_grade
    share = (value - grades[lower]) / (grades[lower + 1] - grades[lower])
    return lower, min(max(share, 0.0), 1.0)


@helper
def mixed_rule(slip: float, acceleration: float) -> float:
    """Return the duty for a slip in targets and an acceleration in its scale. [-]"""
    row, up = _place(slip, SLIP_GRADES)
    column, right = _place(acceleration, ACCELERATION_GRADES)
    low = (1.0 - right) * RULES[row][column] + right * RULES[row][column + 1]
    high = (1.0 - right) * RULES[row + 1][column] + right * RULES[row + 1][column + 1]
    return (1.0 - up) * low + up * high


def update(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Grade each axle's slip and acceleration and pulse its valve by the rules."""
    n_axles = observation.shape[0]
    sample_time = observation[0, SAMPLE_TIME]
    state = memory[n_axles]
    sense_wheels(observation, memory)
    reference = probed_axle(
        observation,
        parameters[SLOWING_LIMIT],
        parameters[PATIENCE],
        parameters[CUT_OUT_SPEED],
        memory,
    )
    target = max(parameters[TARGET_SLIP] * reference, LEAST_SLIP_SPEED)
    signals[SLIDE] = 0.0
    for i_axle in range(n_axles):
        own = memory[i_axle]
        speed = own[SPEED]
        slip = (reference - speed) / target
        wanted = mixed_rule(slip, own[ACCELERATION] / parameters[ACCELERATION_SCALE])
        valve = pulse(
            wanted, parameters[PULSE_PERIOD], sample_time, own[PULSE_TIME : PULSE_TIME + 1]
        )
        if state[PROBED] == i_axle + 1.0:
            valve = VENT
        elif reference < parameters[CUT_OUT_SPEED] or reference - speed < LEAST_SLIDE:
            valve = FILL
        elif slip > SLIP_GRADES[1]:
            signals[SLIDE] = 1.0
        command[i_axle, DEMAND_FACTOR] = 1.0
        command[i_axle, VALVE] = end_vent(valve, own[SPEED], sample_time, own[VENTED : VENTED + 1])


CONTROLLER = Controller(
    name="rule_table",
    title="graded rules over slip and rim acceleration",
    update=update,
    parameters=(
        target_slip(0.1, 0.02, 0.6),
        Parameter(
            "acceleration_scale",
            1.0,
            "m/s2",
            0.5,
            8.0,
            "set by hand",
            doc="Rim acceleration that counts as hard; the grades lie at shares of it.",
        ),
        Parameter(
            "pulse_period",
            0.05,
            "s",
            0.01,
            0.5,
            "set by hand",
            doc=(
                "Length of one valve pulse with its pause; within it the valve acts for "
                "the wanted share."
            ),
        ),
        slowing_limit(),
        patience(3.0, 0.2, 10.0),
        cut_out_speed(1.0),
    ),
    observes=("measured_wheel_speed", "brake_demand", "sample_time"),
    n_memory=max(N_STATE, N_WHEEL + 2),
)

"""Hold each axle at the peak of the creep curve it meets, knowing everything.

Principle: the brake torque is set, at once and without valves, so that the wheel moves to the slip
of the peak and stays there. Uses the truth, so it is ranked apart: it shows what the unconditioned
or momentary rail has to give, not the shortest stop. Where sliding cleans the rail, sliding deeper
can stop shorter.
Observes: the true peak, speeds and demand.
"""

from slipbench.contract import COLUMN, DEMAND_FACTOR, FILL, VALVE, Controller, Floats, Parameter

SETTLING_TIME = 0
TRAIN_SPEED = COLUMN["train_speed"]
TRUE_WHEEL_SPEED = COLUMN["wheel_speed"]
PEAK_FORCE = COLUMN["peak_force"]
PEAK_CREEPAGE = COLUMN["peak_creepage"]
DEMANDED_FORCE = COLUMN["demanded_force"]
ROTATING_MASS = COLUMN["rotating_mass"]
TRAIN_ACCELERATION = COLUMN["train_acceleration"]


def update(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Set the torque that brings each wheel to its peak within the settling time."""
    for i_axle in range(observation.shape[0]):
        row = observation[i_axle]
        # a flat curve has its peak at a locked wheel: half slip is as good and rolls
        creepage = min(row[PEAK_CREEPAGE], 0.5)
        target = row[TRAIN_SPEED] * (1.0 - creepage)
        wanted = row[TRAIN_ACCELERATION] * (1.0 - creepage) + (
            target - row[TRUE_WHEEL_SPEED]
        ) / max(parameters[SETTLING_TIME], 1e-3)
        force = row[PEAK_FORCE] - row[ROTATING_MASS] * wanted
        factor = 1.0
        if row[DEMANDED_FORCE] > 0.0:
            factor = min(max(force / row[DEMANDED_FORCE], 0.0), 1.0)
        command[i_axle, VALVE] = FILL
        command[i_axle, DEMAND_FACTOR] = factor


CONTROLLER = Controller(
    name="peak_follower",
    title="knows everything and holds each axle at the peak of its creep curve",
    update=update,
    parameters=(
        Parameter(
            "settling_time",
            0.05,
            "s",
            0.001,
            1.0,
            "assumed",
            doc=(
                "Time in which a wheel is to come to its slip; the wanted pressure follows from it."
            ),
        ),
    ),
    observes=(
        "train_speed",
        "wheel_speed",
        "peak_force",
        "peak_creepage",
        "demanded_force",
        "rotating_mass",
        "train_acceleration",
    ),
    uses_truth=True,
    actuator="ideal",
    is_permutable=True,
)

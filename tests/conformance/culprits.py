"""Strategies that each break one rule of the contract, beside one that breaks none."""

import numpy as np

from slipbench.contract import (
    COLUMN,
    DEMAND_FACTOR,
    FILL,
    HOLD,
    PRESSURE,
    SLIDE,
    VALVE,
    VENT,
    WHEEL_SPEED,
    Controller,
    Floats,
)


def filled(command: Floats) -> None:
    command[:, VALVE] = FILL
    command[:, DEMAND_FACTOR] = 1.0


def good(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Vent whatever twice reads far below the fastest axle; written so that it also compiles.

    The fastest falls by 1.2 m/s2 at most. After 8 s of vent the brake comes back, for a second and
    for as long as the wheel reads zero.
    """
    n_axles = observation.shape[0]
    fastest = memory[n_axles, 2] - 1.2 * observation[0, 3]
    for i_axle in range(observation.shape[0]):
        fastest = max(fastest, observation[i_axle, 0])
    memory[n_axles, 2] = fastest
    signals[0] = 0.0
    for i_axle in range(n_axles):
        command[i_axle, 0] = 0.0
        command[i_axle, 1] = 1.0
        read = max(observation[i_axle, 0], memory[i_axle, 0])
        memory[i_axle, 0] = observation[i_axle, 0]
        is_sliding = fastest > 3.0 and read < 0.85 * fastest
        if is_sliding:
            signals[0] = 1.0
        if memory[i_axle, 2] < 0.0:
            if observation[i_axle, 0] > 0.5:
                memory[i_axle, 2] = min(memory[i_axle, 2] + observation[i_axle, 3], 0.0)
        elif is_sliding:
            command[i_axle, 0] = 2.0
            memory[i_axle, 2] += observation[i_axle, 3]
            if memory[i_axle, 2] > 8.0:
                memory[i_axle, 2] = -1.0
        else:
            memory[i_axle, 2] = 0.0


def raises_late(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    memory[-1, 0] += 1.0
    if memory[-1, 0] > 100.0:
        raise ZeroDivisionError("late")


calls_so_far = [0]


def keeps_hidden_state(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    calls_so_far[0] += 1
    filled(command)
    if calls_so_far[0] % 770 > 500:
        command[0, VALVE] = HOLD


def throws_dice(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    command[0, VALVE] = np.random.default_rng().integers(2)


def writes_when_sliding(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    fastest = observation[:, WHEEL_SPEED].max()
    for i_axle, speed in enumerate(observation[:, WHEEL_SPEED]):
        if speed < 0.9 * fastest:
            command[i_axle] = VENT, 1.0


def reads_the_last_command(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    command[:, VALVE] = np.where(command[:, VALVE] == FILL, HOLD, FILL)
    command[:, DEMAND_FACTOR] = 1.0


def asks_too_much(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    memory[-1, 0] += 1.0
    if memory[-1, 0] > 200.0:
        command[:, DEMAND_FACTOR] = 1.2


def signals_nonsense(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    signals[SLIDE] = np.nan


def asks_too_much_at_speed(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    command[:, DEMAND_FACTOR] = observation[:, WHEEL_SPEED] / 100.0


def divides_by_speed(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    memory[:-1, 0] = 1.0 / observation[:, WHEEL_SPEED]


def divides_by_python_speed(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    memory[0, 0] = 1.0 / float(observation[0, WHEEL_SPEED])


def takes_its_parameter_as_factor(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    command[:, DEMAND_FACTOR] = parameters[0]


def grows(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    memory[-1, 0] = 1.0 + 1.02 * memory[-1, 0]


def looks_at_pressure(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    if observation[0, PRESSURE] > 1e5:
        command[0, VALVE] = HOLD


TRAIN_SPEED = COLUMN["train_speed"]


def signals_the_truth(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    signals[SLIDE] = float(observation[0, TRAIN_SPEED] > 20.0)


def favours_the_first_axle(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    command[0, VALVE] = HOLD


def counts_past_64_bits(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """A Python whole number grows on; a compiled one falls over to zero."""
    large = 4611686018427387904
    memory[0, 0] = large * 4
    for i_axle in range(command.shape[0]):
        command[i_axle, 0] = 0.0
        command[i_axle, 1] = 1.0


def has_four_axles(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    for i_axle in range(4):
        command[i_axle] = FILL, 1.0


def has_room_for_eight(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    speeds = [0.0] * 8
    for i_axle in range(len(observation)):
        speeds[i_axle] = observation[i_axle, WHEEL_SPEED]
    filled(command)


def writes_to_the_next_vehicle(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    if command.base is not None:
        command.base[-1, DEMAND_FACTOR] = 0.5


def smooths_its_observation(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    observation[:, WHEEL_SPEED] *= 0.5


def tunes_itself(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    parameters[0] += 0.01


def strays_when_compiled(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """No index is checked in compiled code; plain Python never comes here, see above."""
    large = 4611686018427387904
    if large * 4 == 0:
        memory[memory.shape[0], 0] = 1.0
    for i_axle in range(command.shape[0]):
        command[i_axle, 0] = 0.0
        command[i_axle, 1] = 1.0


def peeks_when_compiled(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    large = 4611686018427387904
    if large * 4 == 0:
        memory[0, 0] = observation[observation.shape[0], 0]
    for i_axle in range(command.shape[0]):
        command[i_axle, 0] = 0.0
        command[i_axle, 1] = 1.0


def does_not_compile(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    memory[0, 0] = len(str(Controller))


def is_lost_with_13_to_47_axles(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    if 12 < len(command) < 48:
        command[:, VALVE] = 3.0


def loses_a_number_near_20(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    memory[0, 0] = np.nan if 24.9 < observation[0, WHEEL_SPEED] < 25.0 else 0.0


_kept: list[int] = []


def grows_a_list(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    _kept.append(len(command))


def counts_on_itself(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    counts_on_itself.calls = getattr(counts_on_itself, "calls", 0) + 1  # type: ignore[attr-defined]


class CountsInside:
    """A strategy that is an object; what it remembers is no memory."""

    __name__ = "counts_inside"

    def __init__(self) -> None:
        self.calls = 0

    def __call__(
        self,
        observation: Floats,
        parameters: Floats,
        memory: Floats,
        command: Floats,
        signals: Floats,
    ) -> None:
        filled(command)
        self.calls += 1


def looks_at_pressure_above_15(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    if observation[0, WHEEL_SPEED] > 15.0 and observation[0, PRESSURE] > 1e5:
        command[0, VALVE] = HOLD

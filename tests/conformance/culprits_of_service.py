"""Strategies that each fail in service: they keep a brake off, or take a dead sensor for slide."""

from tests.conformance.culprits import filled, good

from slipbench.contract import (
    DEMAND_FACTOR,
    FILL,
    HOLD,
    SAMPLE_TIME,
    SLIDE,
    VALVE,
    VENT,
    WHEEL_SPEED,
    Floats,
)


def forgets_an_axle(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    command[1, VALVE] = VENT


def vents_at_rest(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    command[observation[:, WHEEL_SPEED] == 0.0, VALVE] = VENT


def vents_then_holds_for_ever(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    good(observation, parameters, memory, command, signals)
    for i_axle in range(len(command)):
        if command[i_axle, VALVE] == VENT:
            memory[i_axle, 1] = 1.0
        elif memory[i_axle, 1] == 1.0:
            command[i_axle, VALVE] = HOLD


def asks_for_no_brake(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    command[:, DEMAND_FACTOR] = 0.0


def asks_for_half_the_brake(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    command[:, DEMAND_FACTOR] = 0.5


def holds_from_the_start(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    command[:, VALVE] = HOLD


def fills_for_a_sample(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Vent for 9.9 s, fill for one sample, and so on, once the first wheel has slid."""
    good(observation, parameters, memory, command, signals)
    if signals[SLIDE] or memory[-1, 1] > 0.0:
        memory[-1, 1] += observation[0, SAMPLE_TIME]
        if memory[-1, 1] > 9.9:
            memory[-1, 1] = 0.001
        command[:, VALVE] = FILL if memory[-1, 1] == 0.001 else VENT


def brakes_below_13_only(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    good(observation, parameters, memory, command, signals)
    if observation[:, WHEEL_SPEED].max() > 13.0:
        command[:, VALVE] = VENT


def follow(reference: float, observation: Floats, memory: Floats, command: Floats) -> None:
    """Vent what is below a reference, each axle 8 s at most."""
    filled(command)
    for i_axle, speed in enumerate(observation[:, WHEEL_SPEED]):
        if speed > 0.85 * reference or reference < 3.0:
            memory[i_axle, 2] = 0.0
        elif memory[i_axle, 2] < 8.0:
            memory[i_axle, 2] += observation[0, SAMPLE_TIME]
            command[i_axle, VALVE] = VENT


def trusts_the_first_axle(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    memory[-1, 0] = max(observation[0, WHEEL_SPEED], memory[-1, 0] - 0.012)
    follow(memory[-1, 0], observation, memory, command)


def sees_no_sensor_die(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """It trusts the third axle, unless that has read zero from the start."""
    n_axles, fastest = len(command), observation[:, WHEEL_SPEED].max()
    third = observation[2 % n_axles, WHEEL_SPEED]
    if memory[-1, 1] == 0.0:
        memory[-1, 1] = 1.0 if third > 0.9 * fastest else 2.0
    memory[-1, 0] = max(fastest, memory[-1, 0] - 0.012)
    is_lost = memory[-1, 1] == 1.0 and third == 0.0
    follow(0.0 if is_lost else memory[-1, 0], observation, memory, command)


def sees_no_sensor_dead_at_first(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """It trusts the second axle, unless that has fallen to zero."""
    n_axles, fastest = len(command), observation[:, WHEEL_SPEED].max()
    second = observation[1 % n_axles, WHEEL_SPEED]
    memory[-1, 1] = max(memory[-1, 1], second)
    memory[-1, 0] = max(fastest, memory[-1, 0] - 0.012)
    follow(memory[-1, 0] if memory[-1, 1] > 0.0 else 0.0, observation, memory, command)


def vents_a_dead_axle_for_ever(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    good(observation, parameters, memory, command, signals)
    command[observation[:, WHEEL_SPEED] == 0.0, VALVE] = VENT


def is_nervous(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Vent on 1 m/s2 more than the train can do: a tooth out of place does as much."""
    filled(command)
    slowing = (memory[:-1, 0] - observation[:, WHEEL_SPEED]) / observation[0, SAMPLE_TIME]
    memory[:-1, 0] = observation[:, WHEEL_SPEED]
    command[slowing > 2.5, VALVE] = VENT


def eases_a_little(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    command[:, DEMAND_FACTOR] = 0.97


def vents_all_for_one_zero(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    good(observation, parameters, memory, command, signals)
    if (observation[:, WHEEL_SPEED] == 0.0).any():
        command[:, VALVE] = VENT


def gives_up_on_all_for_one_sensor(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Once an axle has read zero for a second, fill all."""
    good(observation, parameters, memory, command, signals)
    memory[-1, 0] = memory[-1, 0] + 1.0 if observation[-1, WHEEL_SPEED] == 0.0 else 0.0
    if memory[-1, 0] > 100.0:
        command[:, VALVE] = FILL

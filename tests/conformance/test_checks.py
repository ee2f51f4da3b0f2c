"""The suite tested by strategies that each break one rule: its check must catch the culprit."""

import numpy as np
import pytest

from slipbench.conformance import CHECKS, Check, Evidence, Refutation, run_check
from slipbench.conformance.inputs import fast_stop, patchy_stop
from slipbench.contract import (
    COLUMN,
    DEMAND_FACTOR,
    FILL,
    HOLD,
    PRESSURE,
    SAMPLE_TIME,
    SLIDE,
    VALVE,
    VENT,
    WHEEL_SPEED,
    Controller,
    Floats,
    Parameter,
    Update,
)
from slipbench.ground.errors import InputError

CHECK = {check.name: check for check in CHECKS}
SHORT = patchy_stop().replace(
    {"train.vehicles": patchy_stop().train.vehicles[:1], "run.maximum_time": 6.0}
)
FAST = fast_stop().replace({"run.maximum_time": 5.0})
WHOLE = patchy_stop().replace({"train.vehicles": patchy_stop().train.vehicles[:1]})


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


def looks_at_pressure_above_15(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    if observation[0, WHEEL_SPEED] > 15.0 and observation[0, PRESSURE] > 1e5:
        command[0, VALVE] = HOLD


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


ONE = (Parameter("gain", 0.5, "-", 0.0, 4.0, "assumed"),)


OFF, DEAD = "keeps no brake off beyond the limit", "bears any dead sensor"

CULPRITS: list[tuple[Update, str, str]] = [
    (raises_late, "runs a whole stop", "update raised ZeroDivisionError: late"),
    (asks_too_much, "runs a whole stop", "demand factor 1.2"),
    (keeps_hidden_state, "starts afresh from zero memory", "commands differ first at call"),
    (throws_dice, "same bits for the same seed", "commands differ first at call"),
    (keeps_hidden_state, "same bits for the same seed", "commands differ first at call"),
    (writes_when_sliding, "writes every command on every call", "against nan"),
    (reads_the_last_command, "writes every command on every call", "commands differ first"),
    (asks_too_much, "valid on recorded observations", "demand factor (allowed: 0 to 1) is 1.2"),
    (signals_nonsense, "valid on recorded observations", "signal (allowed: finite) is nan"),
    (asks_too_much_at_speed, "valid on extreme observations", "demand factor"),
    (divides_by_speed, "valid on extreme observations", "memory (allowed: finite) is inf"),
    (divides_by_python_speed, "valid on extreme observations", "update raised ZeroDivisionError"),
    (takes_its_parameter_as_factor, "valid with parameters at their bounds", "[gain = 4 -]"),
    (grows, "memory stays bounded", "within 600 s"),
    (looks_at_pressure, "observes only what it declares", "depends on measured_pressure:"),
    (signals_the_truth, "observes only what it declares", "depends on train_speed: signals"),
    (favours_the_first_axle, "axles may be permuted, if claimed", "command differs"),
    (counts_past_64_bits, "Python equals compiled", "memories differ first at call 0"),
    (does_not_compile, "Python equals compiled", "does not compile"),
    (has_four_axles, "serves 1 to 48 axles", "update raised IndexError"),
    (has_room_for_eight, "serves 1 to 48 axles", "vehicles of 1, 2, 3, 4, 6, 8, 12, 12 axles"),
    (is_lost_with_13_to_47_axles, "serves 1 to 48 axles", "is 3 at call 0, row 0 [13 axles]"),
    (grows_a_list, "keeps no state but its memory", "_kept changed over 500 calls"),
    (counts_on_itself, "keeps no state but its memory", "counts_on_itself.calls changed"),
    (CountsInside(), "keeps no state but its memory", "counts_inside changed"),
    (keeps_hidden_state, "keeps no state but its memory", "calls_so_far changed"),
    (loses_a_number_near_20, "valid at every speed", "is nan at call 1901, row 0 [first at 24.95"),
    (looks_at_pressure_above_15, "observes only what it declares", "on measured_pressure:"),
    (writes_to_the_next_vehicle, "keeps to its own arrays", "outside its rows of command"),
    (smooths_its_observation, "keeps to its own arrays", "changes its observation"),
    (tunes_itself, "keeps to its own arrays", "changes its parameters"),
    (strays_when_compiled, "keeps to its own arrays, compiled", "index is out of bounds"),
    (peeks_when_compiled, "keeps to its own arrays, compiled", "index is out of bounds"),
    (forgets_an_axle, OFF, "the brake of axle 2 is kept off for"),
    (vents_then_holds_for_ever, OFF, "is kept off for"),
    (asks_for_no_brake, OFF, "is kept off for"),
    (asks_for_half_the_brake, OFF, "is kept off for"),
    (holds_from_the_start, OFF, "is kept off for"),
    (fills_for_a_sample, OFF, "is kept off for"),
    (brakes_below_13_only, OFF, "in a stop from 33 m/s"),
    (trusts_the_first_axle, DEAD, "with the sensor of axle 1 dead from the start"),
    (sees_no_sensor_die, DEAD, "with the sensor of axle 3 dead from 100 m on"),
    (sees_no_sensor_dead_at_first, DEAD, "with the sensor of axle 2 dead from the start"),
    (vents_all_for_one_zero, DEAD, "no stop within 90 s with the sensor of axle 1"),
    (gives_up_on_all_for_one_sensor, DEAD, "with the sensor of axle 4"),
    (vents_a_dead_axle_for_ever, DEAD, "the brake of axle 1 is kept off for"),
    (is_nervous, "is silent on dry rail", "vents on dry rail from 33 m/s"),
    (eases_a_little, "is silent on dry rail", "longer than without it"),
    (vents_at_rest, "brakes at standstill", "axles [1, 2, 3, 4] are still vented"),
]
NEED_A_WHOLE_STOP = {OFF, DEAD}


def judge(update: Update, check: Check) -> Refutation | None:
    controller = Controller(
        name=update.__name__,
        title="-",
        update=update,
        parameters=ONE,
        n_memory=3,
        is_permutable="permuted" in check.name,
    )
    if check.name in NEED_A_WHOLE_STOP:
        return run_check(check, Evidence(controller, scenario=WHOLE))
    return run_check(check, Evidence(controller, scenario=SHORT, fast_scenario=FAST))


@pytest.mark.parametrize(
    ("update", "name", "part"), CULPRITS, ids=[f"{c[0].__name__}-{c[1]}" for c in CULPRITS]
)
def test_the_check_catches_its_culprit(update: Update, name: str, part: str) -> None:
    finding = judge(update, CHECK[name])
    assert finding is not None
    assert finding.check == name
    assert part in finding.problem
    assert "\n" not in str(finding)


def test_every_check_has_a_culprit() -> None:
    assert {name for _, name, _ in CULPRITS} == set(CHECK)


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.name)
def test_a_good_strategy_is_left_in_peace(check: Check) -> None:
    assert judge(good, check) is None


@pytest.mark.parametrize(("limit", "is_found"), [(1.0, True), (60.0, False)])
def test_the_held_off_limit_is_a_parameter(limit: float, is_found: bool) -> None:
    controller = Controller(name="forgets", title="-", update=forgets_an_axle)
    evidence = Evidence(controller, scenario=WHOLE, held_off_limit=limit)
    finding = run_check(CHECK[OFF], evidence)
    assert (finding is not None) == is_found


@pytest.mark.parametrize(("bound", "is_found"), [(10.0, True), (250.0, False)])
def test_the_memory_bound_is_a_parameter(bound: float, is_found: bool) -> None:
    controller = Controller(
        name="good", title="-", update=good, n_memory=3
    )  # it remembers speeds, to 200 m/s
    finding = run_check(
        CHECK["memory stays bounded"], Evidence(controller, scenario=SHORT, memory_bound=bound)
    )
    assert (finding is not None) == is_found


def test_observes_given_as_one_text_is_refused() -> None:
    with pytest.raises(InputError, match=r"a tuple of names, \('sample_time',\)"):
        Controller(name="x", title="-", update=good, observes="sample_time")  # type: ignore[arg-type]

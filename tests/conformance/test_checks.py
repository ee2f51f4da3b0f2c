"""The suite tested by strategies that each break one rule: its check must catch the culprit."""

import numpy as np
import pytest

from slipbench.conformance import CHECKS, Check, Evidence, Finding, run_check
from slipbench.conformance.inputs import patchy_stop
from slipbench.contract import (
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
    Parameter,
    Update,
)
from slipbench.ground.errors import InputError

CHECK = {check.name: check for check in CHECKS}
SHORT = patchy_stop().replace(
    {"train.vehicles": patchy_stop().train.vehicles[:1], "run.maximum_time": 6.0}
)
WHOLE = patchy_stop().replace({"train.vehicles": patchy_stop().train.vehicles[:1]})


def filled(command: Floats) -> None:
    command[:, VALVE] = FILL
    command[:, DEMAND_FACTOR] = 1.0


def good(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Vent whatever is far below the fastest axle; written so that it also compiles."""
    fastest = 0.0
    for i_axle in range(observation.shape[0]):
        fastest = max(fastest, observation[i_axle, 0])
    signals[0] = 0.0
    for i_axle in range(observation.shape[0]):
        command[i_axle, 0] = 0.0
        command[i_axle, 1] = 1.0
        memory[i_axle, 0] = observation[i_axle, 0]
        if fastest > 1.4 and observation[i_axle, 0] < 0.85 * fastest:
            command[i_axle, 0] = 2.0
            signals[0] = 1.0


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


def signals_the_truth(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    filled(command)
    signals[SLIDE] = float(observation[0, 4] > 20.0)  # train_speed


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


ONE = (Parameter("gain", 0.5, "-", 0.0, 4.0, "assumed"),)


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
    (vents_all_for_one_zero, "bears a dead sensor", "eased for good"),
    (gives_up_on_all_for_one_sensor, "bears a dead sensor", "never eased"),
    (writes_to_the_next_vehicle, "keeps to its own arrays", "outside its rows of command"),
    (smooths_its_observation, "keeps to its own arrays", "changes its observation"),
    (tunes_itself, "keeps to its own arrays", "changes its parameters"),
    (strays_when_compiled, "keeps to its own arrays, compiled", "outside its rows of memory"),
    (peeks_when_compiled, "keeps to its own arrays, compiled", "reads outside its arrays"),
    (forgets_an_axle, "vents within the equipment's limit", "axle 2 of vehicle 1 is vented for"),
    (forgets_an_axle, "lets a rolling wheel brake", "axle 2 rolls vented for"),
    (vents_at_rest, "gives up on a dead sensor", "its axle stays vented for"),
    (vents_at_rest, "brakes at standstill", "axles [1, 2, 3, 4] are still vented"),
]
NEED_A_WHOLE_STOP = {
    "bears a dead sensor",
    "vents within the equipment's limit",
    "lets a rolling wheel brake",
    "gives up on a dead sensor",
}


def judge(update: Update, check: Check) -> Finding | None:
    controller = Controller(
        name=update.__name__,
        title="-",
        update=update,
        parameters=ONE,
        is_permutable="permuted" in check.name,
    )
    scenario = WHOLE if check.name in NEED_A_WHOLE_STOP else SHORT
    return run_check(check, Evidence(controller, scenario=scenario))


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
    """Of a dead sensor alone it would be right to complain; the film hides that from the check."""
    assert judge(good, check) is None


@pytest.mark.parametrize(("limit", "is_found"), [(1.0, True), (60.0, False)])
def test_the_held_off_limit_is_a_parameter(limit: float, is_found: bool) -> None:
    controller = Controller(name="forgets", title="-", update=forgets_an_axle)
    evidence = Evidence(controller, scenario=WHOLE, held_off_limit=limit)
    finding = run_check(CHECK["lets a rolling wheel brake"], evidence)
    assert (finding is not None) == is_found


@pytest.mark.parametrize(("bound", "is_found"), [(10.0, True), (250.0, False)])
def test_the_memory_bound_is_a_parameter(bound: float, is_found: bool) -> None:
    controller = Controller(name="good", title="-", update=good)  # it remembers speeds, to 200 m/s
    finding = run_check(
        CHECK["memory stays bounded"], Evidence(controller, scenario=SHORT, memory_bound=bound)
    )
    assert (finding is not None) == is_found


def test_observes_given_as_one_text_is_refused() -> None:
    with pytest.raises(InputError, match=r"a tuple of names, \('sample_time',\)"):
        Controller(name="x", title="-", update=good, observes="sample_time")  # type: ignore[arg-type]

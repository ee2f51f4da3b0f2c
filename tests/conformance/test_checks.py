"""The suite tested by strategies that each break one rule: its check must catch the culprit."""

import pytest
from tests.conformance.culprits import (
    CountsInside,
    asks_too_much,
    asks_too_much_at_speed,
    counts_on_itself,
    counts_past_64_bits,
    divides_by_python_speed,
    divides_by_speed,
    does_not_compile,
    favours_the_first_axle,
    good,
    grows,
    grows_a_list,
    has_four_axles,
    has_room_for_eight,
    is_lost_with_13_to_47_axles,
    keeps_hidden_state,
    looks_at_pressure,
    looks_at_pressure_above_15,
    loses_a_number_near_20,
    peeks_when_compiled,
    raises_late,
    reads_the_last_command,
    signals_nonsense,
    signals_the_truth,
    smooths_its_observation,
    strays_when_compiled,
    takes_its_parameter_as_factor,
    throws_dice,
    tunes_itself,
    writes_to_the_next_vehicle,
    writes_when_sliding,
)
from tests.conformance.culprits_of_service import (
    asks_for_half_the_brake,
    asks_for_no_brake,
    brakes_below_13_only,
    eases_a_little,
    fills_for_a_sample,
    forgets_an_axle,
    gives_up_on_all_for_one_sensor,
    holds_from_the_start,
    is_nervous,
    sees_no_sensor_dead_at_first,
    sees_no_sensor_die,
    trusts_the_first_axle,
    vents_a_dead_axle_for_ever,
    vents_all_for_one_zero,
    vents_at_rest,
    vents_then_holds_for_ever,
)

from slipbench.conformance import CHECKS, Check, Evidence, Refutation, run_check
from slipbench.conformance.inputs import fast_stop, patchy_stop
from slipbench.contract import (
    Controller,
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

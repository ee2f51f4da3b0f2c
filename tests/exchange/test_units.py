"""The example of the C door as FMI 2.0 and 3.0 units: the built-in strategy, to the last bit."""

import multiprocessing
import os
import pickle
import re
from pathlib import Path

import numpy as np
import pytest
from tests.exchange.units import BUILT_IN, mapping

from slipbench.conformance import check_controller
from slipbench.contract import OBSERVED
from slipbench.exchange.archive import units_folder
from slipbench.ground.errors import InputError, StopFailed
from slipbench.running.candidate import candidate_of, source_text
from slipbench.running.runner import run_stop
from slipbench.running.runners import PoolRunner
from slipbench.running.task import FAILED, make_task, run_task, summary_text
from slipbench.scenario import load_scenario
from slipbench.stop.simulation import simulate
from slipbench.strategies.registry import find_controller
from slipbench.strategies.units import UnitUpdate

RAILS = [("wet_leaf", 12.0, 0), ("frost", 12.0, 1), ("detergent", 33.5, 2)]


@pytest.mark.parametrize("version", [2, 3])
def test_it_offers_what_the_built_in_declares(build, version) -> None:  # type: ignore[no-untyped-def]
    own = find_controller(str(build(version))).controller
    assert set(own.observes) == set(BUILT_IN.observes)
    declared = [(p.name, p.default, p.low, p.high) for p in own.parameters]
    assert declared == [(p.name, p.default, p.low, p.high) for p in BUILT_IN.parameters]


@pytest.mark.parametrize("version", [2, 3])
@pytest.mark.parametrize(("name", "speed", "seed"), RAILS)
def test_whole_stops_are_equal_to_the_last_bit(build, version, name, speed, seed) -> None:  # type: ignore[no-untyped-def]
    """Service equipment, as the scenarios have it; the unit's folder has a space in its name."""
    scenario = load_scenario(name).replace(initial_speed=speed)
    unit = build(version)
    assert " " in str(unit)
    own = simulate(scenario, find_controller(str(unit)).controller, seed)
    theirs = simulate(scenario, BUILT_IN, seed)
    assert theirs.summary["vent_count"] > 10
    assert dict(own.summary) == dict(theirs.summary)
    for trace, values in theirs.traces.items():
        assert own.traces[trace].tobytes() == values.tobytes(), trace


def test_parameters_reach_the_unit(build) -> None:  # type: ignore[no-untyped-def]
    scenario = load_scenario("wet_leaf").replace(initial_speed=6.0)
    known = find_controller(f"{build(2)}:vent_slip=20%")
    theirs = simulate(scenario, BUILT_IN.with_parameters(vent_slip=0.2), 0)
    assert simulate(scenario, known.controller, 0).summary == theirs.summary


def test_units_of_measurement_are_converted(build, tmp_path) -> None:  # type: ignore[no-untyped-def]
    """A unit that takes km/h, said by its mapping: shown 36 m/s it gets 129.6."""
    from tests.exchange.units import description_2

    from slipbench.exchange.convert import conversion
    from slipbench.exchange.description import parse_description

    text = description_2().replace(
        '<Unit name="m/s"><BaseUnit m="1" s="-1"/></Unit>',
        '<Unit name="m/s"><BaseUnit m="1" s="-1" factor="0.5" offset="2"/></Unit>',
    )
    units = parse_description(text.encode(), "unit").units
    assert conversion("m/s", "m/s", units, "x") == (0.5, 2.0)
    assert conversion("km/h", "m/s", {}, "x").to_si(129.6) == pytest.approx(36.0, rel=1e-15)
    assert conversion("bar", "Pa", {}, "x").to_si(3.5) == 3.5e5
    with pytest.raises(InputError, match="unit 'm/s' is none of Pa"):
        conversion("m/s", "Pa", units, "x")
    with pytest.raises(InputError, match="unit 'furlong' is none of m/s"):
        conversion("furlong", "m/s", {}, "x")


def test_one_instance_a_vehicle_and_none_left(build) -> None:  # type: ignore[no-untyped-def]
    controller = find_controller(str(build(3))).controller
    update = controller.update
    assert isinstance(update, UnitUpdate)
    scenario = load_scenario("dry").replace(initial_speed=5.0)
    begun: list[int] = []
    start = update.instances._start

    def counted(*given):  # type: ignore[no-untyped-def]
        slot = start(*given)
        begun.append(len(update.instances.slots))
        return slot

    update.instances._start = counted  # type: ignore[method-assign]
    try:
        simulate(scenario, controller, 0)
    finally:
        del update.instances._start
    assert begun == list(range(1, len(scenario.train.vehicles) + 1))
    assert update.instances.slots == []


def test_one_instance_a_process_gets_copies_of_its_library(build) -> None:  # type: ignore[no-untyped-def]
    """Such a unit gives no second instance; renamed copies of its library have one each."""
    more = 'canBeInstantiatedOnlyOncePerProcess="true"'
    scenario = load_scenario("wet_leaf").replace(initial_speed=5.0)
    own = find_controller(str(build(2, "-DONLY_ONCE", more=more))).controller
    for _ in range(2):
        assert simulate(scenario, own, 3).summary == simulate(scenario, BUILT_IN, 3).summary


def test_it_travels_by_path_and_hash_of_unit_and_mapping(build) -> None:  # type: ignore[no-untyped-def]
    own = find_controller(str(build(2))).controller
    again = pickle.loads(pickle.dumps(own))
    assert again == own
    assert own.update.digest in source_text(own)  # type: ignore[attr-defined]
    candidate = candidate_of(find_controller(str(build(2))))
    assert Path(candidate.reference).is_absolute()


def test_the_python_loop_and_the_compiled_one_agree(build) -> None:  # type: ignore[no-untyped-def]
    own = find_controller(str(build(2))).controller
    scenario = load_scenario("wet_leaf").replace({"run.maximum_time": 3.0})
    compiled = simulate(scenario, own)
    plain = simulate(scenario, own, compiled=False)
    assert plain.summary["n_steps"] == compiled.summary["n_steps"]
    assert np.array_equal(plain.traces["pressure"], compiled.traces["pressure"])


FAULTY = """-DFAULT=
    int fault = m->n_steps > 149 ? (int)(100.0 * m->parameters[5] + 0.5) - 20 : 0;
    if (fault >= 1 && fault <= 3) return fault + 1;
    if (fault == 4) return m->command[1] = 0.0 / 0.0, 0;
    if (fault == 5) return m->command[2] = 7, 0;
    if (fault == 6) abort();
    while (fault == 7) ;
"""
"""Its patience says which fault it has from its 150th step on."""


@pytest.fixture
def faulty(build) -> Path:  # type: ignore[no-untyped-def]
    return build(2, FAULTY.replace("\n", " "), stem="faulty")


@pytest.mark.parametrize(
    ("patience", "part"),
    [
        ("0.21s", "said 'discard' in its step"),
        ("0.22s", "said 'error' in its step"),
        ("0.24s", "output factor_1 is not finite"),
        ("0.25s", "output valve_2 is no valve position of its mapping"),
        ("0.23s", "said 'fatal error' in its step"),  # after which nothing more is called
        ("0.2s", "said 'fatal error' before; nothing more is called"),
    ],
)
def test_a_call_that_fails_ends_the_stop(faulty, patience, part) -> None:  # type: ignore[no-untyped-def]
    """One line with unit, vehicle and time: the 150th sample of 10 ms is 1.49 s after the first."""
    scenario = load_scenario("dry")
    controller = find_controller(f"{faulty}:patience={patience}").controller
    with pytest.raises(InputError) as refusal:
        simulate(scenario, controller, 0)
    said = str(refusal.value)
    assert part in said
    assert str(faulty) in said
    when = "0.00" if "before" in part else "1.49|1.50"
    assert re.search(rf"\(vehicle 1\) at ({when})", said)
    assert "\n" not in said


def test_sample_time_and_step_are_reconciled_or_refused(build) -> None:  # type: ignore[no-untyped-def]
    from slipbench.exchange.description import Description
    from slipbench.exchange.instances import steps_for
    from slipbench.exchange.mapping import UnitMap

    def described(**more):  # type: ignore[no-untyped-def]
        return Description("2.0", "m", "t", "m", (), **more)

    found = UnitMap(axles=4)
    assert steps_for(0.01, described(), found, "u") == (1, 0.01)
    assert steps_for(0.01, described(own_step=0.002), found, "u") == (5, 0.002)
    assert steps_for(0.01, described(own_step=0.002, can_vary_step=True), found, "u") == (1, 0.01)
    fixed = described(own_step=0.005, has_fixed_step=True)
    assert steps_for(0.01, fixed, found, "u") == (1, 0.01)
    for step in (0.004, 0.02):
        with pytest.raises(InputError, match=r"it steps by .* ms, and the sample time of 10 ms"):
            steps_for(0.01, described(own_step=step), found, "u")


def test_a_mapping_that_does_not_fit_is_refused(build) -> None:  # type: ignore[no-untyped-def]
    from tests.exchange.units import description_2

    from slipbench.exchange.description import parse_description
    from slipbench.exchange.mapping import read_mapping

    unit = build(2)
    description = parse_description(description_2().encode(), "unit")
    path = unit.with_name("other.map.toml")
    whole = mapping(2)
    for old, new, part in (
        ("axles = 48", "axles = 49", "axles = 49; allowed: 1 to 48"),
        ("v_axle_{axle}", "w_axle_{axle}", "the unit has no variable 'w_axle_1'"),
        ('"v_axle_{axle}"', '"valve_{axle}"', "'valve_1' is output; allowed: input"),
        ('brake_demand = "demand"', "", "input 'demand' of the unit is bound to nothing"),
        ("[inputs]", "[inputs]\ntrain_speed = 'demand'", "inputs.'train_speed': unknown key"),
        ('valve = "valve_{axle}"', 'valve = "valve_1"', "is one number, axles = 48"),
        ('"control.patience"', '"control.patient"', "no variable 'control.patient'"),
        ('"control.patience"', '"control.look_ahead"', "'control.look_ahead' is offered twice"),
        (
            'valve = "valve_{axle}"',
            'valve = { variable = "valve_{axle}", hold = 0 }',
            "two positions have one code",
        ),
    ):
        assert old in whole
        path.write_text(whole.replace(old, new))
        with pytest.raises(InputError) as refusal:
            read_mapping(path, description)
        assert part in str(refusal.value)
    path.unlink()


def test_a_guess_binds_the_unit_it_was_made_for(build, tmp_path) -> None:  # type: ignore[no-untyped-def]
    from tests.exchange.units import description_2, description_3

    from slipbench.exchange.description import parse_description
    from slipbench.exchange.guess import guess_text
    from slipbench.exchange.mapping import read_mapping

    for make in (description_2, description_3):
        description = parse_description(make().encode(), "unit")
        path = tmp_path / "guess.toml"
        path.write_text(guess_text(description, "model.fmu"))
        found = read_mapping(path, description)
        assert (found.axles, found.axle_count) == (48, "n_axles")
        assert set(found.inputs) == {"measured_wheel_speed", "brake_demand"}
        assert set(found.outputs) == {"valve", "demand_factor", "slide"}
        assert len(found.parameters) == len(BUILT_IN.parameters)


def test_a_crash_costs_the_stop_alone(faulty) -> None:  # type: ignore[no-untyped-def]
    """In this process: the stop fails in one line, and the next one runs as if nothing had been."""
    scenario = load_scenario("dry").replace(initial_speed=8.0)
    known = find_controller(str(faulty))
    crash = find_controller(f"{faulty}:patience=0.26s")
    with pytest.raises(StopFailed, match=r"its unit crashed \(SIGABRT\) in the middle of the stop"):
        run_stop(scenario, crash, 0)
    outcome = run_task(make_task(scenario, candidate_of(known), 0))
    assert outcome.summary == summary_text(simulate(scenario, BUILT_IN, 0).summary)


def test_a_memory_of_another_call_is_refused(build) -> None:  # type: ignore[no-untyped-def]
    controller = find_controller(str(build(2))).controller
    memory, command = np.zeros((3, 1)), np.zeros((2, 2))
    memory[-1] = 7.0
    seen = np.full((2, len(OBSERVED)), 1.0)
    controller.update(seen, controller.parameter_values, memory, command, np.zeros(2))
    assert "a memory that is not of its last call" in controller.update.complaint(command[0, 1])  # type: ignore[attr-defined]


def test_what_is_unpacked_lies_where_nobody_else_looks() -> None:
    assert os.stat(units_folder()).st_mode & 0o077 == 0


@pytest.mark.slow
@pytest.mark.parametrize("version", [2, 3])
def test_the_conformance_suite_passes(build, version) -> None:  # type: ignore[no-untyped-def]
    assert check_controller(find_controller(str(build(version))).controller) == ()


@pytest.mark.slow
def test_an_endless_step_costs_the_stop_alone(faulty) -> None:  # type: ignore[no-untyped-def]
    scenario = load_scenario("dry").replace(initial_speed=8.0)
    endless = find_controller(f"{faulty}:patience=0.27s")
    with pytest.raises(StopFailed, match="still at work after 2 s by the clock"):
        run_stop(scenario, endless, 0, stop_limit=2.0)


@pytest.mark.slow
def test_a_campaign_with_two_workers_keeps_its_workers(faulty) -> None:  # type: ignore[no-untyped-def]
    """Every third stop crashes its unit, every third never ends: the others come out as ever."""
    scenario = load_scenario("dry").replace(initial_speed=8.0)
    candidates = [
        candidate_of(find_controller(f"{faulty}{more}"))
        for more in ("", ":patience=0.26s", ":patience=0.27s")
    ]
    tasks = [make_task(scenario, one, seed) for seed in range(3) for one in candidates]
    runner = PoolRunner(2, stop_limit=3.0)
    workers: set[int | None] = set()
    outcomes = {}
    try:
        for task, outcome in runner.run(iter(tasks)):
            workers |= {process.pid for process in multiprocessing.active_children()}
            outcomes[task.key] = outcome.summary
    finally:
        runner.close()
    assert len(workers) == 2
    for i, task in enumerate(tasks):
        summary = outcomes[task.key]
        if i % 3 == 0:
            assert summary == summary_text(simulate(scenario, BUILT_IN, i // 3).summary)
        else:
            assert FAILED in summary
            assert ("SIGABRT" if i % 3 == 1 else "by the clock") in summary

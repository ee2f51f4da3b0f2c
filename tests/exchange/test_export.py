"""What the bench writes: a strategy as a unit, its train as one, both driven by others' tools."""

import math
import re
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from tests.exchange.exported import build_host, run_host, written
from tests.exchange.units import BUILT_IN, compiler

from slipbench.commands.main import main, make_parser
from slipbench.commands.options import read_scenario
from slipbench.controllers import ALL_CONTROLLERS, by_name
from slipbench.exchange.layout import image_of, moved, packed_image
from slipbench.exchange.strategy_unit import strategy_unit
from slipbench.exchange.train_unit import LOAD_MOVES, SPEED_MOVES, Wanted, _packed, train_unit
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.packing import pack
from slipbench.scenario import load_scenario
from slipbench.stop.simulation import simulate
from slipbench.strategies.registry import find_controller

SPEED = 12.0


@pytest.fixture(scope="module", autouse=True)
def needs_a_compiler() -> None:
    compiler()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("a folder written")


def scenario_of(name: str, n_vehicles: int | None = None):  # type: ignore[no-untyped-def]
    scenario = load_scenario(name).replace(initial_speed=SPEED)
    if n_vehicles is None:
        return scenario
    return scenario.replace({"train.vehicles": scenario.train.vehicles[:n_vehicles]})


def validated(path: Path) -> list[str]:
    validation = pytest.importorskip("fmpy.validation")
    return list(validation.validate_fmu(str(path)))


@pytest.mark.parametrize("version", [2, 3])
def test_a_strategy_goes_out_and_comes_back_the_same(version, folder) -> None:  # type: ignore[no-untyped-def]
    """Written, validated by a library of others, loaded as a strategy: equal to the last bit."""
    path = folder / f"slip band {version}.fmu"
    unit = written(path, strategy_unit(BUILT_IN, version, 4))
    assert validated(path) == []
    scenario = scenario_of("wet_leaf")
    again = find_controller(str(path)).controller
    assert [(p.name, p.default, p.low, p.high) for p in again.parameters] == [
        (p.name, p.default, p.low, p.high) for p in BUILT_IN.parameters
    ]
    own, theirs = simulate(scenario, again, 2), simulate(scenario, BUILT_IN, 2)
    assert dict(own.summary) == dict(theirs.summary)
    page = (unit.library.parents[2] / "documentation" / "index.html").read_text()
    assert CAUTION in page


@pytest.mark.parametrize("version", [2, 3])
def test_an_instance_whose_state_can_be_put_back_serves_the_next_stop(version, folder) -> None:  # type: ignore[no-untyped-def]
    """Other parameters, another seed, shorter, one that fails: each as with a fresh instance."""
    path = folder / f"again{version}.fmu"
    path.write_bytes(strategy_unit(BUILT_IN, version, 4))
    scenario = scenario_of("wet_leaf").replace(initial_speed=6.0)
    again = find_controller(str(path)).controller
    made: list[int] = []
    for seed, values in ((1, {}), (2, {"vent_slip": 0.2}), (1, {}), (3, {"fill_slip": 0.03})):
        own, theirs = again.with_parameters(**values), BUILT_IN.with_parameters(**values)
        assert simulate(scenario, own, seed).summary == simulate(scenario, theirs, seed).summary
        rested = again.update.instances._rested  # type: ignore[attr-defined]
        made.append(len(rested))
        assert len({one.instance for one in rested}) == len(rested)
    assert made == 4 * [len(scenario.train.vehicles)]


@pytest.mark.slow
@pytest.mark.parametrize(
    "controller", [c for c in ALL_CONTROLLERS if not c.uses_truth], ids=lambda c: c.name
)
def test_every_strategy_goes_out_and_comes_back(controller, folder) -> None:  # type: ignore[no-untyped-def]
    scenario = scenario_of("wet_leaf")
    most = scenario.train.n_axles if controller.scope == "train" else 4
    path = folder / f"{controller.name}.fmu"
    path.write_bytes(strategy_unit(controller, 2, most))
    again = find_controller(str(path)).controller
    assert again.scope == controller.scope
    own, theirs = simulate(scenario, again, 1), simulate(scenario, controller, 1)
    assert dict(own.summary) == dict(theirs.summary)


@pytest.mark.parametrize(("version", "n_functions"), [(2, 34), (3, 75)])
def test_every_function_of_the_interface_is_there(version, n_functions, folder) -> None:  # type: ignore[no-untyped-def]
    """Names from the standard's own headers, as fmpy brings them; of FMI 2.0 those for both kinds
    and for co-simulation."""  # fmt: skip
    fmpy = pytest.importorskip("fmpy")
    header = Path(fmpy.__file__).parent / "c-code" / f"fmi{version}Functions.h"
    named = re.findall(rf"define (fmi{version}\w+) +fmi{version}FullName", header.read_text())
    exchange = "EnterEventMode NewDiscreteStates EnterContinuousTimeMode CompletedIntegratorStep "
    exchange += "SetTime SetContinuousStates GetDerivatives GetEventIndicators "
    exchange += "GetContinuousStates GetNominalsOfContinuousStates"
    if version == 2:
        named = [name for name in named if name[4:] not in exchange.split()]
    assert len(named) == n_functions
    unit = written(folder / f"names{version}.fmu", strategy_unit(by_name("none"), version, 2))
    symbols = subprocess.run(["nm", "-D", unit.library], capture_output=True, text=True).stdout
    shown = {line.split()[-1] for line in symbols.splitlines() if " T " in line}
    assert shown == set(named)


def test_a_state_can_be_put_away_and_taken_up_again(folder) -> None:  # type: ignore[no-untyped-def]
    """By fmpy: serialised, given to a second instance, which then goes on as the first."""
    fmi2 = pytest.importorskip("fmpy.fmi2")
    unit = written(folder / "state.fmu", strategy_unit(BUILT_IN, 2, 2))
    speed, valve = unit.refs("measured_wheel_speed"), unit.refs("valve")
    demand = unit.refs("brake_demand")

    def opened(name: str):  # type: ignore[no-untyped-def]
        own = fmi2.FMU2Slave(
            guid=unit.description.token,
            unzipDirectory=str(unit.library.parents[2]),
            modelIdentifier=unit.description.identifier,
            instanceName=name,
        )
        own.instantiate()
        own.setupExperiment(startTime=0.0)
        own.enterInitializationMode()
        own.exitInitializationMode()
        return own

    def go_on(own, first: int) -> list[list[int]]:  # type: ignore[no-untyped-def]
        told = []
        for k in range(first, first + 200):
            own.setReal(speed + demand, [20.0 - 0.01 * k, max(20.0 - 0.09 * k, 0.0), 1.0])
            own.doStep(currentCommunicationPoint=0.01 * k, communicationStepSize=0.01)
            told.append(own.getInteger(valve))
        return told

    one, other = opened("one"), opened("other")
    go_on(one, 0)
    state = one.getFMUState()
    kept = one.serializeFMUState(state)
    expected = go_on(one, 200)
    taken = other.deserializeFMUState(kept)
    other.setFMUState(taken)
    assert go_on(other, 200) == expected
    assert any(2 in valves for valves in expected)
    one.setFMUState(state)
    assert go_on(one, 200) == expected
    for own in (one, other):
        own.terminate()
        own.freeInstance()


def test_what_cannot_be_a_unit_is_refused() -> None:
    ideal = next(c for c in ALL_CONTROLLERS if c.uses_truth)
    with pytest.raises(InputError, match="sees the truth, which no unit is given"):
        strategy_unit(ideal, 2, 4)
    with pytest.raises(InputError, match="--axles 49; allowed: 1 to 48"):
        strategy_unit(BUILT_IN, 2, 49)


def test_no_compiler_is_one_line(monkeypatch, capsys, tmp_path) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.setattr("slipbench.exchange.building.COMPILERS", ("no_such_compiler",))
    code = main(["export-fmu", "--strategy", "slip_band", str(tmp_path / "x.fmu")])
    assert code == 2
    assert "no C compiler found (no_such_compiler)" in capsys.readouterr().err
    assert not any(tmp_path.iterdir())


def test_the_command_writes_and_overwrites_nothing_of_others(capsys, tmp_path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "x.fmu"
    assert main(["export-fmu", "--strategy", "none", str(path), "--fmi", "3"]) == 0
    assert CAUTION in capsys.readouterr().out
    path.write_bytes(b"mine")
    assert main(["export-fmu", "--strategy", "none", str(path)]) == 2
    assert path.read_bytes() == b"mine"
    assert main(["export-fmu", "dry", str(path), "--strategy", "none"]) == 2
    assert "name a scenario, or a strategy" in capsys.readouterr().err


def test_an_image_is_the_world_again() -> None:
    """Unpacked as the C source does it, and of every array the kernel has."""
    world = pack(scenario_of("wet_leaf"), BUILT_IN, 3, with_traces=False)
    image = image_of(world)
    packed, block, at = packed_image(image), bytearray(len(image)), 8
    for _ in range(int.from_bytes(packed[:8], "little")):
        place, length = (int.from_bytes(packed[at + i : at + i + 8], "little") for i in (0, 8))
        block[place : place + length] = packed[at + 16 : at + 16 + length]
        at += 16 + length
    assert bytes(block) == image
    assert at == len(packed) < len(image)  # the cells of the rail are most of it


@pytest.mark.parametrize("name", ["wet_leaf", "dry", "frost"])
def test_parameters_move_what_the_c_source_sets_and_nothing_else(name: str) -> None:
    """A field that begins to follow the initial speed or the load is noticed here."""
    wanted = Wanted(load_scenario(name), n_seeds=1)
    world = _packed(wanted, wanted.scenario, 0)
    slower = _packed(wanted, wanted.scenario.replace(initial_speed=9.0), 0)
    assert moved(world, slower) <= SPEED_MOVES
    laden = _packed(wanted, wanted.scenario.replace({"train.load": 0.9}), 0)
    assert "train.mass" in moved(world, laden) <= LOAD_MOVES


@pytest.fixture(scope="module")
def train(folder: Path):  # type: ignore[no-untyped-def]
    """A train on dry rail: the physics for it is compiled once and kept beside the kernel."""
    return written(folder / "dry.fmu", train_unit(Wanted(scenario_of("dry"), n_seeds=4)))


@pytest.mark.slow
def test_the_train_runs_in_a_library_of_others(folder) -> None:  # type: ignore[no-untyped-def]
    fmpy = pytest.importorskip("fmpy")
    scenario = scenario_of("dry")
    direct = simulate(scenario, by_name("none"), 0).summary
    for version in (2, 3):
        path = folder / f"train {version}.fmu"
        path.write_bytes(train_unit(Wanted(scenario, version, n_seeds=2)))
        assert validated(path) == []
        names = ["truth.distance", "truth.train_speed", "audit.residual"]
        ran = fmpy.simulate_fmu(str(path), stop_time=60.0, step_size=0.01, output=names)
        assert ran["truth.train_speed"][-1] == 0.0
        assert ran["truth.distance"][-1] == pytest.approx(direct["final_distance"], rel=1e-5)
        assert abs(ran["audit.residual"][-1]) < 1e-5


@pytest.mark.slow
def test_a_c_host_runs_the_train_without_python(train, folder) -> None:  # type: ignore[no-untyped-def]
    """Nothing of Python is loaded or asked for; it is quick, and steps back and forth."""
    scenario = scenario_of("dry")
    host = build_host(folder, train, None, [v.n_axles for v in scenario.train.vehicles])
    needed = subprocess.run(["ldd", train.library], capture_output=True, text=True).stdout
    needed += subprocess.run(["ldd", host], capture_output=True, text=True).stdout
    symbols = subprocess.run(["nm", "-D", train.library], capture_output=True, text=True).stdout
    assert "libm" in needed
    for text in (needed.lower(), symbols.lower()):
        assert not any(word in text for word in ("python", "numba", "_py", "nrt", "llvm"))
    shown = [line.split()[-1] for line in symbols.splitlines() if " T " in line]
    assert len(shown) == 34
    ran = run_host(host, train.library, None, 0, 0.01)
    direct = simulate(scenario, by_name("none"), 0).summary
    assert ran.status == 1
    assert ran.distance == pytest.approx(direct["final_distance"], rel=1e-5)
    assert abs(ran.residual) < 1e-5
    print(f"{0.01 * ran.n_steps / ran.time:.0f} times real time, {1e6 * ran.time / ran.n_steps:.1f}"
          " us a step of 10 ms, 16 axles")  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("name", ["dry", "wet_leaf", "frost"])
def test_both_at_once_compute_the_same_bits(name, folder) -> None:  # type: ignore[no-untyped-def]
    """A vehicle and its slip control, two units in a C host: the stop of the bench, to the bit."""
    scenario = scenario_of(name, 1)
    own = written(folder / f"{name}1.fmu", train_unit(Wanted(scenario, n_seeds=4)))
    control = written(folder / "slip_band.fmu", strategy_unit(BUILT_IN, 2, 4))
    host = build_host(folder, own, control, [scenario.train.n_axles])
    for seed in (0, 3):
        ran = run_host(host, own.library, control.library, seed, 0.0)
        direct = simulate(scenario, BUILT_IN, seed).summary
        assert ran.distance == direct["final_distance"]
        assert ran.residual == pytest.approx(direct["energy_residual"], rel=1e-6, abs=1e-15)


@pytest.mark.slow
def test_one_controller_of_the_whole_train_computes_the_same_bits(folder) -> None:  # type: ignore[no-untyped-def]
    """Four vehicles under one controller: communication points are its sample points."""
    coordinated = by_name("train_coordinated")
    for name in ("wet_leaf", "damp_oxide"):
        scenario = scenario_of(name)
        wanted = Wanted(scenario, n_seeds=2, is_train_wide=True)
        own = written(folder / f"{name}_wide.fmu", train_unit(wanted))
        n_axles = scenario.train.n_axles
        control = written(folder / "wide.fmu", strategy_unit(coordinated, 2, n_axles))
        host = build_host(folder, own, control, [n_axles])
        for seed in (0, 1):
            ran = run_host(host, own.library, control.library, seed, 0.0)
            direct = simulate(scenario, coordinated, seed, with_traces=False).summary
            assert ran.distance == direct["final_distance"]


@pytest.mark.slow
def test_a_train_of_several_vehicles_and_their_slip_control(folder) -> None:  # type: ignore[no-untyped-def]
    """Four controllers sample at instants of their own: steps are cut there, so not the same bits.

    On dry rail within 1e-5; on a slippery one the means over seeds agree within their error.
    """
    control = written(folder / "slip_band.fmu", strategy_unit(BUILT_IN, 2, 4))
    for name, n_seeds in (("dry", 2), ("wet_leaf", 64)):
        scenario = scenario_of(name)
        own = written(folder / f"{name}4.fmu", train_unit(Wanted(scenario, n_seeds=n_seeds)))
        host = build_host(folder, own, control, [v.n_axles for v in scenario.train.vehicles])
        ratios = []
        for seed in range(n_seeds):
            ran = run_host(host, own.library, control.library, seed, 0.0)
            direct = simulate(scenario, BUILT_IN, seed, with_traces=False).summary
            ratios.append(ran.distance / direct["final_distance"] - 1.0)
        if name == "dry":
            assert max(map(abs, ratios)) < 1e-5
            continue
        mean = sum(ratios) / n_seeds
        spread = math.sqrt(sum((r - mean) ** 2 for r in ratios) / (n_seeds - 1) / n_seeds)
        print(f"{name}: {mean:.2e} +- {spread:.1e}, largest {max(map(abs, ratios)):.1e}")
        assert abs(mean) < 3.0 * spread + 1e-5


@pytest.mark.slow
@pytest.mark.parametrize("name", ["tram", "locomotive_and_coaches", "four_cars_dynamic"])
def test_other_trains_and_their_dynamic_brakes_go_out(name, folder) -> None:  # type: ignore[no-untyped-def]
    fmpy = pytest.importorskip("fmpy")
    path = folder / f"{name}.fmu"
    words = ["dry", str(path), "--train", name, "--speed", "10m/s", "--seeds", "1"]
    assert main(["export-fmu", *words]) == 0
    scenario = read_scenario("dry", make_parser().parse_args(["export-fmu", *words]))
    assert validated(path) == []
    names = ["truth.distance", "audit.residual"]
    ran = fmpy.simulate_fmu(str(path), stop_time=60.0, step_size=0.01, output=names)
    direct = simulate(scenario, by_name("none"), 0).summary
    assert ran["truth.distance"][-1] == pytest.approx(direct["final_distance"], rel=1e-5)
    assert abs(ran["audit.residual"][-1]) < 5e-5  # cut steps book a drive less evenly


@pytest.mark.slow
def test_parameters_do_what_the_scenario_would(folder) -> None:  # type: ignore[no-untyped-def]
    """Initial speed, load and friction set in the unit against scenarios that say so."""
    fmpy = pytest.importorskip("fmpy")
    scenario = scenario_of("wet_leaf", 2)
    path = folder / "parameters.fmu"
    path.write_bytes(train_unit(Wanted(scenario, n_seeds=2)))
    sections = tuple(
        replace(one, friction=1.5 * one.friction, recovered_friction=1.5 * one.recovered_friction)
        for one in scenario.rail.sections
    )
    cases = [
        ({"initial_speed": 9.0}, scenario.replace(initial_speed=9.0)),
        ({"load": 0.9}, scenario.replace({"train.load": 0.9})),
        ({"initial_speed": 3.0}, scenario.replace(initial_speed=3.0)),
        ({"seed": 1}, scenario),
        ({"friction_scale": 1.5}, scenario.replace({"rail.sections": sections})),
    ]
    for values, other in cases:
        ran = fmpy.simulate_fmu(
            str(path), stop_time=90.0, step_size=0.01, start_values=values,
            output=["truth.distance"],
        )  # fmt: skip
        direct = simulate(other, by_name("none"), values.get("seed", 0)).summary
        assert ran["truth.distance"][-1] == pytest.approx(direct["final_distance"], rel=1e-5)


@pytest.mark.slow
def test_handle_and_emergency_are_inputs(folder) -> None:  # type: ignore[no-untyped-def]
    """Full service and emergency by the inputs, against scenarios whose driver does the same."""
    fmpy = pytest.importorskip("fmpy")
    import numpy as np

    scenario = scenario_of("dry")
    path = folder / "handle.fmu"
    path.write_bytes(train_unit(Wanted(scenario, n_seeds=1)))
    first = scenario.driver.programme[0]
    for column, value, position in (
        ("handle_position", 2, 2),
        ("emergency", True, scenario.brake.emergency_position),
    ):
        entry = type(first)(**{**vars(first), "position": position, "level": None})
        other = scenario.replace({"driver.programme": (entry,)})
        kind = bool if value is True else int
        given = np.array([(0.0, value), (99.0, value)], dtype=[("time", float), (column, kind)])
        ran = fmpy.simulate_fmu(
            str(path), stop_time=90.0, step_size=0.01, input=given, output=["truth.distance"]
        )
        direct = simulate(other, by_name("none"), 0).summary
        assert ran["truth.distance"][-1] == pytest.approx(direct["final_distance"], rel=1e-5)

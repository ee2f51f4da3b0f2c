"""Compressors, main reservoirs, the pipe along the train: check values, balances, whole stops."""

import math

import numpy as np
import pytest
from tests.support_stops import (
    RANDOM_COMMANDS,
    brake_of,
    car,
    packed,
    plain_stop,
    run_world,
    train_of,
)

from slipbench import simulate
from slipbench.controllers import by_name
from slipbench.ground.errors import InputError
from slipbench.kernel.air import mass_of
from slipbench.kernel.supply import charge_reservoir, level_pipe, run_compressors
from slipbench.scenario import Run, load_scenario

NORMAL_LITRE_A_MINUTE = 1e-3 / 60.0
FLOW = {"air": "flow", "full_pressure": 3e5, "fill_delay": 0.04, "vent_delay": 0.03}
mass = mass_of.py_func


def unit(n_cars=2, first=None, **brake):
    """Return cars on a slippery rail whose first one carries reservoir and compressor."""
    changes = {"main_reservoir_volume": 0.1, "compressor_flow": 0.02, "auxiliary_flow": 0.001}
    scenario = plain_stop(
        20.0,
        friction=0.06,
        train=train_of(*[car()] * n_cars),
        brake=brake_of(0.9, 0.2, 1.0, **{**FLOW, **brake}),
        run=Run(maximum_time=60.0),
    )
    changes |= first or {}
    return scenario.replace({f"train.vehicles.0.{name}": changes[name] for name in changes})


def test_compressor_fills_the_reservoirs_in_the_time_of_the_check_value():
    """1000 l from 8.5 to 10 bar at 1200 less 200 l/min of air at 1.013 bar: 88.8 s.

    t = V dp / (p_atm (Q - q)), isothermal; computed from the gas law alone.
    """
    world = packed(unit(1))
    world.vehicles["main_volume"] = 1.0
    litre = 1.013e5 * 1e-3 / (287.05 * 293.15)  # mass of a litre at that pressure [kg]
    world.vehicles["compressor_flow"] = 1200.0 * litre / 60.0
    world.vehicles["auxiliary_flow"] = 200.0 * litre / 60.0
    world.vehicle_states["main"] = 8.5e5 - 1.0
    time = 0.0
    while world.vehicle_states["main"][0] < 10e5:
        run_compressors(0.02, world.brakes, world.vehicles, world.vehicle_states)
        time += 0.02
    assert time == pytest.approx(88.8, abs=0.1)
    run_compressors(0.02, world.brakes, world.vehicles, world.vehicle_states)
    assert world.vehicle_states["is_pumping"][0] == 0


def test_governor_runs_from_cut_in_to_cut_out_and_not_between():
    world = packed(unit(1))
    state = world.vehicle_states[0]
    seen = []
    for main in (9e5, 8.4e5, 9e5, 9.9e5, 10e5, 9e5, 8.6e5, 8.4e5):
        state["main"] = main
        run_compressors(1e-6, world.brakes, world.vehicles, world.vehicle_states)
        seen.append(int(state["is_pumping"]))
    assert seen == [0, 1, 1, 1, 0, 0, 0, 1]


def test_auxiliaries_never_draw_what_is_not_there():
    world = packed(unit(1, {"compressor_flow": 0.0, "auxiliary_flow": 0.5}))
    for _ in range(1000):
        run_compressors(0.02, world.brakes, world.vehicles, world.vehicle_states)
    state = world.vehicle_states[0]
    assert state["main"] == pytest.approx(0.0, abs=1e-6)
    assert state["consumed_mass"] == pytest.approx(mass(9e5, 0.11), rel=1e-9)


def test_pipe_levels_the_train_and_keeps_every_gram():
    """Reservoir on the last of five cars at 9 bar, all others empty: one pressure in the end."""
    world = packed(unit(5))
    volumes, states = world.vehicles["main_volume"], world.vehicle_states
    states["main"] = [0.0, 0.0, 0.0, 0.0, 9e5]
    volumes[:] = [0.01, 0.01, 0.01, 0.01, 0.2]
    total = float((states["main"] * volumes).sum())
    fronts = []
    for _ in range(3000):
        level_pipe(0.02, world.train[0], world.vehicles, states)
        assert np.all(np.diff(states["main"]) >= -1e-6), "the rear fills first"
        fronts.append(float(states["main"][0]))
    assert float((states["main"] * volumes).sum()) == pytest.approx(total, rel=1e-12)
    assert states["main"] == pytest.approx(total / volumes.sum(), rel=1e-6)
    assert np.all(np.diff(fronts) >= -1e-6)


def test_pipe_passes_what_iso_6358_says():
    """Choked: C rho0 p1, 3.5e-7 x 1.185 x 1.001e6 = .415 kg/s, in one step of a millisecond."""
    world = packed(unit(2))
    world.vehicles["main_volume"] = 1.0
    world.vehicle_states["main"] = [9e5, 1e5]
    level_pipe(1e-3, world.train[0], world.vehicles, world.vehicle_states)
    moved = mass(float(world.vehicle_states["main"][1]) - 1e5, 1.0)
    assert moved == pytest.approx(3.5e-7 * 1.185 * (9e5 + 101325.0) * 1e-3, rel=1e-6)
    assert moved == pytest.approx(4.15e-4, rel=1e-3)


@pytest.mark.parametrize("duration", [1e-3, 0.02, 10.0])
def test_charging_never_passes_the_balance_of_pipe_and_reservoir(duration):
    world = packed(unit(1, charging_conductance=1e-5))
    state, vehicle, train = world.vehicle_states[0], world.vehicles[0], world.train[0]
    state["main"], state["reservoir"] = 6e5, 2e5
    own, volume = float(vehicle["main_volume"]), float(train["reservoir_volume"])
    balance = (6e5 * own + 2e5 * volume) / (own + volume)
    for _ in range(300):
        charge_reservoir(duration, train, vehicle, state)
        assert state["reservoir"] <= balance * (1.0 + 1e-12) <= state["main"] * (1.0 + 1e-9)
    assert state["reservoir"] == pytest.approx(balance, rel=1e-3)


def test_seven_full_applications_are_in_a_reservoir_of_200_litres():
    """200 l at 7 bar, four cylinders of 8 l to 3.0 bar, nothing fed: .48 bar each; 7 leave 3.64."""
    world = packed(unit(1, reservoir_volume=0.2, charging_conductance=0.0))
    state = world.vehicle_states[0]
    for i in range(7):
        state["flow"] = mass(3e5, 4 * 8e-3)
        charge_reservoir(0.02, world.train[0], world.vehicles[0], state)
        assert state["reservoir"] == pytest.approx(7e5 - (i + 1) * 0.48e5, rel=1e-12)
    assert state["reservoir"] >= 3.5e5


@pytest.mark.parametrize("air", [{}, {"reservoir_volume": 0.02, "charging_conductance": 1e-7}])
def test_air_of_the_whole_train_closes(air):
    """Compressed less consumed is in main pipe, reservoirs and cylinders, or out. To rounding."""
    scenario = unit(3, **air)
    world = run_world(packed(scenario, RANDOM_COMMANDS), RANDOM_COMMANDS)
    states = world.vehicle_states
    main = mass(states["main"] - 9e5, world.vehicles["main_volume"])
    net = states["compressed_mass"] - states["consumed_mass"] - states["charged_mass"]
    assert main.sum() == pytest.approx(net.sum(), abs=1e-12)
    assert states["compressed_mass"].tolist()[1:] == [0.0, 0.0]
    assert states["consumed_mass"][0] > 0.0 and states["charged_mass"].min() > 0.0
    summary = simulate(scenario, RANDOM_COMMANDS, seed=0, with_traces=False).summary
    assert abs(summary["air_residual"]) < 1e-11
    assert summary["lowest_main_pressure"] == pytest.approx(float(states["lowest_main"].min()))


def quarter(name):
    """Return a shipped scenario with a quarter of the air: compressors, reservoirs, charging."""
    scenario = load_scenario(name)
    changes = {}
    for i, vehicle in enumerate(scenario.train.vehicles):
        for key in ("main_reservoir_volume", "compressor_flow", "auxiliary_flow"):
            changes[f"train.vehicles.{i}.{key}"] = 0.25 * getattr(vehicle, key)
    for key in ("reservoir_volume", "charging_conductance"):
        changes[f"brake.{key}"] = 0.25 * getattr(scenario.brake, key)
    return scenario.replace(changes)


@pytest.mark.parametrize("strategy", ["deceleration", "slip_target", "sliding_mode"])
def test_at_a_quarter_of_the_air_strategies_run_short_on_leaf(strategy):
    """Under 1 bar, and told so by findings; the account still closes."""
    scenario = quarter("wet_leaf")
    stop = simulate(scenario, by_name(strategy), seed=0, with_traces=False)
    summary = stop.summary
    assert summary["lowest_reservoir"] < 1e5
    assert summary["next_application"] < 0.5
    assert abs(summary["air_residual"]) < 1e-11
    kinds = [finding.kind for finding in stop.findings]
    assert "low air" in kinds and "low main pipe" in kinds
    (low,) = [finding for finding in stop.findings if finding.kind == "low air"]
    assert "compressors need" in low.text


def test_a_strategy_that_spares_air_keeps_a_full_application_where_others_do_not():
    full = load_scenario("wet_leaf")
    spare = simulate(full, by_name("cleaning_balance"), seed=0, with_traces=False)
    waste = simulate(full, by_name("speed_difference"), seed=0, with_traces=False)
    assert spare.summary["next_application"] == 1.0
    assert "low air" not in [finding.kind for finding in spare.findings]
    assert waste.summary["next_application"] < 1.0
    assert "low air" in [finding.kind for finding in waste.findings]


def test_a_main_pipe_that_is_kept_up_knows_nothing_of_compressors():
    scenario = plain_stop(20.0, train=train_of(car()), brake=brake_of(0.9, **FLOW))
    summary = simulate(scenario, by_name("none"), with_traces=False).summary
    assert summary["lowest_main_pressure"] is None and summary["recharge_time"] is None
    assert summary["air_compressed"] == 0.0


def test_recharge_time_is_what_is_missing_over_what_compressors_bring():
    scenario = unit(1, {"compressor_flow": 0.02, "auxiliary_flow": 0.004})
    summary = simulate(scenario, by_name("none"), with_traces=False).summary
    world = run_world(packed(scenario))
    state = world.vehicle_states[0]
    missing = (10e5 - state["main"]) * 0.11 + (7e5 - state["reservoir"]) * 0.1
    litres = missing / (287.05 * 293.15) / 1.185  # normal cubic metres
    assert summary["recharge_time"] == pytest.approx(litres / 0.016, rel=1e-9)
    assert math.isfinite(summary["recharge_time"])


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"brake.compressor_cut_out": 8.5e5}, "compressor_cut_out"),
        ({"train.vehicles.0.main_reservoir_volume": 0.0}, "compressor_flow"),
    ],
)
def test_air_supply_that_cannot_be_is_refused(changes, key):
    with pytest.raises(InputError, match=key):
        unit().replace(changes)


def test_a_change_to_ramps_leaves_no_main_reservoir_behind():
    """What can no longer act goes; a file that gives both is refused (tests/scenario)."""
    changed = unit().replace({"brake.air": "ramps"})
    assert not changed.train.has_main_reservoirs

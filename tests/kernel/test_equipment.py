"""Valve groups, vent limit, low-speed cut-out, controllers of vehicles, the pressure transducer."""

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

from slipbench.contract import Controller
from slipbench.controllers import by_name
from slipbench.ground.errors import InputError
from slipbench.kernel.columns import FILL, VENT
from slipbench.scenario import Run
from slipbench.stop.simulation import simulate

MPH_6 = 2.68224


def _vent_first(observation, parameters, memory, command, signals):
    for i in range(len(command)):
        command[i, 0] = 2.0 if i == 0 else 0.0
        command[i, 1] = 1.0


VENT_FIRST = Controller(name="vent_first", title="vents axle 1", update=_vent_first, observes=())


def _vent_all(observation, parameters, memory, command, signals):
    for i in range(len(command)):
        command[i, 0] = 2.0
        command[i, 1] = 1.0


VENT_ALL = Controller(name="vent_all", title="vents", update=_vent_all, observes=())


def stop_with(speed=20.0, friction=0.3, **changes):
    brake = brake_of(0.9, full_pressure=3e5, fill_rate=4e5, vent_rate=5e5)
    stop = plain_stop(
        speed,
        friction=friction,
        train=train_of(car(), car()),
        brake=brake,
        run=Run(maximum_time=60.0),
    )
    return stop.replace(changes)


def test_valve_of_a_bogie_serves_both_axles():
    stop = stop_with(**{"brake.vent_time_limit": 1e3})
    own = simulate(stop, VENT_FIRST).traces["pressure"][-1]
    shared = simulate(stop.replace({"slip_control.valve_group": "bogie"}), VENT_FIRST)
    assert [p < 1e3 for p in own] == [True, False, False, False] * 2
    pressure = shared.traces["pressure"]
    assert [p < 1e3 for p in pressure[-1]] == [True, True, False, False] * 2
    assert pressure[:, 0::2] == pytest.approx(pressure[:, 1::2], abs=1e-6)


def test_valve_of_a_bogie_keeps_its_axles_alike_whatever_is_commanded():
    stop = stop_with(friction=0.06, **{"slip_control.valve_group": "bogie"})
    pressure = simulate(stop, RANDOM_COMMANDS).traces["pressure"]
    assert pressure[:, 0::2] == pytest.approx(pressure[:, 1::2], abs=1e-6)
    assert np.ptp(pressure[:, 0] - pressure[:, 2]) > 1e4


def _vent_then_breathe(observation, parameters, memory, command, signals):
    """Vent, but fill for one second from second 7 on."""
    memory[-1, 0] += observation[0, 3]
    for i in range(len(command)):
        command[i, 0] = 0.0 if 7.0 < memory[-1, 0] < 8.0 else 2.0
        command[i, 1] = 1.0


BREATHES = Controller(
    name="breathes", title="vents", update=_vent_then_breathe, observes=("sample_time",)
)


def test_vent_limit_restores_the_brake_and_rearms():
    """Limit 5 s: vent to 5, restored to 8 (own fill from 7), vent to 13 again, then restored."""
    stop = stop_with(30.0, **{"brake.vent_time_limit": 5.0})
    traces = simulate(stop, BREATHES).traces
    time, valve = traces["time"], traces["valve"][:, 0]
    seen = {t: valve[np.searchsorted(time, t)] for t in (1.0, 4.8, 5.3, 7.5, 8.3, 12.7, 13.3, 20.0)}
    assert [t for t, position in seen.items() if position == VENT] == [1.0, 4.8, 8.3, 12.7]
    world = run_world(packed(stop, BREATHES), BREATHES)
    assert (world.axle_states["n_restored"] == 2).all()
    assert traces["pressure"][np.searchsorted(time, 6.5), 0] > 2e5


def test_cut_out_leaves_the_valves_in_fill_below_its_speed():
    stop = stop_with(8.0, **{"slip_control.cut_out_speed": 3.0, "brake.vent_time_limit": 2.0})
    traces = simulate(stop, VENT_ALL).traces
    valve, measured = traces["valve"], traces["measured_wheel_speed"].max(axis=1)
    assert (valve[measured < 2.9] == FILL).all()
    assert (
        valve[(measured > 3.1) & (traces["time"] < 1.9) & (traces["time"] > 0.05)] == VENT
    ).all()


@pytest.mark.parametrize("cut_out", [0.0, 3.0])
def test_activity_below_6_mph_is_counted_and_cut_out_prevents_it(cut_out):
    stop = stop_with(8.0, friction=0.06, **{"slip_control.cut_out_speed": cut_out})
    world = run_world(packed(stop, RANDOM_COMMANDS), RANDOM_COMMANDS)
    axles = world.axle_states
    of_vehicle = axles["low_speed_vents"].reshape(2, 4).sum(axis=1)
    if cut_out:
        # the wheel reads a little over the train only where it does not slide: one late sample
        assert (of_vehicle <= 1).all()
    else:
        assert (of_vehicle > 0).all()
    assert (axles["low_speed_vent_speed"][axles["low_speed_vents"] > 0] < MPH_6).all()
    assert (axles["low_speed_vents"] <= axles["vent_count"]).all()


def test_activity_at_speed_only_is_not_counted_as_low():
    stop = stop_with(20.0, **{"run.maximum_time": 3.0})
    world = run_world(packed(stop, VENT_ALL), VENT_ALL)
    assert (world.axle_states["vent_count"] > 0).all()
    assert (world.axle_states["low_speed_vents"] == 0).all()


def test_strategy_that_needs_pressure_is_refused_without_transducer():
    stop = stop_with(**{"sensing.has_pressure_transducer": False})
    with pytest.raises(InputError, match=r"observes measured_pressure, but .*transducer"):
        simulate(stop, by_name("phase_logic"))


def test_strategy_that_needs_none_does_the_same_without_transducer():
    stop = stop_with(friction=0.06)
    without = stop.replace({"sensing.has_pressure_transducer": False})
    both = [simulate(s, by_name("slip_band"), with_traces=False).summary for s in (stop, without)]
    assert both[0] == both[1]


def _peek(observation, parameters, memory, command, signals):
    """Vent where a pressure is seen at all."""
    for i in range(len(command)):
        command[i, 0] = 2.0 if observation[i, 1] >= 0.0 else 0.0
        command[i, 1] = 1.0


def test_without_transducer_no_pressure_is_seen():
    peeking = Controller(name="peeking", title="peeks", update=_peek, observes=())
    stop = stop_with(**{"run.maximum_time": 3.0})
    without = stop.replace({"sensing.has_pressure_transducer": False})
    assert simulate(stop, peeking, with_traces=False).summary["vent_count"] == 8
    assert simulate(without, peeking, with_traces=False).summary["vent_count"] == 0

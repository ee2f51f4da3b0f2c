"""Wear of nearly locked wheels: it shows, spread over their turns, with a finding."""

import math

import numpy as np
import pytest
from tests.support_stops import film, plain_stop

from slipbench.contract import Controller
from slipbench.controllers import by_name
from slipbench.ground.errors import InputError
from slipbench.measures.drag import drag_depth
from slipbench.measures.flats import archard_area_rate, energy_area_rate
from slipbench.measures.materials import WEAR
from slipbench.scenario import Run
from slipbench.stop.simulation import simulate

LOAD, AREA, RADIUS, WIDTH = 73.6e3, 75.7e-6, 0.42, 0.030
AROUND = 2.0 * math.pi * RADIUS


def depth_of(distance, travel, friction=0.03):
    energy = friction * LOAD * distance
    arrays = [np.array([value]) for value in (distance, travel, energy, LOAD, AREA, RADIUS)]
    low, high = drag_depth(*arrays)
    return float(low[0]), float(high[0])


def test_300_m_in_four_turns_is_worn_off_all_around():
    """Volume of the same sliding by the wear laws over width and circumference, written out."""
    low, high = depth_of(300.0, 4.0 * AROUND)
    rates = [
        float(archard_area_rate(LOAD, WEAR.archard_low, WEAR.hardness)),
        float(archard_area_rate(LOAD, WEAR.archard_high, WEAR.hardness)),
        float(energy_area_rate(0.03 * LOAD, AREA)),
    ]
    assert low == pytest.approx(min(rates) * 300.0 / (WIDTH * AROUND), rel=1e-12)
    assert high == pytest.approx(max(rates) * 300.0 / (WIDTH * AROUND), rel=1e-12)
    assert 50e-6 < high < 200e-6  # tenths of a millimetre, not a flat


def test_less_than_a_turn_wears_only_the_arc_that_came_round():
    assert depth_of(50.0, 0.5)[1] == pytest.approx(depth_of(50.0, 2 * AROUND)[1] * AROUND / 0.5)
    assert depth_of(0.0, 0.0) == (0.0, 0.0)


def test_what_cannot_be_is_refused():
    with pytest.raises(InputError, match=r"distance\[0\] = -1.0 m"):
        depth_of(-1.0, 1.0)


def creeping(observation, parameters, memory, command, signals):  # type: ignore[no-untyped-def]
    """Hold the rim between 0.3 and 0.8 m/s: fill above, vent below."""
    for i in range(command.shape[0]):
        speed = observation[i, 0]
        command[i, 0] = 2.0 if speed < 0.35 else 0.0 if speed > 0.7 else 1.0
        command[i, 1] = 1.0


CREEPING = Controller(
    name="creeping", title="-", update=creeping, observes=("measured_wheel_speed",)
)


def test_a_wheel_dragged_nearly_locked_is_told_with_its_turns():
    fine = Run(maximum_distance=5e3, maximum_time=600.0, trace_interval=2e-3)
    scenario = plain_stop(25.0, sections=(film(0.02),), run=fine)
    stop = simulate(scenario, CREEPING)
    drag = stop.worth.drag
    speed, rim = stop.traces["train_speed"], stop.traces["wheel_speed"][:, 0]
    time = stop.traces["time"]
    is_dragged = (rim >= 0.2) & (rim < 1.0) & (rim < 0.5 * speed) & (speed > 1.4)
    way = np.trapezoid(np.where(is_dragged, speed - rim, 0.0), time)
    turns = np.trapezoid(np.where(is_dragged, rim, 0.0), time) / AROUND
    assert way > 100.0
    assert drag.distance[0] == pytest.approx(way, rel=0.02)
    assert drag.turns[0] == pytest.approx(turns, rel=0.02)
    assert stop.summary["dragged_distance"] == [drag.distance[0]]
    assert stop.summary["dragged_depth_high"] == drag.depth.high[0] > 0.0
    told = [f for f in stop.findings if f.kind == "dragged wheel"]
    assert len(told) == 1 and told[0].axle == 1 and told[0].value == drag.distance[0]
    assert f"in {drag.turns[0]:.1f} turns" in told[0].text and "worn off all around" in told[0].text


def test_a_stop_without_slides_drags_nothing():
    stop = simulate(plain_stop(20.0), by_name("none"), with_traces=False)
    assert stop.summary["dragged_distance"] == [0.0]
    assert not [f for f in stop.findings if f.kind == "dragged wheel"]

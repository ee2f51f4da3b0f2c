"""A stop driven while it runs comes to the same bits as the replay of its log."""

import numpy as np
import pytest

from slipbench.controllers import by_name
from slipbench.ground.errors import InputError
from slipbench.practice.live import MOST_PRESSES, LiveStop, begun
from slipbench.stop.simulation import simulate


def drive(live, seed, n_ticks=4000, tick=0.05):
    """Move the handle and press the button at random, as a nervous hand does."""
    random = np.random.default_rng(seed)
    for i in range(n_ticks):
        live.advance((i + 1) * tick)
        if live.is_over:
            return
        if random.random() < 0.06:
            live.select(int(random.integers(0, 5)))
        if random.random() < 0.01 and len(live.scenario.driver.presses) < MOST_PRESSES:
            live.press()
        if i > 600:
            live.select(3)


@pytest.mark.parametrize("strategy", ["slip_band", "cleaning_balance", "none"])
def test_a_nervous_hand_replays_to_the_same_bits(short, strategy):
    live = LiveStop(short, by_name(strategy), 5)
    drive(live, seed=len(strategy))
    assert live.is_over and len(live.scenario.driver.programme) > 10
    ran, again = live.account(), simulate(live.scenario, by_name(strategy), 5)
    assert set(ran.traces) == set(again.traces)
    for name, values in again.traces.items():
        assert np.array_equal(ran.traces[name], values, equal_nan=True), name
    for name, value in again.summary.items():
        assert ran.summary[name] == value or value != value, name


def test_how_time_is_cut_for_frames_changes_nothing(short):
    """Advanced in pieces of 5 ms, or in one, the same handle log gives the same stop."""
    ends = []
    for tick in (0.005, 0.1):
        live = LiveStop(short, by_name("slip_band"), 0)
        for i in range(int(2.0 / tick)):
            live.advance((i + 1) * tick)
        live.select(3)
        live.advance(1000.0)
        ends.append(live.account().summary["stopping_distance"])
    assert ends[0] == pytest.approx(ends[1], abs=0.6)  # the instant lies within a step or two


def test_instants_are_whole_milliseconds_ahead_and_in_order(short):
    live = LiveStop(short, by_name("none"), 0)
    live.advance(1.0)
    made = [live.select(1), live.select(2), live.press(), live.select(4), live.press()]
    assert made == sorted(set(made)) and made[0] > live.time
    assert made[-1] < live.time + 0.05
    assert all(at == round(at, 3) for at in made)


def test_it_begins_in_release_whatever_the_scenario_says(short):
    programme = begun(short).driver.programme
    assert [(entry.at_time, entry.position) for entry in programme] == [(0.0, 0)]
    live = LiveStop(short, by_name("none"), 0)
    live.advance(2.0)
    assert live.position == 0 and live.world.train_state["demand"][0] == 0.0


def test_what_the_handle_has_not_is_refused(short):
    live = LiveStop(short, by_name("none"), 0)
    for position in (-1, 5):
        with pytest.raises(InputError, match="there is none"):
            live.select(position)
    for _ in range(MOST_PRESSES):
        live.press()
    with pytest.raises(InputError, match="more than 20 presses"):
        live.press()


def test_vents_are_heard_from_the_leading_bogie_alone(short):
    """Never more than the train's vents, and of as many beginnings as its traces show, about."""
    live = LiveStop(short, by_name("slip_band"), 0)
    live.select(3)
    live.advance(1000.0)
    stop = live.account()
    venting = np.rint(stop.traces["valve"][:, :2]) == 2
    begun_in_traces = int((venting[1:] & ~venting[:-1]).sum())
    assert 0 < live.vents_heard <= stop.summary["vent_count"]
    assert live.vents_heard == pytest.approx(begun_in_traces, rel=0.3, abs=2)

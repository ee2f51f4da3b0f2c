"""What a stop adds up: locks, slides, usable adhesion."""

import pytest
from tests.support_stops import FLAT, packed, plain_stop, wheel_on

from slipbench.controllers import none
from slipbench.kernel.creep import creep_force
from slipbench.kernel.slides import count_lock, count_slide
from slipbench.kernel.tally import usable_force
from slipbench.stop.simulation import simulate


@pytest.fixture
def parts():
    """Return run, axle state and slide histogram; locked below 0.2 m/s while the train does 1.4."""
    world = packed(plain_stop(20.0))
    return world.run[0], world.axle_states[0], world.slide_histogram


def lock(parts, duration, before, after, train_speed=10.0, energy=0.0):
    run, state, _ = parts
    state["wheel_speed"] = after
    count_lock(duration, 0.0, before, train_speed, energy, run, state)
    return state


def test_lock_is_counted_from_where_the_rim_passes_the_threshold(parts):
    """From 1.0 to 0 in 0.1 s the rim is below 0.2 for the last fifth."""
    state = lock(parts, 0.1, 1.0, 0.0, energy=500.0)
    assert state["locked_time"] == pytest.approx(0.02)
    assert state["locked_distance"] == pytest.approx(0.2)
    assert state["locked_energy"] == pytest.approx(100.0)
    assert state["n_locks"] == 1


def test_lock_runs_on_over_several_pieces(parts):
    lock(parts, 0.1, 1.0, 0.0, train_speed=10.0)
    lock(parts, 0.5, 0.0, 0.0, train_speed=9.0)
    state = lock(parts, 0.1, 0.0, 1.0, train_speed=8.0)
    assert state["n_locks"] == 1
    assert state["longest_lock"] == pytest.approx(0.02 + 0.5 + 0.02)
    assert state["longest_lock_speed"] == 10.0
    assert state["lock_duration"] == 0.0


def test_longest_lock_is_the_longest_not_the_last(parts):
    lock(parts, 0.5, 0.0, 0.0, train_speed=12.0)
    lock(parts, 0.1, 0.0, 5.0)
    lock(parts, 0.2, 0.0, 0.0, train_speed=6.0)
    state = lock(parts, 0.1, 5.0, 5.0)
    assert state["n_locks"] == 2
    assert state["longest_lock"] == pytest.approx(0.5 + 0.1 * 0.2 / 5.0)
    assert state["longest_lock_speed"] == 12.0


def test_no_wheel_counts_as_locked_in_a_slow_train(parts):
    assert lock(parts, 0.5, 0.0, 0.0, train_speed=1.3)["locked_time"] == 0.0


@pytest.mark.parametrize(
    ("rim", "train_speed", "is_sliding"),
    [(9.0, 10.0, True), (9.6, 10.0, False), (9.75, 10.0, False), (1.8, 2.0, False)],
)
def test_slide_needs_both_creepage_and_slip_speed(parts, rim, train_speed, is_sliding):
    """Above 5 % and above 0.3 m/s."""
    run, state, histogram = parts
    state["wheel_speed"] = rim
    creepage = 1.0 - rim / train_speed
    count_slide(0.1, 3.0, train_speed, creepage, 7.0, run, histogram, state)
    assert histogram.sum() == 0.1
    noted = (state["first_slide_time"], state["first_slide_speed"], state["flash_intensity"])
    assert noted == ((3.1, train_speed, 7.0) if is_sliding else (0.0, 0.0, 0.0))
    assert state["sliding_time"] == (0.1 if is_sliding else 0.0)
    assert state["sliding_distance"] == pytest.approx(0.1 * train_speed * is_sliding)


@pytest.mark.parametrize(
    ("creepage", "band"),
    [(-0.1, 0), (0.05, 0), (0.051, 1), (0.1, 1), (0.2, 2), (0.4, 3), (0.8, 4), (0.81, 5), (1.0, 5)],
)
@pytest.mark.parametrize(("train_speed", "column"), [(4.9, 0), (5.1, 1), (44.0, 8), (80.0, 9)])
def test_each_piece_falls_into_one_field_of_the_histogram(
    parts, creepage, band, train_speed, column
):
    """Bands up to .05, .1, .2, .4, .8 and above; columns of 5 m/s, the last open."""
    run, state, histogram = parts
    count_slide(0.1, 0.0, train_speed, creepage, 0.0, run, histogram, state)
    assert histogram[band, column] == 0.1
    assert histogram.sum() == 0.1


def test_usable_force_is_peak_or_demand_net_of_inertia():
    axle, state, law = wheel_on(0.05, **FLAT)
    peak = creep_force(20.0, 20.0, axle, state, law)[0]
    rotating = float(axle["rotating_mass"])
    assert usable_force(20.0, 1e6, -0.9, axle, state, law) == pytest.approx(peak, rel=1e-12)
    assert usable_force(20.0, 5e3, -0.9, axle, state, law) == pytest.approx(5e3 - 0.9 * rotating)
    assert usable_force(20.0, 5e3, 0.5, axle, state, law) == 5e3
    assert usable_force(20.0, 0.0, -0.9, axle, state, law) == 0.0


def test_rolling_stop_uses_all_of_what_is_usable():
    """Demand below adhesion: the rail carries just the net demand, so the utilisation is one."""
    summary = simulate(plain_stop(30.0), none.CONTROLLER, with_traces=False).summary
    assert summary["adhesion_utilisation"] == pytest.approx(1.0, abs=1e-3)
    assert summary["longest_lock"] == 0.0
    assert summary["sliding_distance"] == [0.0]
    assert summary["flat_risk"] == 0.0


def test_locked_stop_on_a_flat_curve_uses_all_of_the_peak():
    """A flat curve gives a locked wheel its peak; only the lock itself takes a moment."""
    summary = simulate(plain_stop(20.0, friction=0.03), none.CONTROLLER, with_traces=False).summary
    assert summary["adhesion_utilisation"] == pytest.approx(1.0, abs=1e-3)
    distance = summary["stopping_distance"]
    slow = 1.4**2 / (2.0 * 0.03 * 9.80665)  # below that speed no wheel counts as locked
    assert summary["locked_distance"][0] == pytest.approx(distance - slow, rel=0.1)
    assert summary["flat_risk"] > 0.0

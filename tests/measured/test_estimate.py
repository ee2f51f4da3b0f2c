"""Train speed and adhesion from a log: closed forms, and a stop the estimate was not made for."""

from dataclasses import replace

import numpy as np
import pytest
from tests.measured.trials import FILMS, make_trial

from slipbench.commands.main import main
from slipbench.ground.errors import InputError
from slipbench.kernel.train import GRAVITY
from slipbench.measured.account import make_account
from slipbench.measured.adhesion import WINDOW, slope_weights, weighed
from slipbench.measured.bounds import running_mean
from slipbench.measured.brakes import brake_forces, pressures_from_valves
from slipbench.measured.clock import pressure_shift, train_shift
from slipbench.measured.log import Channel, Log
from slipbench.measured.recorder import bracket
from slipbench.measured.series import is_recorder_grade, make_series
from slipbench.measured.speed import Z90
from slipbench.measured.unit import make_unit, moved_loads, read_gradients
from slipbench.scenario import load_scenario


@pytest.fixture(scope="module")
def unit():
    return make_unit(load_scenario("wet_leaf"))


@pytest.fixture(scope="module")
def trial():
    return make_trial(3, speed=22.0, has_train=False)


@pytest.fixture(scope="module")
def account(trial, unit):
    return make_account(trial.log, unit)


def test_noise_of_a_slope_matches_its_closed_form():
    """1 / (dt sqrt(k (k + 1) (2 k + 1) / 3)): 4.767 per s for 11 points of 20 ms (computed)."""
    for k in (2, 5, 10):
        slope, mean = slope_weights(k)
        assert np.sqrt(slope @ slope) / 0.02 == pytest.approx(
            1.0 / (0.02 * np.sqrt(k * (k + 1) * (2 * k + 1) / 3.0)), rel=1e-12
        )
        assert mean.sum() == pytest.approx(1.0)
    assert np.sqrt(slope_weights(5)[0] @ slope_weights(5)[0]) / 0.02 == pytest.approx(
        4.767, abs=2e-3
    )


def test_slope_and_mean_see_the_same_time():
    """A force and the momentum it makes cancel exactly under the two weights."""
    rng = np.random.default_rng(1)
    force = rng.standard_normal((300, 1))
    momentum = -np.concatenate([[[0.0]], np.cumsum(0.5 * (force[1:] + force[:-1]), axis=0)])
    slope, mean = slope_weights(8)
    rest = weighed(momentum, slope) + weighed(force, mean)
    assert np.abs(rest[10:-10]).max() < 1e-12


def test_a_running_mean_is_numpys():
    values = np.random.default_rng(2).standard_normal((40, 2))
    wanted = np.convolve(values[:, 0], np.ones(7) / 7, "valid")
    assert running_mean(values, 3)[3:-3, 0] == pytest.approx(wanted, abs=1e-12)


@pytest.mark.parametrize("shift", [-0.06, 0.0, 0.05])
def test_a_clock_shift_is_found(shift, unit):
    """Against one made: the sensor's own lag, some 15 ms, is the same in all three."""
    found = []
    for made in (0.0, shift):
        series = make_series(make_trial(5, speed=20.0, shift=made).log, unit)
        by, deviation, n = pressure_shift(series, unit)
        assert n > 100 and deviation < 0.02
        found.append(by)
    assert found[1] - found[0] == pytest.approx(shift, abs=0.006)


def test_train_speed_holds_the_truth_where_a_wheel_rolls(trial, account):
    speed = account.speed
    error = speed.train - trial.at("train_speed", speed.time)
    rolls = speed.is_anchored & (speed.train > 1.5)
    assert rolls.mean() > 0.3
    assert np.abs(error[rolls]).max() < 1.0 / 3.6
    inside = np.abs(error) < Z90 * speed.deviation
    assert inside.mean() > 0.7
    assert (speed.train >= speed.low - 1e-9).all()


@pytest.mark.parametrize("scale", [0.992, 1.008])
def test_a_source_with_a_scale_of_its_own_is_put_on_the_rims(scale, unit):
    """Radar at a wrong angle: compared while all roll, it moves the estimate by little of .8 %."""
    log = make_trial(4, speed=18.0, has_train=True).log
    wrong = tuple(
        replace(c, values=c.values * scale) if c.quantity == "train_speed" else c
        for c in log.channels
    )
    right, moved = (make_account(one, unit).speed for one in (log, Log("scaled", wrong)))
    fast = right.train > 5.0
    share = np.median(moved.train[fast] / right.train[fast]) - 1.0
    # .05 % of the rims against .3 % of a source, and a second of its noise to compare them by
    assert abs(share) < 0.12 * abs(scale - 1.0)


def test_creep_of_braked_rims_is_no_late_clock(unit):
    """The radar's clock is that of the wheels; rims that creep as they are braked look late."""
    for seed in (24, 26):
        log = make_trial(1000 + seed, FILMS[seed % 3], "cleaning_balance", has_train=True).log
        series = make_series(log, unit)
        shift, deviation = train_shift(series)
        assert abs(shift) < 2.5 * deviation or not np.isfinite(deviation)


def test_bands_of_adhesion_hold_the_truth(trial, account):
    a = account.adhesion
    half = max(2, round(0.5 * WINDOW / account.series.step))
    true = weighed(trial.at("rail_force", a.time), slope_weights(half)[1]) / a.load
    use = a.is_sliding & np.isfinite(a.used)
    inside = np.abs(a.used - true)[use] < Z90 * a.deviation[use]
    assert 0.75 < inside.mean() <= 1.0
    assert np.abs(a.used - true)[use].mean() < 0.006


def test_the_brakes_gain_is_the_pads(trial, account):
    deviation = np.hypot(account.speed.gain_deviation, 0.02)
    assert abs(account.speed.gain - trial.pads) < 2.6 * deviation


def test_a_locked_wheel_says_nothing(trial, account):
    a = account.adhesion
    assert np.isnan(a.used[a.is_locked]).all()


def test_loads_move_as_in_a_stop(unit):
    """Forward bogies gain what rear ones lose, and the sum stays the weight."""
    loads = moved_loads(unit, np.array([0.0, 1.0]))
    assert loads[0] == pytest.approx(unit.loads)
    assert loads.sum(axis=1) == pytest.approx(unit.mass * GRAVITY)
    assert loads[1, 0] > loads[0, 0] > loads[1, 3]


def test_backlash_holds_back_the_force(unit):
    pressure = np.concatenate([np.linspace(0, 2e5, 50), np.linspace(2e5, 0, 50)])
    force = brake_forces(np.tile(pressure[:, None], (1, unit.n_axles)), unit)[:, 0] / unit.gains[0]
    assert force[49] == pytest.approx(2e5)
    assert force[50] == pytest.approx(2e5)  # still within the play of 4 %
    assert force[70] == pytest.approx(pressure[70] / (1.0 - unit.hysteresis))


def test_pressure_from_valves_fills_and_vents(unit):
    valve = np.zeros((200, unit.n_axles))
    valve[100:, 0] = 2.0
    pressure = pressures_from_valves(valve, np.full(200, 0.75), 0.02, unit)
    assert pressure[99, 0] == pytest.approx(pressure[99, 1]) and pressure[99, 0] > 1e5
    assert pressure[-1, 0] == 0.0 and pressure[-1, 1] == pressure[99, 1]


def test_gradients_are_read_and_refused(tmp_path):
    good = tmp_path / "g.csv"
    good.write_text("distance_m,rise_permille\n0,5\n200,-8\n")
    first, second = read_gradients(good)
    assert (first.rise, second.rise, second.from_distance) == (0.005, -0.008, 200.0)
    good.write_text("distance_m,rise_permille\n0,five\n")
    with pytest.raises(InputError, match=r"line 2: rise_permille = 'five': must be a number"):
        read_gradients(good)
    good.write_text("distance_m,slope\n0,5\n")
    with pytest.raises(InputError, match="must have the columns"):
        read_gradients(good)


def recorder_log(trial, step_kmh=5.0):
    time = np.arange(0.0, trial.stop.traces["time"][-1] + 20.0, 1.0)
    rim = np.interp(time, trial.stop.traces["time"], trial.stop.traces["wheel_speed"][:, 4])
    rim[time > trial.stop.traces["time"][-1]] = 0.0
    coarse = np.floor(rim * 3.6 / step_kmh) * step_kmh / 3.6
    handle = np.where(time < 1.0, 0.0, 3.0)
    return Log("recorder.csv", (Channel("wheel_speed", "axle", 5, "v", time, coarse),
                                Channel("handle", "train", 0, "handle", time, handle)))  # fmt: skip


def test_a_recorders_log_gives_a_bracket_and_no_axle(trial, unit):
    log = recorder_log(trial)
    assert is_recorder_grade(log)
    found = bracket(log, unit)
    traces = trial.stop.traces
    mean = float(traces["train_speed"][0] / traces["time"][-1]) / GRAVITY
    drag = unit.resistance[0] / GRAVITY
    assert found.low <= mean - drag <= found.high + 0.003
    assert 0.0 < found.low < found.high < 0.2
    with pytest.raises(ValueError, match="no answers by axle"):
        make_account(log, unit)


@pytest.mark.slow
def test_the_command_draws_and_writes(trial, tmp_path, capsys):
    from slipbench.measured.writing import write_log

    write_log(trial.stop, tmp_path / "stop.csv")
    line = ["log", str(tmp_path / "stop.csv"), "--train", "wet_leaf", "--out", str(tmp_path / "o"),
            "--ignore", "train_speed,distance"]  # fmt: skip
    assert main(line) == 0
    said = capsys.readouterr().out
    assert "rolling rims" in said and "approves nothing" in said
    written = {path.name for path in (tmp_path / "o").iterdir()}
    assert {"estimate.csv", "sheet.png", "slip.svg", "track.png", "log.json"} <= written
    head = (tmp_path / "o" / "estimate.csv").read_text().splitlines()[0]
    assert head.startswith("time_s,train_speed_m_per_s") and "axle_16_high" in head
    assert main([*line[:-1], "wheel_sped"]) == 2
    assert "wheel_speed" in capsys.readouterr().err

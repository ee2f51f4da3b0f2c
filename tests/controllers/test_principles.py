"""Each family does what its docstring says, with settings given here, not with its defaults."""

import numpy as np
import pytest

from slipbench import load_scenario
from slipbench.contract import FILL, HOLD, VENT, Controller, Floats
from slipbench.controllers import (
    cleaning_balance,
    deep_slip,
    phase_logic,
    rule_table,
    sliding_mode,
    slip_target,
)
from slipbench.controllers.cleaning_balance import (
    GAIN,
    MEAN_FORCE,
    N_DEEP,
    SETTLED_TIME,
    brake_force,
    learn_pads,
    weigh,
)
from slipbench.controllers.rule_table import ACCELERATION_GRADES, RULES, SLIP_GRADES, mixed_rule
from slipbench.scenario import Scenario
from slipbench.stop.simulation import simulate
from slipbench.stop.stop import Stop

PULSED = {"pulse_period": 0.05}
PROBED = {"slowing_limit": 1.2, "patience": 3.0, "cut_out_speed": 1.0}
FUSED = {"patience": 5.0, "cut_out_speed": 0.8}


def targeted(name: str, slip: float) -> Controller:
    """Return a strategy that holds one slip, told to hold this one."""
    given = {
        "slip_target": (
            slip_target,
            {"slip_gain": 0.5, "rate_gain": 0.15, "smoothing_time": 0.05, **PULSED, **PROBED},
        ),
        "rule_table": (rule_table, {"acceleration_scale": 1.0, **PULSED, **PROBED}),
        "sliding_mode": (sliding_mode, {"reaching_rate": 3.0, "boundary": 0.6, **FUSED}),
        "deep_slip": (deep_slip, {"settling_time": 0.3, **FUSED}),
    }
    module, settings = given[name]
    return module.CONTROLLER.with_parameters(target_slip=slip, **settings)


def leaf_film(cleans: bool) -> Scenario:
    scenario = load_scenario("wet_leaf").replace(initial_speed=22.0)
    if cleans:
        return scenario
    friction = scenario.rail.sections[0].friction
    return scenario.replace({"rail.sections.0.recovered_friction": friction})


def slips(stop: Stop) -> Floats:
    """Return the creepage of every axle from 8 s on, while the train does over 8 m/s."""
    train, time = stop.traces["train_speed"], stop.traces["time"]
    counted = (train > 8.0) & (time > 8.0)
    return 1.0 - stop.traces["wheel_speed"][counted] / train[counted, None]


@pytest.mark.parametrize("cleans", [False, True], ids=["film stays", "film cleans"])
@pytest.mark.parametrize(
    ("name", "target", "tolerance"),
    [
        # pulses of whole samples leave a dead band of 0.1 of duty: 0.2 m/s of 2
        ("slip_target", 0.1, 0.4),
        ("slip_target", 0.2, 0.2),
        ("rule_table", 0.1, 0.2),
        ("rule_table", 0.2, 0.2),
        ("sliding_mode", 0.08, 0.05),
        ("sliding_mode", 0.2, 0.05),
        ("deep_slip", 0.3, 0.05),
    ],
)
def test_the_target_slip_is_held(name: str, target: float, tolerance: float, cleans: bool) -> None:
    """In the middle of all axles and moments; three quarters of them within twice as much."""
    found = slips(simulate(leaf_film(cleans), targeted(name, target), seed=1))
    assert np.median(found) == pytest.approx(target, rel=tolerance)
    is_near = np.abs(found / target - 1.0) < 2.0 * tolerance
    assert is_near.mean() > 0.75


def test_slip_target_holds_its_target_at_its_defaults() -> None:
    """Within the dead band of whole samples: 0.2 m/s of slip speed, a quarter of the target's."""
    own = slip_target.CONTROLLER
    target = own.parameter_values[slip_target.TARGET_SLIP]
    found = slips(simulate(leaf_film(False), own, seed=1))
    assert np.median(found) == pytest.approx(target, rel=0.25)
    assert (np.abs(found / target - 1.0) < 0.5).mean() > 0.75


def test_a_deep_slide_cleans_the_rail_and_costs_where_nothing_cleans() -> None:
    deep, small = targeted("deep_slip", 0.5), targeted("sliding_mode", 0.08)
    on_film = [simulate(leaf_film(True), own, seed=1) for own in (deep, small)]
    cleaned = [float(stop.rail_after.work.sum()) for stop in on_film]
    assert cleaned[0] > 3.0 * cleaned[1]
    assert on_film[0].summary["stopping_distance"] < 0.8 * on_film[1].summary["stopping_distance"]
    bare = [simulate(leaf_film(False), own, seed=1, with_traces=False) for own in (deep, small)]
    assert bare[0].summary["stopping_distance"] > 1.05 * bare[1].summary["stopping_distance"]


# --- rules ----------------------------------------------------------------------------------------


def test_at_a_grade_its_rule_holds_alone() -> None:
    for i, slip in enumerate(SLIP_GRADES):
        for k, acceleration in enumerate(ACCELERATION_GRADES):
            assert mixed_rule(slip, acceleration) == pytest.approx(RULES[i][k], abs=1e-12)


def test_between_grades_rules_are_mixed_by_nearness() -> None:
    slip = 0.75 * SLIP_GRADES[2] + 0.25 * SLIP_GRADES[3]
    acceleration = 0.5 * (ACCELERATION_GRADES[1] + ACCELERATION_GRADES[2])
    near = 0.5 * (RULES[2][1] + RULES[2][2])
    far = 0.5 * (RULES[3][1] + RULES[3][2])
    assert mixed_rule(slip, acceleration) == pytest.approx(0.75 * near + 0.25 * far, abs=1e-12)


def test_beyond_the_last_grade_the_last_rule_goes_on() -> None:
    assert mixed_rule(50.0, -99.0) == RULES[-1][0]
    assert mixed_rule(-50.0, 99.0) == RULES[0][-1]


def test_more_slip_never_fills_more_nor_does_a_wheel_that_slows_harder() -> None:
    grid = np.array([[mixed_rule(s, a) for a in np.linspace(-4, 4, 41)] for s in np.linspace(0, 4)])
    assert (np.diff(grid, axis=1) >= -1e-12).all()
    assert (np.diff(grid, axis=0) <= 1e-12).all()


# --- phases ---------------------------------------------------------------------------------------

PHASES = phase_logic.CONTROLLER.with_parameters(
    hold_deceleration=2.0,
    vent_deceleration=5.0,
    force_drop=0.25,
    release_share=0.9,
    regrip_share=0.85,
    fill_duty=0.2,
    gain_ended=0.5,
    guard_slip=0.5,
    slowing_limit=1.2,
    cut_out_speed=1.0,
)


@pytest.mark.parametrize(
    ("deceleration", "valve"),
    [(0.9, FILL), (3.0, HOLD), (8.0, VENT)],
    ids=["rolls", "slows", "dives"],
)
def test_an_axle_is_judged_by_its_own_deceleration(vehicle, deceleration, valve) -> None:  # type: ignore[no-untyped-def]
    """Its neighbours roll on at 0.9 m/s2; looked at 0.3 s after it began, seven time constants."""
    own = vehicle(PHASES)
    own.see_for(1.0, lambda t: [30.0 - 0.9 * t] * 4)
    valves = own.see_for(0.3, lambda t: [*[29.1 - 0.9 * t] * 3, 29.1 - deceleration * t])
    assert valves[-1] == [FILL, FILL, FILL, valve]
    assert own.is_sliding == (valve == VENT)


def test_after_the_release_it_waits_until_the_wheel_no_longer_gains(vehicle) -> None:  # type: ignore[no-untyped-def]
    own = vehicle(PHASES)
    own.see_for(1.0, lambda t: [30.0 - 0.9 * t] * 4)
    own.see_for(0.3, lambda t: [*[29.1 - 0.9 * t] * 3, 29.1 - 8.0 * t])
    released = own.see([*[28.8] * 3, 26.7], measured_pressure=0.0)
    gaining = [
        own.see([*[28.8] * 3, 26.7 + 5.0 * 0.01 * i], measured_pressure=0.0)[3] for i in range(40)
    ]
    steady = [own.see([*[28.6] * 3, 28.6], measured_pressure=0.0)[3] for _ in range(40)]
    assert released[3] == HOLD
    assert set(gaining[10:]) == {HOLD}
    assert steady[-1] == FILL


def test_a_slow_slide_is_released_once_the_rail_force_has_dropped(vehicle) -> None:  # type: ignore[no-untyped-def]
    """Held while it slows moderately, but not for ever: LONGEST_WAIT."""
    own = vehicle(PHASES)
    own.see_for(1.0, lambda t: [30.0 - 0.9 * t] * 4)
    valves = own.see_for(1.0, lambda t: [*[29.1 - 0.9 * t] * 3, 29.1 - 3.0 * t])
    seen = [now[3] for now in valves]
    assert seen.index(HOLD) < seen.index(VENT)
    assert 0.2 < (seen.index(VENT) - seen.index(HOLD)) * 0.01 <= phase_logic.LONGEST_WAIT + 0.02


# --- the balance ----------------------------------------------------------------------------------

BALANCE = cleaning_balance.CONTROLLER.with_parameters(
    grip_slip=0.05,
    deep_slip=0.5,
    n_tried=3.0,
    largest_share=0.875,
    weighing_time=2.0,
    trial_time=1.5,
    retrial_time=30.0,
    settling_time=0.2,
    **FUSED,
)


PADS_OFF = 0.1
"""Pads differ so much from axle to axle: more than an axle cleans on most films. [-]"""


def test_the_trains_force_is_the_sum_its_docstring_writes() -> None:
    found, kept, gain, grip_gain, demanded = 3000.0, 0.8, 0.1, 0.01, 4500.0
    for n_deep in range(17):
        deep = [min(demanded, kept * found * (1 + gain * i)) for i in range(n_deep)]
        grip = [
            min(demanded, found * (1 + gain * n_deep + grip_gain * (i - n_deep)))
            for i in range(n_deep, 16)
        ]
        got = brake_force(n_deep, 16, found, kept, gain, grip_gain, demanded)
        assert got == pytest.approx(sum(deep) + sum(grip), rel=1e-12)


@pytest.mark.parametrize(
    ("gain", "kept", "low", "high"),
    [(0.3, 0.9, 8, 14), (0.0, 0.6, 0, 0), (0.02, 0.5, 0, 0)],
    ids=["cleans", "only costs", "hardly cleans"],
)
def test_weighing_tells_rail_that_repays_a_deep_slide(
    gain: float, kept: float, low: int, high: int
) -> None:
    """Three deep axles of sixteen, forces as the model has them, an ample demand; pads 10 % off."""
    pads = 1.0 + PADS_OFF * np.cos(2.0 * np.arange(16))
    memory = np.zeros((17, BALANCE.n_memory))
    memory[:16, SETTLED_TIME] = 5.0
    grip_gain = gain * 0.05 / (kept * 0.5)
    memory[:16, MEAN_FORCE] = 3e3 * pads * (1.0 + grip_gain * np.arange(16))
    train = memory[16]
    learn_pads(1e5, memory, train)
    train[N_DEEP], train[GAIN] = 3.0, -1.0
    for i in range(16):
        growth = 1.0 + gain * 3 + grip_gain * (i - 3)
        memory[i, MEAN_FORCE] = 3e3 * pads[i] * (kept * (1.0 + gain * i) if i < 3 else growth)
    n_best = weigh(1e5, BALANCE.parameter_values, memory, train)
    assert low <= n_best <= high


@pytest.mark.parametrize(("rail", "n_deep"), [("wet_leaf", range(6, 15)), ("grease", range(0, 1))])
def test_leading_axles_slide_deep_where_and_only_where_it_pays(rail: str, n_deep: range) -> None:
    """Film that cleans against grease, which punishes a slide: gripped but for a trial at times."""
    middle = np.median(slips(simulate(load_scenario(rail), BALANCE, seed=1)), axis=0)
    is_deep = middle > 0.3
    assert int(is_deep.sum()) in n_deep
    assert (np.diff(is_deep.astype(int)) <= 0).all()  # from the front
    assert (middle[~is_deep] < 0.08).all()

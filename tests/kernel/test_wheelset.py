"""Wheelset: the stage's root, momentum, lock and re-spin as events at their exact moments."""

import numpy as np
import pytest
from tests.support_stops import DRY, FALLING, FLAT, wheel_on

from slipbench.kernel.creep import creep_force
from slipbench.kernel.wheelset import GAMMA, Course, longest_piece, solve_stage, spin, turn

FILMS = {"flat": (0.05, FLAT), "falling": (0.15, FALLING), "dry": (0.35, DRY)}
films = pytest.mark.parametrize("film", FILMS)
ROTATING_MASS = 100.0 / 0.42**2


def wheel(film):
    friction, curve = FILMS[film]
    return wheel_on(friction, **curve)


def limit_of(axle, state):
    """Return friction times load of both wheels. [N]"""
    return 2.0 * float(axle["wheel_load"]) * float(state["friction"])


@films
@pytest.mark.parametrize("speed", [0.05, 1.0, 20.0, 60.0])
@pytest.mark.parametrize("creepage", [-0.2, 0.0, 1e-3, 0.02, 0.3, 1.0])
def test_stage_is_solved_to_its_root(film, speed, creepage):
    axle, state, law = wheel(film)
    piece = min(0.005, longest_piece(speed, axle, state, law))
    weight = GAMMA * piece / float(axle["rotating_mass"])
    limit = limit_of(axle, state)
    base = speed * (1.0 - creepage)
    for brake in (0.0, 0.3 * limit, limit, 1.2 * limit, 3.0 * limit):
        found = solve_stage(base, weight, brake, speed, axle, state, law)
        force = creep_force(speed - found, speed, axle, state, law)[0]
        # Ends when a Newton step is below 1e-6 of the slip, so with its square: relative to what
        # the limit can do in the stage the residual is then nothing but rounding of the speeds.
        residual = found - base - weight * (force - brake)
        assert abs(residual) < 1e-6 * weight * limit + 4e-16 * speed


@films
@pytest.mark.parametrize("speed", [0.02, 0.3, 4.0])
@pytest.mark.parametrize("rim_share", [0.0, 0.3, 0.6, 0.95])
def test_released_wheel_spins_up_along_the_creep_curve(film, speed, rim_share):
    """At walking pace a step is long enough to spin a wheel up whole: both stages must hold."""
    axle, state, law = wheel(film)
    limit = limit_of(axle, state)
    state["wheel_speed"] = rim_share * speed
    for piece in (1e-5, 1e-4, 5e-4, 1e-3, 2e-3, 5e-3):
        piece = min(piece, longest_piece(speed, axle, state, law))
        for brake in (0.0, 0.3 * limit):
            stages = spin(piece, Course(speed, -0.5, brake, 0.0, axle, state, law))
            for moment, rim, force in ((GAMMA * piece, *stages[:2]), (piece, *stages[2:])):
                at_speed = speed - 0.5 * moment
                on_curve = creep_force(at_speed - rim, at_speed, axle, state, law)[0]
                assert force == pytest.approx(on_curve, abs=1e-5 * limit)


@films
def test_stage_has_one_root_within_the_longest_piece(film):
    """Its equation rises with the rim speed everywhere: 1 + weight dF/dw > 0."""
    for speed in (0.1, 5.0, 40.0):
        axle, state, law = wheel(film)
        piece = min(1.0, longest_piece(speed, axle, state, law))
        weight = GAMMA * piece / float(axle["rotating_mass"])
        for slip in np.geomspace(1e-6, 1.0, 400) * speed:
            assert 1.0 + weight * creep_force(slip, speed, axle, state, law)[1] > 0.5


@films
@pytest.mark.parametrize("brake_share", [0.5, 1.5])
def test_step_keeps_the_wheels_momentum(film, brake_share):
    axle, state, law = wheel(film)
    brake, rate = brake_share * limit_of(axle, state), 2e4
    state["wheel_speed"] = 19.5
    piece = 1e-3
    _, force_1, wheel_2, force_2 = spin(piece, Course(20.0, -0.5, brake, rate, axle, state, law))
    rail = piece * ((1.0 - GAMMA) * force_1 + GAMMA * force_2)
    braked = piece * (brake + 0.5 * rate * piece)
    change = float(axle["rotating_mass"]) * (wheel_2 - 19.5)
    assert change == pytest.approx(rail - braked, rel=1e-9)


@films
def test_stage_forces_lie_on_the_creep_curve(film):
    axle, state, law = wheel(film)
    brake = 1.2 * limit_of(axle, state)
    state["wheel_speed"] = 19.0
    wheel_1, force_1, wheel_2, force_2 = spin(
        1e-3, Course(20.0, -0.5, brake, 0.0, axle, state, law)
    )
    for moment, rim, force in ((GAMMA * 1e-3, wheel_1, force_1), (1e-3, wheel_2, force_2)):
        at_speed = 20.0 - 0.5 * moment
        on_curve = creep_force(at_speed - rim, at_speed, axle, state, law)[0]
        assert force == pytest.approx(on_curve, rel=1e-8)


@pytest.mark.parametrize("friction", [0.02, 0.05])
@pytest.mark.parametrize("rim", [0.5, 6.0])
def test_lock_comes_at_the_closed_forms_moment(friction, rim):
    """Constant friction, constant brake force: (B - mu N) / m_rot slows the rim to rest."""
    axle, state, law = wheel_on(friction, **FLAT)
    brake = 13.5e3
    state["wheel_speed"] = rim
    slowing = (brake - limit_of(axle, state)) / float(axle["rotating_mass"])
    spent, _, _, end, _ = turn(10.0, Course(20.0, 0.0, brake, 0.0, axle, state, law))
    # slip is above two thirds all along: saturated to 1e-8 (checked in test_creep)
    assert spent == pytest.approx(rim / slowing, rel=1e-7)
    assert end == 0.0
    assert state["is_locked"] == 1


@pytest.mark.parametrize("step", [0.005, 0.1])
def test_lock_under_a_rising_brake_force_comes_at_the_closed_forms_moment(step):
    """m_rot u = (B0 - mu N) t + rate t^2 / 2; the method integrates a parabola exactly."""
    axle, state, law = wheel_on(0.05, **FLAT)
    brake, rate, time = 13.5e3, 9e3, 0.0
    state["wheel_speed"] = 5.0
    excess = brake - limit_of(axle, state)
    momentum = float(axle["rotating_mass"]) * 5.0
    expected = (-excess + np.sqrt(excess**2 + 2.0 * rate * momentum)) / rate
    while not state["is_locked"]:
        piece = turn(step, Course(20.0, 0.0, brake + rate * time, rate, axle, state, law))
        time += piece[0]
        state["wheel_speed"] = piece[3]
    assert time == pytest.approx(expected, rel=1e-7)


def test_locked_wheel_stays_locked_while_the_demand_is_above_friction():
    axle, state, law = wheel_on(0.05, **FLAT)
    limit = limit_of(axle, state)
    state["wheel_speed"], state["is_locked"] = 0.0, 1
    for speed in (20.0, 3.0, 0.1):
        brake = 1.01 * limit
        spent, stage, first, end, grip = turn(
            0.01, Course(speed, -0.5, brake, 0.0, axle, state, law)
        )
        assert (spent, stage, end) == (0.01, 0.0, 0.0)
        assert state["is_locked"] == 1
        assert grip == pytest.approx(limit, rel=1e-3)
        assert first == pytest.approx(limit, rel=1e-3)


def test_wheel_spins_again_when_the_brake_falls_below_the_rails_grip():
    """The brake falls through the grip at (B0 - mu N) / rate; till then the wheel stays locked."""
    axle, state, law = wheel_on(0.05, **FLAT)
    grip = creep_force(20.0, 20.0, axle, state, law)[0]
    state["wheel_speed"], state["is_locked"] = 0.0, 1
    spent, _, _, end, force = turn(1.0, Course(20.0, 0.0, grip + 2e3, -1e4, axle, state, law))
    assert spent == pytest.approx(0.2, rel=1e-6)
    assert end == 0.0
    assert force == pytest.approx(grip, rel=1e-12)
    assert state["is_locked"] == 0
    _, _, _, faster, _ = turn(0.05, Course(20.0, 0.0, grip, -1e4, axle, state, law))
    assert faster == pytest.approx(0.5 * 1e4 * 0.05**2 / float(axle["rotating_mass"]), rel=1e-3)


def test_wheel_spins_again_at_once_on_a_rail_that_grips_more():
    axle, state, law = wheel_on(0.05, **FLAT)
    brake = 1.5 * limit_of(axle, state)
    state["wheel_speed"], state["is_locked"] = 0.0, 1
    assert turn(0.01, Course(20.0, 0.0, brake, 0.0, axle, state, law))[3] == 0.0
    state["friction"] = 0.15
    gain = (limit_of(axle, state) - brake) / float(axle["rotating_mass"])
    spent, _, _, end, _ = turn(0.01, Course(20.0, 0.0, brake, 0.0, axle, state, law))
    assert state["is_locked"] == 0
    assert spent == 0.01
    assert end == pytest.approx(0.01 * gain, rel=1e-4)


def test_falling_friction_lets_a_slowing_wheel_spin_again():
    """As the train slows, friction at full slip rises past the brake force: the wheel rolls."""
    axle, state, law = wheel_on(0.15, **FALLING)
    low, high = (creep_force(v, v, axle, state, law)[0] for v in (20.0, 10.0))
    assert high > low
    state["wheel_speed"], state["is_locked"] = 0.0, 1
    brake = 0.5 * (low + high)
    spent = turn(20.0, Course(20.0, -0.5, brake, 0.0, axle, state, law))[0]
    met = 20.0 - 0.5 * spent
    assert creep_force(met, met, axle, state, law)[0] == pytest.approx(brake, rel=1e-6)
    assert state["is_locked"] == 0


def test_rolling_wheel_settles_where_the_rail_carries_brake_less_inertia():
    axle, state, law = wheel_on(0.3, **FLAT)
    state["wheel_speed"] = 20.0
    speed, slowing = 20.0, 0.9
    brake = 13.5e3
    for _ in range(100):
        wheel = turn(0.005, Course(speed, -slowing, brake, 0.0, axle, state, law))
        state["wheel_speed"] = wheel[3]
        speed -= 0.005 * slowing
    assert wheel[4] == pytest.approx(brake - ROTATING_MASS * slowing, rel=1e-3)


def test_flat_curve_needs_no_short_pieces():
    axle, state, law = wheel("flat")
    assert longest_piece(20.0, axle, state, law) == np.inf

"""Axles moved together: in vector instructions each gets what it would get alone."""

import math

import numpy as np
import pytest
from numba import njit
from tests.support_stops import DRY, FALLING, FLAT, clean, packed, plain_stop, wheel_on

from slipbench.controllers import by_name
from slipbench.kernel.codes import ADHESION_WORKS, N_LANES, SENSOR, TEETH
from slipbench.kernel.creep import find_peak
from slipbench.kernel.loop import run_compiled
from slipbench.kernel.moving import LANES
from slipbench.kernel.rail import peak_met
from slipbench.kernel.sensing import sense, sense_together
from slipbench.kernel.tally import add_up_together
from slipbench.kernel.wheelset import GAMMA, Course, longest_piece, spin_together, turn
from slipbench.packing import pack
from slipbench.scenario import GRADES, load_scenario
from slipbench.strategies.update import compile_update

FILMS = {"flat": (0.05, FLAT), "falling": (0.15, FALLING), "dry": (0.35, DRY)}


@njit
def spin_lanes(n_lanes, acceleration, lanes):
    """Let Python call what only compiled code calls."""
    spin_together(n_lanes, acceleration, lanes)


@njit
def sense_lanes(n_lanes, train, lanes):
    sense_together(n_lanes, train, lanes)


@njit
def add_up_lanes(n_lanes, acceleration, train, lanes):
    add_up_together(n_lanes, acceleration, train, lanes)


def lanes_of(pieces):
    """Return lanes of wheels as (axle, state, speed, duration, brake, brake rate)."""
    lanes = np.zeros(1, LANES)[0]
    for k, (axle, state, speed, duration, brake, brake_rate) in enumerate(pieces):
        lanes["duration"][k], lanes["speed"][k] = duration, speed
        lanes["brake"][k], lanes["brake_rate"][k] = brake, brake_rate
        lanes["wheel_before"][k] = state["wheel_speed"]
        lanes["rotating_mass"][k] = axle["rotating_mass"]
        for name in (
            *("wheel_load", "contact_stiffness", "friction", "friction_ratio", "friction_decay"),
            *("adhesion_reduction", "slip_reduction", "curve_slip", "curve_force", "curve_slope"),
        ):
            lanes[name][k] = state[name]
    return lanes


def settled(film, speed, creepage, duration, acceleration):
    """Return a wheel that has turned for some steps, so that its tangent is known."""
    friction, curve = FILMS[film]
    axle, state, law = wheel_on(friction, **curve)
    limit = 2.0 * float(axle["wheel_load"]) * friction
    state["wheel_speed"] = speed * (1.0 - creepage)
    brake = 0.9 * limit
    for _ in range(3):
        piece = turn(duration, Course(speed, acceleration, brake, 0.0, axle, state, law))
        state["wheel_speed"] = piece[3]
        speed += acceleration * piece[0]
    return axle, state, law, speed, brake


@pytest.mark.parametrize("film", FILMS)
@pytest.mark.parametrize("speed", [3.0, 20.0, 40.0])
def test_wheels_spun_together_turn_as_they_turn_alone(film, speed):
    """Same equations, same evaluations: where the lanes hold, to the solver's last step."""
    acceleration = -0.7
    wheels, pieces = [], []
    for creepage in np.linspace(0.0, 0.5, 8):
        axle, state, law, now, brake = settled(film, speed, creepage, 5e-3, acceleration)
        duration = min(5e-3, longest_piece(now, axle, state, law))
        wheels.append((axle, state, law))
        pieces.append((axle, state, now, duration, brake, -2e3))
    lanes = lanes_of(pieces)
    spin_lanes(len(pieces), acceleration, lanes)
    held = 0
    for k, (piece, (axle, state, law)) in enumerate(zip(pieces, wheels, strict=True)):
        if not lanes["is_right"][k]:
            continue
        held += 1
        alone = turn(piece[3], Course(piece[2], acceleration, piece[4], piece[5], axle, state, law))
        together = [lanes[name][k] for name in ("wheel_1", "force_1", "wheel_2", "force_2")]
        limit = 2.0 * float(axle["wheel_load"]) * float(state["friction"])
        assert together[0::2] == pytest.approx(alone[1::2], rel=1e-12)
        assert together[1::2] == pytest.approx(alone[2::2], abs=1e-7 * limit)
    assert held >= 4


def test_a_wheel_that_locks_is_left_to_be_turned_alone():
    axle, state, _law, speed, brake = settled("falling", 20.0, 0.9, 1e-3, -0.7)
    state["wheel_speed"] = 0.01
    rolling = settled("falling", 20.0, 0.1, 1e-3, -0.7)
    lanes = lanes_of(
        [
            (axle, state, speed, 5e-3, 20.0 * brake, 0.0),
            (rolling[0], rolling[1], rolling[3], 1e-3, rolling[4], 0.0),
        ]
    )
    spin_lanes(4, -0.7, lanes)
    assert lanes["is_right"][:2].tolist() == [0.0, 1.0]


def test_momentum_of_lanes_is_kept_to_rounding():
    """J/r^2 du/dt = F - B over each step, whatever the solver left."""
    axle, state, law, speed, brake = settled("falling", 25.0, 0.1, 5e-3, -0.6)
    duration = min(5e-3, longest_piece(speed, axle, state, law))
    lanes = lanes_of([(axle, state, speed, duration, brake, 3e4)])
    spin_lanes(4, -0.6, lanes)
    assert lanes["is_right"][0] == 1.0
    gained = float(axle["rotating_mass"]) * (lanes["wheel_2"][0] - lanes["wheel_before"][0])
    rail = duration * ((1.0 - GAMMA) * lanes["force_1"][0] + GAMMA * lanes["force_2"][0])
    braked = duration * (brake + 0.5 * 3e4 * duration)
    assert gained == pytest.approx(rail - braked, abs=1e-9 * braked)


@pytest.mark.parametrize("tick", [0.0, 1e-6, 1e-4])
@pytest.mark.parametrize(("speed", "acceleration"), [(20.0, -8.0), (3.0, 5.0), (0.3, -0.2)])
@pytest.mark.parametrize("pitch_error", [0.0, 0.8e-3])
def test_sensors_together_see_what_one_alone_sees(tick, speed, acceleration, pitch_error):
    """Sample by sample through pieces of uneven length."""
    errors = {"sensing.clock_tick": tick, "equipment.pitch_error": pitch_error}
    scenario = clean("dry").replace(errors)
    alone = pack(scenario, by_name("none"), 0)
    other = pack(scenario, by_name("none"), 0)
    group, axle, state = alone.groups[0], alone.axles[0], alone.axle_states[0]
    apart = other.axle_states[0]
    lanes = np.zeros(1, LANES)[0]
    time = 0.0
    for duration in (0.013, 0.002, 0.0, 0.02, 0.031, 0.007):
        duration = max(duration, 1e-6)
        sense(
            time,
            duration,
            speed,
            acceleration,
            2e5,
            -1e5,
            group,
            alone.train[0],
            axle,
            state,
        )
        for name in TEETH:
            lanes[name][0] = axle[name]
        for name in SENSOR:
            lanes[name][0] = apart[name]
        lanes["start"][0], lanes["duration"][0] = time, duration
        lanes["wheel_before"][0], lanes["wheel_acceleration"][0] = speed, acceleration
        seen = []
        while True:
            number = int(apart["n_sensed"]) + len(seen)
            sample = float(group["phase"] + number * group["sample_time"]) - time
            lanes["sample"][0] = sample
            sense_lanes(4, alone.train[0], lanes)
            if sample > duration + 1e-10:
                break
            seen.append(float(lanes["measured_speed"][0]))
        first = int(apart["n_sensed"])
        ring = [float(state["sensed_speed"][(first + i) % 16]) for i in range(len(seen))]
        assert seen == pytest.approx(ring, rel=1e-12)
        assert int(state["n_sensed"]) == first + len(seen)
        apart["n_sensed"] = first + len(seen)
        for name in ("next_pulse", "n_pulses", "pulse_time", "sampled_pulse_time", "pulse_shift"):
            apart[name] = lanes[name][0]
            assert float(apart[name]) == pytest.approx(float(state[name]), rel=1e-12, abs=1e-12)
        apart["measured_speed"] = lanes["measured_speed"][0]
        apart["rim_travel"] = state["rim_travel"]
        time += duration
        speed += acceleration * duration


def test_sums_of_a_piece_are_the_quadrature_of_its_stages():
    world = packed(plain_stop(20.0))
    lanes = np.zeros(1, LANES)[0]
    spent, speed, slowing = 0.01, 20.0, -0.8
    given = {
        **{
            "duration": spent,
            "speed": speed,
            "brake": 9e3,
            "brake_rate": 1e5,
            "wheel_before": 18.0,
        },
        **{"wheel_1": 17.8, "force_1": 6e3, "wheel_2": 17.5, "force_2": 7e3, "wheel_load": 5e4},
        **{"demanded": 8e3, "demanded_rate": 2e5, "peak": 7.2e3, "rotating_mass": 600.0},
    }
    for name, value in given.items():
        lanes[name][0] = value
    add_up_lanes(4, slowing, world.train[0], lanes)
    shares = ((1.0 - GAMMA, GAMMA * spent, 17.8, 6e3), (GAMMA, spent, 17.5, 7e3))
    heat = brake = used = usable = excess = inertia = demanded = path = cleaned = 0.0
    for share, moment, rim, force in shares:
        at = speed + slowing * moment
        part = share * spent * at
        net = max(0.0, 8e3 + 2e5 * moment + 600.0 * slowing)
        momentum = 600.0 * 0.8  # what a wheel that slows with the train gives up
        may = min(7.2e3 + momentum, 8e3 + 2e5 * moment)
        heat += share * spent * force * (at - rim)
        cleaned += 0.5 * share * spent * force * (at - rim)  # creepage far below half: all cleans
        brake += share * spent * (9e3 + 1e5 * moment) * rim
        used += min(force + momentum, may) * part
        excess += max(force + momentum - may, 0.0) * part
        inertia += momentum * part
        usable, demanded, path = usable + may * part, demanded + net * part, path + part
    expected = (used, usable, excess, 0.0, inertia, demanded, 7.2e3 * path, 1e5 * path)
    got = [float(lanes[f"{name}_work"][0]) for name in ADHESION_WORKS]
    assert got == pytest.approx(expected, rel=1e-13)
    assert float(lanes["contact_heat"][0]) == pytest.approx(heat, rel=1e-13)
    assert float(lanes["cleaning"][0]) == pytest.approx(cleaned, rel=1e-13)
    assert float(lanes["brake_heat"][0]) == pytest.approx(brake, rel=1e-13)
    end = speed + slowing * spent
    assert float(lanes["wheel_acceleration"][0]) == pytest.approx((17.5 - 18.0) / spent)
    assert float(lanes["creepage"][0]) == pytest.approx(1.0 - 17.5 / end)
    assert float(lanes["flash_intensity"][0]) == pytest.approx(
        0.5 * heat / spent / (math.sqrt(17.5) + math.sqrt(end))
    )


@pytest.mark.parametrize("film", ["falling", "dry"])
def test_peak_followed_is_the_peak_searched_for(film):
    """Through a stop on rail whose friction leaps from cell to cell: within 2e-5 of a search."""
    friction, curve = FILMS[film]
    axle, state, law = wheel_on(friction, **curve)
    generator = np.random.default_rng(5)
    state["peak_speed"] = -1.0
    for speed in np.linspace(40.0, 1.0, 400):
        state["friction"] = friction * generator.uniform(0.8, 1.4)
        met = peak_met(speed, axle, state, law)
        _, fresh_state, _ = wheel_on(float(state["friction"]), **curve)
        sought = find_peak(speed, axle, fresh_state, law)
        assert met == pytest.approx(sought[1], rel=2e-5 + 2e-3 * (state["peak_speed"] != speed))


def distance(world, controller, room=None):
    """Return the stopping distance and works, with other room for axles moved together."""
    if room is not None:
        world.train["room"] = room
    memory = np.zeros((len(world.axles) + len(world.groups), controller.n_memory))
    parameters = controller.parameter_values
    run_compiled(world, compile_update(controller.update), parameters, memory)
    state = world.train_state[0]
    return [float(state[name]) for name in ("distance", "time", "n_axle_steps")]


@pytest.mark.parametrize("grade", GRADES)
@pytest.mark.parametrize("strategy", ["none", "slip_band", "peak_follower"])
def test_axles_moved_together_stop_as_axles_moved_one_by_one(strategy, grade):
    """Sums are taken in another order, so last digits may differ, and no more than those."""
    changes = {"initial_speed": 12.0, "equipment.grade": grade}
    scenario = load_scenario("wet_leaf").replace(changes)
    controller = by_name(strategy)
    together = distance(pack(scenario, controller, 0), controller)
    alone = distance(pack(scenario, controller, 0), controller, room=0.0)
    assert together[0] == pytest.approx(alone[0], rel=1e-7)
    assert together[1] == pytest.approx(alone[1], rel=1e-7)


def test_a_train_of_more_axles_than_lanes_is_moved_in_blocks():
    scenario = clean("wet_leaf").replace({"initial_speed": 8.0})
    vehicles = scenario.train.vehicles
    longer = scenario.replace({"train.vehicles": (*vehicles, *vehicles[:2])})
    assert longer.train.n_axles % N_LANES not in (0, longer.train.n_axles)
    controller = by_name("slip_band")
    together = distance(pack(longer, controller, 0), controller)
    alone = distance(pack(longer, controller, 0), controller, room=0.0)
    assert together == pytest.approx(alone, rel=1e-7)

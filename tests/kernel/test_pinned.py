"""Parts whose faults whole stops hide: held to values computed here, by hand or by quadrature."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from tests.support_stops import (
    advance_unsampled,
    brake_of,
    car,
    one_axle,
    packed,
    plain_stop,
    train_of,
)

from slipbench import simulate
from slipbench.controllers import none
from slipbench.kernel.friction import cast_iron_friction, composite_friction
from slipbench.scenario import CurveSection, GradientSection, Run

GRAVITY = 9.80665


def distance(scenario):
    return simulate(scenario, none.CONTROLLER, with_traces=False).summary["stopping_distance"]


@pytest.mark.parametrize(
    ("radius", "resistance"), [(500.0, 650.0 / 445.0), (200.0, 500.0 / 170.0), (0.0, 0.0)]
)
def test_a_curve_brakes_by_roeckls_formula(radius, resistance):
    """650 / (R - 55) N/kN, 500 / (R - 30) below 300 m: Roeckl's formula, value from memory.

    On dry rail (M + m) a = B + M g w, all constant: v^2 / 2 a. The ramp of the brake (full in 2 ms)
    moves that by v t / 2, which both stops share.
    """
    curves = (CurveSection(from_distance=-100.0, radius=radius),) if radius else ()
    straight = plain_stop(20.0, deceleration=0.4)
    bent = straight.replace({"curves": curves})
    world = packed(straight)
    mass = float(world.train["mass"][0])
    whole = mass + float(world.axles["rotating_mass"][0])
    slowing = 0.4 + mass * GRAVITY * resistance * 1e-3 / whole
    late = distance(straight) - 20.0**2 / (2.0 * 0.4)
    assert distance(bent) == pytest.approx(20.0**2 / (2.0 * slowing) + late, rel=2e-5)


def test_a_slope_brakes_uphill_and_drives_downhill():
    """Rise 1 %: (M + m) a = B + M g sin(atan .01)."""
    found = []
    for rise in (0.01, -0.01):
        grade = (GradientSection(from_distance=-100.0, rise=rise),)
        scenario = plain_stop(20.0, deceleration=0.4, gradient=grade)
        world = packed(scenario)
        mass = float(world.train["mass"][0])
        whole = mass + float(world.axles["rotating_mass"][0])
        slowing = 0.4 + mass * GRAVITY * math.sin(math.atan(rise)) / whole
        found.append((distance(scenario), 20.0**2 / (2.0 * slowing)))
    for got, expected in found:
        assert got == pytest.approx(expected, rel=2e-4)
    assert found[0][0] < 500.0 < found[1][0]


@pytest.mark.parametrize(
    ("tonnes", "kmh", "friction"),
    [(0.0, 0.0, 0.44), (2.0, 50.0, 0.44 * 22.0 / 28.0 * 200.0 / 250.0), (5.0, 100.0, 0.196428571)],
)
def test_composite_friction_is_the_recalled_formulas(tonnes, kmh, friction):
    """.44 (K + 20)/(4 K + 20) (V + 150)/(2 V + 150): Russian traction rules, from memory.

    By hand: K 2 tf at 50 km/h .27657; K 5 tf at 100 km/h .44 x 25/40 x 250/350 = .19643.
    """
    assert composite_friction(tonnes * 9.81e3, kmh / 3.6) == pytest.approx(friction, rel=1e-8)


@pytest.mark.parametrize(
    ("tonnes", "kmh", "friction"), [(0.0, 0.0, 0.6), (2.0, 50.0, 0.130549451), (5.0, 100.0, 0.072)]
)
def test_cast_iron_friction_is_the_recalled_formula(tonnes, kmh, friction):
    """.6 (16 K + 100)/(80 K + 100) (V + 100)/(5 V + 100): Karwatzki's formula, from memory.

    By hand: K 2 t at 50 km/h .6 x 132/260 x 150/350 = .13055; K 5 t at 100 km/h .6 x .36 / 3.
    """
    assert cast_iron_friction(tonnes * 9.81e3, kmh / 3.6) == pytest.approx(friction, rel=1e-8)


def test_a_stop_on_composite_blocks_is_the_quadrature_of_their_friction():
    """s = int (M + m) v dv / B(v), B = n K mu(K, v), K constant once the cylinder is full."""
    vehicle = one_axle()
    values = {"brake_kind": "composite", "blocks_per_axle": 4, "block_design_friction": 0.2}
    scenario = plain_stop(25.0, 0.4, deceleration=0.5, train=train_of(vehicle)).replace(
        {f"train.vehicles.0.{name}": value for name, value in values.items()}
    )
    world = packed(scenario)
    whole = float(world.train["mass"][0] + world.axles["rotating_mass"][0])
    tonnes = whole * 0.5 / 0.2 / 4.0 / 9.81e3

    def braking(speed):
        kmh = 3.6 * speed
        friction = 0.44 * (tonnes + 20.0) / (4.0 * tonnes + 20.0)
        return 4.0 * tonnes * 9.81e3 * friction * (kmh + 150.0) / (2.0 * kmh + 150.0)

    expected = quad(lambda v: whole * v / braking(v), 0.0, 25.0)[0]
    # the cylinder is full after 2 ms: half of that at 25 m/s is .025 m
    assert distance(scenario) == pytest.approx(expected + 0.025, rel=1e-4)


def test_pitch_follows_the_deceleration_within_a_quarter_of_a_second():
    """Brake full at once on dry rail: a time constant of .25 s (assumed), 63.2 % then, 95 % at .75.

    Statics of the first axle by hand: half of (m_b a (h_b - h_p)/L)/2 + (m_b a h_p/2 + m_bogie a
    r)/b, with the body's 30 t, 1.7 and .6 m, 14 m between bogies, 2.6 m wheelbase.
    """
    vehicle = {"body_height": 1.7, "pivot_height": 0.6, "bogie_mass": 5e3}
    scenario = plain_stop(
        30.0, train=train_of(car()), brake=brake_of(0.9), run=Run(maximum_step=1e-3)
    ).replace({f"train.vehicles.0.{name}": value for name, value in vehicle.items()})
    world = packed(scenario)
    body, radius = 40e3 - 2 * 5e3, 0.42
    gained = []
    for time in (0.002, 0.252, 0.752, 3.0):
        advance_unsampled(time, world)
        gained.append(float(world.axle_states["wheel_load"][0] - world.axles["wheel_load"][0]))
    slowing = -float(world.train_state["acceleration"][0])
    by_body = body * slowing * (1.7 - 0.6) / 14.0
    by_bogie = (0.5 * body * slowing * 0.6 + 5e3 * slowing * radius) / 2.6
    settled = 0.5 * (0.5 * by_body + by_bogie)
    assert gained[3] == pytest.approx(settled, rel=1e-4)
    shares = np.array(gained[:3]) / settled
    # the brake's 2 ms and the wheels' own lag of some ms make it late by up to 4 ms of 250
    assert shares == pytest.approx([0.0, 1.0 - math.exp(-1.0), 1.0 - math.exp(-3.0)], abs=0.015)


def test_a_hot_disc_cools_faster_at_speed():
    """C dT/dt = -(c0 + c1 v) T, left alone for a minute: exponentials written here."""
    from slipbench.kernel.friction import heat_brake

    world = packed(plain_stop(20.0))
    axle, state = world.axles[0], world.axle_states[0]
    left = []
    for speed in (0.0, 30.0):
        state["temperature"] = 200.0
        for _ in range(6000):
            heat_brake(0.01, 0.0, speed, axle, state)
        left.append(float(state["temperature"]))
    expected = [200.0 * math.exp(-60.0 * (60.0 + 8.0 * v) / 1.2e5) for v in (0.0, 30.0)]
    assert left == pytest.approx(expected, rel=1e-4)

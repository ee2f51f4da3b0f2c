"""Contact temperatures against solutions worked out here, and against recomputed examples."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import minimize_scalar

from slipbench.measures.flash import HEAT_PROFILES, flash_temperature, friction_heat_flux
from slipbench.measures.materials import (
    STEEL,
    STEEL_NEAR_ROOM_TEMPERATURE,
    moving_disc_response,
    stationary_disc_response,
)
from slipbench.measures.temperature import locked_wheel_steady_temperature

# Elastic contact of a 0.46 m wheel on a 0.30 m rail crown under 100 kN (steel, 210 GPa, 0.28).
SEMI_AXIS_ALONG = 7.192e-3
SEMI_AXIS_ACROSS = 5.410e-3
PEAK_PRESSURE = 1227.2e6
WHEEL_LOAD = 100e3

SHAPES = {
    "uniform": lambda s: 1.0,
    "hertz": lambda s: math.sqrt(max(0.0, 1.0 - s * s)),
    "parabola": lambda s: 1.0 - s * s,
}


def surface_integral(shape, position):
    """Integral of shape(s) / sqrt(pi (position - s)) ds from -1, by s = position - u^2."""
    value, _ = quad(
        lambda u: shape(position - u * u), 0.0, math.sqrt(1.0 + position), epsabs=1e-12, limit=200
    )
    return 2.0 * value / math.sqrt(math.pi)


@pytest.mark.parametrize("profile", sorted(SHAPES))
def test_flash_constant_is_the_maximum_of_its_integral(profile):
    found = minimize_scalar(
        lambda x: -surface_integral(SHAPES[profile], x), bounds=(-0.9, 1.0), method="bounded"
    )
    # quad is good to 1e-12 and a maximum is flat; the uniform one sits on its bound, which the
    # search approaches to 1e-5.
    assert HEAT_PROFILES[profile].flash_constant == pytest.approx(-found.fun, rel=1e-5)


@pytest.mark.parametrize(
    ("profile", "constant", "full_length"),
    [("uniform", 1.5958, 1.128), ("hertz", 1.2346, 1.111), ("parabola", 1.1056, 1.173)],
)
def test_flash_constant_equals_computed_values(profile, constant, full_length):
    """Computed (regression): C_q, and Blok's constant on mean flux and full length.

    The mean flux over a strip is 1, pi/4 or 2/3 of its peak; the length is twice the semi-axis.
    """
    strip_mean = {"uniform": 1.0, "hertz": math.pi / 4.0, "parabola": 2.0 / 3.0}[profile]
    found = HEAT_PROFILES[profile].flash_constant
    assert found == pytest.approx(constant, abs=6e-5)  # four decimals given
    assert found / strip_mean / math.sqrt(2.0) == pytest.approx(full_length, abs=6e-4)


@pytest.mark.parametrize(
    ("friction", "creepage", "rise", "tolerance"),
    # Rounding of the expected value, plus 1e-4 for contact sizes given to four digits.
    [(0.3, 0.01, 79.6, 0.06), (0.1, 0.20, 559.0, 0.56), (0.05, 0.50, 775.0, 0.58)],
)
def test_flash_temperature_equals_computed_examples(friction, creepage, rise, tolerance):
    """Computed (regression) at 30 m/s, steel near room temperature (memory, not verified)."""
    speed = 30.0
    found = flash_temperature(
        friction * PEAK_PRESSURE * creepage * speed,
        SEMI_AXIS_ALONG,
        (1.0 - creepage) * speed,
        speed,
        wheel_steel=STEEL_NEAR_ROOM_TEMPERATURE,
        rail_steel=STEEL_NEAR_ROOM_TEMPERATURE,
    )
    assert float(found.temperature_rise) == pytest.approx(rise, abs=tolerance)
    assert float(found.rail_peclet) == pytest.approx(7622.0, abs=1.1)  # 7e-5 of it, plus rounding
    assert bool(found.is_valid)


def test_heat_flux_of_the_hertzian_contact_is_friction_times_peak_pressure():
    """Computed: 9.0 kW at friction 0.3, 1 % creepage, 30 m/s; its peak flux is mu p0 v."""
    force, slip_speed = 0.3 * WHEEL_LOAD, 0.3
    area = math.pi * SEMI_AXIS_ALONG * SEMI_AXIS_ACROSS
    mean = friction_heat_flux(force, slip_speed, area)
    assert float(mean) * area == pytest.approx(9.0e3, rel=1e-12)
    peak = friction_heat_flux(force, slip_speed, area, "hertz")
    # Semi-axes and pressure are given to four digits: 2e-4 together.
    assert float(peak) == pytest.approx(0.3 * PEAK_PRESSURE * slip_speed, rel=2e-4)


@pytest.mark.parametrize(
    ("friction", "speed", "rise", "wheel_share"),
    [(0.02, 10.0, 382.0, 0.022), (0.05, 20.0, 1359.0, 0.0157), (0.02, 25.0, 609.0, None)],
)
def test_locked_wheel_steady_temperature_equals_computed_cases(friction, speed, rise, wheel_share):
    """Computed (regression): 73.6 kN on a disc of 6 mm, formulas from memory, tolerance 1 %."""
    radius, load = 6e-3, 73.6e3
    flux = friction_heat_flux(friction * load, speed, math.pi * radius**2)
    found_rise, found_share = locked_wheel_steady_temperature(float(flux), speed, radius)
    assert found_rise == pytest.approx(rise, rel=0.01)
    if wheel_share is not None:
        assert found_share == pytest.approx(wheel_share, rel=0.01)


def test_plane_heating_equals_computed_case():
    """Computed (regression): 1e8 W/m2 for 10 ms on a plane wall heats it by 866.5 K, 0.5 %."""
    rise = 1e8 * float(stationary_disc_response(0.010, 1.0, STEEL))
    assert rise == pytest.approx(866.5, rel=0.005)


def moving_disc_rise(position, peclet):
    """Rise under a disc of radius, flux and conductivity 1, on its downstream axis.

    Integral of exp(-Pe (r - X)) / (2 pi r) over the disc, in polar coordinates about the point;
    X is the distance downstream of the source element, Pe = v a / (2 diffusivity).
    """

    def ray(angle):
        root = (position * math.cos(angle)) ** 2 - (position**2 - 1.0)
        far = position * math.cos(angle) + math.sqrt(root)
        decay = peclet * (1.0 - math.cos(angle))
        return far if decay * far < 1e-9 else -math.expm1(-decay * far) / decay

    breaks = [10.0**-power for power in np.arange(0.5, 6.0, 0.5)]
    value, _ = quad(ray, 0.0, math.pi, limit=1000, points=breaks)
    return value / math.pi


@pytest.mark.parametrize("peclet", [0.01, 0.5, 1.0, 2.0, 5.0, 10.0, 100.0, 2500.0])
def test_moving_disc_response_is_close_to_the_integral(peclet):
    """Derived: the moving-source integral; the closed form is a fit, good to 2.3 %."""
    exact = -minimize_scalar(
        lambda x: -moving_disc_rise(x, peclet), bounds=(0.0, 0.99995), method="bounded"
    ).fun
    radius = 6e-3
    speed = 2.0 * STEEL.diffusivity * peclet / radius
    found = float(moving_disc_response(speed, radius)) * STEEL.conductivity / radius
    assert found == pytest.approx(exact, rel=0.023)


def test_moving_disc_meets_the_flash_formula_at_high_peclet_number():
    """Derived: the strip through a fast uniform disc is a uniform band; 1.273 / Pe = 1e-4."""
    radius, speed = 6e-3, 50.0
    band = flash_temperature(1.0, radius, 0.0, speed, "uniform")
    assert float(moving_disc_response(speed, radius)) == pytest.approx(
        float(band.temperature_rise), rel=1e-4
    )


def test_moving_disc_response_at_rest_is_the_steady_disc():
    """Derived: a q / k; the fit's 1.273 stands for 4 / pi = 1.27324."""
    assert float(moving_disc_response(0.0, 6e-3)) == pytest.approx(
        6e-3 / STEEL.conductivity, rel=2e-4
    )

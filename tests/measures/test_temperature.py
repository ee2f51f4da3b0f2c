"""Locked-wheel heat, quench and tread temperature."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_matrix, identity
from scipy.sparse.linalg import splu

from slipbench.ground.errors import InputError
from slipbench.measures.flash import flash_temperature, friction_heat_flux
from slipbench.measures.limits import TRANSFORMATION, martensite_risk, quench_time
from slipbench.measures.materials import (
    STEEL,
    TREAD_HEAT_SINK,
    SteelProperties,
    moving_disc_response,
    stationary_disc_response,
)
from slipbench.measures.temperature import (
    locked_wheel_steady_temperature,
    locked_wheel_temperature,
    tread_bulk_temperature,
    wheel_spot_temperature,
)

CONDUCTIVITY, DENSITY, SPECIFIC_HEAT = 45.0, 7850.0, 480.0
DIFFUSIVITY = CONDUCTIVITY / (DENSITY * SPECIFIC_HEAT)


# --- an independent solution: finite differences in an axisymmetric half-space ---


def face_positions(first, growth, reach):
    """Cell faces from 0 to `reach`, each cell `growth` times the one before."""
    faces = [0.0]
    width = first
    while faces[-1] < reach:
        faces.append(faces[-1] + width)
        width *= growth
    return np.array(faces)


def conductance_matrix(r_faces, z_faces):
    """Heat conductances between neighbouring ring cells, and the cells' volumes."""
    r_mid, z_mid = 0.5 * (r_faces[1:] + r_faces[:-1]), 0.5 * (z_faces[1:] + z_faces[:-1])
    ring_area = math.pi * np.diff(r_faces**2)
    height = np.diff(z_faces)
    index = np.arange(r_mid.size * z_mid.size).reshape(r_mid.size, z_mid.size)
    radial = (2 * math.pi * r_faces[1:-1] / np.diff(r_mid))[:, None] * height[None, :]
    axial = ring_area[:, None] / np.diff(z_mid)[None, :]
    links = [(index[:-1], index[1:], radial), (index[:, :-1], index[:, 1:], axial)]
    rows, columns, values = [], [], []
    for one, other, conductance in links:
        one, other, conductance = one.ravel(), other.ravel(), CONDUCTIVITY * conductance.ravel()
        rows += [one, other, one, other]
        columns += [one, other, other, one]
        values += [conductance, conductance, -conductance, -conductance]
    shape = (index.size, index.size)
    matrix = coo_matrix(
        (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=shape
    )
    return matrix.tocsc(), (ring_area[:, None] * height[None, :]).ravel(), index[:, 0]


def finite_difference_lock(duration, n_steps, force, speed_of, radius_of):
    """March the wheel by implicit steps; at each, choose its heat flux for equal temperature."""
    r_faces = face_positions(0.25e-3, 1.04, 0.08)
    z_faces = face_positions(0.03e-3, 1.12, 0.08)
    matrix, volume, surface = conductance_matrix(r_faces, z_faces)
    step = duration / n_steps
    storage = DENSITY * SPECIFIC_HEAT * volume / step
    factor = splu((matrix + identity(volume.size, format="csc").multiply(storage)).tocsc())
    ring_area = math.pi * np.diff(r_faces**2)
    half_cell = 0.5 * z_faces[1] / CONDUCTIVITY
    temperature = np.zeros(volume.size)
    rises, fluxes = [0.0], [math.nan]
    for i_step in range(1, n_steps + 1):
        time = i_step * step
        radius, speed = radius_of(time), speed_of(time)
        heated = math.pi * np.diff(np.minimum(r_faces, radius) ** 2)
        unit = np.zeros(volume.size)
        unit[surface] = heated
        free, per_flux = factor.solve(storage * temperature), factor.solve(unit)
        total = force * speed / (math.pi * radius**2)
        peclet = speed * radius / (2 * DIFFUSIVITY)
        rail = 2 * radius / (CONDUCTIVITY * math.sqrt(math.pi * (1.273 + peclet)))
        own = per_flux[surface[0]] + half_cell * heated[0] / ring_area[0]
        flux = (rail * total - free[surface[0]]) / (rail + own)
        temperature = free + per_flux * flux
        rises.append(rail * (total - flux))
        fluxes.append(flux)
    return np.array(rises), np.array(fluxes)


@pytest.mark.parametrize("start_speed", [0.4, 4.0])
def test_growing_patch_and_falling_speed_match_finite_differences(start_speed):
    duration, n_steps, force, every = 1.0, 1000, 1500.0, 4

    def speed_of(time):
        return start_speed * (1.0 - 0.6 * time)

    def radius_of(time):
        return 6e-3 + 8e-3 * time

    marched = finite_difference_lock(duration, n_steps, force, speed_of, radius_of)
    rises, fluxes = (series[::every] for series in marched)
    time = np.linspace(0.0, duration, n_steps // every + 1)
    found = locked_wheel_temperature(time, force, speed_of(time), radius_of(time))
    # The march is first order, and halving its step halves the gap: 0.5 % at this one. Its start is
    # rough, and the flux changes sign on the way, hence the absolute part.
    settled = time >= 0.1
    np.testing.assert_allclose(found.temperature_rise[settled], rises[settled], rtol=0.01)
    np.testing.assert_allclose(
        found.wheel_heat_flux[settled],
        fluxes[settled],
        rtol=0.01,
        atol=1e-3 * fluxes[settled].max(),
    )


def a_lock(n_samples=120):
    """A lock with changing force, speed and patch, on uneven samples."""
    time = 3.0 * np.linspace(0.0, 1.0, n_samples) ** 1.3 + 7.0
    progress = (time - 7.0) / 3.0
    force = 1500.0 * (1.0 + 0.3 * np.sin(20.0 * progress))
    return time, force, 12.0 * (1.0 - 0.8 * progress), 6e-3 + 9e-3 * np.sqrt(progress)


def test_wheel_and_rail_agree_at_every_sample():
    """The rail side by its formula; the wheel side by summing the flux steps again."""
    time, force, speed, radius = a_lock()
    heat = locked_wheel_temperature(time, force, speed, radius)
    total = force * speed / (math.pi * radius**2)
    rail = moving_disc_response(speed, radius) * (total - heat.wheel_heat_flux)
    # Hundreds of terms of one sign or two: 1e-12 of the peak is ample for rounding.
    peak = heat.temperature_rise.max()
    np.testing.assert_allclose(heat.temperature_rise, rail, atol=1e-12 * peak)
    wheel = wheel_spot_temperature(heat, time)
    np.testing.assert_allclose(heat.temperature_rise, wheel, atol=1e-12 * peak)
    np.testing.assert_allclose(heat.heat_share * total, heat.wheel_heat_flux, rtol=1e-12)
    assert heat.temperature_rise[0] == 0.0


def test_short_times_are_a_plane_wall():
    # 1 ms reaches 0.2 mm deep under a 50 mm disc; erfc of the ratio vanishes.
    expected = 2.0 * math.sqrt(1e-3 / math.pi) / STEEL.effusivity
    assert float(stationary_disc_response(1e-3, 0.05)) == pytest.approx(expected, rel=1e-12)


def test_constant_lock_tends_to_the_steady_state():
    force, speed, radius = 1472.0, 10.0, 6e-3
    time = np.linspace(0.0, 300.0, 300)
    heat = locked_wheel_temperature(time, force, speed, radius)
    flux = float(friction_heat_flux(force, speed, math.pi * radius**2))
    rise, share = locked_wheel_steady_temperature(flux, speed, radius)
    # The spot lags by a / sqrt(pi D t) = 5.7 % of its share, the temperature by 2 % of that.
    assert heat.heat_share[-1] == pytest.approx(share, rel=0.07)
    assert heat.temperature_rise[-1] == pytest.approx(rise, rel=0.0015)
    assert heat.temperature_rise[-1] < rise


@pytest.mark.parametrize("n_steps", [10, 40])
def test_wheel_flux_converges_as_documented(n_steps):
    def final(n):
        heat = locked_wheel_temperature(
            np.linspace(0.0, 2.0, n + 1), 1472.0, 0.5, 6e-3, max_nodes=10_000
        )
        return heat.wheel_heat_flux[-1], heat.temperature_rise[-1]

    (flux, rise), (flux_fine, rise_fine) = final(n_steps), final(1500)
    assert abs(flux / flux_fine - 1.0) < 0.04 / n_steps
    assert abs(rise / rise_fine - 1.0) < 0.01 / n_steps


def test_thinned_lock_keeps_its_peak():
    time, force, speed, radius = a_lock(1500)
    full = locked_wheel_temperature(time, force, speed, radius, max_nodes=10_000)
    thin = locked_wheel_temperature(time, force, speed, radius, max_nodes=150)
    # A tenth of the nodes smooths a twentieth of the heat (the wheel's) by some per cent.
    assert thin.temperature_rise.max() == pytest.approx(full.temperature_rise.max(), rel=0.005)
    np.testing.assert_allclose(thin.temperature_rise[50:], full.temperature_rise[50:], rtol=0.01)


@pytest.mark.parametrize(("force", "speed"), [(0.0, 20.0), (1500.0, 0.0), (0.0, 0.0)])
def test_no_friction_heat_is_exactly_no_temperature(force, speed):
    heat = locked_wheel_temperature(np.linspace(0.0, 1.0, 20), force, speed, 6e-3)
    assert np.all(heat.temperature_rise == 0.0)
    assert np.all(heat.heat_share == 0.0)
    assert np.all(flash_temperature(0.0, 6e-3, speed, speed).temperature_rise == 0.0)
    assert np.all(tread_bulk_temperature([0.0, 1.0, 2.0], force * speed, 0.0) == 0.0)


def test_hot_wheel_warms_the_rail_when_the_friction_heat_stops():
    time = np.linspace(0.0, 2.0, 200)
    force = np.where(time < 1.0, 1500.0, 0.0)
    heat = locked_wheel_temperature(time, force, 5.0, 6e-3)
    after = time > 1.0
    assert np.all(heat.wheel_heat_flux[after] < 0.0)
    assert np.all(heat.temperature_rise[after] > 0.0)
    assert np.all(np.diff(heat.temperature_rise[after]) < 0.0)


locks = st.fixed_dictionaries(
    {
        "duration": st.floats(0.05, 8.0),
        "force": st.floats(50.0, 6000.0),
        "speed": st.floats(0.5, 60.0),
        "braking": st.floats(0.0, 0.95),
        "radius": st.floats(3e-3, 15e-3),
        "growth": st.floats(0.0, 3.0),
    }
)


def rise_of(lock, force_factor=1.0, speed_factor=1.0):
    time = np.linspace(0.0, lock["duration"], 40)
    progress = time / lock["duration"]
    speed = speed_factor * lock["speed"] * (1.0 - lock["braking"] * progress)
    radius = lock["radius"] * (1.0 + lock["growth"] * progress)
    return locked_wheel_temperature(time, force_factor * lock["force"], speed, radius)


# Growing factors stay apart from equality: 1e-9 covers rounding, not a wrong trend.
@given(lock=locks, factor=st.floats(1.0, 3.0))
@settings(deadline=None, max_examples=60)
def test_temperature_is_linear_in_force_and_never_falls_with_speed(lock, factor):
    base = rise_of(lock).temperature_rise
    np.testing.assert_allclose(
        rise_of(lock, force_factor=factor).temperature_rise, factor * base, rtol=1e-9, atol=1e-9
    )
    faster = rise_of(lock, speed_factor=factor).temperature_rise
    assert faster.max() >= base.max() * (1.0 - 1e-9)


@given(lock=locks, cut=st.integers(2, 39))
@settings(deadline=None, max_examples=60)
def test_a_longer_lock_peaks_no_lower(lock, cut):
    time = np.linspace(0.0, lock["duration"], 40)
    speed = lock["speed"] * (1.0 - lock["braking"] * time / lock["duration"])
    radius = lock["radius"] * np.ones(40)
    whole = locked_wheel_temperature(time, lock["force"], speed, radius)
    part = locked_wheel_temperature(time[:cut], lock["force"], speed[:cut], radius[:cut])
    # The last step of the shorter lock ends at its node instead of half a step later.
    assert whole.temperature_rise.max() >= part.temperature_rise.max() * (1.0 - 1e-9)


def test_uneven_steel_moves_heat_to_the_body_that_takes_more():
    rich = SteelProperties(conductivity=90.0)
    even = flash_temperature(1e8, 7e-3, 20.0, 25.0)
    uneven = flash_temperature(1e8, 7e-3, 20.0, 25.0, rail_steel=rich)
    assert float(uneven.rail_heat_share) > float(even.rail_heat_share) > 0.5
    assert float(uneven.temperature_rise) < float(even.temperature_rise)


def test_flash_formula_flags_a_nearly_locked_wheel():
    radius = 7e-3
    edge = 10.0 * 2.0 * STEEL.diffusivity / radius
    found = flash_temperature(1e8, radius, [0.9 * edge, 1.1 * edge], 20.0)
    assert found.is_valid.tolist() == [False, True]


# --- quench and martensite ---


def hot_lock(radius):
    time = np.linspace(0.0, 0.5, 120)
    return locked_wheel_temperature(time, 3680.0, 20.0, radius)


def test_spot_cools_by_conduction_after_the_lock():
    heat = hot_lock(6e-3)
    later = heat.time[-1] + np.array([0.01, 0.1, 1.0, 10.0, 100.0])
    rise = wheel_spot_temperature(heat, later)
    assert np.all(np.diff(rise) < 0.0)
    # Late, all of the heat is a point source at once: E / (4 (pi D t)^1.5 rho c); the spread of
    # the release over 0.5 s and of the disc over 6 mm matter by under 2 % after 100 s.
    energy = math.pi * 36e-6 * np.trapezoid(heat.wheel_heat_flux[1:], heat.time[1:])
    energy += math.pi * 36e-6 * heat.wheel_heat_flux[1] * heat.time[1]
    point = energy / (4.0 * (math.pi * DIFFUSIVITY * 100.0) ** 1.5 * DENSITY * SPECIFIC_HEAT)
    assert rise[-1] == pytest.approx(point, rel=0.02)


def test_small_hot_spot_quenches_fast_and_may_be_martensite():
    heat = hot_lock(6e-3)
    body = 293.15
    cooling = quench_time(heat, body)
    assert 0.0 < cooling < 1.0
    after = heat.time[-1] + np.linspace(0.0, 1.0, 2001)
    temperature = body + wheel_spot_temperature(heat, after)
    left = after[np.argmax(temperature < TRANSFORMATION.austenitisation_temperature)]
    arrived = after[np.argmax(temperature < TRANSFORMATION.quenched_temperature)]
    # Steps of 0.5 ms here, of 8 % of the time since the lock there (lines between curved points).
    assert cooling == pytest.approx(arrived - left, rel=0.02)
    assert martensite_risk(body + heat.temperature_rise.max(), cooling) == "likely"


def test_quench_during_the_lock_is_timed_exactly():
    """A fall linear in time, made of a growing patch, is met at its two crossings."""
    time = np.linspace(0.0, 4.0, 400)
    heat = locked_wheel_temperature(time, 3000.0, 15.0, 6e-3 + 6e-3 * time)
    temperature = 293.15 + heat.temperature_rise
    falling = slice(int(temperature.argmax()), None)
    expected = np.diff(
        np.interp(
            [-TRANSFORMATION.austenitisation_temperature, -TRANSFORMATION.quenched_temperature],
            -temperature[falling],
            time[falling],
        )
    )[0]
    assert quench_time(heat, 293.15) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("peak_celsius", "cooling_time", "expected"),
    [
        (719.0, 0.1, "none"),
        (721.0, 0.1, "possible"),
        (869.0, 0.1, "possible"),
        (871.0, 0.1, "likely"),
        (871.0, 60.0, "none"),
        (1500.0, math.inf, "none"),
    ],
)
def test_martensite_flag(peak_celsius, cooling_time, expected):
    assert martensite_risk(peak_celsius + 273.15, cooling_time) == expected


def test_cool_lock_has_no_quench():
    heat = locked_wheel_temperature([0.0, 0.1, 0.2], 100.0, 1.0, 6e-3)
    assert quench_time(heat, 293.15) == math.inf


# --- tread ---


def test_tread_bulk_follows_the_exact_answer_to_constant_power():
    time = np.linspace(0.0, 1000.0, 37)
    sink = TREAD_HEAT_SINK
    power = sink.sliding_share * 9e3 + sink.disc_share * 50e3
    exact = (
        power
        / sink.cooling_conductance
        * -np.expm1(-time * sink.cooling_conductance / sink.heat_capacity)
    )
    found = tread_bulk_temperature(time, 9e3, 50e3)
    np.testing.assert_allclose(found, exact, rtol=1e-12)


def test_tread_bulk_cools_once_the_power_stops():
    time = np.linspace(0.0, 600.0, 61)
    found = tread_bulk_temperature(time, np.where(time <= 300.0, 9e3, 0.0), 0.0)
    assert found.argmax() in (30, 31)
    assert np.all(np.diff(found[31:]) < 0.0)


# --- bad input ---


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: locked_wheel_temperature([0.0, 0.0], 1.0, 1.0, 1e-2), r"time\[1\] = 0.0 s"),
        (lambda: locked_wheel_temperature([], 1.0, 1.0, 1e-2), "at least one sample"),
        (lambda: locked_wheel_temperature([0.0, 1.0], 1.0, [-1.0, 1.0], 1e-2), r"train_speed\[0\]"),
        (lambda: locked_wheel_temperature([0.0, 1.0], [1.0] * 3, 1.0, 1e-2), "contact_force has"),
        (lambda: locked_wheel_temperature([0.0, 1.0], 1.0, 1.0, 0.0), "patch_radius = 0 m"),
        (lambda: flash_temperature(1.0, 1e-2, 1.0, 1.0, "square"), "'square' is not known"),
        (lambda: flash_temperature(1.0, 1e-2, 0.0, 0.0), "friction heat is not allowed"),
        (lambda: friction_heat_flux(1.0, math.nan, 1.0), r"slip_speed\[0\] = nan m/s"),
        (lambda: SteelProperties(density=-1.0), r"SteelProperties.density = -1.0 kg/m3"),
    ],
)
def test_bad_input_is_named_in_one_line(call, words):
    with pytest.raises(InputError, match=words) as caught:
        call()
    assert "\n" not in str(caught.value)

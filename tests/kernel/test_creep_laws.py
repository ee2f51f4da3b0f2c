"""The creep laws as a stop meets them: against the theory outside the hot loop, and in a stop."""

from pathlib import Path

import numpy as np
import pytest
from tests.support_stops import clean

from slipbench.commands.main import main
from slipbench.contact import (
    Creepages,
    PolachSet,
    RollingContact,
    contact_patch,
    creep_forces,
    polach_adhesion,
    read_measured_curve,
    rolling_contact,
    traction_ratio,
)
from slipbench.controllers import none, slip_band
from slipbench.figures import style
from slipbench.figures.adhesion_speed import SPEEDS as DRAWN_SPEEDS
from slipbench.figures.adhesion_speed import draw_adhesion_speed, largest_adhesion, spread
from slipbench.figures.creep_curves import CREEPAGES, creep_curve, draw_creep_curves, laws_of
from slipbench.kernel.creep import (
    creep_force,
    curve_ratio,
    find_peak,
    polach_ratio,
    steepest_fall,
    table_ratio,
)
from slipbench.kernel.records import World
from slipbench.packing import pack
from slipbench.scenario import Scenario
from slipbench.stop.simulation import simulate

TABULATED = ("vermeulen_johnson", "shen_hedrick_elkins", "carter", "strip")
SPEEDS = (0.5, 5.0, 20.0, 60.0)  # [m/s]
TAU = np.concatenate([np.geomspace(1e-4, 5e4, 1500), np.linspace(0.01, 6.0, 1500)])

CURVE = """\
# invented: two speeds, peak at a tenth, falling beyond
creepage,adhesion,speed_kmh
0.005,0.030,20
0.02,0.080,20
0.1,0.120,20
0.5,0.090,20
1.0,0.080,20
0.005,0.025,100
0.02,0.060,100
0.1,0.080,100
0.5,0.050,100
1.0,0.040,100
"""
PEAK = 0.12


def on_wet_rail(law: str = "polach", **contact: float | str) -> Scenario:
    changes = {f"contact.{name}": value for name, value in contact.items()}
    return clean("wet").replace({"contact.law": law, **changes})


def packed(scenario: Scenario) -> World:
    return pack(scenario, none.CONTROLLER, 0)


def adhesion(slip_speed: float, speed: float, world: World) -> float:
    """Rail force of the first axle over its load. [-]"""
    axle = world.axles[0]
    force: float = creep_force(slip_speed, speed, axle, world.axle_states[0], world.law[0])[0]
    return force / (2.0 * float(axle["wheel_load"]))


@pytest.fixture
def curve_file(tmp_path: Path) -> Path:
    path = tmp_path / "curve.csv"
    path.write_text(CURVE)
    return path


def on_measured_curve(path: Path) -> Scenario:
    changes = {"contact.measured_curve": str(path), "rail.sections.0.friction_ratio": 1.0}
    return clean("wet").replace({"contact.law": "measured", **changes})


def contact_of(scenario: Scenario) -> RollingContact:
    """The contact of a wheel of the first vehicle, from its radii and the load it carries."""
    vehicle = scenario.train.vehicles[0]
    load = 0.5 * vehicle.tare_mass / vehicle.n_axles * 9.80665
    patch = contact_patch(vehicle.wheel_radius, scenario.rail.crown_radius, load)
    return rolling_contact(patch, friction=scenario.rail.sections[0].friction)


# --- the traction ratio -----------------------------------------------------------------------


@pytest.mark.parametrize("name", TABULATED)
def test_table_in_the_kernel_is_within_a_ten_thousandth_of_its_law(name: str) -> None:
    """Measured: V-J and Shen 1.2e-5, Carter 8.7e-5 (its bend at two), strip 0.6e-5 of mu N."""
    law = packed(on_wet_rail(name)).law[0]
    found = [table_ratio(tau, law)[0] for tau in TAU]
    options = {}
    if name == "strip":
        options = {"axis_ratio": contact_of(on_wet_rail()).patch.axis_ratio}
    assert np.abs(found - traction_ratio(name, TAU, **options)).max() < 1e-4


@pytest.mark.parametrize("name", TABULATED)
def test_tabulated_law_starts_on_the_linear_theory_and_ends_at_the_friction_limit(
    name: str,
) -> None:
    law = packed(on_wet_rail(name)).law[0]
    value, slope = table_ratio(1e-9, law)
    assert value == pytest.approx(1e-9, rel=1e-4)
    assert slope == pytest.approx(1.0, rel=1e-4)
    # the strip grid of 50 by 50 cells passes the limit by two in ten thousand
    assert table_ratio(1e9, law)[0] == pytest.approx(1.0, abs=3e-4)
    assert table_ratio(1e9, law)[1] == 0.0
    assert table_ratio(-2.0, law)[0] == -table_ratio(2.0, law)[0]


def test_polach_in_the_kernel_is_the_reference_function() -> None:
    options = {"adhesion_reduction": 0.3, "slip_reduction": 0.1}
    found = [polach_ratio(tau, 0.3, 0.1)[0] for tau in TAU]
    # the same expression, a few roundings apart
    assert found == pytest.approx(traction_ratio("polach", TAU, **options), rel=1e-14)


@pytest.mark.parametrize("speed", SPEEDS)
def test_polach_force_with_falling_friction_is_the_reference_function(speed: float) -> None:
    scenario = on_wet_rail()
    world = packed(scenario)
    section = scenario.rail.sections[0]
    reference = PolachSet(
        "wet preset",
        section.adhesion_reduction,
        section.slip_reduction,
        section.friction,
        section.friction_ratio,
        section.friction_decay,
        "this scenario",
    )
    creepages = np.geomspace(1e-6, 1.0, 60)
    axle = world.axles[0]
    expected = polach_adhesion(
        creepages, speed, float(axle["contact_stiffness"]), float(axle["wheel_load"]), reference
    )
    found = [adhesion(creepage * speed, speed, world) for creepage in creepages]
    assert found == pytest.approx(expected, rel=1e-13)


def test_contact_stiffness_is_that_of_hertz_and_kalker_at_the_load_carried() -> None:
    for load in (0.0, 1.0):
        scenario = on_wet_rail().replace({"train.load": load})
        vehicle = scenario.train.vehicles[0]
        wheel_load = 0.5 * vehicle.mass_at(load) / vehicle.n_axles * 9.80665
        patch = contact_patch(vehicle.wheel_radius, scenario.rail.crown_radius, wheel_load)
        stiffness = rolling_contact(patch, friction=0.1).stiffness
        assert packed(scenario).axles[0]["contact_stiffness"] == pytest.approx(stiffness, rel=1e-12)


@pytest.mark.parametrize(
    ("change", "is_stiffer"),
    [
        ({"train.load": 1.0}, True),
        ({"train.vehicles.*.wheel_diameter": 0.76}, False),  # worn to the last turning
        ({"rail.crown_radius": 0.2}, False),
        ({"contact.wheel_profile_curvature": -1.5}, True),  # worn hollow: a wider patch
    ],
)
def test_load_and_wear_change_the_contact_stiffness(
    change: dict[str, float], is_stiffer: bool
) -> None:
    before = packed(on_wet_rail()).axles[0]["contact_stiffness"]
    after = packed(on_wet_rail().replace(change)).axles[0]["contact_stiffness"]
    assert (after > 1.01 * before) if is_stiffer else (after < 0.99 * before)


# --- slope and peak, which the time stepping leans on -------------------------------------------


@pytest.mark.parametrize("name", ["polach", *TABULATED])
@pytest.mark.parametrize("speed", SPEEDS)
def test_newton_slope_is_the_derivative_of_the_force(name: str, speed: float) -> None:
    """Friction falls with slip speed on this rail, so all its terms are in."""
    world = packed(on_wet_rail(name))
    check_slope(world, speed)


def check_slope(world: World, speed: float) -> None:
    parts = world.axles[0], world.axle_states[0], world.law[0]
    stiffest = float(creep_force(0.0, speed, *parts)[1])
    for creepage in (*np.geomspace(1.3e-6, 0.97, 60), -1e-3, -0.2):
        slip = float(creepage) * speed
        width = 1e-6 * abs(slip)
        rise = creep_force(slip + width, speed, *parts)[0]
        rise -= creep_force(slip - width, speed, *parts)[0]
        slope = creep_force(slip, speed, *parts)[1]
        # rounding of the force over twice the width; a cubic's curvature jumps at its nodes
        rounding = 1e-15 * abs(creep_force(slip, speed, *parts)[0]) / width
        assert abs(slope - rise / (2.0 * width)) < 1e-6 * stiffest + 4.0 * rounding


@pytest.mark.parametrize("name", ["polach", *TABULATED])
@pytest.mark.parametrize("speed", SPEEDS)
def test_peak_found_is_the_largest_force_of_a_fine_scan(name: str, speed: float) -> None:
    check_peak(packed(on_wet_rail(name)), speed)


def check_peak(world: World, speed: float) -> None:
    parts = world.axles[0], world.axle_states[0], world.law[0]
    scan = max(creep_force(x * speed, speed, *parts)[0] for x in np.geomspace(1e-5, 1.0, 4000))
    creepage, force = find_peak(speed, *parts)
    assert 0.0 < creepage <= 1.0
    # the scan steps by 0.3 % of creepage, so it may miss a sharp peak by its curvature times 1e-5
    assert scan * (1.0 - 1e-7) <= force <= scan * (1.0 + 1e-5)


@pytest.mark.parametrize("name", ["polach", *TABULATED])
def test_no_force_falls_faster_than_the_bound_pieces_are_cut_by(name: str) -> None:
    check_fall(packed(on_wet_rail(name)), 20.0)


def check_fall(world: World, speed: float) -> None:
    parts = world.axles[0], world.axle_states[0], world.law[0]
    steepest = max(-creep_force(x * speed, speed, *parts)[1] for x in np.geomspace(1e-5, 1, 4000))
    bound = steepest_fall(speed, *parts)
    assert 0.0 < steepest <= bound < 5.0 * steepest


# --- strip law with spin and lateral creepage ----------------------------------------------------


@pytest.mark.parametrize(("lateral", "spin"), [(0.0, 1.0), (0.002, 0.0), (0.005, 2.0)])
def test_strip_with_lateral_creepage_and_spin_gives_the_force_of_the_full_law(
    lateral: float, spin: float
) -> None:
    """At the first section's friction, for which the table is made. Largest error 1.3e-5 mu N."""
    scenario = on_wet_rail("strip", lateral_creepage=lateral, spin=spin)
    scenario = scenario.replace({"rail.sections.0.friction_ratio": 1.0})
    world, contact = packed(scenario), contact_of(scenario)
    creepages = (1e-4, 1e-3, 5e-3, 0.05, 1.0)
    for creepage in creepages:
        full = creep_forces("strip", contact, Creepages(creepage, lateral, spin))
        found = adhesion(creepage * 20.0, 20.0, world)
        expected = -full.longitudinal / contact.patch.load
        assert found == pytest.approx(expected, abs=2e-5 * contact.friction)
    weaker = adhesion(1e-3 * 20.0, 20.0, world)
    plain = packed(on_wet_rail("strip").replace({"rail.sections.0.friction_ratio": 1.0}))
    assert weaker < 0.98 * adhesion(1e-3 * 20.0, 20.0, plain)


# --- a measured curve ----------------------------------------------------------------------------


@pytest.mark.parametrize("speed_kmh", [5.0, 20.0, 47.0, 99.0, 160.0])
def test_measured_curve_in_the_kernel_is_within_a_quarter_of_a_per_cent(
    speed_kmh: float, curve_file: Path
) -> None:
    """Resampled on 241 nodes it rounds the corners: at most 0.23 per cent of the peak, measured.

    Between two speeds it runs linearly, beyond them as at the nearest, like the curve itself.
    """
    speed = speed_kmh / 3.6
    law = packed(on_measured_curve(curve_file)).law[0]
    curve = read_measured_curve(curve_file)
    creepages = np.geomspace(1e-5, 1.0, 2000)
    found = np.array([curve_ratio(creepage, speed, law)[0] for creepage in creepages])
    error = np.abs(found * PEAK - curve.adhesion(creepages, speed))
    assert error.max() < 2.5e-3 * PEAK
    assert (error / curve.adhesion(creepages, speed)).max() < 2.5e-3
    assert curve_ratio(-0.1, speed, law)[0] == -curve_ratio(0.1, speed, law)[0]


def test_measured_curve_is_scaled_so_that_its_peak_is_the_friction_of_the_rail(
    curve_file: Path,
) -> None:
    world = packed(on_measured_curve(curve_file))
    friction = float(world.axle_states[0]["friction"])
    # the rounded corner takes 0.14 % off the peak, which the scaling gives back
    assert adhesion(0.1 * 5.0, 5.0, world) == pytest.approx(friction, rel=2e-3)
    share = read_measured_curve(curve_file).adhesion(0.5, 100.0 / 3.6) / PEAK
    assert adhesion(0.5 * 30.0, 30.0, world) == pytest.approx(friction * share, rel=3e-3)


@pytest.mark.parametrize("speed", [2.0, 12.0, 40.0])
def test_slope_peak_and_steepest_fall_hold_for_a_measured_curve(
    speed: float, curve_file: Path
) -> None:
    world = packed(on_measured_curve(curve_file))
    check_slope(world, speed)
    check_peak(world, speed)
    check_fall(world, speed)


# --- a stop --------------------------------------------------------------------------------------


@pytest.mark.parametrize("controller", [none.CONTROLLER, slip_band.CONTROLLER])
@pytest.mark.parametrize("name", ["polach", *TABULATED, "measured"])
def test_a_stop_under_every_law_accounts_for_its_energy(
    name: str, controller: object, curve_file: Path
) -> None:
    scenario = on_measured_curve(curve_file) if name == "measured" else on_wet_rail(name)
    scenario = scenario.replace({"rail.sections.0.friction": 0.06, "initial_speed": 20.0})
    summary = simulate(scenario, controller, with_traces=False).summary  # type: ignore[arg-type]
    assert summary["is_stopped"]
    assert summary["contact_energy"] > 0.0
    # the audit is the method's own quadrature: it closes to the error of the step, not to rounding
    assert abs(summary["energy_residual"]) < 3e-6


def test_laws_that_share_the_friction_of_a_locked_wheel_share_the_stop() -> None:
    """Without slip control all wheels lock, where every law is the friction limit.

    Polach's law reaches it only in the limit of large creepage: with kS = 0.1 and tau of some
    hundreds in this stop it stays 1 to 2 per cent below, and the stop is as much longer.
    """
    distances = {}
    for name in ("polach", *TABULATED):
        scenario = on_wet_rail(name).replace(
            {"rail.sections.0.friction": 0.06, "initial_speed": 20.0}
        )
        summary = simulate(scenario, none.CONTROLLER, with_traces=False).summary
        distances[name] = summary["stopping_distance"]
    plain = distances["vermeulen_johnson"]
    assert distances["shen_hedrick_elkins"] == pytest.approx(plain, rel=1e-9)
    assert distances["carter"] == pytest.approx(plain, rel=1e-3)
    assert distances["strip"] == pytest.approx(plain, rel=1e-3)
    assert plain < distances["polach"] < 1.03 * plain


# --- the pictures ---------------------------------------------------------------------------------


def test_picture_has_every_law_at_the_scenarios_own_load_friction_and_speed(
    curve_file: Path,
) -> None:
    assert laws_of(on_wet_rail()) == (
        "polach",
        "vermeulen_johnson",
        "shen_hedrick_elkins",
        "carter",
        "strip",
    )
    scenario = on_measured_curve(curve_file)
    assert set(laws_of(scenario)) == {*laws_of(on_wet_rail()), "measured"}
    for law in laws_of(scenario):
        curve = creep_curve(scenario, law)
        # the flat curves of this scenario end at its friction; the measured one falls
        assert curve.peak_adhesion <= 0.15 * (1.0 + 3e-4)
        assert curve.adhesion.max() <= curve.peak_adhesion * (1.0 + 1e-6)
        assert (curve.table_error is None) == (law in ("polach", "measured"))
        assert curve.table_error is None or 0.0 < curve.table_error < 1e-4


def test_curve_drawn_is_the_kernels_force() -> None:
    scenario = on_wet_rail("carter")
    world, curve = packed(scenario), creep_curve(scenario, "carter")
    found = [adhesion(x * scenario.initial_speed, scenario.initial_speed, world) for x in CREEPAGES]
    assert (curve.adhesion == found).all()
    assert curve.stiffness == pytest.approx(
        float(world.axles[0]["contact_stiffness"] / world.axles[0]["wheel_load"]), rel=1e-5
    )


def test_largest_adhesion_drawn_falls_with_speed_and_rises_with_cleaning() -> None:
    leaf = clean("wet_leaf")
    low, high = largest_adhesion(leaf), largest_adhesion(leaf, np.inf)
    assert (np.diff(low) < 0.0).all()
    assert (high > 3.0 * low).all()
    parts = (world := packed(leaf)).axles[0], world.axle_states[0], world.law[0]
    peak = find_peak(float(DRAWN_SPEEDS[7]), *parts)[1] / (2.0 * world.axles[0]["wheel_load"])
    assert low[7] == pytest.approx(peak, rel=1e-6)


def test_pictures_name_quantities_and_are_the_same_for_the_same_input() -> None:
    for draw in (
        lambda: draw_creep_curves(clean("wet_leaf")),
        lambda: draw_adhesion_speed([clean(name) for name in ("dry", "wet_leaf")]),
    ):
        figure = draw()
        assert all("[" in axes.get_xlabel() and not axes.get_title() for axes in figure.axes)
        assert "[-]" in figure.axes[0].get_ylabel()
        assert style.save(figure)["png"] == style.save(draw())["png"]


def test_labels_are_moved_apart_as_little_as_needed() -> None:
    assert spread([0.0, 5.0], 1.0) == [0.0, 5.0]
    assert spread([1.0, 1.0], 1.0) == [0.5, 1.5]
    moved = spread([0.0, 0.1, 0.2, 3.0], 1.0)
    assert min(np.diff(moved)) > 0.999


def test_one_command_draws_them_and_tells_the_tables_error(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "out"
    assert main(["creep", "wet_leaf", "dry", "--speed", "40mph", "--out", str(folder)]) == 0
    printed = capsys.readouterr().out
    assert "17.88 m/s" in printed
    assert "1.2e-05" in printed
    names = {file.name for file in folder.iterdir()}
    pictures = {"adhesion_speed", "creep_wet_leaf", "creep_dry"}
    expected = {f"{name}.{kind}" for name in pictures for kind in ("png", "svg")}
    assert names == expected | {"creep.csv", "creep.json"}
    rows = (folder / "creep.csv").read_text().splitlines()
    assert rows[0] == "scenario,law,creepage,adhesion"
    assert len(rows) == 1 + 2 * 5 * len(CREEPAGES)


def test_command_refuses_the_same_rail_twice(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["creep", "dry", "dry"]) == 2
    assert capsys.readouterr().err.count("\n") == 1

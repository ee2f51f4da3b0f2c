"""Equipment as a seed draws it: reproducible, scaled by grade, exact where values are given."""

import subprocess
import sys

import numpy as np
import pytest
from tests.support_stops import clean, packed

from slipbench import load_scenario, simulate
from slipbench.controllers import by_name
from slipbench.packing.draws import draw_equipment
from slipbench.scenario import GRADES
from slipbench.stop.shortest import shortest_possible

UNIT = load_scenario("wet_leaf")


def graded(grade, **changes):
    return UNIT.replace({"equipment.grade": grade, **changes})


def text_of(draw):
    return [np.asarray(part).tolist() for part in draw]


def over_seeds(scenario, name, n_seeds=300):
    return np.array([getattr(draw_equipment(scenario, seed), name) for seed in range(n_seeds)])


def test_a_seed_draws_the_same_in_another_process():
    code = (
        "import numpy as np; from slipbench import load_scenario;"
        "from slipbench.packing.draws import draw_equipment;"
        "d = draw_equipment(load_scenario('wet_leaf'), 7);"
        "print([np.asarray(p).tolist() for p in d])"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == str(text_of(draw_equipment(UNIT, 7)))


def test_two_seeds_draw_different_trains():
    one, two = draw_equipment(UNIT, 0), draw_equipment(UNIT, 1)
    for name in one._fields:
        is_other = getattr(one, name) != getattr(two, name)
        assert is_other.any() if name == "masses" else is_other.all(), name  # half stay at tare


def test_clean_is_the_design():
    draw, train = draw_equipment(graded("clean"), 5), UNIT.train
    assert (draw.wheel_radii == 0.42).all() and (draw.assumed_radii == 0.42).all()
    assert draw.masses.tolist() == list(train.vehicle_masses)
    assert (draw.pad_factors == 1.0).all() and (draw.valve_factors == 1.0).all()
    assert not draw.pitch_errors.any() and not draw.jitters.any()


def test_grades_are_one_train_nearer_to_its_design_or_farther():
    """Half the scatter, half the deviation of each axle: 5 % and 10 % of pads, 3 and 10 mm."""
    service, worn = (draw_equipment(graded(grade), 3) for grade in ("service", "worn"))
    assert worn.pad_factors - 1.0 == pytest.approx(2.0 * (service.pad_factors - 1.0), rel=1e-12)
    assert 0.42 - worn.wheel_radii == pytest.approx(
        (0.42 - service.wheel_radii) * 10.0 / 3.0, rel=1e-9
    )
    assert worn.pitch_errors == pytest.approx(4.0 * service.pitch_errors, rel=1e-12)


def test_scatter_is_what_the_grade_says():
    """Normal numbers cut at 2.5: standard deviation 0.976 of the uncut ones (4800 draws: 1 %)."""
    pads = over_seeds(graded("worn"), "pad_factors")
    assert pads.mean() == pytest.approx(1.0, abs=0.005)
    assert pads.std() == pytest.approx(0.1 * 0.976, rel=0.03)
    assert abs(pads - 1.0).max() <= 0.25 + 1e-12
    valves = over_seeds(graded("worn"), "valve_factors")
    assert valves.mean() == pytest.approx(2.15, rel=0.01)
    assert valves.std() == pytest.approx(2.15 * 0.25 * 0.976, rel=0.03)
    wear = 2.0 * (0.42 - over_seeds(graded("worn"), "wheel_radii"))
    assert (wear.min(), wear.max()) == pytest.approx((0.0, 0.010), abs=2e-5)
    errors = over_seeds(graded("worn"), "pitch_errors")
    assert (errors.min(), errors.max()) == pytest.approx((0.4e-3, 1.2e-3), rel=0.01)


def test_axles_are_drawn_independently():
    pads = over_seeds(graded("worn"), "pad_factors")
    between = np.corrcoef(pads.T)[np.triu_indices(pads.shape[1], 1)]
    assert abs(between).max() < 0.25  # 300 seeds: 0.058 of scatter, 120 pairs
    settings = over_seeds(graded("worn"), "assumed_radii") / over_seeds(
        graded("worn"), "wheel_radii"
    )
    assert abs(np.corrcoef(pads.ravel(), settings.ravel())[0, 1]) < 0.06


def test_a_longer_train_begins_as_the_shorter_one():
    vehicles = UNIT.train.vehicles
    longer = UNIT.replace({"train.vehicles": (*vehicles, vehicles[1])})
    short, long = draw_equipment(UNIT, 4), draw_equipment(longer, 4)
    for name in short._fields:
        assert getattr(long, name)[: len(getattr(short, name))].tolist() == (
            getattr(short, name).tolist()
        ), name


def test_one_value_changed_moves_no_other():
    one, other = (
        draw_equipment(UNIT, 2),
        draw_equipment(graded("service", **{"equipment.pad_friction_scatter": 0.0}), 2),
    )
    assert (other.pad_factors == 1.0).all()
    assert text_of(one._replace(pad_factors=other.pad_factors)) == text_of(other)


def test_values_given_by_axle_and_car_are_exact():
    """A vehicle's own wheel diameters, settings and load: nothing is drawn for them."""
    diameters = (0.80, 0.81, 0.82, 0.83)
    scenario = graded(
        "worn",
        **{
            "train.vehicles.0.wheel_diameters": diameters,
            "train.vehicles.1.assumed_wheel_diameters": (0.84,) * 4,
            "train.vehicles.2.load": 0.5,
        },
    )
    draw = draw_equipment(scenario, 1)
    assert (2.0 * draw.wheel_radii[:4]).tolist() == list(diameters)
    assert draw.assumed_radii[:4].tolist() != draw.wheel_radii[:4].tolist()
    assert (draw.assumed_radii[4:8] == 0.42).all()
    assert draw.masses[2] == scenario.train.vehicle_masses[2]
    assert over_seeds(scenario, "masses", 20)[:, 1].max() > scenario.train.vehicle_masses[1]


def test_load_never_leaves_tare_and_laden():
    masses = over_seeds(graded("service", **{"equipment.load_scatter": 1.0}), "masses")
    assert (masses.min(), masses.max()) == pytest.approx((41.5e3, 52e3))


def test_the_brake_keeps_its_torque_on_a_worn_wheel():
    world = packed(graded("worn", **{"equipment.pad_friction_scatter": 0.0}), seed=3)
    design = packed(graded("clean"), seed=3)
    torque = world.axles["brake_gain"] * world.axles["wheel_radius"]
    assert torque == pytest.approx(design.axles["brake_gain"] * 0.42, rel=1e-12)
    inertia = world.axles["rotating_mass"] * world.axles["wheel_radius"] ** 2
    assert inertia == pytest.approx(design.axles["rotating_mass"] * 0.42**2, rel=1e-12)


def test_valves_differ_from_axle_to_axle():
    axles = packed(graded("worn"), seed=3).axles
    factors = axles["fill_delay"] / UNIT.brake.fill_delay
    assert factors == pytest.approx(draw_equipment(graded("worn"), 3).valve_factors)
    assert factors == pytest.approx(axles["vent_delay"] / UNIT.brake.vent_delay)
    assert factors.std() > 0.1


def test_lookahead_is_the_soonest_valve_of_the_vehicle():
    """Less the shortest pulse, for which a command may still be taken back."""
    world = packed(graded("worn"), by_name("slip_band"), seed=3)
    delays = (world.axles["vent_delay"] - world.axles["shortest_pulse"]).reshape(4, 4)
    assert world.groups["lookahead"].tolist() == delays.min(axis=1).tolist()


def test_a_pulse_is_never_longer_than_the_valve_takes_to_move():
    quick = graded("worn", **{"brake.vent_delay": 0.005, "equipment.valve_delay_scatter": 0.2})
    axles = packed(quick, seed=3).axles
    assert (axles["shortest_pulse"] == axles["vent_delay"]).all()
    assert packed(graded("worn"), seed=3).axles["shortest_pulse"].max() == 0.025
    longer = graded("worn", **{"brake.shortest_pulse": 0.03})
    assert (packed(longer, seed=3).axles["shortest_pulse"] == 0.03).any()


def test_more_mass_is_weighed():
    """Load follows the draw, and so does the pressure: on dry rail the deceleration stays."""
    heavy = graded("clean", **{"equipment.load_scatter": 1.0})
    world = packed(heavy, seed=2)
    assert float(world.train["mass"][0]) > 4.0 * 41.5e3
    gain = world.axles["brake_gain"].reshape(4, 4).sum(axis=1)
    force = gain * world.vehicles["load_factor"] * UNIT.brake.full_pressure
    masses = draw_equipment(heavy, 2).masses
    rotating = np.array([vehicle.rotating_mass for vehicle in UNIT.train.vehicles])
    assert force / (masses + rotating) == pytest.approx(UNIT.brake.emergency, rel=1e-12)


@pytest.mark.parametrize("grade", GRADES)
def test_no_stop_of_a_seed_is_shorter_than_its_floor(grade):
    scenario = load_scenario("damp_oxide").replace({"initial_speed": 9.0, "equipment.grade": grade})
    floors = [shortest_possible(scenario, seed=seed) for seed in (0, 1)]
    for name in ("none", "slip_band", "peak_follower", "cleaning_balance"):
        for seed, floor in enumerate(floors):
            distance = simulate(scenario, by_name(name), seed, with_traces=False)
            assert distance.summary["stopping_distance"] >= floor, (name, seed)
    assert (floors[0] == floors[1]) is (grade == "clean")


def test_service_is_the_default_and_clean_is_without_error():
    assert UNIT.equipment.grade == "service"
    assert clean("wet_leaf").equipment.condition.valve_delay_factor == 1.0
    assert UNIT.equipment.condition.pitch_error == 0.2e-3


def test_a_value_given_replaces_the_grades_own(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text('based_on = "dry"\n[equipment]\ngrade = "worn"\njitter_mm = 0.0\n')
    scenario = load_scenario(file)
    assert scenario.equipment.condition.jitter == 0.0
    assert scenario.equipment.condition.pitch_error == 0.8e-3
    shown = {value.path: value for value in scenario.values()}
    assert shown["equipment.jitter"].mark == "given"
    assert shown["equipment.pitch_error"].mark == "assumed"
    assert shown["equipment.pitch_error"].source.startswith("grade worn: ")


@pytest.mark.parametrize("grade", GRADES)
def test_every_value_of_a_grade_is_shown_with_mark_and_source(grade):
    shown = [v for v in graded(grade).values() if v.path.startswith("equipment.")]
    names = [value.path.removeprefix("equipment.") for value in shown]
    condition = graded(grade).equipment.condition
    inert = set() if condition.dropout > 0.0 else {"dropout_burst"}  # of pulses that are lost
    assert names == ["grade", *(name for name in condition._fields if name not in inert)]
    assert all(value.mark in ("assumed", "derived") and value.source for value in shown[1:])

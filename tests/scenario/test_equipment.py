"""Trains as fitted, from TOML: repeated cars, odd wheels, blocks, unbraked axles, controllers."""

import pytest

from slipbench.ground.errors import InputError

CAR = "[[train.vehicle]]\n"
LAST_OF_CAR = "wheelset_inertia_kg_m2 = 100\n"
HANDLE = "at_time_s = 0\nposition = 3\n"


def with_car(minimal, lines):
    return minimal.replace(LAST_OF_CAR, LAST_OF_CAR + lines)


@pytest.mark.parametrize("n_cars", [2, 12])
def test_one_table_stands_for_equal_cars(load, minimal, n_cars):
    train = load(with_car(minimal, f"repeat = {n_cars}\n")).train
    assert (len(train.vehicles), train.n_axles) == (n_cars, 4 * n_cars)
    assert train.length == pytest.approx(20.0 * n_cars)


@pytest.mark.parametrize("kind", ["disc", "cast_iron", "composite"])
def test_brake_kind_of_a_car(load, minimal, kind):
    lines = f'brake_kind = "{kind}"\n'
    lines += "" if kind == "disc" else "blocks_per_axle = 8\nblock_design_friction = 0.15\n"
    assert load(with_car(minimal, lines)).train.vehicles[0].brake_kind == kind


def test_mixed_train(load, minimal):
    second = minimal[minimal.index(CAR) : minimal.index("[brake]")] + 'brake_kind = "cast_iron"\n\n'
    train = load(minimal.replace("[brake]", second + "[brake]")).train
    assert [vehicle.brake_kind for vehicle in train.vehicles] == ["disc", "cast_iron"]


def test_load_differs_by_car(load, minimal):
    train = load(with_car(minimal, "repeat = 2\n")).replace({"train.vehicles.1.load": 0.5}).train
    assert train.vehicle_masses == (40e3, 45e3)


def test_wheels_that_differ_and_are_set_wrongly(load, minimal):
    lines = "wheel_diameters_mm = [840, 835, 800, 840]\n"
    lines += "assumed_wheel_diameters_mm = [840, 840, 840, 840]\n"
    text = with_car(minimal, lines).replace("wheel_diameter_mm = 840\n", "")
    vehicle = load(text).train.vehicles[0]
    assert vehicle.radii == pytest.approx((0.42, 0.4175, 0.40, 0.42))
    assert vehicle.assumed_radii == pytest.approx((0.42,) * 4)
    assert vehicle.rotating_masses[2] == pytest.approx(100.0 / 0.4**2)


def test_unbraked_axles(load, minimal):
    vehicle = load(with_car(minimal, "unbraked_axles = [1, 4]\n")).train.vehicles[0]
    assert vehicle.braked_axles == (False, True, True, False)


def test_gradients_and_curves(load, minimal):
    lines = """
[[gradient]]
from_distance_m = 100
rise_permille = -10

[[curve]]
from_distance_m = 200
radius_m = 300
"""
    scenario = load(minimal + lines)
    assert scenario.gradient[0].rise == pytest.approx(-0.010)
    assert scenario.curves[0].from_distance == 200.0


TABLE = "controller_levels = [0.0, 0.5, 1.0]\ncontroller_demands_m_per_s2 = [0.0, 0.3, 0.9]\n"


def test_continuous_controller(load, minimal):
    text = minimal.replace("[rail]", TABLE + "\n[rail]", 1)
    scenario = load(text.replace(HANDLE, "at_time_s = 0\nposition = 1\nlevel = 0.75\n"))
    assert scenario.driver.programme[0].level == 0.75
    assert scenario.brake.controller_demands == (0.0, 0.3, 0.9)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (("[rail]", "[rail]"), "needs a continuous handle"),
        (("[rail]", TABLE.replace("0.0, 0.5", "0.5, 0.4") + "[rail]"), "ascend from 0"),
        (("[rail]", TABLE.replace("0.3", "0.95") + "[rail]"), "never fall"),
        (("[rail]", TABLE.splitlines()[0] + "\n[rail]"), "go together"),
    ],
)
def test_broken_controller_is_refused(load, minimal, change, word):
    text = minimal.replace(HANDLE, "at_time_s = 0\nposition = 1\nlevel = 0.75\n")
    with pytest.raises(InputError, match=word):
        load(text.replace(*change, 1))


def test_easing_needs_a_stepped_handle(load, minimal):
    text = minimal.replace("[rail]", TABLE + "\n[rail]", 1)
    text = text.replace(HANDLE, "at_time_s = 0\nposition = 1\nlevel = 0.75\n")
    with pytest.raises(InputError, match="stepped handle"):
        load(text + "\n[driver.easing]\nposition = 1\n")


FAULT = '\n[[fault]]\nkind = "{kind}"\nat_time_s = 5\n{target}\n'


@pytest.mark.parametrize(
    ("kind", "target", "word"),
    [
        ("sensor_dead", "axle = 5", "there are 4"),
        ("car_unbraked", "vehicle = 2", "there are 1"),
        ("sander_empty", "sander = 1", "there are 0"),
        ("control_wire_broken", "wire = 3", "there are 2"),
        ("supply_isolated", "vehicle = 1", "changes nothing"),
        ("sensor_dead", "", "missing"),
        ("brakes_bad", "axle = 1", "must be one of"),
    ],
)
def test_unknown_target_is_refused_in_one_line(load, minimal, kind, target, word):
    with pytest.raises(InputError, match=word) as refused:
        load(minimal + FAULT.format(kind=kind, target=target))
    assert "\n" not in str(refused.value)
    assert "case.toml" in str(refused.value)


def test_fault_without_a_kind_is_refused(load, minimal):
    with pytest.raises(InputError, match="kind: missing"):
        load(minimal + "\n[[fault]]\nat_time_s = 5\naxle = 1\n")

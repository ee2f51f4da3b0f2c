"""The train's geometry and masses, by hand."""

import pytest

from slipbench.ground.errors import InputError
from slipbench.scenario import Train, Vehicle


def vehicle(**changes) -> Vehicle:
    values = {
        "name": "car",
        "length": 20.0,
        "tare_mass": 40e3,
        "laden_mass": 50e3,
        "bogie_centres": (3.0, 17.0),
        "bogie_wheelbase": 2.0,
        "wheel_diameter": 0.92,
        "wheelset_inertia": 100.0,
    }
    return Vehicle(**(values | changes))


def train(*vehicles: Vehicle, load: float = 0.0) -> Train:
    return Train(
        name="train",
        vehicles=vehicles,
        resistance_constant=0.0,
        resistance_linear=0.0,
        resistance_quadratic=0.0,
        load=load,
    )


def test_axles_of_a_bogie_vehicle() -> None:
    assert vehicle().axle_offsets == (2.0, 4.0, 16.0, 18.0)
    assert vehicle().n_axles == 4


def test_wheelbase_of_zero_is_a_single_axle() -> None:
    two_axle = vehicle(bogie_wheelbase=0.0)
    assert two_axle.axle_offsets == (3.0, 17.0)
    assert two_axle.n_axles == 2


def test_axles_of_a_mixed_train_stand_behind_its_front() -> None:
    mixed = train(vehicle(), vehicle(bogie_wheelbase=0.0, length=18.0), vehicle())
    assert mixed.axle_positions == (2.0, 4.0, 16.0, 18.0, 23.0, 37.0, 40.0, 42.0, 54.0, 56.0)
    assert mixed.vehicle_of_axle == (0, 0, 0, 0, 1, 1, 2, 2, 2, 2)
    assert mixed.n_axles == 10
    assert mixed.length == 58.0
    assert mixed.smallest_axle_spacing == 2.0


@pytest.mark.parametrize(("load", "expected"), [(0.0, 80e3), (0.5, 90e3), (1.0, 100e3)])
def test_mass_goes_with_load(load: float, expected: float) -> None:
    loaded = train(vehicle(), vehicle(), load=load)
    assert loaded.mass == expected
    assert loaded.vehicle_masses == (expected / 2, expected / 2)


def test_rotating_mass_of_a_coach() -> None:
    # 4 wheelsets of 100 kg m2 on 0.46 m: 4 * 100 / 0.2116 = 1890.36 kg, rounded to 0.01 kg.
    assert vehicle().rotating_mass == pytest.approx(1890.36, abs=0.005)


def test_two_axles_at_one_place_are_refused() -> None:
    touching = vehicle(bogie_wheelbase=0.0, bogie_centres=(3.0, 20.0))
    behind = vehicle(bogie_wheelbase=0.0, bogie_centres=(0.0, 17.0))
    with pytest.raises(InputError, match="same place"):
        train(touching, behind)


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"laden_mass": 39e3}, "laden_mass"),
        ({"bogie_centres": (0.5, 17.0)}, "bogie_centres"),
        ({"bogie_centres": (3.0, 19.5)}, "bogie_centres"),
        ({"bogie_centres": (17.0, 3.0)}, "bogie_centres"),
        ({"bogie_centres": (3.0, 5.0)}, "bogie_centres"),
        ({"wheelset_inertia": 700.0}, "wheelset_inertia"),
    ],
)
def test_impossible_vehicle_is_refused(changes, key: str) -> None:
    with pytest.raises(InputError, match=f"Vehicle.{key} = "):
        vehicle(**changes)


def test_single_axle_train_has_no_spacing() -> None:
    alone = train(vehicle(bogie_centres=(10.0,), bogie_wheelbase=0.0))
    assert alone.smallest_axle_spacing == float("inf")

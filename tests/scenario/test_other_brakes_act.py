"""Every key of dynamic, track and vehicle brakes moves some result where it acts."""

import dataclasses
from functools import cache

import pytest
from tests.support_stops import FALLING, brake_of, car, film, plain_stop, train_of

from slipbench import simulate
from slipbench.controllers import by_name, none
from slipbench.ground.errors import InputError
from slipbench.scenario import (
    Blending,
    Driver,
    DynamicBrake,
    HandleEntry,
    Rail,
    Scenario,
    TrackBrake,
    VehicleBrake,
    load_scenario,
)
from slipbench.scenario.fields import specs_of

EMERGENCY = Driver(programme=(HandleEntry(at_time=0.0, position=2),))
DYNAMIC = {
    "force_limit": 12e3, "power_limit": 150e3, "fade_from": 5.0, "fade_to": 1.5,
    "field_speed": 14.0, "receptivity": 0.6, "resistor_power": 20e3, "jerk_limit": 0.8,
}  # fmt: skip
SPRUNG = {"spring_pressure": 1e4, "hysteresis": 0.02, "fill_delay": 0.04, "vent_delay": 0.03}


def slippery(**parts) -> Scenario:
    """Return a stop from 20 m/s on a film that cleans, with air that moves at given rates."""
    rail = Rail(sections=(film(0.07, recovered_friction=0.25, cleaning_work=1e4, **FALLING),))
    air = {"full_pressure": 3e5, "fill_rate": 4e5, "vent_rate": 5e5, "build_up_time": 1.0}
    brake = brake_of(0.9, 0.2, release_time=1.0, **air, **SPRUNG)
    return plain_stop(20.0, rail=rail, brake=dataclasses.replace(brake, emergency=1.1), **parts)


def motored(rule: str, **blending) -> Scenario:
    own = DynamicBrake(slide_rule=rule, **DYNAMIC)
    vehicle = dataclasses.replace(car(), motored_axles=(1, 2, 3), dynamic_brake=own)
    train = dataclasses.replace(train_of(vehicle, car()), blending=Blending(**blending))
    return slippery(train=train)


def tracked(**values) -> Scenario:
    track = TrackBrake(lowering_time=0.5, **values)
    train = train_of(dataclasses.replace(car(), track_brake=track), car())
    return slippery(train=train, driver=EMERGENCY)


def dry(scenario: Scenario) -> Scenario:
    """Return the same on a rail where nothing slides, so that the drives reach their fade."""
    return scenario.replace({"rail.sections": (film(0.3),)})


@cache
def result(scenario: Scenario) -> tuple[float, ...]:
    summary = simulate(scenario, by_name("slip_band"), with_traces=False).summary
    names = ("final_distance", "final_time", "recovered_energy", "resistor_energy", "track_energy")
    supply = [str(summary[name]) for name in ("lowest_main_pressure", "air_compressed")]
    return (*(summary[name] for name in names), *supply)


def moved(scenario: Scenario, path: str, value: object) -> bool:
    return result(scenario.replace({path: value})) != result(scenario)


OF_DYNAMIC = {
    "force_limit": 8e3, "power_limit": 90e3, "fade_from": 7.0, "fade_to": 0.5,
    "field_speed": 10.0, "drive": "axle", "dead_time": 0.3, "lag": 0.3, "jerk_limit": 0.3,
    "receptivity": 0.3, "resistor_power": 5e3, "slide_slip": 0.3,
    "slide_speed": 1.9, "reduction": 0.8, "restore_time": 0.4, "slides_to_cut_out": 1,
    "hand_back_time": 0.2, "sample_time": 0.05, "slide_rule": "cut_out",
}  # fmt: skip


@pytest.mark.parametrize("name", list(specs_of(DynamicBrake)))
def test_every_key_of_a_dynamic_brake_acts(name):
    rule = "hand_over" if name == "hand_back_time" else "restore"
    scenario = motored(rule)
    if name.startswith("fade"):
        scenario = dry(scenario)
    assert moved(scenario, f"train.vehicles.0.dynamic_brake.{name}", OF_DYNAMIC[name])


OF_BLENDING = {
    "rule": "train", "friction_lag": 0.6, "lead": 1.2, "prefill_pressure": 0.0,
    "prefill_time": 3.0, "in_emergency": "blended",
}  # fmt: skip


@pytest.mark.parametrize("name", list(specs_of(Blending)))
def test_every_key_of_blending_acts(name):
    scenario = motored("hand_over")
    if name == "in_emergency":
        scenario = scenario.replace({"driver": EMERGENCY})
    elif name in ("lead", "prefill_pressure", "prefill_time"):
        strong = DynamicBrake(force_limit=2e4, power_limit=1e6, fade_from=5.0, fade_to=1.5)
        scenario = dry(scenario).replace({"train.vehicles.0.dynamic_brake": strong})
    assert moved(scenario, f"train.blending.{name}", OF_BLENDING[name])


@pytest.mark.parametrize(
    ("path", "value"),
    [("motored_axles", (1, 2)), ("motor_inertia", 2.0), ("gear_ratio", 3.0)],
)
def test_every_key_of_the_motors_acts(path, value):
    scenario = motored("restore").replace({"train.vehicles.0.motor_inertia": 0.5})
    assert moved(scenario, f"train.vehicles.0.{path}", value)


OF_TRACK = {
    "bogies": (2,), "attraction": 2e4, "friction": 0.1, "friction_speed_term": 0.1,
    "film_factor": 0.3, "cleaning_share": 0.0, "peak_force": 4e3, "critical_speed": 8.0,
    "lowering_time": 1.5, "lowest_speed": 8.0,
}  # fmt: skip


@pytest.mark.parametrize("name", list(specs_of(TrackBrake)))
def test_every_key_of_a_track_brake_acts(name):
    scenario = tracked(attraction=4e4)
    path = f"train.vehicles.0.track_brake.{name}"
    if name in ("peak_force", "critical_speed"):
        scenario = tracked(kind="eddy_current", peak_force=8e3, critical_speed=15.0)
    elif name == "used_in":
        service = Driver(programme=(HandleEntry(at_time=0.0, position=1),))
        assert moved(scenario.replace({"driver": service}), path, "last_step")
        return
    elif name == "kind":
        eddy = tracked(kind="eddy_current", peak_force=8e3, critical_speed=15.0)
        assert result(eddy) != result(scenario)
        return
    assert moved(scenario, path, OF_TRACK[name])


OF_VEHICLE = {
    "demand_share": 0.6, "demand_delay": 0.9, "build_up_time": 2.0, "release_time": 0.2,
    "full_pressure": 2e5, "fill_rate": 2e5, "vent_rate": 2e5, "fill_delay": 0.1, "vent_delay": 0.1,
    "electrical_delay": 0.02, "shortest_pulse": 0.03, "spring_pressure": 3e4, "hysteresis": 0.2,
    "pad_friction": 0.3, "design_pad_friction": 0.3, "fill_conductance": 2e-8,
    "release_conductance": 1e-8, "vent_conductance": 6e-8, "charging_conductance": 0.0,
    "critical_ratio": 0.5, "reservoir_volume": 0.03, "reservoir_pressure": 4e5,
    "pipe_pressure": 4e5, "vent_time_limit": 0.3, "steps": (0.5,), "emergency": 1.8,
    "enhanced_emergency": 2.5, "controller_demands": (0.0, 0.5), "air": "flow",
    "demand_factor_limit": 1.0, "variable_load": False, "weighs_rotating_mass": False,
    "compressor_cut_in": 8e5, "compressor_cut_out": 8.8e5, "main_pipe_volume": 0.2,
}  # fmt: skip
BY_FLOW = {
    "fill_conductance", "release_conductance", "vent_conductance", "charging_conductance",
    "critical_ratio", "reservoir_volume", "reservoir_pressure", "pipe_pressure",
    "compressor_cut_in", "compressor_cut_out", "main_pipe_volume",
}  # fmt: skip


def _harder(observation, parameters, memory, command, signals):
    for i in range(observation.shape[0]):
        command[i, 0], command[i, 1] = 0.0, 1.4


HARDER = dataclasses.replace(none.CONTROLLER, name="harder", update=_harder)


@pytest.mark.parametrize("name", list(specs_of(VehicleBrake)))
def test_every_brake_value_of_a_vehicle_acts(name):
    on_and_off = Driver(
        programme=(
            HandleEntry(at_time=0.0, position=1),
            HandleEntry(at_time=4.0, position=0),
            HandleEntry(at_time=6.0, position=1),
        )
    )
    if name in BY_FLOW:
        scenario = load_scenario("wet_leaf").replace({"initial_speed": 12.0, "driver": on_and_off})
        scenario = scenario.replace({"brake.reservoir_volume": 0.05})
        pumping = {"brake.main_pressure": 8.6e5, "brake.compressor_cut_in": 8.7e5}
        scenario = scenario.replace(pumping)
    else:
        scenario = slippery(train=train_of(car(), car()), driver=on_and_off)
    if name == "enhanced_emergency":
        scenario = scenario.replace({"driver": EMERGENCY})
    elif name == "controller_demands":
        table = {"brake.controller_levels": (0.0, 1.0), "brake.controller_demands": (0.0, 0.9)}
        level = Driver(programme=(HandleEntry(at_time=0.0, position=1, level=0.8),))
        scenario = scenario.replace({**table, "driver": level})
    elif name == "demand_factor_limit":  # what is beyond it ends the stop
        harder = scenario.replace(
            {"brake.demand_factor_limit": 1.5, "train.vehicles.0.brake": VehicleBrake()}
        )
        assert simulate(harder, HARDER, with_traces=False).summary["is_stopped"]
        path = f"train.vehicles.0.brake.{name}"
        with pytest.raises(InputError, match=r"factor 0 to 1$"):
            simulate(harder.replace({path: OF_VEHICLE[name]}), HARDER, with_traces=False)
        return
    scenario = scenario.replace({"train.vehicles.0.brake": VehicleBrake()})
    assert moved(scenario, f"train.vehicles.0.brake.{name}", OF_VEHICLE[name])

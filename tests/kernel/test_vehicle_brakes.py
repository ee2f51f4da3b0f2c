"""Brake values of single vehicles: what each has for itself acts on it, and on no other."""

import dataclasses

import numpy as np
import pytest
from tests.support_stops import brake_of, car, packed, plain_stop, train_of

from slipbench import simulate
from slipbench.controllers import none
from slipbench.ground.errors import InputError
from slipbench.scenario import Driver, HandleEntry, VehicleBrake, load_scenario

BAR = 1e5


def slow_air(**changes):
    values = {"full_pressure": 3e5, "fill_rate": 4e5, "vent_rate": 5e5} | changes
    return brake_of(0.9, build_up_time=1.0, **values)


def stop_of(*own, **changes):
    """Return a stop of cars on dry rail, each with these brake values of its own."""
    cars = [
        dataclasses.replace(car(), brake=None if values is None else VehicleBrake(**values))
        for values in own
    ]
    return plain_stop(20.0, train=train_of(*cars), brake=slow_air(), **changes)


def pressures(scenario):
    stop = simulate(scenario, none.CONTROLLER)
    return stop.traces["time"], stop.traces["pressure"][:, ::4]


def test_a_car_that_makes_half_of_the_demand_brakes_half():
    """Rim force and deceleration by hand: .9 and .45 of equal cars make .675."""
    stop = simulate(stop_of(None, {"demand_share": 0.5}), none.CONTROLLER)
    late = (stop.traces["time"] > 2.0) & (stop.traces["train_speed"] > 2.0)
    force = stop.traces["brake_force"][late]
    assert force[:, 4:] == pytest.approx(0.5 * force[:, :4], rel=1e-12)
    slowing = -np.diff(stop.traces["train_speed"][late]) / np.diff(stop.traces["time"][late])
    assert slowing == pytest.approx(0.675, rel=2e-3)


def test_a_cylinder_fills_at_its_own_rate_and_to_its_own_pressure():
    """The second car: 1 bar/s to 2 bar at the same force as the first, 4 bar/s to 3 bar."""
    scenario = stop_of(None, {"fill_rate": 1e5, "full_pressure": 2e5})
    time, pressure = pressures(scenario)
    share = 40e3 + 400.0 / 0.42**2
    tare = share / (50e3 + 400.0 / 0.42**2)
    assert pressure[-1] == pytest.approx([3e5 * tare, 2e5 * tare])
    rising = (time > 0.2) & (time < 0.9)
    rates = np.gradient(pressure[:, 1], time)[rising]
    assert rates == pytest.approx(1e5, rel=1e-6)
    force = simulate(scenario, none.CONTROLLER).traces["brake_force"][-1]
    assert force[4:] == pytest.approx(force[:4], rel=1e-12)


def test_ramps_delays_springs_and_pads_are_the_vehicles():
    own = {"build_up_time": 3.0, "fill_delay": 0.05, "vent_delay": 0.06, "electrical_delay": 0.01}
    own |= {"spring_pressure": 2e4, "hysteresis": 0.1, "pad_friction": 0.28}
    own |= {"vent_time_limit": 4.0, "shortest_pulse": 0.02}
    world = packed(stop_of(None, own))
    axles, brakes = world.axles, world.brakes
    assert axles["fill_delay"][[0, 4]] == pytest.approx([0.0, 0.06])
    assert axles["vent_delay"][[0, 4]] == pytest.approx([0.0, 0.07])
    assert axles["hysteresis"][[0, 4]] == pytest.approx([0.0, 0.1])
    assert axles["pad_share"][[0, 4]] == pytest.approx([1.0, 0.8])
    assert axles["shortest_pulse"][[0, 4]] == pytest.approx([0.0, 0.02])
    assert brakes["vent_limit"].tolist() == [10.0, 4.0]
    assert axles["brake_gain"][4] == pytest.approx(axles["brake_gain"][0] * 3.0 / 2.8)
    time, pressure = pressures(stop_of(None, {"build_up_time": 3.0, "spring_pressure": 2e4}))
    middle = int(np.argmin(np.abs(time - 1.5)))
    full = pressure[-1]
    assert pressure[middle, 0] == pytest.approx(full[0])
    assert pressure[middle, 1] == pytest.approx(2e4 + 0.5 * (full[1] - 2e4), rel=0.01)


def test_a_reservoir_is_the_vehicles():
    """Flow: the first car has 50 l at 5 bar, the others 200 l at 7; books of air close."""
    scenario = load_scenario("dry").replace(
        {
            "train.vehicles.0.brake": VehicleBrake(
                reservoir_volume=0.02, reservoir_pressure=5e5, pipe_pressure=5e5
            )
        }
    )
    stop = simulate(scenario, none.CONTROLLER)
    lowest = stop.worth.air.lowest_reservoir
    assert lowest[0] < 4.5e5 < 6e5 < lowest[1:].min()
    assert abs(stop.summary["air_residual"]) < 1e-9
    assert stop.worth.air.next_application[0] < stop.worth.air.next_application[1]


def test_a_vehicle_without_values_of_its_own_is_the_trains():
    plain = simulate("wet_leaf", none.CONTROLLER, with_traces=False).summary
    scenario = load_scenario("wet_leaf").replace({"train.vehicles.*.brake": VehicleBrake()})
    same = simulate(scenario, none.CONTROLLER, with_traces=False).summary
    assert same["final_distance"] == plain["final_distance"]


@pytest.mark.parametrize(
    ("own", "told"),
    [
        ({"spring_pressure": 2e5}, r"train\.vehicles\.1\.brake\.spring_pressure.*half the full"),
        ({"fill_delay": 0.5}, r"train\.vehicles\.1\.brake\.fill_delay.*sample times"),
        ({"shortest_pulse": 0.1}, r"train\.vehicles\.1\.brake\.shortest_pulse"),
    ],
)
def test_values_are_checked_as_those_of_the_train(own, told):
    with pytest.raises(InputError, match=told):
        stop_of(None, own)


def test_values_of_another_air_are_refused():
    with pytest.raises(InputError, match=r"brake\.air"):
        load_scenario("dry").replace({"train.vehicles.0.brake": VehicleBrake()}).replace(
            {"train.vehicles.0.brake.fill_rate": 1e5}
        )


def test_the_demand_comes_later_to_cars_behind():
    """Delays of 0, .5 and 1 s: each car's ramp of 1 s begins that much later, on and off."""
    own = [None, {"demand_delay": 0.5}, {"demand_delay": 1.0}]
    driver = Driver(
        programme=(
            HandleEntry(at_time=0.0, position=1),
            HandleEntry(at_time=3.0, position=0),
            HandleEntry(at_time=6.0, position=1),
        )
    )
    time, pressure = pressures(stop_of(*own, driver=driver))
    full = pressure[-1]
    for i, delay in enumerate((0.0, 0.5, 1.0)):
        half = np.interp([delay + 0.5, 2.99 + delay], time, pressure[:, i])
        assert half == pytest.approx([0.5 * full[i], full[i]], rel=0.03)
        released = np.interp(3.02 + delay, time, pressure[:, i])
        assert released < full[i]
    with pytest.raises(InputError, match=r"vehicles\.1\.brake\.demand_delay.*at least"):
        stop_of(*own).replace({"brake.demand_delay": 0.7})


def test_steps_and_emergency_are_the_vehicles():
    """A second car of .6 in step 1 and .8 in emergency beside .9 and 1.2: (.9 + .6) / 2 and mean 1.

    Each reaches its full pressure at its own emergency demand: .75 of it in step 1 on both.
    """
    base = stop_of(None, {"steps": (0.6,), "emergency": 0.8}).replace({"brake.emergency": 1.2})
    for position, mean, share in ((1, 0.75, 0.75), (2, 1.0, 1.0)):
        driver = Driver(programme=(HandleEntry(at_time=0.0, position=position),))
        stop = simulate(base.replace({"driver": driver}), none.CONTROLLER)
        late = (stop.traces["time"] > 2.0) & (stop.traces["train_speed"] > 2.0)
        slowing = -np.diff(stop.traces["train_speed"][late]) / np.diff(stop.traces["time"][late])
        assert slowing == pytest.approx(mean, rel=2e-3)
        tare = (40e3 + 400.0 / 0.42**2) / (50e3 + 400.0 / 0.42**2)
        assert stop.traces["pressure"][-1] == pytest.approx(share * 3e5 * tare)
        # the train's demand is the mean of both, as a share of the train's emergency
        assert stop.traces["demand"][-2] == pytest.approx(mean / 1.2)


def test_an_enhanced_emergency_and_a_continuous_handle_are_the_vehicles():
    table = {"brake.controller_levels": (0.0, 1.0), "brake.controller_demands": (0.0, 0.8)}
    base = stop_of(None, {})
    own = VehicleBrake(controller_demands=(0.0, 0.4), enhanced_emergency=1.8)
    level = Driver(programme=(HandleEntry(at_time=0.0, position=1, level=0.5),))
    stop = simulate(
        base.replace({**table, "train.vehicles.1.brake": own, "driver": level}), none.CONTROLLER
    )
    force = stop.traces["brake_force"][-1]
    assert force[4:] == pytest.approx(0.5 * force[:4], rel=1e-12)
    hard = Driver(programme=(HandleEntry(at_time=0.0, position=2),))
    stop = simulate(
        base.replace({**table, "train.vehicles.1.brake": own, "driver": hard}), none.CONTROLLER
    )
    force = stop.traces["brake_force"][-1]
    emergency = base.brake.emergency
    assert force[4:] == pytest.approx(1.8 / emergency * force[:4], rel=1e-12)


def test_one_car_breathes_from_a_reservoir_and_the_next_follows_ramps():
    """Air by flow in the first car, by ramps in the second, and the other way round."""
    for first, second in (("flow", "ramps"), ("ramps", "flow")):
        own = [{} if first == "ramps" else {"air": "flow"}, {}]
        scenario = stop_of(own[0], {"air": second})
        stop = simulate(scenario, none.CONTROLLER)
        lowest = stop.worth.air.lowest_reservoir
        is_flow = np.array([first, second]) == "flow"
        assert np.isnan(lowest).tolist() == (~is_flow).tolist()
        assert abs(stop.summary["air_residual"]) < 1e-9
    values = {"air": "flow", "fill_conductance": 2e-8}
    assert stop_of(values, None).train.vehicles[0].brake.fill_conductance == 2e-8
    with pytest.raises(InputError, match=r"brake\.air"):
        stop_of({"air": "flow"}, {}).replace({"train.vehicles.1.brake.fill_conductance": 2e-8})
    with pytest.raises(InputError, match="cannot act"):
        stop_of({"air": "flow"}, {}).replace({"train.vehicles.0.brake.fill_rate": 2e5})


def test_a_compressor_has_a_governor_and_a_pipe_of_its_own():
    own = VehicleBrake(compressor_cut_in=5e5, compressor_cut_out=6e5, main_pipe_volume=0.05)
    base = load_scenario("wet_leaf")
    world = packed(base.replace({"train.vehicles.1.brake": own}))
    assert world.brakes["cut_in"].tolist() == [8.5e5, 5e5, 8.5e5, 8.5e5]
    pipes = world.vehicles["main_volume"] - packed(base).vehicles["main_volume"]
    assert pipes == pytest.approx([0.0, 0.04, 0.0, 0.0])


def test_a_car_that_does_not_weigh_its_load_brakes_as_laden():
    world = packed(stop_of(None, {"variable_load": False}))
    assert world.vehicles["load_factor"][1] == 1.0 > world.vehicles["load_factor"][0]


@pytest.mark.parametrize(
    ("own", "told"),
    [
        ({"steps": (0.3, 0.6)}, r"vehicles\.1\.brake\.steps.*must be 1"),
        ({"emergency": 0.5}, r"vehicles\.1\.brake\.emergency.*last service step"),
        ({"controller_demands": (0.0, 0.5)}, "controller_levels"),
    ],
)
def test_demands_that_do_not_fit_the_handle_are_refused(own, told):
    with pytest.raises(InputError, match=told):
        stop_of(None, own)


def test_an_axle_is_refused_a_factor_its_own_vehicle_does_not_have():
    base = stop_of(None, {"demand_factor_limit": 1.5})
    controller = none.CONTROLLER

    def harder(observation, parameters, memory, command, signals):
        for i in range(observation.shape[0]):
            command[i, 0], command[i, 1] = 0.0, 1.4

    more = dataclasses.replace(controller, update=harder, name="harder")
    with pytest.raises(InputError, match=r"axle 1 .*factor 0 to 1$"):
        simulate(base, more)
    both = base.replace({"brake.demand_factor_limit": 1.5})
    assert simulate(both, more).summary["is_stopped"]

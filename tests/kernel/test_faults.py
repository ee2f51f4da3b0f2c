"""Every fault: it does what it says, the stop ends, energy audits, nothing is NaN."""

from functools import cache

import numpy as np
import pytest
from tests.support_stops import car, film, is_finite, packed, plain_stop, run_world, train_of

from slipbench.controllers import by_name
from slipbench.ground.errors import InputError
from slipbench.kernel.codes import RUNNING
from slipbench.scenario import Brake, Driver, Fault, HandleEntry, Run, Sander
from slipbench.scenario.fault import AXLE_FAULTS, OTHER_FAULTS, VEHICLE_FAULTS
from slipbench.stop.shortest import shortest_possible
from slipbench.stop.stop import summarise
from slipbench.stop.worth import assess_world

AT = 2.0
OF_OTHER_BRAKES = {"dynamic_brake_lost", "track_brake_lost", "line_lost"}
"""Faults of equipment this train has not; theirs are in test_dynamic_brake and test_track_brake."""

KINDS = tuple(
    kind for kind in (*AXLE_FAULTS, *VEHICLE_FAULTS, *OTHER_FAULTS) if kind not in OF_OTHER_BRAKES
)
TARGETS = {"axle": 1, "vehicle": 1, "sander": 1, "wire": 2}
BRAKE = Brake(
    steps=(0.3, 0.6, 0.9),
    emergency=1.2,
    demand_delay=0.2,
    build_up_time=1.0,
    release_time=1.0,
    full_pressure=3e5,
    fill_rate=4e5,
    vent_rate=5e5,
    fill_delay=0.04,
    vent_delay=0.03,
    air="flow",
    reservoir_volume=0.2,
)


def fault(kind, **trigger):
    """Return a fault of this kind on the first car, its first axle, or whatever it needs."""
    target = Fault.target_of(kind)
    return Fault(
        kind=kind, **(trigger or {"at_time": AT}), **({target: TARGETS[target]} if target else {})
    )


def stop_with(*faults, friction=0.05, **changes):
    """Return two half-laden cars stopping from 18 m/s on a film that cleans."""
    rail = film(friction, recovered_friction=max(friction, 0.12), cleaning_work=5e3)
    stop = plain_stop(
        18.0,
        sections=(rail,),
        train=train_of(car(), car(), load=0.5),
        brake=BRAKE,
        driver=Driver(
            programme=(HandleEntry(at_time=0.0, position=3), HandleEntry(at_time=20.0, position=4))
        ),
        sanders=(Sander(axle=3, rate=0.03),),
        faults=faults,
        run=Run(maximum_time=200.0, maximum_distance=2000.0),
    )
    return stop.replace(changes)


def run(*faults, **changes):
    """Return the world at the end of that stop under `slip_band`, and its summary."""
    stop, strategy = stop_with(*faults, **changes), by_name("slip_band")
    world = run_world(packed(stop, strategy), strategy)
    return world, summarise(stop, world, assess_world(stop, world))


@cache
def run_once(kind):
    """Return the same for one kind of fault, run once."""
    return run(fault(kind))


@pytest.fixture(scope="module")
def healthy():
    return run()


@pytest.mark.parametrize("kind", KINDS)
def test_stop_with_a_fault_ends_and_audits(kind):
    world, summary = run_once(kind)
    assert world.train_state[0]["status"] != RUNNING
    assert summary["is_stopped"]
    assert abs(summary["energy_residual"]) < 1e-3
    n = int(world.train_state["n_traces"][0])
    assert np.isfinite(world.train_traces[:n]).all()
    assert np.isfinite(world.axle_traces[:n]).all()
    assert all(is_finite(value) for value in summary.values())


LONGER = {
    "valve_stuck_vent",
    "car_unbraked",
    "control_supply_lost",
    "control_wire_broken",
    "sander_empty",
}
LOCKS = {"valve_stuck_fill", "vent_blocked", "controller_dead", "sensor_dead", "sensor_stuck"}


@pytest.mark.parametrize("kind", sorted(LONGER))
def test_lost_brake_or_sand_lengthens_the_stop(kind, healthy):
    assert run_once(kind)[1]["stopping_distance"] > 1.02 * healthy[1]["stopping_distance"]


@pytest.mark.parametrize("kind", sorted(LOCKS))
def test_lost_slip_control_locks_its_wheels(kind, healthy):
    locked = run_once(kind)[1]["locked_time"]
    on_target = locked[:2] if kind == "controller_dead" else [locked[0]]  # axle 3 is sanded
    assert min(on_target) > 1.0 > max(healthy[1]["locked_time"])
    others = locked[4:] if kind == "controller_dead" else locked[1:]
    assert max(others) < 1.0


def traced(kind, column, axle=0):
    world, _ = run_once(kind)
    n = int(world.train_state["n_traces"][0])
    time = world.train_traces[:n, 0]
    return time, world.axle_traces[:n, axle, column], world


def test_dead_sensor_reads_zero_and_stuck_one_its_last_speed():
    time, measured, _ = traced("sensor_dead", 7)
    assert (measured[time > AT + 0.05] == 0.0).all()
    time, measured, _ = traced("sensor_stuck", 7)
    stuck = measured[time > AT + 0.05]
    assert (stuck == stuck[0]).all()
    assert stuck[0] > 1.0


def test_noisy_sensor_scatters():
    """5 mm a tooth of 29 mm, some six teeth a sample: several per cent; a true one none."""
    time, measured, world = traced("sensor_noisy", 7)
    n = len(time)
    rolling = (time > 0.5) & (time < 1.5)
    noisy = (time > AT) & (time < AT + 3.0)
    ratio = measured / np.maximum(world.axle_traces[:n, 0, 0], 1.0)
    assert np.std(ratio[noisy]) > 10.0 * np.std(ratio[rolling])


@pytest.mark.parametrize(
    ("kind", "low", "high"), [("valve_stuck_vent", 0.0, 1e3), ("valve_stuck_hold", 1e4, 3e5)]
)
def test_stuck_valve_keeps_its_cylinder(kind, low, high):
    time, pressure, _ = traced(kind, 1)
    late = pressure[time > AT + 3.0]
    assert np.ptp(late) <= 1e-6 * 3e5
    assert low <= late[0] <= high


def test_isolated_supply_runs_down(healthy):
    world, _ = run_once("supply_isolated")
    assert world.vehicle_states["lowest_reservoir"][0] < world.vehicle_states["lowest_reservoir"][1]
    assert world.vehicle_states["charged_mass"][0] < healthy[0].vehicle_states["charged_mass"][0]


@pytest.mark.parametrize(
    ("kind", "load"), [("load_weighed_tare", 40e3), ("load_weighed_crush", 50e3)]
)
def test_wrong_weighing_brakes_by_the_wrong_mass(kind, load):
    world = run(fault(kind), friction=0.4)[0]
    rotating = 4 * 100.0 / 0.42**2
    ratio = world.axle_states["pressure"][0] / world.axle_states["pressure"][4]
    assert ratio == pytest.approx((load + rotating) / (45e3 + rotating), rel=1e-3)


def test_unbraked_car_has_no_pressure():
    world = run_once("car_unbraked")[0]
    assert (world.axle_states["pressure"][:4] == 0.0).all()
    assert (world.axle_states["pressure"][4:] > 1e4).all()


def test_empty_sander_lays_nothing_more(healthy):
    world = run(fault("sander_empty", at_time=0.0))[0]
    assert healthy[0].rail_sand.max() > 0.0
    assert world.rail_sand.max() == 0.0


@pytest.mark.parametrize(
    ("wire", "demands"),
    [(1, (0.0, 0.5, 0.5)), (2, (0.25, 0.0, 0.25))],
)
def test_broken_wire_is_a_step_missing(wire, demands):
    """Codes 1, 2 and 1 + 2: without wire 1, step 1 is release and step 3 is step 2."""
    for step, demand in enumerate(demands, start=1):
        stop = stop_with(
            Fault(kind="control_wire_broken", wire=wire, at_time=0.0),
            **{
                "driver": Driver(programme=(HandleEntry(at_time=0.0, position=step),)),
                "run.maximum_time": 3.0,
            },
        )
        world = run_world(packed(stop))
        assert world.vehicle_states["demand"] == pytest.approx(demand)


def test_wire_broken_behind_a_car_leaves_those_ahead():
    stop = stop_with(
        Fault(kind="control_wire_broken", wire=1, vehicle=2, at_time=0.0),
        **{"run.maximum_time": 3.0},
    )
    assert run_world(packed(stop)).vehicle_states["demand"] == pytest.approx([0.75, 0.5])


@pytest.mark.parametrize("enhanced", [None, 1.5])
def test_emergency_needs_no_supply(enhanced):
    """Service is gone with the supply; emergency, enhanced where fitted, is not."""
    lost = Fault(kind="control_supply_lost", at_time=0.0)
    stop = stop_with(lost, **{"brake.enhanced_emergency": enhanced, "run.maximum_time": 3.0})
    assert (run_world(packed(stop)).vehicle_states["demand"] == 0.0).all()
    emergency = Driver(programme=(HandleEntry(at_time=0.0, position=4),))
    world = run_world(packed(stop.replace({"driver": emergency})))
    assert world.vehicle_states["demand"] == pytest.approx((enhanced or 1.2) / 1.2)


@pytest.mark.parametrize(
    ("trigger", "column", "value"),
    [({"at_time": 3.0}, 0, 3.0), ({"at_speed": 14.0}, 2, 14.0), ({"at_distance": 50.0}, 1, 50.0)],
)
def test_fault_comes_at_its_time_speed_or_place(trigger, column, value):
    world, _ = run(fault("sensor_dead", **trigger))
    n = int(world.train_state["n_traces"][0])
    first = int(np.argmax(world.axle_traces[:n, 0, 7] == 0.0))
    # a sample of 10 ms and a trace of 20 ms later at most
    at = world.train_traces[max(first - 3, 0) : first + 1, column]
    assert min(at) - 0.6 <= value <= max(at) + 0.6


@pytest.mark.parametrize(
    ("broken", "words"),
    [
        ({"kind": "sensor_dead", "axle": 9}, ["axle = 9", "there are 8"]),
        ({"kind": "controller_dead", "vehicle": 3}, ["vehicle = 3", "there are 2"]),
        ({"kind": "sander_empty", "sander": 2}, ["sander = 2", "there are 1"]),
        ({"kind": "control_wire_broken", "wire": 3}, ["wire = 3", "there are 2"]),
        ({"kind": "sensor_dead"}, ["axle", "missing"]),
        ({"kind": "sensor_dead", "axle": 1, "vehicle": 1}, ["vehicle", "needs axle"]),
        ({"kind": "sensor_ded", "axle": 1}, ["sensor_ded", "one of"]),
    ],
)
def test_unknown_target_is_refused_in_one_line(broken, words):
    with pytest.raises(InputError) as refused:
        stop_with(Fault(at_time=1.0, **broken))
    message = str(refused.value)
    assert "\n" not in message
    assert all(word in message for word in words), message


@pytest.mark.parametrize(
    ("kind", "changes"),
    [
        ("supply_isolated", {"brake.air": "ramps"}),
        ("load_weighed_tare", {"brake.variable_load": False}),
    ],
)
def test_fault_without_effect_is_refused(kind, changes):
    with pytest.raises(InputError, match="changes nothing"):
        stop_with(fault(kind), **changes)


@pytest.mark.parametrize("kind", ["load_weighed_tare", "load_weighed_crush", "control_wire_broken"])
def test_shortest_possible_is_not_given_where_a_fault_may_brake_harder(kind):
    with pytest.raises(InputError, match="brake harder"):
        shortest_possible(stop_with(fault(kind)))

"""Track brakes: force over speed, film, lowering, cleaning, and the force balance of a stop."""

import dataclasses
import math

import numpy as np
import pytest
from scipy.integrate import quad
from tests.support_stops import DRY, car, film, one_axle, packed, plain_stop, run_world, train_of

from slipbench import simulate
from slipbench.controllers import by_name, none
from slipbench.ground.errors import InputError
from slipbench.kernel.track_brake import film_left, magnet_force
from slipbench.scenario import Driver, Fault, HandleEntry, Rail, TrackBrake, load_scenario
from slipbench.stop.stop import energy_residual

EMERGENCY = Driver(programme=(HandleEntry(at_time=0.0, position=2),))
KMH = 1.0 / 3.6


def magnets(**changes) -> TrackBrake:
    """Return magnets of 84 kN with a friction of .18 / (1 + .06 v), there at once."""
    return TrackBrake(**({"attraction": 84e3, "lowering_time": 0.0} | changes))


def eddy(**changes) -> TrackBrake:
    values = {"kind": "eddy_current", "peak_force": 10e3, "critical_speed": 80.0 * KMH}
    return TrackBrake(**(values | {"lowering_time": 0.0} | changes))


def tracked(track: TrackBrake, mass: float = 52.5e3):
    """Return a car of this mass, rotating parts included, with track brakes on both bogies."""
    own = car(mass - 4.0 * 100.0 / 0.42**2)
    return dataclasses.replace(own, track_brake=track, laden_mass=own.tare_mass)


def tracked_stop(speed, track, friction=0.3, deceleration=0.9, **changes):
    stop = plain_stop(
        speed, friction, deceleration, train=train_of(tracked(track)), driver=EMERGENCY, **changes
    )
    return stop.replace({"run.maximum_distance": 9e3})


def distance_of(scenario):
    return simulate(scenario, none.CONTROLLER, with_traces=False).summary["stopping_distance"]


@pytest.mark.parametrize(
    ("kmh", "friction"), [(5.0, 0.166), (40.0, 0.108), (100.0, 0.0675), (160.0, 0.049)]
)
def test_friction_of_a_magnet_falls_with_speed(kmh, friction):
    """.18 / (1 + .06 v): .166, .108, .0675 and .049 at 5, 40, 100 and 160 km/h (assumed law)."""
    magnet = packed(tracked_stop(30.0, magnets())).magnets[0]
    assert magnet_force(kmh * KMH, 1.0, magnet) == pytest.approx(84e3 * friction, rel=5e-3)


def test_attraction_of_a_magnet_is_maxwells():
    """B^2 A / (2 mu_0): 1.5 T on 400 cm2 of a pole are 35.8 kN; two are near the 72 kN seen."""
    pole = 1.5**2 * 0.04 / (2.0 * 4e-7 * math.pi)
    assert pole == pytest.approx(35.8e3, rel=1e-3)
    assert TrackBrake(attraction=2.0 * pole).attraction == pytest.approx(71.6e3, rel=1e-3)


def test_an_eddy_current_brake_peaks_at_its_critical_speed():
    """F_pk 2 / (v/v_k + v_k/v): all at v_k, .8 of it at half and at twice that speed."""
    magnet = packed(tracked_stop(30.0, eddy())).magnets[0]
    forces = [magnet_force(80.0 * KMH * x, 1.0, magnet) for x in (0.5, 1.0, 2.0)]
    assert forces == pytest.approx([8e3, 10e3, 8e3], rel=1e-12)


@pytest.mark.parametrize(("static", "left"), [(0.03, 0.4), (0.1, 0.4), (0.15, 0.7), (0.3, 1.0)])
def test_the_film_takes_its_share(static, left):
    assert film_left(static, 0.4) == pytest.approx(left)


@pytest.mark.parametrize(("friction", "left"), [(0.3, 1.0), (0.05, 0.5)])
def test_magnets_alone_stop_within_their_closed_form(friction, left):
    """m / (F_N mu_0 film) (V^2 / 2 + k V^3 / 3): 2381.5 m from 160 km/h, 52.5 t, four magnets.

    On a film that leaves half, twice as long. The force balance of the train is the mass' alone.
    """
    scenario = tracked_stop(160.0 * KMH, magnets(film_factor=0.5), friction=friction)
    world = packed(scenario)
    world.axles["brake_gain"] = 0.0
    run_world(world)
    found = float(world.train_state["distance"][0])
    assert found == pytest.approx(2381.5 / left, rel=1e-3)
    assert abs(energy_residual(160.0 * KMH, world)) < 1e-3


def test_magnets_beside_wheel_brakes_match_the_closed_balance():
    """52.5 t, .9 m/s2 from the wheels, from 160 km/h: 741.6 m with, 1097.4 without, 790.2 off below
    50 km/h (worked out by quadrature there and here).
    """
    for track, expected in ((magnets(), 741.6), (magnets(lowest_speed=50.0 * KMH), 790.2)):
        assert distance_of(tracked_stop(160.0 * KMH, track)) == pytest.approx(expected, rel=3e-3)
    plain = tracked_stop(160.0 * KMH, magnets()).replace({"train.vehicles.0.track_brake": None})
    assert distance_of(plain) == pytest.approx(1097.4, rel=3e-3)


def test_an_eddy_current_brake_matches_its_quadrature():
    """s = int m v dv / (m a + 4 F(v)), the wheels' .9 besides."""
    mass, v_k = 52.5e3, 80.0 * KMH

    def slowing(v):
        return 0.9 + 4.0 * 10e3 * 2.0 / (v / v_k + v_k / v) / mass

    expected = quad(lambda v: v / slowing(v), 1e-9, 50.0)[0]
    # the wheels' brake is full in 2 ms: .05 m
    assert distance_of(tracked_stop(50.0, eddy())) == pytest.approx(expected + 0.05, rel=3e-4)


def test_emergency_only_unless_the_last_step_has_it():
    for position, used_in, acts in ((1, "emergency", False), (1, "last_step", True)):
        driver = Driver(programme=(HandleEntry(at_time=0.0, position=position),))
        scenario = tracked_stop(20.0, magnets(used_in=used_in)).replace({"driver": driver})
        stop = simulate(scenario, none.CONTROLLER)
        assert (stop.summary["track_energy"] > 0.0) == acts


def test_it_acts_from_lowered_to_its_lowest_speed():
    """Nothing before .7 s, nothing below 8 m/s, its law between."""
    scenario = tracked_stop(25.0, magnets(lowering_time=0.7, lowest_speed=8.0))
    stop = simulate(scenario.replace({"run.trace_interval": 0.02}), none.CONTROLLER)
    time, speed = stop.traces["time"], stop.traces["train_speed"]
    force = stop.traces["track_force"]
    is_on = (time > 0.73) & (speed > 8.05)
    assert force[(time < 0.69) | (speed < 7.99)].max() == 0.0
    expected = 4.0 * 84e3 * 0.18 / (1.0 + 0.06 * speed[is_on])
    assert force[is_on] == pytest.approx(expected, rel=2e-3)


def test_a_lost_track_brake_stays_off():
    fault = Fault(kind="track_brake_lost", vehicle=1, at_speed=15.0)
    stop = simulate(tracked_stop(20.0, magnets(), faults=(fault,)), none.CONTROLLER)
    speed, force = stop.traces["train_speed"][1:], stop.traces["track_force"][1:]
    assert force[speed > 15.1].min() > 0.0 and force[speed < 14.9].max() == 0.0
    with pytest.raises(InputError, match="track_brake"):
        plain_stop(20.0, faults=(dataclasses.replace(fault),))


COVERED = {"recovered_friction": 0.25, "cleaning_work": 8e3, **DRY}


def test_its_work_cleans_the_rail_as_its_share_says():
    """W of one magnet is F_N mu film a metre, two one after the other on each rail, half counts.

    5.7 kJ/m a magnet of 84 kN at 100 km/h (by hand, .0675).
    """
    scenario = tracked_stop(100.0 * KMH, magnets(film_factor=1.0))
    world = packed(scenario)
    world.axles["brake_gain"] = 0.0
    run_world(world)
    place = 100.5  # the middle of a cell
    n = int(world.train_state["n_traces"][0])
    way, speed = world.train_traces[:n, 1], world.train_traces[:n, 2]
    passing = np.interp([place + 3.0, place + 17.0], way, speed)
    expected = 0.5 * 84e3 * 0.18 / (1.0 + 0.06 * passing)
    i_cell = int(place - float(world.train["rail_start"][0]))
    assert world.rail_work[i_cell] == pytest.approx(expected.sum(), rel=2e-3)
    assert pytest.approx(5.7e3, rel=0.01) == 84e3 * 0.18 / (1.0 + 0.06 * 100.0 * KMH)
    booked = world.magnet_states["cleaning_energy"].sum()
    by_wheels = world.axle_states["cleaning_energy"].sum()
    laid = world.rail_work.sum() * float(world.train["cell_length"][0])
    assert booked + by_wheels == pytest.approx(laid, rel=1e-9)


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_wheels_behind_meet_what_the_magnets_left(share):
    """On a film the trailing car's friction is mu(W) of all W before it; none with a share of 0."""
    scenario = plain_stop(
        20.0,
        sections=(film(0.05, **COVERED),),
        train=train_of(tracked(magnets(cleaning_share=share)), one_axle()),
        driver=EMERGENCY,
    )
    world = packed(scenario)
    world.axles["brake_gain"] = 0.0
    run_world(world)
    n = int(world.train_state["n_traces"][0])
    met = world.axle_traces[n // 4, :, 4]
    assert met[0] == pytest.approx(0.05, abs=1e-3)
    if share == 0.0:
        assert met[-1] == pytest.approx(0.05, abs=1e-3)
        return
    assert met[0] < met[2] - 0.01 < met[-1]  # first bogie, second, and the car behind both
    speed = float(world.train_traces[n // 4, 2])
    once = share * 84e3 * 0.18 / (1.0 + 0.06 * speed) * 0.6
    assert met[2] == pytest.approx(0.25 - 0.2 * math.exp(-once / 8e3), rel=0.02)


def test_energy_of_track_brakes_is_in_the_books():
    scenario = tracked_stop(30.0, magnets(), friction=0.04, rail=Rail(sections=(film(0.04),)))
    world = run_world(packed(scenario))
    assert abs(energy_residual(30.0, world)) < 1e-3
    world.train_state["track_work"] = 0.0
    assert abs(energy_residual(30.0, world)) > 0.1


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({}, "attraction"),
        ({"kind": "eddy_current", "peak_force": 1e4}, "critical_speed"),
    ],
)
def test_values_a_kind_needs_are_asked_for(values, told):
    with pytest.raises(InputError, match=told):
        TrackBrake(**values)


def test_bogies_are_those_of_the_vehicle():
    with pytest.raises(InputError, match="bogies 1 to 2"):
        dataclasses.replace(car(), track_brake=magnets(bogies=(3,)))
    own = dataclasses.replace(car(), track_brake=magnets(bogies=(2,)))
    assert own.magnet_places == (17.0,)


@pytest.mark.parametrize("seed", [0, 1])
def test_the_tram_stops_on_wet_leaf_over_the_range_of_the_film_factor(seed):
    """In emergency from 50 km/h: the more friction the film leaves, the shorter; without, longest.

    With all of it left the magnets alone would slow 36 t by 6 x 50 kN x .18/(1 + .06 v) / 37.5 t,
    .8 to 1.4 m/s2 (by hand), so no less than 13.9^2 / (2 (1.4 + 1.3)) = 36 m and no more than
    13.9^2 / (2 x .8) = 121 m and the way till they act.
    """
    base = load_scenario("wet_leaf", train="tram", driver="emergency")
    base = base.replace({"initial_speed": 50.0 * KMH})
    path = "train.vehicles.0.track_brake"
    scenarios = [base.replace({path: None})]
    scenarios += [base.replace({f"{path}.film_factor": factor}) for factor in (0.3, 0.6, 1.0)]
    stops = [simulate(s, by_name("slip_band"), seed, with_traces=False).summary for s in scenarios]
    assert all(stop["is_stopped"] and abs(stop["energy_residual"]) < 1e-3 for stop in stops)
    without, *with_magnets = (stop["stopping_distance"] for stop in stops)
    assert without > 1.5 * with_magnets[0]
    assert with_magnets == sorted(with_magnets, reverse=True)
    assert 36.0 < with_magnets[2] < 121.0
    assert with_magnets[0] > 1.5 * with_magnets[2]

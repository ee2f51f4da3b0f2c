"""What stops were worth: index, bands, utilisation, air, rail heat; traces do not matter."""

import json
import math

import numpy as np
import pytest
from tests.support_stops import (
    FALLING,
    film,
    level_then,
    one_axle,
    plain_stop,
    shipped_summary,
    train_of,
)

from slipbench.contact import contact_patch
from slipbench.controllers import by_name, none
from slipbench.ground.errors import InputError
from slipbench.measures.adhesion import realised_share
from slipbench.measures.air import next_application, normal_litres
from slipbench.measures.flats import archard_area_rate, energy_area_rate, flat_length_from_volume
from slipbench.measures.materials import WEAR
from slipbench.measures.ride import normal_stop, time_lost
from slipbench.running.runner import stop_record
from slipbench.scenario import load_scenario
from slipbench.stop.simulation import simulate

PROTECTED = ("slip_band", "phase_logic")


def locked(speed=20.0, friction=0.03, **parts):
    """A stop of one axle that locks at once and stays locked."""
    return simulate(plain_stop(speed, friction=friction, **parts), none.CONTROLLER)


# --- flats ---


def test_no_lock_and_no_slide_is_exactly_no_index():
    stop = simulate(plain_stop(30.0), none.CONTROLLER, with_traces=False)
    assert stop.summary["flat_risk"] == 0.0
    assert stop.summary["flat_length_high"] == [0.0]
    assert stop.summary["martensite"] == [0]
    assert stop.summary["locked_temperature"] == 0.0
    assert stop.summary["rail_heat_largest"] == 0.0
    assert stop.summary["longest_lock_axle"] == 0
    assert stop.findings == ()


def test_sliding_without_lock_is_no_flat():
    """A wheel that turns spreads its wear: the index is zero however long it slides."""
    scenario = load_scenario("detergent").replace({"slip_control.cut_out_speed": 0.0})
    summary = simulate(scenario, by_name("slip_band"), with_traces=False).summary
    assert max(summary["sliding_distance"]) > 100.0
    assert summary["longest_lock"] == 0.0
    assert summary["flat_risk"] == 0.0


@pytest.mark.parametrize(
    ("less", "more"),
    [
        ({"speed": 6.0}, {"speed": 8.0}),
        ({"friction": 0.04}, {"friction": 0.03}),  # locked for longer
        (
            {"speed": 6.0},
            {"speed": 6.0, "train": train_of(one_axle(mass=20e3, wheelset_inertia=133.0))},
        ),
    ],
    ids=["higher speed", "longer lock", "more load"],
)
def test_longer_faster_heavier_locks_are_never_a_lower_index(less, more):
    low, high = locked(**less).summary, locked(**more).summary
    assert 0.0 < low["flat_risk"] < high["flat_risk"] < 1.0
    assert low["flat_length_high"][0] < high["flat_length_high"][0]


def test_band_holds_both_wear_laws():
    """Of one long lock: low and high end are the least and the greatest of four lengths."""
    stop = locked()
    way, load = stop.summary["locked_distance"][0], 15e3 * 9.80665 / 2.0
    force = 0.5 * stop.summary["locked_energy"][0] / way
    scenario = stop.scenario
    area = contact_patch(0.42, scenario.rail.crown_radius, load).area  # flat across, like steels
    rates = [
        *(archard_area_rate(load, k, WEAR.hardness) for k in (WEAR.archard_low, WEAR.archard_high)),
        energy_area_rate(force, area),
        energy_area_rate(force, WEAR.contact_area_worn),
    ]
    lengths = [float(flat_length_from_volume(way * float(rate), 0.42, 0.030)) for rate in rates]
    # The film does not change, so the mean force is the force; sums of pieces differ by rounding.
    assert stop.summary["flat_length_low"][0] == pytest.approx(min(lengths), rel=1e-4)
    assert stop.summary["flat_length_high"][0] == pytest.approx(max(lengths), rel=1e-4)


def test_on_slippery_rail_the_index_hardly_depends_on_friction():
    """Archard's law knows no friction: per metre dragged, the top of the band is the same."""
    stops = [locked(friction=friction).summary for friction in (0.02, 0.04)]
    volumes = [s["flat_length_high"][0] ** 3 / s["locked_distance"][0] for s in stops]
    assert volumes[0] == pytest.approx(volumes[1], rel=1e-3)


def test_wheels_over_the_limit_are_counted_surely_and_perhaps():
    summary = shipped_summary("wet_leaf", "none")
    low = np.array(summary["flat_length_low"])
    high = np.array(summary["flat_length_high"])
    assert summary["withdrawn_surely"] == int((low >= 0.050).sum())
    assert summary["withdrawn_perhaps"] == int((high >= 0.050).sum())
    assert summary["withdrawn_surely"] > 0


# --- adhesion ---


@pytest.mark.parametrize("name", ["wet_leaf", "detergent"])
def test_no_protection_uses_much_less_of_a_falling_curve(name):
    """Friction ratio at most 0.7: unprotected wheels lock beyond the peak. Five points at least."""
    worst = min(shipped_summary(name, one)["adhesion_utilisation"] for one in PROTECTED)
    unprotected = shipped_summary(name, "none")["adhesion_utilisation"]
    assert 0.0 < unprotected < worst - 0.05
    assert worst <= 1.0


def test_on_a_flat_curve_locked_wheels_score_about_one():
    """Why utilisation alone misleads: nothing protected the wheel, and it is flat."""
    summary = locked(friction=0.03).summary
    assert summary["adhesion_utilisation"] > 0.99
    assert summary["flat_risk"] > 0.9


def test_ideal_actuator_on_a_falling_curve_uses_nearly_all():
    stop = plain_stop(25.0, sections=(film(0.05, **FALLING),))
    share = simulate(stop, by_name("peak_follower"), with_traces=False).summary
    assert 0.995 <= share["adhesion_utilisation"] <= 1.0


@pytest.mark.parametrize("controller", ["none", "slip_band"])
def test_utilisation_by_axle_lies_between_nothing_and_one(controller):
    shares = shipped_summary("wet_leaf", controller)["adhesion_utilisation_by_axle"]
    assert len(shares) == 16
    assert all(0.0 < share <= 1.0 for share in shares)


def test_realised_share_tells_how_close_to_a_yardstick():
    assert realised_share(1000.0, 800.0) == 0.8
    assert realised_share(math.inf, 800.0) == 0.0
    assert realised_share(math.nan, 800.0) == 0.0
    assert math.isnan(realised_share(1000.0, math.nan))
    with pytest.raises(InputError, match="distance"):
        realised_share(0.0, 800.0)


def test_initial_adhesion_is_that_of_the_film():
    """Flat curve: the wheel slides at the film's friction; 5 % creepage is past saturation."""
    assert locked(friction=0.03).summary["initial_adhesion"] == pytest.approx(0.03, rel=0.01)


# --- air ---


def test_air_of_a_vent_matches_computed_value():
    """Computed: 10 l by 2 bar at 293.15 K are 23.77 g, 20 normal litres."""
    mass = 0.010 * 2e5 / (287.05 * 293.15)
    assert mass == pytest.approx(23.77e-3, rel=0.005)
    assert normal_litres(mass) == pytest.approx(20.0, rel=0.01)


@pytest.mark.parametrize(
    ("reservoir", "share"),
    [(7e5, 1.0), (3.6e5, 1.0), (3.3e5, 3.3e5 * 0.2 / 0.24 / 3e5), (0.0, 0.0)],
)
def test_next_application_shares_what_is_left(reservoir, share):
    """200 l and 40 l of cylinders: 3.6 bar just leave 3 bar; less ends at a common pressure."""
    found = next_application([reservoir], 0.2, [0.04], [3e5])
    assert float(found[0]) == pytest.approx(share, rel=1e-12)


def test_more_vents_are_more_air():
    few, many = shipped_summary("wet_leaf", "none"), shipped_summary("wet_leaf", "slip_band")
    assert few["air_vented"] == 0.0
    assert many["air_vented"] > 1.0
    assert sum(many["vents_by_axle"]) == many["vent_count"]
    assert many["lowest_reservoir"] < few["lowest_reservoir"]


# --- rail, ride, operation ---


def test_rail_heat_adds_up_to_what_locked_wheels_dissipated():
    stop = simulate("wet_leaf", none.CONTROLLER, with_traces=False)
    both_rails = 2.0 * stop.worth.rail.total
    assert both_rails == pytest.approx(sum(stop.summary["locked_energy"]), rel=1e-9)
    assert 0.0 < stop.summary["rail_heat_place"] < stop.summary["stopping_distance"]


def test_time_lost_is_nothing_for_the_normal_stop_and_the_wait_for_an_early_one():
    normal = normal_stop(30.0, 0.9, 0.4, 1.5)
    assert time_lost(normal.distance, normal.time, 30.0, normal) == 0.0
    # braking 300 m early at half the rate
    slow = normal_stop(30.0, 0.45, 0.4, 1.5)
    wait = slow.time - normal.time - (slow.distance - normal.distance) / 30.0
    assert time_lost(slow.distance, slow.time, 30.0, normal) == pytest.approx(wait)
    assert wait == pytest.approx(30.0 / 0.9 / 2.0, rel=0.01)  # v/2a of one less v/2a of the other
    assert math.isnan(time_lost(math.nan, math.nan, 30.0, normal))


def test_normal_stop_equals_computed_distance():
    """Computed: 160 km/h, 0.9 m/s2, 0.4 s delay, 2.0 s ramp: 1159.47 m."""
    assert normal_stop(160.0 / 3.6, 0.9, 0.4, 2.0).distance == pytest.approx(1159.47, abs=0.1)


def test_train_passes_its_stopping_point():
    stop = plain_stop(20.0)
    point = 200.0
    found = simulate(stop.replace({"driver.stopping_point": point}), none.CONTROLLER)
    distance = found.summary["stopping_distance"]
    assert found.summary["overrun"] == pytest.approx(distance - point, rel=1e-12)
    # Constant 0.9 m/s2 over the last metres; the brake needs 2 ms to fill.
    expected = math.sqrt(2.0 * 0.9 * (distance - point))
    assert found.summary["point_speed"] == pytest.approx(expected, rel=1e-3)
    assert "past its stopping point" in found.findings[0].text


def test_speedometer_shows_nothing_while_its_axle_is_locked():
    ride = locked(speed=20.0).worth.ride
    assert ride.speedometer_error < -15.0
    assert ride.speedometer_wrong_time > 5.0


@pytest.mark.parametrize(("rise", "holds"), [(0.0, True), (-0.015, True), (0.05, False)])
def test_train_that_cannot_hold_on_its_gradient_rolls_away(rise, holds):
    """Friction 0.04 holds 4 %: a train that climbs 5 % stops, and then rolls back."""
    stop = locked(speed=10.0, friction=0.04, gradient=level_then((0.0, rise)))
    assert stop.summary["is_stopped"]
    sine = abs(rise) / math.sqrt(1.0 + rise**2)
    margin = (0.04 - sine) * 15e3 * 9.80665  # all of the weight, as the load is on one axle
    assert stop.summary["hold_margin"] == pytest.approx(margin, rel=1e-6)
    assert any(finding.kind == "roll-away" for finding in stop.findings) is not holds


# --- with and without traces ---


@pytest.mark.parametrize("controller", ["none", "slip_band"])
def test_summary_without_traces_equals_the_one_with(controller):
    scenario = load_scenario("wet_leaf").replace(initial_speed=12.0)
    bare = simulate(scenario, by_name(controller), seed=3, with_traces=False)
    full = simulate(scenario, by_name(controller), seed=3)
    assert len(full.traces) > 0 and len(bare.traces) == 0
    assert stop_record(bare) == stop_record(full)
    assert bare.findings == full.findings


def test_tallies_equal_integrals_over_traces():
    """Used work, summed again from dense traces, to their spacing."""
    stop = locked(speed=10.0)
    traces = stop.traces
    power = traces["rail_force"][:, 0] * traces["train_speed"]
    work = float(np.sum(0.5 * (power[1:] + power[:-1]) * np.diff(traces["time"])))
    assert stop.summary["used_adhesion"] * 15e3 * 9.80665 * stop.summary[
        "stopping_distance"
    ] == pytest.approx(work, rel=5e-3)


def test_summary_is_json():
    stop = locked(speed=8.0)
    text = json.dumps(stop_record(stop), allow_nan=False)
    assert json.loads(text)["flat_risk"] == stop.summary["flat_risk"]


def test_every_rule_tells_which_axles_would_be_withdrawn():
    """At 0.84 m diameter: a shorter limit withdraws no fewer; surely is among perhaps."""
    rules = simulate("detergent", none.CONTROLLER, with_traces=False).worth.wheels.withdrawals()
    by_length = sorted(
        (rule for rule in rules if math.isinf(rule.limit.pair_length) and rule.perhaps),
        key=lambda rule: rule.limit.single_length,
    )
    assert len(by_length) >= 3
    counts = [len(rule.surely) for rule in by_length]
    assert counts == sorted(counts, reverse=True)
    assert all(set(rule.surely) <= set(rule.perhaps) for rule in rules)

"""A route: what its file may say, what lies where, and what the stops come to."""

import csv
import dataclasses
import math

import pytest

from slipbench.commands.main import main
from slipbench.figures.cards import NO_NUMBER
from slipbench.figures.route import draw_route, route_card, route_sheet
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.guidance.formula import stepped_distance
from slipbench.guidance.journey import Advice, chosen, good_lead, solve
from slipbench.guidance.leads import Asked, Braking, Travel, decided, run_ways, settled, ways_of
from slipbench.guidance.line import Approach, films, height_at
from slipbench.guidance.points import MPH, YARD, bound
from slipbench.guidance.ranges import Film, Lead, ranged, shape_film, with_shapes
from slipbench.guidance.route import months_of, read_route, running
from slipbench.guidance.spread import draws, situation
from slipbench.guidance.states import AUTUMN, GOOD, VERY_POOR
from slipbench.guidance.tell import DOES_NOT_STOP
from slipbench.guidance.timetable import STATES, Timetable, timetable_csv, timetable_text
from slipbench.running.candidate import candidate_of
from slipbench.scenario import load_scenario
from slipbench.statistics.intervals import Interval, wilson
from slipbench.strategies.registry import find_controller

GOOD_FILE = """
name = "short line (invented)"
direction = "rising"
length_m = 4000
scenario = "dry"
normal_step = 2
top_speed_mph = 60
month = "November"

[[gradient]]
from_distance_m = 0
rise_permille = -5

[[permitted_speed]]
start_m = 0
end_m = 1000
speed_mph = 20

[[permitted_speed]]
start_m = 1000
end_m = 4000
speed_mph = 30

[[station]]
name = "Here"
platform_start_m = 50
platform_length_m = 100
marker_m = 140

[[station]]
name = "There"
platform_start_m = 2900
platform_length_m = 100
marker_m = 2990
signal_m = 3050

[[poor_place]]
name = "wood"
start_m = 2000
end_m = 2600
kind = "cutting_with_trees"
months = "October to December"

[[poor_place]]
name = "yard"
start_m = 2700
end_m = 2800
kind = "first_train"
months = "all"
"""


def written(folder, text=GOOD_FILE):
    path = folder / "line.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def line(tmp_path):
    return running(read_route(str(written(tmp_path))))


@pytest.fixture
def travel():
    strategy = candidate_of(find_controller("slip_band"))
    return Travel(load_scenario("dry"), strategy, films(), confidence=0.75, n_draws=4)


def change(old, new, at=1):
    """Return the good file with one place of it changed."""
    parts = GOOD_FILE.split(old)
    assert len(parts) > at, old
    return old.join(parts[:at]) + new + old.join(parts[at:])


BROKEN = {
    "gap in speeds": (change("start_m = 1000", "start_m = 1100"), "leaves a gap from 1000 m"),
    "overlap of speeds": (change("start_m = 1000", "start_m = 900"), "overlaps the one before"),
    "speeds end too early": (change("end_m = 4000", "end_m = 3900"), "reach the end of the line"),
    "speeds begin late": (change("start_m = 0\n", "start_m = 10\n"), "must begin at 0 m"),
    "speed turned round": (change("end_m = 1000", "end_m = 0"), "must lie beyond start"),
    "platform after signal": (change("signal_m = 3050", "signal_m = 2950"), "beyond the platform"),
    "signal beyond the line": (change("signal_m = 3050", "signal_m = 5000"), "on the line"),
    "marker beside the platform": (change("marker_m = 2990", "marker_m = 3020"), "at the platform"),
    "platforms overlap": (
        change("platform_start_m = 2900", "platform_start_m = 120").replace(
            "marker_m = 2990", "marker_m = 200"
        ),
        "overlaps that of Here",
    ),
    "platform beyond the line": (
        change("platform_start_m = 2900", "platform_start_m = 3950").replace(
            "marker_m = 2990", "marker_m = 3990"
        ),
        "beyond the line's 4000 m",
    ),
    "one name twice": (change('name = "There"', 'name = "Here"'), "given to two stations"),
    "no such month": (change("October to December", "Octobre to December"), "did you mean October"),
    "month of the card": (change('month = "November"', 'month = "Brumaire"'), "one of January"),
    "poor places overlap": (change("start_m = 2700", "start_m = 2500"), "overlaps wood"),
    "poor place turned round": (change("end_m = 2600", "end_m = 1900"), "must lie beyond start"),
    "poor place beyond": (change("end_m = 2800", "end_m = 4100"), "beyond the end of the line"),
    "unknown kind": (change("cutting_with_trees", "wet_wood"), "one of cutting_with_trees"),
    "speed without unit": (change("speed_mph = 30", "speed = 30"), "speed"),
    "distance without unit": (change("length_m = 4000", "length = 4000"), "length"),
    "speed of nothing": (change("speed_mph = 30", "speed_mph = 0"), "speed_mph"),
    "step that is not there": (change("normal_step = 2", "normal_step = 4"), "allowed: 1 to 3"),
    "no such scenario": (change('scenario = "dry"', 'scenario = "drie"'), "no shipped scenario"),
    "no station": (GOOD_FILE.split("[[station]]")[0], "station"),
    "gradient falls back": (
        change("rise_permille = -5", "rise_permille = -5\n[[gradient]]\nfrom_distance_m = 0\n"
               "rise_permille = 2"),
        "must lie beyond 0 m",
    ),
    "two gradients": (change('month =', 'gradient_file = "g.csv"\nmonth ='), "not both"),
    "direction of no sense": (change('"rising"', '"north"'), "one of rising, falling"),
    "unknown key": (change("[[gradient]]", "[[steepness]]"), "steepness"),
    "no TOML": ("name = = 3", "not valid TOML"),
}  # fmt: skip


@pytest.mark.parametrize("case", BROKEN)
def test_a_broken_route_is_one_line(case, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    text, said = BROKEN[case]
    path = written(tmp_path, text)
    assert main(["route", str(path)]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert said in error
    assert "line.toml" in error
    assert [file.name for file in tmp_path.iterdir()] == ["line.toml"]


GRADIENTS = {
    "no header": ("0,3\n", "the header must be"),
    "rows turned round": ("distance_m,rise_permille\n0,3\n900,1\n800,2\n", "does not rise above"),
    "begins late": ("distance_m,rise_permille\n10,3\n", "must begin at 0 m"),
    "no number": ("distance_m,rise_permille\n0,steep\n", "line 2"),
    "too steep": ("distance_m,rise_permille\n0,300\n", "-100 to 100"),
    "beyond the line": ("distance_m,rise_permille\n0,3\n9000,1\n", "0 to 4000"),
    "three cells": ("distance_m,rise_permille\n0,3,4\n", "3 values"),
}


@pytest.mark.parametrize("case", GRADIENTS)
def test_a_broken_gradient_is_one_line(case, tmp_path):
    text, said = GRADIENTS[case]
    (tmp_path / "g.csv").write_text(text)
    section = "[[gradient]]\nfrom_distance_m = 0\nrise_permille = -5\n"
    path = written(tmp_path, GOOD_FILE.replace(section, "").replace(
        "month =", 'gradient_file = "g.csv"\nmonth =', 1))  # fmt: skip
    with pytest.raises(InputError) as problem:
        read_route(str(path))
    assert said in str(problem.value)
    assert "\n" not in str(problem.value)


def test_the_shipped_route_is_long_enough_invented_and_whole():
    route = read_route("elderwick")
    assert len(route.stations) >= 9  # eight are stopped at
    assert "invented" in route.name
    assert len(STATES) == 4
    assert {place.kind for place in route.poor_places} == {
        "cutting_with_trees", "level_crossing", "industrial_site", "first_train"
    }  # fmt: skip
    assert len(route.gradient) > 10
    heights = height_at(route)[1]
    assert max(heights) - min(heights) > 50.0


def test_months_run_over_the_turn_of_the_year():
    assert months_of("November to February") == ("January", "February", "November", "December")
    assert months_of("May, October") == ("May", "October")
    assert len(months_of("all")) == 12


def test_a_train_the_other_way_meets_the_same_line_turned_round(tmp_path):
    route = read_route(str(written(tmp_path, GOOD_FILE.replace("signal_m = 3050\n", ""))))
    other = running(dataclasses.replace(route, direction="falling"))
    assert [station.name for station in other.stations] == ["There", "Here"]
    assert other.stations[1].marker == 4000 - 140
    assert other.stations[1].platform_end == 4000 - 50
    assert [limit.speed for limit in other.limits] == [30 * MPH, 20 * MPH]
    assert other.gradient[0].rise == 0.005
    assert [place.name for place in other.poor_places] == ["yard", "wood"]


def test_a_train_comes_as_fast_as_it_may_and_has_got_to(line):
    approach = Approach(line, 1)
    assert approach.speed_at(145.0) == pytest.approx(math.sqrt(2 * 0.4 * 5.0))
    assert approach.speed_at(900.0) == pytest.approx(20 * MPH)
    assert approach.speed_at(2000.0) == pytest.approx(30 * MPH)


def test_it_slows_down_for_what_is_permitted_ahead(line):
    slow = dataclasses.replace(line.limits[1], speed=10 * MPH)
    approach = Approach(dataclasses.replace(line, limits=(line.limits[0], slow)), 1)
    assert approach.speed_at(950.0) == pytest.approx(
        min(20 * MPH, math.sqrt((10 * MPH) ** 2 + 2 * 0.3 * 50.0))
    )


def test_films_lie_where_and_when_the_route_says(line, travel):
    approach = Approach(line, 1)
    place = 1500.0
    wet, leaf = travel.films["wet"].sections[0], travel.films["autumn_guide"].sections[0]
    first = approach.rail(AUTUMN, place, True, travel.films).sections
    assert [section.from_distance + place for section in first[1:]] == [2000, 2600, 2700, 2800]
    assert [section.friction for section in first] == [
        wet.friction, leaf.friction, wet.friction, travel.films["damp_oxide"].sections[0].friction,
        wet.friction,
    ]  # fmt: skip
    later = approach.rail(AUTUMN, place, False, travel.films).sections
    assert [section.from_distance + place for section in later[1:]] == [2000, 2600]
    summer = Approach(dataclasses.replace(line, month="June"), 1)
    assert len(summer.rail(AUTUMN, place, False, travel.films).sections) == 1
    assert len(approach.rail(GOOD, place, True, travel.films).sections) == 1


def test_the_good_braking_point_of_a_route_is_that_of_the_formula(line, travel):
    """EN 14531 type with reaction, resistance and gradient: within a metre, the search's own."""
    asked = Asked(travel, Approach(line, 1), GOOD)
    found = good_lead(asked, 2)
    train, brake = travel.scenario.train, travel.scenario.brake
    rotating = sum(vehicle.rotating_mass for vehicle in train.vehicles) / train.mass
    expected = stepped_distance(
        30 * MPH, brake.steps[1], travel.spread.median_reaction + brake.demand_delay,
        brake.build_up_time, -0.005, rotating,
        (train.resistance_constant, train.resistance_linear, train.resistance_quadratic),
    )  # fmt: skip
    assert found == pytest.approx(expected, abs=1.0 + 1e-3 * expected)


def test_a_stop_on_the_way_is_answered_whole(line, travel):
    advice = solve(Asked(travel, Approach(line, 1), AUTUMN))
    assert advice.holds
    assert advice.used >= advice.lead.needed - 1e-6
    assert advice.lead.low == advice.lead.needed == advice.lead.high  # no shapes were asked for
    assert advice.yards % 50 == 0
    assert 0.0 <= advice.past_platform.estimate <= 1.0
    assert len(advice.morning) == 3
    assert advice.morning[2] <= advice.morning[0]  # the film is worn, the yard's rust is gone


def test_a_stop_for_its_way_alone_is_the_same_stop(line, travel):
    asked = Asked(travel, Approach(line, 1), AUTUMN)
    from slipbench.stop.simulation import simulate

    draw = draws(travel.spread, 4)[1]
    way = run_ways(asked, Braking(2, 300.0), [draw])[0]
    approach = asked.approach
    film = approach.rail(AUTUMN, approach.station.marker - 300.0, True, travel.films)
    stop = situation(
        travel.scenario.replace({
            "rail": film, "gradient": approach.gradient(approach.station.marker - 300.0),
            "initial_speed": 30 * MPH, "driver.programme.0.at_time": 0.0,
            "driver.programme.0.position": 2, "run.maximum_distance": 8000.0,
        }), draw,
    )  # fmt: skip
    strategy = find_controller("slip_band").controller
    whole = simulate(stop, strategy, draw.seed, with_traces=False)
    assert way.distance == whole.summary["stopping_distance"]
    assert (way.rail_after.work == whole.rail_after.work).all()
    assert way.point_speed == 0.0  # it stopped before
    passing = run_ways(asked, Braking(2, 150.0), [draw])[0]
    assert 0.0 < passing.point_speed < 30 * MPH


def test_few_draws_through_the_search_find_what_all_would(line, travel):
    """The draws that decide are run on; all of them, at the end, agree within the search's own."""
    asked = Asked(dataclasses.replace(travel, n_draws=12), Approach(line, 1), AUTUMN)
    drawn = draws(travel.spread, 12)
    slack = asked.approach.slack
    lead, about = decided(asked, Braking(2, 250.0), drawn, slack)
    whole = settled(asked, Braking(2, 250.0), drawn, lambda values: bound(values, 0.75), slack)
    assert lead == pytest.approx(whole, abs=25.0)
    assert len(about) < len(drawn)
    ways = ways_of(asked, Braking(2, lead), drawn)
    assert bound(ways, 0.75) <= lead + slack


def test_another_shape_is_calibrated_and_gives_a_range(line, travel):
    """Two shapes: from 75 mph half of the stops need the same; at this stop they need not."""
    two = [Film(travel, "autumn_guide", shape) for shape in
           ("flat creep curve", "film of two layers")]  # fmt: skip
    rails = [shape_film(film) for film in two]
    film = travel.films["autumn_guide"].sections[0]
    assert rails[0].sections[0].friction_ratio == 1.0
    assert rails[0].sections[0].friction < film.friction  # a flat curve holds more: less friction
    assert shape_film(Film(travel, "wet", "flat creep curve")) == travel.films["wet"]
    shaped = with_shapes(travel, two, rails)
    whole = {"flat creep curve": {**travel.films, **shaped.shapes["flat creep curve"]}}
    asked = Asked(dataclasses.replace(travel, shapes=whole), Approach(line, 1), AUTUMN)
    found = ranged(asked, Braking(2, 700.0), draws(travel.spread, 4))
    assert found.low <= 700.0 <= found.high and found.low < found.high
    missing = Asked(shaped, Approach(line, 1), AUTUMN)  # films of the state without that shape
    assert ranged(missing, Braking(2, 700.0), draws(travel.spread, 4)) == Lead(700.0, 700.0, 700.0)


def test_states_with_the_same_films_are_solved_once(line):
    wooded = Approach(line, 1)
    assert not wooded.has_alike(AUTUMN, VERY_POOR)
    assert not wooded.has_alike(AUTUMN, "wet")
    assert not wooded.has_alike("wet", GOOD)
    summer = Approach(dataclasses.replace(line, month="June"), 1)
    assert summer.has_alike(AUTUMN, VERY_POOR)


def test_the_step_is_the_normal_one_unless_another_saves_fifty_yards():
    assert chosen({1: 900.0, 2: 540.0, 3: 400.0}, 2, 500.0) == 2
    assert chosen({1: 900.0, 2: 800.0, 3: 600.0}, 2, 500.0) == 3
    assert chosen({1: 900.0, 2: 620.0, 3: 600.0}, 2, 500.0) == 2
    assert chosen({1: math.inf, 2: math.inf, 3: math.inf}, 2, 500.0) == 3


def made_advice(station, state, lead):
    none, three = Interval(math.nan, math.nan, math.nan), Lead(lead, lead - 15.0, lead + 21.0)
    if math.isinf(lead):
        return Advice(
            station, state, 3, 13.0, 13.0, 200.0, three, lead, none, None, (math.nan,) * 2
        )
    return Advice(
        station, state, 2, 13.0, 13.0, 200.0, three, 100.0, wilson(1, 40), wilson(0, 40),
        (0.0, 3.0), (240.0, 220.0, 215.0),
    )  # fmt: skip


@pytest.fixture
def table(line, travel):
    leads = dict(zip(STATES, (210.0, 220.0, 280.0, math.inf), strict=True))
    advice = tuple(made_advice("There", state, lead) for state, lead in leads.items())
    return Timetable(line, line, travel, advice)


def test_a_stop_that_does_not_hold_is_words_and_no_page_lacks_the_caution(table):
    pages = [route_card(table), route_sheet(table, b"<svg/>", "slipbench route line.toml")]
    for text in [*pages, timetable_text(table), timetable_csv(table)]:
        assert DOES_NOT_STOP in text
        assert "inf" not in text.replace("information", "")
        assert "nan" not in text
    assert all(CAUTION in page for page in pages)
    assert DOES_NOT_STOP == NO_NUMBER
    assert table.n_open("very poor") == 1


def test_the_card_tells_a_step_only_where_it_is_another(table):
    other = dataclasses.replace(table.advice[2], step=3)
    card = route_card(
        dataclasses.replace(table, advice=(*table.advice[:2], other, table.advice[3]))
    )
    assert "good rail, step 2: yd before the marker" in card
    assert card.count("step 3") == 1
    assert card.count("step 2") == 2  # the head, and the line that says so


def test_minutes_lost_are_those_of_braking_evenly(table):
    """By kinematics: the lead at half the speed, against running on and the good lead so."""
    used = 200.0 + 100 * YARD
    lost = 2 * used / 13.0 - 100 * YARD / 13.0 - 2 * 200.0 / 13.0
    assert table.at("There", AUTUMN).time_lost == pytest.approx(lost)
    assert table.minutes_lost(AUTUMN) == pytest.approx(lost / 60)


def test_what_the_next_trains_find_is_told_in_yards(table):
    assert "-22, -27" in timetable_text(table)  # 20 and 25 m less


@pytest.mark.slow
def test_the_shipped_route_is_answered_from_end_to_end(tmp_path, capsys):
    """Few draws; the command without options is the same with forty."""
    out = tmp_path / "out"
    line = ["route", "elderwick", "--draws", "3", "--confidence", "50%", "--out", str(out)]
    assert main(line) == 0
    said = capsys.readouterr()
    assert "62/62" in said.err  # progress was shown: 30 films in other shapes, 8 stops, 4 states
    assert CAUTION in said.out
    names = {path.name for path in out.iterdir()}
    assert names == {"route.json", "route.csv", "route.png", "route.svg", "driver-card.html",
                     "manager-sheet.html"}  # fmt: skip
    rows = list(csv.DictReader((out / "route.csv").read_text().splitlines()))
    assert len(rows) == 8 * 4
    assert any(float(row["lead_most_m"]) > float(row["lead_m"]) + 20.0 for row in rows)


def test_the_picture_shows_every_station_and_its_points(table):
    drawn = draw_route(table)
    said = {text.get_text() for axes in drawn.axes for text in axes.texts}
    assert {"Here", "There", "+100", DOES_NOT_STOP} <= said
    assert CAUTION in {text.get_text() for text in drawn.texts}

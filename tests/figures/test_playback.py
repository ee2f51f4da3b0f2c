"""The playback page without a browser: complete in itself, small, and true to the traces."""

import base64
import json
import re
from dataclasses import replace

import numpy as np
import pytest

from slipbench.figures.playback import (
    DEEP,
    DEEP_CREEPAGE,
    LOCKED,
    SHALLOW,
    SPEED_SCALE,
    UNKNOWN,
    playback_data,
    playback_page,
    wheel_states,
)
from slipbench.figures.playback_names import driving, lane_names
from slipbench.figures.rail_map import rail_met
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.scenario import HandleEntry, load_scenario
from slipbench.scenario.ways import driven
from slipbench.stop.simulation import simulate


@pytest.fixture(scope="module")
def page(slow_stops):
    return playback_page(slow_stops, "slipbench playback wet_leaf --strategy </script>")


def data_of(page):
    return json.loads(re.search(r'type="application/json">(.*?)</script>', page, re.S)[1])


def unpacked(text, kind):
    return np.frombuffer(base64.b64decode(text), kind)


def test_page_fetches_nothing(page):
    assert not re.search(r"""(?:src|href)\s*=\s*["'](?!data:)""", page)
    assert not re.search(r"https?://|url\(|@import|fetch\(|XMLHttpRequest|import\(", page)
    assert "default-src 'none'" in page


def test_page_has_what_its_script_looks_for(page):
    wanted = set(re.findall(r'element\("([a-z]+)"\)', page))
    there = set(re.findall(r'\bid="([a-z-]+)"', page))
    assert wanted and wanted <= there
    assert "{{" not in page


def test_every_control_has_a_name(page):
    for control in re.findall(r"<(?:input|canvas)[^>]*>", page):
        assert "aria-label=" in control
    assert all(text.strip() for text in re.findall(r"<button[^>]*>(.*?)</button>", page))
    assert 'lang="en"' in page and "prefers-reduced-motion" in page


def test_data_cannot_end_the_script(page):
    assert page.count("</script>") == 2
    assert "--strategy </script>" in data_of(page)["made"]


def test_caution_and_invention_are_told(page):
    data = data_of(page)
    assert data["caution"] == CAUTION
    assert "invented" in data["train"]


def test_two_stops_of_a_long_train_stay_small(page, slow_stops):
    """16 axles, two stops: under 1.5 MB whatever they last, by the bounds on moments and cells."""
    assert len(page) < 600_000
    from slipbench.figures import playback

    largest = playback.MOST_AXLE_MOMENTS * 4 + playback.MOST_MOMENTS * 11 + playback.MOST_CELLS
    assert 2 * largest * 4 / 3 < 1.45e6


def test_speeds_and_pressures_are_those_of_the_traces(slow_stops):
    data = playback_data(slow_stops)
    for stop, kept in zip(slow_stops, data["stops"], strict=True):
        time = np.arange(len(unpacked(kept["distance"], "<f4"))) * kept["interval"]
        assert time[-1] == pytest.approx(stop.traces["time"][-1], rel=1e-9)
        expected = np.interp(time, stop.traces["time"], stop.traces["train_speed"])
        speed = unpacked(kept["train_speed"], "<u2") * SPEED_SCALE
        assert np.abs(speed - expected).max() <= 0.5 * SPEED_SCALE + 1e-9  # rounding
        pressure = unpacked(kept["pressure"], "u1") / 255.0 * data["full_pressure_bar"]
        most = stop.traces["pressure"].max() / 1e5
        assert pressure.max() == pytest.approx(most, abs=0.02)  # half a level is 0.006 bar


def test_locked_wheels_are_kept_as_locked(slow_stops):
    """Where a wheel counts as locked it is drawn so, and on until it turns: to the last moment."""
    none, band = (unpacked(s["state"], "u1") >> 2 for s in playback_data(slow_stops)["stops"])
    run, traces = slow_stops[0].scenario.run, slow_stops[0].traces
    drawn = wheel_states(slow_stops[0]) == LOCKED
    counted = (traces["wheel_speed"] < run.locked_wheel_speed) & (
        traces["train_speed"] > run.locked_train_speed
    )[:, None]
    assert counted.any() and drawn[counted].all()
    assert (traces["wheel_speed"][drawn] < run.locked_wheel_speed).all()
    assert np.mean(none == LOCKED) == pytest.approx(drawn.mean(), abs=0.01)
    assert np.mean(none == LOCKED) > 0.3 > np.mean(band == LOCKED)


def test_wheels_locked_to_the_end_are_drawn_locked_to_standstill(slow_stops):
    last = wheel_states(slow_stops[0])[-1]
    assert slow_stops[0].traces["train_speed"][-1] == 0.0
    assert (last == LOCKED).sum() == 16


def test_a_wheel_that_turns_again_is_drawn_turning(slow_stops):
    traces, states = slow_stops[1].traces, wheel_states(slow_stops[1])
    rolls = traces["wheel_speed"] > 0.95 * traces["train_speed"][:, None]
    assert (states[rolls & (traces["train_speed"] > 1.0)[:, None]] == 0).all()


def test_deep_and_shallow_slides_are_told_apart(slow_stops):
    traces, states = slow_stops[1].traces, wheel_states(slow_stops[1])
    speed = traces["train_speed"][:, None]
    creepage = (speed - traces["wheel_speed"]) / np.maximum(speed, 0.1)
    assert (states == SHALLOW).any() and (states == DEEP).any()
    assert (creepage[states == DEEP] > DEEP_CREEPAGE).all()
    assert (creepage[states == SHALLOW] <= DEEP_CREEPAGE).all()


def test_lanes_are_named_by_what_differs(slow_stops):
    none, band = slow_stops
    assert lane_names([none, band]) == ["none", "slip band"]
    eased = replace(none, scenario=driven(none.scenario, "eased-to-1"))
    names = lane_names([none, eased])
    assert names == ["step 3 held", "step 3, eased to step 1 when slip control works"]
    other = replace(none, scenario=load_scenario("dry").replace(initial_speed=12.0))
    assert lane_names([none, other]) == ["wet_leaf", "dry"]
    assert playback_data([none, band])["title"] == "none beside slip band: wet_leaf, from 27 mph"


def test_driving_is_told_in_words(slow_stops):
    scenario = slow_stops[0].scenario
    coasting = (HandleEntry(at_time=0.0, position=0), HandleEntry(at_time=9.0, position=2))
    pumped = driven(scenario, "pumped")
    assert driving(scenario.replace({"driver.programme": coasting})) == "step 2 held"
    assert driving(pumped) == "step 3, then 800 movements"
    with pytest.raises(InputError, match="eased-to-N takes N from 0 to 2"):
        driven(scenario, "eased-to-3")
    with pytest.raises(InputError, match="known: held, eased"):
        driven(scenario, "gently")


def test_result_is_that_of_the_summary(slow_stops):
    marked = slow_stops[0].scenario.replace({"driver.stopping_point": 50.0})
    stop = simulate(marked, slow_stops[0].controller)
    result = playback_data([stop])["stops"][0]["result"]
    assert result["distance"] == stop.summary["stopping_distance"]
    assert result["overrun"] == pytest.approx(result["distance"] - 50.0)
    assert result["longest_lock"] == stop.summary["longest_lock"]
    assert max(flat[2] for flat in result["flats"]) == pytest.approx(
        1e3 * stop.worth.wheels.flat_length.high.max(), abs=0.05
    )


def test_rail_is_that_of_the_map(slow_stops):
    data = playback_data(slow_stops)
    for stop, kept in zip(slow_stops, data["stops"], strict=True):
        met = rail_met(stop).friction
        levels = unpacked(kept["rail"]["friction"], "u1").reshape(met.shape[0], -1)
        is_known = np.isfinite(met)
        assert ((levels != UNKNOWN) == is_known).all()
        error = np.abs(levels * data["friction_scale"] - met)[is_known]
        assert error.max() <= 0.5 * data["friction_scale"] + 1e-12


def test_other_numbers_of_stops_and_other_trains_are_refused(slow_stops):
    with pytest.raises(InputError, match="1 or 2"):
        playback_page([])
    stop = slow_stops[0]
    other = replace(stop, scenario=stop.scenario.replace({"train.load": 1.0}))
    with pytest.raises(InputError, match="same train"):
        playback_page([stop, other])

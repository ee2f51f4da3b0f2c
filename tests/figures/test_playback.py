"""The playback page without a browser: complete in itself, small, and true to the traces."""

import base64
import json
import re
from dataclasses import replace

import numpy as np
import pytest

from slipbench.figures.playback import LOCKED, SPEED_SCALE, UNKNOWN, playback_data, playback_page
from slipbench.figures.rail_map import rail_met
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError


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
    none, band = (unpacked(s["state"], "u1") >> 2 for s in playback_data(slow_stops)["stops"])
    share = np.mean(none == LOCKED)
    run = slow_stops[0].scenario.run
    traces = slow_stops[0].traces
    truly = (traces["wheel_speed"] < run.locked_wheel_speed) & (
        traces["train_speed"] > run.locked_train_speed
    )[:, None]
    assert share == pytest.approx(truly.mean(), abs=0.01)
    assert share > 0.3 > np.mean(band == LOCKED)


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

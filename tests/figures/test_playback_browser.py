"""The playback page in real Chromium without a window: `pytest -m browser`."""

import json
import time

import pytest
from tests.figures.browser import chromium, complaints

from slipbench.figures.playback import playback_page

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def page_file(tmp_path_factory, slow_stops):
    path = tmp_path_factory.mktemp("playback") / "playback.html"
    path.write_text(playback_page(slow_stops, "slipbench playback"), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def driver(tmp_path_factory):
    with chromium(tmp_path_factory.mktemp("profile")) as running:
        yield running


@pytest.fixture
def page(driver, page_file):
    driver.get("about:blank")
    driver.get(page_file.as_uri())
    yield driver
    assert complaints(driver) == []


def clock(page):
    return float(page.execute_script("return document.body.dataset.time"))


def press(page, *keys):
    from selenium.webdriver import ActionChains

    chain = ActionChains(page)
    for key in keys:
        chain.send_keys(key)
    chain.perform()


def colours(page, selector):
    """Return how many different colours a canvas shows: an empty one shows a single one."""
    return page.execute_script(
        """const c = document.querySelector(arguments[0]);
        const d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data;
        const seen = new Set();
        for (let i = 0; i < d.length; i += 4) seen.add((d[i] << 16) | (d[i + 1] << 8) | d[i + 2]);
        return seen.size;""",
        selector,
    )


def test_it_opens_from_disk_and_draws_everything(page, slow_stops, tmp_path):
    assert clock(page) == 0.0
    for selector in ("#line", "#chart", "#key", ".lane canvas", ".lane:nth-child(2) canvas"):
        assert colours(page, selector) > 3, selector
    assert page.execute_script("return document.querySelectorAll('.lane').length") == 2
    width = page.execute_script("return [document.body.scrollWidth, window.innerWidth]")
    assert width[0] <= width[1]
    assert page.save_screenshot(str(tmp_path / "playback.png"))
    assert (tmp_path / "playback.png").stat().st_size > 20_000


def test_play_moves_the_clock_and_pause_holds_it(page):
    button = page.find_element("id", "play")
    button.click()
    assert button.text == "Pause"
    time.sleep(0.6)
    button.click()
    assert button.text == "Play"
    reached = clock(page)
    assert 0.2 < reached < 5.0
    time.sleep(0.3)
    assert clock(page) == reached


def test_keys_play_step_and_jump(page, slow_stops):
    from selenium.webdriver.common.keys import Keys

    lasts = max(stop.traces["time"][-1] for stop in slow_stops)
    press(page, Keys.ARROW_RIGHT, Keys.ARROW_RIGHT, Keys.ARROW_LEFT)
    assert clock(page) == pytest.approx(1.0, abs=1e-3)
    press(page, Keys.END)
    assert clock(page) == pytest.approx(lasts, abs=0.01)
    press(page, Keys.HOME)
    assert clock(page) == 0.0
    press(page, " ")
    time.sleep(0.4)
    press(page, " ")
    assert clock(page) > 0.1
    assert page.execute_script("return document.body.dataset.playing") == "false"


def test_space_on_the_focused_button_acts_once(page):
    button = page.find_element("id", "play")
    page.execute_script("arguments[0].focus()", button)
    press(page, " ")
    assert page.execute_script("return document.body.dataset.playing") == "true"
    press(page, " ")
    assert page.execute_script("return document.body.dataset.playing") == "false"


def test_scrubbing_shows_the_numbers_of_that_moment(page, slow_stops):
    page.execute_script(
        """const s = document.getElementById("scrub"); s.value = 5;
        s.dispatchEvent(new Event("input", { bubbles: true }));"""
    )
    assert clock(page) == pytest.approx(5.0)
    told = page.find_element("id", "told").text
    traces = slow_stops[0].traces
    i = int(abs(traces["time"] - 5.0).argmin())
    assert f"{traces['distance'][i] / 0.9144:.0f} yd" in told
    n_locked = int((traces["wheel_speed"][i] < slow_stops[0].scenario.run.locked_wheel_speed).sum())
    shown = page.find_element("css selector", ".lane .numbers div:nth-child(4) dd").text
    assert shown.startswith(f"{n_locked} locked")


def test_the_cab_reads_low_when_its_axle_is_locked(page, slow_stops):
    page.execute_script("go(8)")
    numbers = page.find_elements("css selector", ".lane:first-child .numbers dd")
    train, cab = (int(number.text.split()[0]) for number in numbers[:2])
    assert cab == 0 < train


@pytest.mark.parametrize(("lane", "moment", "is_turning"), [(1, 1.0, True), (0, 8.0, False)])
def test_wheels_turn_unless_locked(page, lane, moment, is_turning):
    """Two pictures 20 ms apart with train and pressures held still: only wheels can differ."""
    before, after = page.execute_script(
        """const [i, moment] = arguments, s = STOPS[i];
        s.distance.fill(50); s.pressure.fill(0);
        return [moment, moment + 0.02].map((t) => {
          go(t, false);
          return lanes[i].canvas.toDataURL();
        });""",
        lane,
        moment,
    )
    assert (before != after) == is_turning


def test_a_moment_can_be_named_in_the_address(driver, page_file):
    driver.get("about:blank")
    driver.get(f"{page_file.as_uri()}#t=7.5")
    assert clock(driver) == pytest.approx(7.5)


def test_less_motion_is_honoured(page_file, tmp_path):
    with chromium(tmp_path / "profile", "--force-prefers-reduced-motion") as calm:
        calm.get(page_file.as_uri())
        assert calm.find_element("id", "calm").is_displayed()
        calm.find_element("id", "play").click()
        seen = calm.execute_async_script(
            """const done = arguments[0], seen = new Set(), began = performance.now();
            const look = () => {
              seen.add(document.body.dataset.time);
              performance.now() - began < 1300 ? setTimeout(look, 20) : done([...seen]);
            };
            look();"""
        )
        assert 2 <= len(seen) <= 4, json.dumps(seen)  # twice a second, for 1.3 s
        assert complaints(calm) == []


def test_the_page_prints_and_its_order_of_focus_is_that_of_the_page(page):
    from selenium.webdriver.common.keys import Keys

    order = []
    for _ in range(9):
        press(page, Keys.TAB)
        order.append(page.execute_script("return document.activeElement.id"))
    assert order == ["scrub", "play", "start", "back", "on", "end", "pace", "units", "projector"]


def at_size(page, width, height):
    page.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False},
    )


@pytest.mark.parametrize("size", [(400, 800), (1100, 1250), (1366, 768), (1920, 1080)])
def test_nothing_sticks_out_or_overlaps_at_any_size(page, size):
    at_size(page, *size)
    page.execute_script("go(LASTS)")
    for _ in range(2):  # and in the large view
        widest = page.execute_script("return [document.body.scrollWidth, window.innerWidth]")
        assert widest[0] <= widest[1]
        boxes = page.execute_script(
            """return [...document.querySelectorAll(
                 "header, .bar, .lane h2, .numbers, canvas, .card, #told, footer p")]
               .map((e) => e.getBoundingClientRect())
               .map((b) => [b.left, b.top, b.right, b.bottom]).filter((b) => b[3] > b[1])"""
        )
        for i, one in enumerate(boxes):
            for other in boxes[i + 1 :]:
                is_apart = one[2] <= other[0] + 1 or other[2] <= one[0] + 1
                assert is_apart or one[3] <= other[1] + 1 or other[3] <= one[1] + 1, (one, other)
        page.find_element("id", "projector").click()
    page.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_a_long_train_stands_in_rows_with_wheels_that_can_be_told(page):
    """48 axles on 400 px: the smallest wheel is 10 px across or more."""
    at_size(page, 400, 800)
    diameter, rows = page.execute_script(
        """const cars = [0, 1, 2].flatMap((i) => DATA.vehicles.map(
             (v) => ({ ...v, start: v.start + i * DATA.length })));
           const axles = [0, 1, 2].flatMap((i) => DATA.axles.map(
             (a) => ({ ...a, offset: a.offset + i * DATA.length })));
           const train = { vehicles: cars, axles, length: 3 * DATA.length };
           const plan = planRows(train, 370, 12);
           return [2 * Math.min(12, 0.42 * smallestSpacing(train) * plan.scale), plan.rows.length];
        """
    )
    page.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert diameter >= 10.0 and rows > 1


def test_the_last_frame_of_none_has_16_wheels_locked_and_a_card(page):
    page.execute_script("go(LASTS)")
    shown = page.find_element("css selector", ".lane .numbers div:nth-child(4) dd").text
    assert shown.startswith("16 locked")
    card = page.find_element("css selector", ".lane .card")
    assert card.is_displayed() and "16 axles locked to standstill" in card.text
    page.execute_script("go(0)")
    assert not card.is_displayed()


def test_the_address_is_read_written_and_forgiven(page, page_file):
    page.execute_script("window.location.hash = '#t=3.5'")
    time.sleep(0.2)
    assert clock(page) == pytest.approx(3.5)
    for wrong in ("#t=", "#t=1.2.3", "#t=-4", "#t=NaN", "#t=1e9x", "#elsewhere"):
        page.execute_script("window.location.hash = arguments[0]", wrong)
        time.sleep(0.1)
        assert clock(page) == pytest.approx(3.5)
        assert "names no moment" in page.find_element("id", "told").text
    page.execute_script(
        """const s = document.getElementById("scrub"); s.value = 6;
        s.dispatchEvent(new Event("input", { bubbles: true }));"""
    )
    time.sleep(0.5)
    assert page.execute_script("return window.location.hash") == "#t=6.0"


def test_units_are_switched_everywhere_at_once(page, slow_stops):
    from selenium.webdriver.support.ui import Select

    page.execute_script("go(0)")
    speed = slow_stops[0].traces["train_speed"][0]
    for value, written in (
        ("kmh", f"{speed * 3.6:.0f} km/h"),
        ("ms", f"{speed:.1f} m/s"),
        ("mph", f"{speed / 0.44704:.0f} mph"),
    ):
        Select(page.find_element("id", "units")).select_by_value(value)
        assert page.find_element("css selector", ".lane .numbers dd").text == written
        label = page.find_element("css selector", ".lane canvas").get_attribute("aria-label")
        assert written in label and written in page.find_element("id", "told").text


def test_labels_of_the_pictures_follow_the_clock(page):
    seen = set()
    for moment in (0, 4, 8):
        page.execute_script("go(arguments[0])", moment)
        labels = [
            page.find_element("css selector", name).get_attribute("aria-label")
            for name in (".lane canvas", "#line", "#chart")
        ]
        assert f"{moment}.0 s" in labels[0]
        seen.add(tuple(labels))
    assert len(seen) == 3


def test_shapes_keep_their_meaning_without_any_colour(page):
    """Four wheels drawn in outline alone: every two differ."""
    pictures = page.execute_script(
        """const c = document.createElement("canvas");
        const pen = c.getContext("2d", { willReadFrequently: true });
        c.width = c.height = 30;
        for (const name of ["shallow", "deep", "locked", "paper"]) LOOK[name] = "#ffffff";
        LOOK.ink = "#000000";
        return [0, 1, 2, 3].map((state) => {
          pen.fillStyle = "#ffffff"; pen.fillRect(0, 0, 30, 30);
          drawWheel(pen, 15, 15, 6, 0, state);
          return [...pen.getImageData(0, 0, 30, 30).data].filter((v, i) => i % 4 === 0);
        });"""
    )
    for i, one in enumerate(pictures):
        for other in pictures[i + 1 :]:
            assert sum(abs(a - b) > 100 for a, b in zip(one, other, strict=True)) >= 10


@pytest.mark.parametrize("media", [("prefers-color-scheme", "dark"), ("forced-colors", "active")])
def test_the_system_s_colours_are_taken(page, media):
    usual = page.execute_script("return LOOK")
    features = [{"name": media[0], "value": media[1]}]
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
    time.sleep(0.2)
    changed = page.execute_script("return LOOK")
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    assert all(
        changed[name] and changed[name] != usual[name] for name in ("ink", "paper", "locked")
    )


def test_paper_is_light_and_as_wide_as_the_page(page):
    page.execute_cdp_cmd(
        "Emulation.setEmulatedMedia",
        {"features": [{"name": "prefers-color-scheme", "value": "dark"}]},
    )
    page.execute_script("window.dispatchEvent(new Event('beforeprint'))")
    paper, wide = page.execute_script(
        "return [LOOK.paper, document.querySelector('.lane canvas').getBoundingClientRect().width]"
    )
    page.execute_script("window.dispatchEvent(new Event('afterprint'))")
    dark = page.execute_script("return LOOK.paper")
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    assert paper == "#ffffff" != dark and wide == pytest.approx(700.0)

"""The desk in real Chromium: a scripted trainee, reloads, sizes, the debrief on paper."""

import base64
import json
import re
import signal
import subprocess
import sys
import threading
import time
from contextlib import ExitStack, suppress

import numpy as np
import pytest
from tests.figures.browser import chromium, complaints
from tests.practice.desk import lesson_desk, scenario_desk, served
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect

from slipbench.ground.caution import CAUTION
from slipbench.practice.gate import DRIVE, LEAD, WATCH
from slipbench.practice.session import CAB_KEYS
from slipbench.scenario import load_scenario
from slipbench.stop.simulation import simulate
from slipbench.strategies.registry import find_controller

pytestmark = pytest.mark.browser

KEEP_FRAMES = """
window.frames = [];
const Plain = window.WebSocket;
window.WebSocket = class extends Plain {
  constructor(...words) {
    super(...words);
    this.addEventListener("message", (event) => window.frames.push(event.data));
  }
};
"""


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    with chromium(tmp_path_factory.mktemp("profile")) as running:
        running.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": KEEP_FRAMES})
        yield running


@pytest.fixture
def driver(browser):
    """Chromium on an empty page, nothing complained of; a desk before took its page's line away."""
    browser.get("about:blank")
    time.sleep(0.1)
    complaints(browser)
    return browser


def press(page, *keys):
    from selenium.webdriver import ActionChains

    chain = ActionChains(page)
    for key in keys:
        chain.send_keys(key)
    chain.perform()


def wait(page, script, seconds=20.0):
    """Wait until a script gives something true, and return it."""
    ends = time.monotonic() + seconds
    while time.monotonic() < ends:
        found = page.execute_script(f"return {script}")
        if found:
            return found
        time.sleep(0.05)
    raise AssertionError(f"{script} did not come true within {seconds} s")


def at_size(page, width, height):
    page.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False},
    )


def begin(page, name=""):
    wait(page, "document.body.dataset.state === 'ready'")
    if name:
        page.find_element("id", "name").send_keys(name)
    page.find_element("id", "begin").click()
    wait(page, "document.body.dataset.state === 'running'")


def handle(page, position):
    wait(page, f"last && last.handle === {position}")


COUNT_SOUNDS = """
window.sounds = 0;
const start = AudioBufferSourceNode.prototype.start;
AudioBufferSourceNode.prototype.start = function () { window.sounds += 1; start.call(this); };
"""


def test_a_scripted_trainee(driver, short, tmp_path):
    """By keys: brakes, a dead press, releases, emergency, isolates, stops. Cab data only.

    The saved log replays to the same bits, and the debrief's numbers are those of `compare`.
    """
    from selenium.webdriver.common.keys import Keys

    from slipbench.commands.main import main

    with served(scenario_desk(short), tmp_path) as desk:
        driver.get(desk.page(DRIVE))
        driver.execute_script(COUNT_SOUNDS)
        begin(driver, "Ann")
        driver.find_element("id", "sound").click()
        for position in (1, 2, 3):
            press(driver, Keys.ARROW_UP)
            handle(driver, position)
        press(driver, "i")
        wait(driver, "last.time > 4")
        for position in (2, 1, 0):
            press(driver, Keys.ARROW_DOWN)
            handle(driver, position)
        wait(driver, "last.time > 7")
        for position in (1, 2, 3, 4):
            press(driver, Keys.ARROW_UP)
            handle(driver, position)
        press(driver, "i")
        wait(driver, "last.isolation > 100")
        told = driver.find_element("id", "isolation").text
        assert told.startswith(("Isolated, 2:00", "Isolated, 1:5"))
        assert "Release now gives a full application" in told
        page = wait(driver, "document.body.dataset.debrief", 60.0)
        assert driver.execute_script("return window.sounds") > 3
        frames = [json.loads(text) for text in driver.execute_script("return window.frames")]
        driver.get(f"http://127.0.0.1:{desk.port}{page}")
        told = driver.find_element("tag name", "h1").text
        text = driver.find_element("tag name", "body").text
        live = desk.server.session.live.account()
        driver.find_element("id", "again").click()
        wait(driver, "document.body.dataset.state === 'ready'")
        assert complaints(driver) == []
    (folder,) = tmp_path.glob("run-*")
    again = simulate(load_scenario(folder / "run.toml"), find_controller("slip_band").controller, 0)
    for name, values in again.traces.items():
        assert np.array_equal(live.traces[name], values, equal_nan=True), name
    check_frames(frames, again)
    assert told.startswith("You stopped") and CAUTION in text
    record = json.loads((folder / "practice.json").read_text())["row"]
    assert record["dead_presses"] == 1 and record["presses"] == 2 and record["name"] == "Ann"
    words = ["compare", folder / "run.toml", folder / "held.toml", "--strategy", "slip_band"]
    out = tmp_path / "c"
    assert main([*map(str, words), "--seeds", "1", "--workers", "1", "--out", str(out)]) == 0
    rows = json.loads((out / "compare.json").read_text())["rows"]
    distance = {row["scenario"]: row["stopping_distance"] for row in rows}
    assert distance["run"] == record["distance_m"] == again.summary["stopping_distance"]
    assert f"({distance['run']:.1f} m)" in text and f"({distance['held']:.1f} m)" in text


def check_frames(frames, stop):
    """Hold every frame the cab page was sent against what a cab knows."""
    assert {frame["kind"] for frame in frames} == {"card", "cab", "debrief"}
    cab = [frame for frame in frames if frame["kind"] == "cab"]
    assert len(cab) > 100 and all(set(frame) == CAB_KEYS for frame in cab)
    time_of, traces = stop.traces["time"], stop.traces
    n_hidden = 0
    for frame in cab:
        near = np.abs(time_of - frame["time"]) < 0.06
        shown = traces["measured_wheel_speed"][near, 0]
        assert shown.min() - 0.06 <= frame["speed"] <= shown.max() + 0.06
        n_hidden += abs(frame["speed"] - float(traces["train_speed"][near].mean())) > 1.0
    assert n_hidden > 10  # the true speed was another, and is nowhere in a frame
    assert sum(frame["vents"] for frame in cab) <= stop.summary["vent_count"]
    ended = [frame for frame in frames if frame["kind"] == "debrief"]
    assert all(set(frame) == {"kind", "at"} for frame in ended)


def test_a_reload_goes_on_with_the_run(driver, short, tmp_path):
    from selenium.webdriver.common.keys import Keys

    with served(scenario_desk(short), tmp_path) as desk:
        driver.get(desk.page(DRIVE))
        begin(driver)
        press(driver, Keys.ARROW_UP)
        handle(driver, 1)
        before = driver.execute_script("return last.time")
        driver.refresh()
        wait(driver, f"last && last.time > {before}")
        assert driver.execute_script("return [last.state, last.handle]") == ["running", 1]
        press(driver, Keys.ARROW_UP)
        handle(driver, 2)
        driver.execute_script("sessionStorage.setItem('desk', 'another')")
        driver.switch_to.new_window("tab")
        driver.get(desk.page(DRIVE))  # a second driver
        wait(driver, "document.getElementById('lost').textContent.includes('Someone else')")
        assert desk.server.log.refused["a second driver"] >= 1
        driver.close()
        driver.switch_to.window(driver.window_handles[0])
        assert complaints(driver) == []


@pytest.mark.parametrize("size", [(400, 800), (1100, 1250), (1366, 768), (1920, 1080)])
def test_nothing_sticks_out_or_overlaps(driver, short, tmp_path, size):
    from selenium.webdriver.common.keys import Keys

    with served(scenario_desk(short), tmp_path) as desk:
        at_size(driver, *size)
        driver.get(desk.page(DRIVE))
        wait(driver, "document.body.dataset.state === 'ready'")
        no_overlap(driver, "#start h1, .facts div, #start p, .caution")
        begin(driver)
        press(driver, Keys.ARROW_UP)
        handle(driver, 1)
        no_overlap(driver, ".tile, #ladder, .aside, .caution")
        if size == (1366, 768):
            bottom = "document.querySelector('#ladder').getBoundingClientRect().bottom"
            assert driver.execute_script(f"return {bottom}") < 768
        driver.get(desk.page(LEAD))
        wait(driver, "document.body.dataset.state === 'running'")
        for _ in range(2):
            no_overlap(driver, "h1, .numbers > div, canvas, #question, .buttons, .caution")
            driver.find_element("id", "projector").click()
        at_size(driver, 1100, 1250)
        assert complaints(driver) == []


def no_overlap(page, selector):
    widest = page.execute_script("return [document.body.scrollWidth, window.innerWidth]")
    assert widest[0] <= widest[1]
    boxes = page.execute_script(
        """return [...document.querySelectorAll(arguments[0])]
           .map((e) => e.getBoundingClientRect())
           .map((b) => [b.left, b.top, b.right, b.bottom]).filter((b) => b[3] > b[1])""",
        selector,
    )
    assert len(boxes) >= 3
    for i, one in enumerate(boxes):
        for other in boxes[i + 1 :]:
            is_beside = one[2] <= other[0] + 1 or other[2] <= one[0] + 1
            assert is_beside or one[3] <= other[1] + 1 or other[3] <= one[1] + 1, (one, other)


def test_the_instructor_freezes_asks_and_reveals(driver, short, tmp_path):
    with served(scenario_desk(short), tmp_path) as desk:
        desk.server.session.begin(time.monotonic())
        driver.get(desk.page(LEAD))
        wait(driver, "document.body.dataset.state === 'running'")
        driver.find_element("id", "ask").click()
        wait(driver, "document.body.dataset.asking === 'true' && scene.state === 'frozen'")
        driver.find_element("id", "line").click()
        wait(driver, "question.n === 1")
        driver.find_element("id", "reveal").click()
        wait(driver, "scene.state === 'running' && Object.keys(question.guesses).length === 1")
        label = driver.find_element("id", "train-view").get_attribute("aria-label")
        assert "locked" in label and "mph" in label
        driver.get(desk.page(WATCH))
        wait(driver, "document.body.dataset.state === 'running'")
        assert not driver.find_element("id", "lead").is_displayed()
        assert complaints(driver) == []


def test_debrief_and_handout_print_on_one_page_with_room_for_notes(driver, tmp_path):
    from tests.practice.test_debrief import driven

    from slipbench.practice.debrief import debrief
    from slipbench.practice.debrief_page import debrief_page
    from slipbench.practice.handout import handout_page
    from slipbench.practice.lessons import lesson_names, load_lesson

    scenario = driven(lesson_desk("holding"), (8.0, 3), (14.0, 1), (22.0, 3))
    found = debrief(scenario, find_controller("slip_band"), 0)
    lesson = load_lesson("holding")
    pages = {"debrief": debrief_page(found, "Ann", lesson, repeat=["slipbench stop run.toml"])}
    pages |= {name: handout_page(load_lesson(name)) for name in lesson_names()}
    for name, page in pages.items():
        path = tmp_path / f"{name}.html"
        path.write_text(page, encoding="utf-8")
        driver.get(path.as_uri())
        printed = driver.execute_cdp_cmd(
            "Page.printToPDF", {"printBackground": False, "preferCSSPageSize": True}
        )
        assert base64.b64decode(printed["data"]).count(b"/Type /Page\n") == 1, name
        assert "Notes" in driver.execute_script("return document.body.textContent")
    assert complaints(driver) == []


TIMER = """
import time
due, late, end = time.monotonic(), [], time.monotonic() + 60.0
while due < end:
    due += 0.05
    time.sleep(max(0.0, due - time.monotonic()))
    worked = time.thread_time() + 0.005
    while time.thread_time() < worked:
        pass
    late.append(time.monotonic() - due)
print(sorted(late)[int(0.99 * len(late))])
"""
"""A process that wakes up as often as the desk and works as long, on something else."""


@pytest.mark.slow
def test_a_minute_keeps_pace(driver, tmp_path):
    """One minute at real time, a trainee in Chromium and ten who look on.

    99 of 100 frames leave within 50 ms of their moment, beyond what this machine lets any process
    wait that works as much; on one that is idle those are the 5 ms of that work.
    """
    words = [sys.executable, "-m", "slipbench", "practice", "holding", "--no-browser", "--out"]
    process = subprocess.Popen(
        [*words, str(tmp_path)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    try:
        text = ""
        while CAUTION not in text:
            text += process.stdout.readline()
        drive, _, watch = re.findall(r"http://[^ ]+/", text)
        origin, live = drive.rpartition("/")[0].rpartition("/")[0], watch.replace("http", "ws")
        timer = subprocess.Popen([sys.executable, "-c", TIMER], stdout=subprocess.PIPE, text=True)
        with ExitStack() as stack:
            for _ in range(10):
                viewer = stack.enter_context(connect(f"{live}live", origin=origin))
                threading.Thread(target=drain, args=(viewer,), daemon=True).start()
            driver.get(drive)
            begin(driver)
            began, first = time.monotonic(), driver.execute_script("return last.time")
            time.sleep(60.0)
            ran = driver.execute_script("return last.time") - first
            assert ran == pytest.approx(time.monotonic() - began, abs=0.5)
            driver.find_element("id", "end").click()
            wait(driver, "document.body.dataset.debrief", 60.0)
        unavoidable = 1e3 * float(timer.communicate(timeout=30)[0])
        process.send_signal(signal.SIGINT)
        told = process.communicate(timeout=30)[1]
    finally:
        process.kill()
    n_frames, lag = re.search(r"pace: (\d+) frames; .* ([\d.]+) ms at the 99th", told).groups()
    assert int(n_frames) > 1150
    assert float(lag) < 50.0 + unavoidable, told


def drain(socket):
    """Take whatever a page is sent, to the end."""
    with suppress(ConnectionClosed):
        while True:
            socket.recv()

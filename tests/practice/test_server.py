"""The desk's server: who is let in, who is refused, and that the run goes on meanwhile."""

import json
import socket as sockets
import time
import urllib.error
import urllib.request

import pytest
from tests.practice.desk import HERE, say, scenario_desk, served, take
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect

from slipbench.ground.errors import InputError
from slipbench.practice.gate import DEBRIEF, DRIVE, LEAD, LIVE, WATCH, Gate, Log
from slipbench.practice.messages import read_message
from slipbench.practice.server import DeskServer
from slipbench.practice.session import CAB_KEYS


@pytest.fixture
def desk(short, tmp_path):
    with served(scenario_desk(short), tmp_path) as running:
        yield running


def begun(desk):
    driver = desk.driver()
    say(driver, do="begin", name="Ann")
    take(driver, "cab", lambda frame: frame["state"] == "running")
    return driver


def still_runs(desk, driver):
    """Say whether the train goes on, and its frames come."""
    before = take(driver, "cab")["time"]
    return take(driver, "cab", lambda frame: frame["time"] > before + 0.2)["state"] == "running"


def status_of(url, **headers):
    try:
        with urllib.request.urlopen(urllib.request.Request(url, headers=headers)) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as problem:
        return problem.code, problem.read().decode()


def test_pages_are_served_to_those_who_have_the_address(desk):
    for role, word in ((DRIVE, "brake handle"), (WATCH, "where will it stop"), (LEAD, "reveal")):
        with urllib.request.urlopen(desk.page(role)) as answer:
            page = answer.read().decode()
            assert answer.headers["Cache-Control"] == "no-store"
            assert answer.headers["Referrer-Policy"] == "no-referrer"
        assert word in page and "default-src 'none'" in page and "{{" not in page
    assert status_of(desk.server.gate.address(DRIVE, DEBRIEF))[0] == 404
    assert len(set(desk.server.gate.tokens.values())) == 3
    assert all(len(token) >= 24 for token in desk.server.gate.tokens.values())


def test_wrong_host_no_token_and_foreign_origin_are_refused_and_the_run_goes_on(desk):
    driver, port = begun(desk), desk.port
    page = desk.page(DRIVE)
    assert status_of(page, Host=f"desk.example:{port}")[0] == 403
    assert status_of(page, Host=f"localhost:{port}")[0] == 403
    for path in ("", "live", "x/", "%00/", "../", "é/".encode().decode("latin-1")):
        url = f"http://{HERE}:{port}/{urllib.request.quote(path)}"
        assert status_of(url)[0] in (400, 403)
    assert status_of(page + "secrets")[0] == 403
    for origin in (None, "http://example.org", f"https://{HERE}:{port}", f"http://{HERE}:1"):
        with pytest.raises(InvalidStatus), connect(desk.live(DRIVE), origin=origin):
            pass
    told = " ".join(desk.lines)
    for reason in ("wrong Host", "no token", "foreign Origin", "no such page"):
        assert f"refused: {reason}" in told
    assert desk.server.gate.tokens[DRIVE] not in told
    assert still_runs(desk, driver)


BAD_FRAMES = [
    "", "{", "null", "[]", "7", '{"do": 3}', '{"do": "fly"}', '{"do": "handle"}',
    '{"do": "handle", "to": "3"}', '{"do": "handle", "to": true}', '{"do": "handle", "to": -1}',
    '{"do": "handle", "to": 1e400}', '{"do": "pace", "to": NaN}', '{"do": "pace", "to": 7}',
    '{"do": "begin", "name": {}}', '{"do": "hello", "id": "x", "more": 1}', '{"do": "ask"}',
    '{"do": "begin", "name": "' + "x" * 101 + '"}', "[" * 400, b"\x00\x01",
]  # fmt: skip


@pytest.mark.parametrize("frame", BAD_FRAMES, ids=[str(f)[:28] for f in BAD_FRAMES])
def test_a_malformed_message_is_refused(frame):
    with pytest.raises(InputError):
        read_message(frame, DRIVE)


def test_malformed_and_oversized_frames_end_their_page_and_not_the_run(desk):
    driver, n_sent = begun(desk), 0
    for frame in (*BAD_FRAMES, "x" * 600, "x" * 5_000_000):
        with desk.connect(WATCH, max_size=None) as other, pytest.raises(ConnectionClosed):
            other.send(frame)
            n_sent += 1
            while True:
                other.recv(timeout=10)
    refused = desk.server.log.refused
    for _ in range(100):  # the page hears of it before the desk has counted
        if refused["malformed frame"] + refused["oversized frame"] == n_sent:
            break
        time.sleep(0.05)
    assert refused["malformed frame"] == n_sent - 2 and refused["oversized frame"] == 2
    raw = sockets.create_connection((HERE, desk.port))
    raw.sendall(b"\x16\x03\x01\x02\x00 no words at all\r\n\r\n")
    raw.close()
    assert still_runs(desk, driver)


def test_a_page_that_floods_is_let_go(desk):
    driver = begun(desk)
    with desk.connect(WATCH) as other, pytest.raises(ConnectionClosed):
        for _ in range(2000):
            say(other, do="guess", name="x", place=1.0)
        while True:
            other.recv(timeout=10)
    assert still_runs(desk, driver)


def test_a_thousand_connections_are_refused_and_the_run_goes_on(desk):
    """Half of them silent, half asking without the address's word; logged at 1, 10, 100 ..."""
    driver, open_ones = begun(desk), []
    for i in range(1000):
        one = sockets.create_connection((HERE, desk.port))
        if i % 2:
            one.sendall(f"GET / HTTP/1.1\r\nHost: {HERE}:{desk.port}\r\n\r\n".encode())
        open_ones.append(one)
        if len(open_ones) > 300:
            open_ones.pop(0).close()
    assert still_runs(desk, driver)
    reader = desk.connect(WATCH)  # and someone who may come in still can
    assert take(reader, "scene")["state"] == "running"
    reader.close()
    for one in open_ones:
        one.close()
    refused = desk.server.log.refused
    assert refused["no token"] > 0 and refused["too many connections"] > 0
    assert refused["no token"] + refused["too many connections"] > 800  # others left by themselves
    assert sum("no token" in line for line in desk.lines) <= 4
    assert len(desk.server._waiting) <= 40


def test_a_reload_takes_the_handle_again_and_a_second_driver_is_refused(desk):
    first = desk.driver("one")
    say(first, do="begin", name="")
    say(first, do="handle", to=2)
    take(first, "cab", lambda frame: frame["handle"] == 2)
    with desk.driver("two") as second, pytest.raises(ConnectionClosed) as closed:
        while True:
            second.recv(timeout=10)
    assert closed.value.rcvd.code == 4001
    assert desk.server.log.refused["a second driver"] == 1
    again = desk.driver("one")  # a reload: the same page, before the old line is gone
    frame = take(again, "cab")
    assert frame["state"] == "running" and frame["handle"] == 2
    with pytest.raises(ConnectionClosed):
        while True:
            first.recv(timeout=10)
    say(again, do="handle", to=3)
    assert take(again, "cab", lambda frame: frame["handle"] == 3)
    again.close()
    time.sleep(0.2)
    assert take(desk.driver("two"), "cab")["state"] == "running"  # nobody drove


def test_ten_viewers_see_the_same_and_may_not_drive(desk):
    driver = begun(desk)
    viewers = [desk.connect(WATCH) for _ in range(10)]
    say(driver, do="handle", to=3)
    seen = [take(one, "scene", lambda frame: frame["handle"] == 3) for one in viewers]
    assert all(len(frame["wheels"]) == 16 for frame in seen)
    with pytest.raises(ConnectionClosed):
        say(viewers[0], do="handle", to=0)
        while True:
            viewers[0].recv(timeout=10)
    assert still_runs(desk, driver)
    for one in viewers:
        one.close()


def test_where_will_it_stop(desk):
    driver, lead, viewer = begun(desk), desk.connect(LEAD), desk.connect(WATCH)
    say(lead, do="ask")
    assert take(viewer, "question", lambda frame: frame["open"])["guesses"] == {}
    say(viewer, do="guess", name="Bob", place=77.0)
    asked = take(lead, "question", lambda frame: frame["n"] == 1)
    assert asked["guesses"] == {}  # not told before it has run on
    frozen = take(driver, "cab", lambda frame: frame["state"] == "frozen")["time"]
    assert take(driver, "cab", lambda frame: True)["time"] == frozen
    say(lead, do="reveal")
    assert take(viewer, "question", lambda frame: not frame["open"])["guesses"] == {"Bob": 77.0}
    assert still_runs(desk, driver)


def test_a_run_ends_saved_and_debriefed_and_another_begins(short, tmp_path):
    with served(scenario_desk(short.replace(initial_speed=3.0)), tmp_path) as desk:
        driver, frames = begun(desk), []
        say(driver, do="pace", to=2)
        say(driver, do="handle", to=3)
        while not frames or frames[-1]["kind"] != "debrief":
            frames.append(json.loads(driver.recv(timeout=30)))
        assert {frame["kind"] for frame in frames} == {"cab", "debrief"}
        assert all(set(frame) == CAB_KEYS for frame in frames if frame["kind"] == "cab")
        code, page = status_of(f"http://{HERE}:{desk.port}{frames[-1]['at']}")
        assert code == 200 and "You stopped" in page and "#again" in page
        assert str(tmp_path / "run-001" / "run.toml") in page
        assert (tmp_path / "run-001" / "run.toml").exists() and (tmp_path / "class.csv").exists()
        assert "99th percentile" in " ".join(desk.lines)
        say(driver, do="rail", to="dry")
        card = take(driver, "card")
        assert card["rail"] == "The rail of dry." and card["state"] == "ready"
        with pytest.raises(ConnectionClosed):
            say(driver, do="rail", to="../../etc")
            while True:
                driver.recv(timeout=10)


def test_a_table_changed_by_its_user_costs_no_debrief(short, tmp_path):
    """Ended by hand, which the page says; the table is the user's now, and stays so."""
    with served(scenario_desk(short.replace(initial_speed=3.0)), tmp_path) as desk:
        for number in (1, 2):
            driver = begun(desk)
            say(driver, do="end")
            at = take(driver, "debrief", wait=30.0)["at"]
            assert (tmp_path / f"run-00{number}" / "debrief.html").exists()
            (tmp_path / "class.csv").write_text("mine", encoding="utf-8")
            say(driver, do="again")
            driver.close()
        assert "Ended by hand" in status_of(f"http://{HERE}:{desk.port}{at}")[1]
        assert (tmp_path / "class.csv").read_text(encoding="utf-8") == "mine"
        assert any("not up to date" in line for line in desk.lines)


def test_host_and_origin_must_be_exact():
    gate = Gate(Log(lambda line: None))
    gate.open_at([HERE], 8123)
    path, host, origin = f"/{gate.tokens[DRIVE]}/{LIVE}", f"{HERE}:8123", f"http://{HERE}:8123"

    def admitted(path, **headers):
        return gate.admit(path, lambda name: headers.get(name, []))

    assert admitted(path, Host=[host], Origin=[origin]) == (DRIVE, LIVE)
    assert admitted(path.removesuffix("live"), Host=[host]) == (DRIVE, "")
    for wrong in ([], [host, host], [HERE], ["127.0.0.1:8123.example.org"], [host.upper() + " "]):
        assert admitted(path, Host=wrong, Origin=[origin]) is None
    for wrong in ([], [origin, origin], [origin + "/"], ["null"], [origin.upper()]):
        assert admitted(path, Host=[host], Origin=wrong) is None
    assert admitted(path[1:-6] + "x/live", Host=[host], Origin=[origin]) is None


def test_a_taken_port_is_one_line(short, tmp_path):
    import asyncio

    taken = sockets.create_server((HERE, 0))
    server = DeskServer(scenario_desk(short), tmp_path, Log(lambda line: None))
    with pytest.raises(InputError, match="cannot be had"):
        asyncio.run(server.serve([HERE], HERE, taken.getsockname()[1]))
    taken.close()

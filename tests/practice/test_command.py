"""The command `practice`: what it prints, what it refuses, how it ends."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request

import pytest

from slipbench.ground.caution import CAUTION


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--port", "80"), "1024 to 65535"),
        (("holdng",), "holdng"),
        (("holding", "--strategy", "slip_bnd"), "slip_band"),
        (("holding", "--strategy", "none,slip_band"), "one strategy"),
        (("holding", "--speed", "75"), "unit"),
        (("--table", "--out", "nowhere"), "no runs"),
    ],
)
def test_what_cannot_be_is_one_line(run, tmp_path, monkeypatch, words, said):
    monkeypatch.chdir(tmp_path)
    ran = run("practice", "--no-browser", *words)
    assert ran.code == 2 and ran.err.count("\n") == 1 and said in ran.err
    assert not list(tmp_path.iterdir())


def test_without_the_extra_it_says_how_to_get_it(run, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "websockets.asyncio.server", None)
    ran = run("practice", "holding", "--no-browser", "--out", tmp_path / "new")
    assert ran.code == 2 and "slipbench[practice]" in ran.err
    assert not (tmp_path / "new").exists()


def desk_process(folder, *words):
    line = [sys.executable, "-m", "slipbench", "practice", "gauge", "--no-browser", "--out"]
    return subprocess.Popen(
        [*line, str(folder), *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )  # fmt: skip


def in_a_network():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return False
    return True


@pytest.mark.skipif(not in_a_network(), reason="this machine is in no network")
def test_lan_says_what_it_opens_and_opens_that(tmp_path):
    process = desk_process(tmp_path / "runs", "--lan")
    try:
        lines = []
        while not any(CAUTION in line for line in lines):
            lines.append(process.stdout.readline())
        text = "".join(lines)
        (host, port), *others = re.findall(r"http://([\d.]+):(\d+)/[\w-]+/", text)
        assert host != "127.0.0.1" and len(others) == 2
        assert f"--lan: port {port} of this machine is open to its whole network" in text
        with urllib.request.urlopen(re.search(r"http://\S+/", text)[0]) as answer:
            assert b"brake handle" in answer.read()
        with pytest.raises(urllib.error.HTTPError):  # by a name the desk was not opened under
            urllib.request.urlopen(f"http://localhost:{port}/")
    finally:
        process.kill()
        process.communicate()


def test_it_serves_until_interrupted(tmp_path):
    """A process of its own: addresses printed, the page there, Ctrl-C one line and code 130."""
    process = desk_process(tmp_path / "runs")
    try:
        lines = []
        while not any(CAUTION in line for line in lines):
            lines.append(process.stdout.readline())
        text = "".join(lines)
        addresses = re.findall(r"http://127\.0\.0\.1:\d+/[\w-]+/", text)
        assert len(set(addresses)) == 3 and "--lan" not in text
        with urllib.request.urlopen(addresses[0]) as answer:
            assert b"brake handle" in answer.read()
        time.sleep(0.3)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=20)
    finally:
        process.kill()
    assert process.returncode == 130 and "no run was saved" in err
    assert not out.strip()
    assert "Traceback" not in err

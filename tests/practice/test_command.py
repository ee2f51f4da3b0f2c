"""The command `practice`: what it prints, what it refuses, how it ends."""

import os
import re
import signal
import subprocess
import sys
import time
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


def test_it_serves_until_interrupted(tmp_path):
    """A process of its own: addresses printed, the page there, Ctrl-C one line and code 130."""
    words = [sys.executable, "-m", "slipbench", "practice", "gauge", "--no-browser", "--out"]
    process = subprocess.Popen(
        [*words, str(tmp_path / "runs")], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
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

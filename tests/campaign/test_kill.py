"""Processes killed or interrupted in the middle of a campaign, and resumed."""

import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import pytest

from slipbench.campaign.planning import campaign_plan
from slipbench.campaign.store import Store
from slipbench.results.scenario_file import scenario_file
from slipbench.running.candidate import candidate_of
from slipbench.running.task import run_task
from slipbench.scenario import load_scenario
from slipbench.strategies.registry import find_controller

DRIVER = Path(__file__).with_name("driver.py")
N_RAILS, N_SEEDS = 4, 20
PATIENCE = 300.0  # a cold cache compiles the physics first [s]


@pytest.fixture
def command(small, tmp_path):
    (tmp_path / "small.toml").write_text(scenario_file(small), encoding="utf-8")
    options = f"--strategy slip_band --random-rails {N_RAILS} --seeds {N_SEEDS} --workers 2"
    words = [sys.executable, str(DRIVER), "campaign", "small.toml", *options.split()]
    return [*words, "--out", "c.sqlite"], tmp_path


def start(command):
    words, folder = command
    return subprocess.Popen(
        words, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


def n_stored(folder):
    try:
        database = sqlite3.connect(f"file:{folder / 'c.sqlite'}?mode=ro", uri=True)
        return database.execute("SELECT count(*) FROM stop").fetchone()[0]
    except sqlite3.Error:
        return 0


@contextmanager
def stopped_writing(process, folder, n_stops):
    """Wait for stops, counting under the file's write lock: no more are stored in the body."""
    end = time.monotonic() + PATIENCE
    while n_stored(folder) == 0:
        assert process.poll() is None, process.stderr.read()
        assert time.monotonic() < end
        time.sleep(0.02)
    database = sqlite3.connect(folder / "c.sqlite", isolation_level=None, timeout=PATIENCE)
    try:
        database.execute("BEGIN IMMEDIATE")
        while n_stored(folder) < n_stops:
            database.rollback()
            assert process.poll() is None and time.monotonic() < end
            time.sleep(0.01)
            database.execute("BEGIN IMMEDIATE")
        assert n_stored(folder) < N_RAILS * N_SEEDS
        yield
    finally:
        database.close()  # which gives the lock back


def children_of(pid):
    return [int(p) for p in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def is_alive(pid):
    try:
        return "Z" not in Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except FileNotFoundError:
        return False


def finish_and_check(command, n_before):
    words, folder = command
    words = [*words, "--workers", "1"]  # the same stops, and two processes less to start
    done = subprocess.run(words, cwd=folder, capture_output=True, text=True, timeout=PATIENCE)
    assert done.returncode == 0, done.stderr
    n_stops = N_RAILS * N_SEEDS
    n_found = int(done.stdout.partition(" found stored")[0].rpartition(" ")[2])
    assert n_before <= n_found < n_stops  # what was stored is not run again
    assert f"{n_stops} stops: {n_stops - n_found} run now" in done.stdout
    known = [find_controller("slip_band")]
    small = load_scenario(folder / "small.toml")
    plan = campaign_plan([small], known, n_random=N_RAILS, n_seeds=N_SEEDS)
    tasks = list(plan.tasks())
    assert [candidate_of(k) for k in known] == list(plan.candidates)
    with Store(folder / "c.sqlite", is_writer=False) as store:
        assert len(store) == n_stops
        assert store.summary_text(tasks[0].key) == run_task(tasks[0]).summary
        assert store.summary_text(tasks[-1].key) == run_task(tasks[-1]).summary


def test_kill_9_loses_only_what_was_in_flight(command):
    process = start(command)
    with stopped_writing(process, command[1], 3):
        workers = children_of(process.pid) if sys.platform == "linux" else []
        n_before = n_stored(command[1])
        process.kill()
        process.wait()
    database = sqlite3.connect(command[1] / "c.sqlite")
    assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    database.close()
    assert n_before <= n_stored(command[1]) < N_RAILS * N_SEEDS
    end = time.monotonic() + 30.0
    while any(map(is_alive, workers)):  # orphans end by themselves
        assert time.monotonic() < end
        time.sleep(0.1)
    finish_and_check(command, n_before)


def test_ctrl_c_ends_cleanly_and_resumes(command):
    process = start(command)
    with stopped_writing(process, command[1], 3):
        os.kill(process.pid, signal.SIGINT)
    _, errors = process.communicate(timeout=PATIENCE)
    assert process.returncode == 130, errors
    assert "stops stored in c.sqlite; the same command resumes" in errors
    assert "Traceback" not in errors
    assert not (command[1] / "c.sqlite.lock").exists()
    finish_and_check(command, 3)

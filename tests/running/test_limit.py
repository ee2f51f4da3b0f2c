"""What interrupts a stop: Ctrl-C, a limit by the clock; and what becomes of it among others."""

import json
import math
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from slipbench.campaign.analysis import collect
from slipbench.campaign.campaign import run_campaign
from slipbench.campaign.objectives import OBJECTIVES, find_objectives
from slipbench.campaign.plan import Plan
from slipbench.campaign.rails import RandomRails
from slipbench.campaign.report import failure_notes
from slipbench.campaign.rig import Rig
from slipbench.campaign.store import IN_MEMORY, Store
from slipbench.campaign.tuning.judge import Goal
from slipbench.campaign.tuning.rails import family_rails
from slipbench.campaign.tuning.tuning import tune
from slipbench.campaign.variation import parameter_space
from slipbench.campaign.worst import worst_rail
from slipbench.comparison.compare import as_csv, compare
from slipbench.comparison.tables import comparison_table
from slipbench.ground.errors import InputError, StopFailed
from slipbench.running import limit
from slipbench.running.candidate import candidate_of
from slipbench.running.limit import limited, parse_limit
from slipbench.running.runner import run_stop
from slipbench.running.runners import HereRunner, PoolRunner
from slipbench.running.task import FAILED, failed_outcome, make_task, run_task
from slipbench.strategies.registry import find_controller

LOOPER = """
from slipbench import Controller, Parameter


def update(observation, parameters, memory, command, signals):
    for i in range(len(command)):
        command[i, 0] = 0.0
        command[i, 1] = 1.0
    memory[-1, 0] += 1.0
    while parameters[0] > 0.5 and memory[-1, 0] > 10.0:
        memory[-1, 0] += 1.0


CONTROLLER = Controller(
    name="looper", title="loops for ever at its eleventh sample", update=update, observes=(),
    n_memory=1, parameters=(Parameter("loops", 1.0, "-", 0.0, 1.0, "assumed"),),
)
"""
PATIENCE = 300.0  # a cold cache compiles the physics first [s]


@pytest.fixture
def looper(tmp_path):
    path = tmp_path / "looper.py"
    path.write_text(LOOPER, encoding="utf-8")
    return f"{path}:CONTROLLER"


def test_a_loop_in_python_is_ended_after_its_time(small, looper):
    start = time.monotonic()
    with pytest.raises(StopFailed) as failed:
        run_stop(small, find_controller(looper), 0, stop_limit=0.3)
    assert time.monotonic() - start < 0.3 + limit.GRACE
    text = str(failed.value)
    assert f"scenario {small.name}, strategy looper, seed 0: still at work after 0.3 s" in text
    assert run_stop(small, find_controller("none"), 0, stop_limit=60.0).summary["is_stopped"]


def test_nothing_is_raised_once_a_stop_is_over():
    for _ in range(5):
        with limited(1.0, "a stop"):
            time.sleep(0.01)
    time.sleep(1.1)
    with limited(math.inf, "a stop"):
        time.sleep(0.01)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("60s", 60.0), ("5min", 300.0), (" 2 h", 7200.0), ("1.5s", 1.5), ("none", math.inf)],
)
def test_limits_are_read_with_their_unit(text, seconds):
    assert parse_limit(text) == seconds


@pytest.mark.parametrize("text", ["60", "0s", "-1s", "", "s", "nans", "infs", "1e9h", "1_0x"])
def test_what_is_no_limit_is_refused_in_one_line(text):
    with pytest.raises(InputError, match=r"--stop-limit .*; write a number and s, min or h"):
        parse_limit(text)


def test_a_failed_stop_is_an_outcome_with_its_reason(small, looper):
    candidate = candidate_of(find_controller(looper))
    outcome = run_task(make_task(small, candidate, 0), 0.3)
    summary = json.loads(outcome.summary)
    assert set(summary) == {"is_stopped", FAILED} and summary["is_stopped"] is False
    assert "still at work" in summary[FAILED]
    assert all(objective.of(summary) == math.inf for objective in OBJECTIVES.values())


def test_a_campaign_goes_on_after_a_loop_and_names_it(small, looper):
    """Here in this process, as Python; the workers' way is below."""
    candidates = [candidate_of(find_controller(name)) for name in (looper, "none")]
    plan = Plan(RandomRails(small, 2, seed=3), candidates, range(1))
    with Store(IN_MEMORY) as store:
        counts = run_campaign(plan, store, HereRunner(stop_limit=0.3), is_quiet=True)
        assert counts.n_run == 4
        found = collect(store, find_objectives("distance,flats"))
        assert found.n_overruns == {"looper": 2, "none": 0} and len(found.rails) == 2
        assert found.table["flats"]["looper"].tolist() == [math.inf, math.inf]
        said = failure_notes(found.failures)
        assert said[0].startswith("2 stops failed") and "strategy looper, seed 0" in said[1]
        again = run_campaign(plan, store, HereRunner(), is_quiet=True)
        assert (again.n_run, again.n_found) == (0, 4)  # stored, as any other


@pytest.mark.parametrize("n_workers", [1, 2])
def test_a_comparison_goes_on_after_a_loop_and_names_it(small, looper, n_workers):
    """Compiled it can only be ended with its process; the stops beside it are run again."""
    known = [find_controller(looper, compile_file=n_workers > 1), find_controller("none")]
    found = compare([small], known, n_workers=n_workers, stop_limit=0.5)
    failed, ended = found.rows
    assert "still at work after 0.5 s" in failed.summary[FAILED] and ended.summary[FAILED] == ""
    assert not failed.summary["is_stopped"] and ended.summary["is_stopped"]
    assert math.isnan(failed.summary["flat_risk"]) and set(failed.summary) == set(ended.summary)
    table = " ".join(comparison_table(found).split())
    assert f"Failed: scenario {small.name}, strategy looper" in table
    assert as_csv(found.rows).count("\n") == 3
    alone = compare([small], known[1:], n_workers=1).rows[0].summary
    assert {name: ended.summary[name] for name in alone} == alone


def test_a_worker_that_cannot_be_interrupted_fails_its_stop_alone(small, looper):
    candidates = [candidate_of(find_controller(name, compile_file=True)) for name in (looper,)]
    candidates.append(candidate_of(find_controller("none")))
    plan = Plan(RandomRails(small, 1, seed=3), candidates, range(1))
    runner = PoolRunner(2, stop_limit=0.5)
    with Store(IN_MEMORY) as store:
        run_campaign(plan, store, runner, is_quiet=True)
        summaries = {task: store.summary(task.key) for task in plan.tasks()}
        alone = {
            task: json.loads(run_task(task).summary)
            for task in summaries
            if task.candidate.controller == "none"
        }
    runner.close()
    for task, summary in summaries.items():
        if task.candidate.controller == "none":
            assert summary == alone[task]
        else:
            assert "strategy looper" in summary[FAILED]


def test_tuning_passes_over_settings_whose_stops_fail(small, looper):
    """Half of the range of its one parameter fails; so does the default, which nothing drops."""

    class FailingRunner(HereRunner):
        def run(self, tasks):
            for task in tasks:
                fails = task.candidate.parameters()["loops"] > 0.5
                yield task, failed_outcome(task, "loops") if fails else run_task(task)

    known = find_controller(looper)
    rails = family_rails([small], 1, 1, 0, 1)
    goal = Goal(find_objectives("distance"))
    with Store(IN_MEMORY) as store:
        tuned = tune(
            known,
            parameter_space(known.controller, None),
            goal,
            rails,
            30,
            Rig(store, FailingRunner()),
        )
    assert tuned.chosen.values["loops"] <= 0.5 and tuned.chosen.n_overruns == 0
    assert tuned.default.n_overruns == 1 and math.isinf(tuned.default.scores[0])


def test_the_search_for_the_worst_rail_passes_over_stops_that_fail(small):
    """A budget of pieces that half of the rails break."""
    known = find_controller("none")
    few = small.replace({"run.maximum_pieces": 8000})
    with Store(IN_MEMORY) as store:
        found = worst_rail(few, known, 13, Rig(store, HereRunner()), harm="distance")
    assert found.failures and all("run.maximum_pieces" in line for line in found.failures)
    assert 0.0 < found.harm < math.inf


DAY = """
from slipbench import load_scenario, simulate
from slipbench.controllers import by_name
from slipbench.scenario import Driver, GradientSection, HandleEntry

scenario = load_scenario("dry").replace(
    {
        "initial_speed": 11.0,
        "gradient": (GradientSection(from_distance=-1e3, rise=-1e-3),),
        "driver": Driver(programme=(HandleEntry(at_time=86000.0, position=3),)),
        "run.maximum_time": 86400.0,
        "run.maximum_distance": 1e6,
    }
)
if __name__ == "__main__":
    print("begins", flush=True)
    stop = simulate(scenario, by_name("none"), with_traces=False)
    print(stop.summary["final_time"])
"""

IN_A_POOL = """
from day import scenario
from slipbench.running.candidate import candidate_of
from slipbench.running.runners import PoolRunner
from slipbench.running.task import make_task
from slipbench.strategies.registry import find_controller

if __name__ == "__main__":
    task = make_task(scenario, candidate_of(find_controller("none")), 0)
    print(list(PoolRunner(1).run([task])))
"""


FLOOR = DAY.replace("simulate", "shortest_possible").replace(
    'stop = shortest_possible(scenario, by_name("none"), with_traces=False)',
    'stop = shortest_possible(scenario.replace({"run.maximum_step": 1e-5}))',
)


@pytest.mark.parametrize("code", [DAY, FLOOR], ids=["a stop of a day", "its floor"])
def test_ctrl_c_ends_what_would_run_for_minutes_within_a_second(code, tmp_path):
    """Downhill, where brakes and slope balance; the floor with steps of a hundredth of a ms."""
    (tmp_path / "day.py").write_text(code, encoding="utf-8")
    run = subprocess.Popen(
        [sys.executable, "day.py"], cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert run.stdout is not None and run.stdout.readline() == b"begins\n"
    time.sleep(2.0)
    assert run.poll() is None
    start = time.monotonic()
    os.kill(run.pid, signal.SIGINT)
    _, said = run.communicate(timeout=PATIENCE)
    assert b"KeyboardInterrupt" in said
    assert time.monotonic() - start < 5.0  # a second, and what a busy machine adds


def workers_of(pid: int) -> list[Path]:
    """Return the folders in /proc of the worker processes a process has started."""
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    folders = [Path(f"/proc/{child}") for child in children]
    return [folder for folder in folders if b"spawn_main" in (folder / "cmdline").read_bytes()]


def seconds_used(folder: Path) -> float:
    """Return the processor time a process has used. [s]"""
    fields = (folder / "stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="reads /proc")
def test_a_worker_in_the_middle_of_a_stop_of_a_day_ends_with_its_parent(tmp_path):
    """The parent is killed, so that it can tell nobody."""
    (tmp_path / "day.py").write_text(DAY, encoding="utf-8")
    (tmp_path / "pool.py").write_text(IN_A_POOL, encoding="utf-8")
    run = subprocess.Popen([sys.executable, "pool.py"], cwd=tmp_path, stdout=subprocess.PIPE)
    began = time.monotonic()
    try:
        while not (workers := workers_of(run.pid)) or seconds_used(workers[0]) < 4.0:
            assert run.poll() is None and time.monotonic() - began < PATIENCE
            time.sleep(0.1)
    finally:
        run.kill()
        run.wait()
    killed = time.monotonic()
    while workers[0].exists():
        assert time.monotonic() - killed < 5.0
        time.sleep(0.02)

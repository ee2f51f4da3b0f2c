"""A local Dask cluster with two worker processes."""

import os
import signal

import pytest

from slipbench.campaign.campaign import run_campaign
from slipbench.campaign.plan import Plan
from slipbench.campaign.rails import RandomRails
from slipbench.campaign.store import IN_MEMORY, Store
from slipbench.ground.errors import InputError
from slipbench.results.identity import versions_text
from slipbench.running.cluster import ClusterRunner
from slipbench.running.runners import make_runner
from slipbench.running.task import run_task

distributed = pytest.importorskip("distributed")


@pytest.fixture(scope="module")
def cluster():
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0"
    ) as made:
        yield made


def test_a_worker_killed_in_the_middle_loses_nothing(cluster, small, candidates):
    plan = Plan(RandomRails(small, 4, seed=3), candidates, range(2))
    runner = make_runner(scheduler=cluster.scheduler_address)
    pids = [nanny.pid for nanny in cluster.workers.values()]  # asking a busy worker may time out
    assert len(pids) == 2
    n_killed = 0
    with Store(IN_MEMORY) as store:
        for i, (task, outcome) in enumerate(runner.run(plan.tasks())):
            store.add(task, outcome)
            if i == 3:
                os.kill(pids[0], signal.SIGKILL)
                n_killed += 1
        assert n_killed == 1
        assert len(store) == len(plan) == 16
        for task in plan.tasks():  # the same bits as in this process
            assert store.summary_text(task.key) == run_task(task).summary
    runner.close()


def test_a_cluster_serves_a_campaign(cluster, small, candidates):
    plan = Plan([small], candidates[1:])
    runner = ClusterRunner(cluster.scheduler_address)
    with Store(IN_MEMORY) as store:
        counts = run_campaign(plan, store, runner, is_quiet=True)
        task = next(plan.tasks())
        machine = next(iter(runner.machines()))
        assert runner.run_on(machine, task).summary == store.summary_text(task.key)
    runner.close()
    assert (counts.n_run, counts.notes) == (1, ())


def test_workers_of_another_version_are_refused(cluster, monkeypatch):
    monkeypatch.setattr("slipbench.running.cluster.versions", lambda: {"numba": "0.1"})
    with pytest.raises(InputError, match=r"has other versions: numba 0\.1 -> "):
        ClusterRunner(cluster.scheduler_address)


def test_a_worker_that_leaves_while_it_is_asked_is_passed_over(cluster, monkeypatch):
    answers = {"a": OSError("Timed out"), "b": (versions_text(), "{}")}
    monkeypatch.setattr(distributed.Client, "run", lambda *_, **__: answers)
    runner = ClusterRunner(cluster.scheduler_address)
    assert list(runner.machines().values()) == ["{}"]
    runner.close()
    del answers["b"]
    with pytest.raises(InputError, match="has no workers"):
        ClusterRunner(cluster.scheduler_address)
    answers["c"] = ImportError("no module named slipbench")
    with pytest.raises(InputError, match=r"cannot load slipbench \(no module named slipbench\)"):
        ClusterRunner(cluster.scheduler_address)


def test_a_scheduler_that_goes_away_is_one_line_and_what_is_stored_stays(small, candidates):
    plan = Plan(RandomRails(small, 4, seed=3), candidates, range(2))
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=":0"
    ) as own:
        runner = ClusterRunner(own.scheduler_address)
        with Store(IN_MEMORY) as store:
            with pytest.raises(InputError, match="has gone away") as problem:
                for task, outcome in runner.run(plan.tasks()):
                    store.add(task, outcome)
                    if len(store) == 3:
                        own.close()
            assert 3 <= len(store) < len(plan) and "\n" not in str(problem.value)
        runner.close()


def test_a_scheduler_that_is_not_there_is_one_line(monkeypatch):
    monkeypatch.setattr("slipbench.running.cluster.PATIENCE", 1.0)
    with pytest.raises(InputError, match=r"scheduler tcp://127\.0\.0\.1:9: cannot be reached"):
        ClusterRunner("tcp://127.0.0.1:9")


def test_without_the_extra_it_says_so(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "distributed", None)
    with pytest.raises(InputError, match=r"extra `cluster`"):
        ClusterRunner("tcp://127.0.0.1:9")

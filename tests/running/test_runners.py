import gc
import json
import os
import signal
import tracemalloc

import pytest

from slipbench.campaign import campaign
from slipbench.campaign.campaign import compare_machines, evaluate, run_campaign, run_missing
from slipbench.campaign.objectives import OBJECTIVES
from slipbench.campaign.plan import Plan
from slipbench.campaign.rails import RandomRails
from slipbench.campaign.rig import Rig
from slipbench.campaign.store import IN_MEMORY, Store
from slipbench.campaign.tuning.judge import Goal
from slipbench.campaign.tuning.rails import family_rails
from slipbench.campaign.tuning.tuning import tune
from slipbench.campaign.variation import parameter_space
from slipbench.ground.errors import InputError
from slipbench.running.runners import HereRunner, PoolRunner, make_runner
from slipbench.running.task import run_task


@pytest.fixture(scope="module")
def alone(small, candidates):
    """Summaries of a small plan, run in this process."""
    plan = Plan(RandomRails(small, 3, seed=3), candidates, range(2))
    return plan, {task.key: run_task(task).summary for task in plan.tasks()}


def summaries(store, plan):
    return {task.key: store.summary_text(task.key) for task in plan.tasks()}


def test_a_pool_gives_the_same_bits(alone):
    plan, expected = alone
    runner = PoolRunner(2)
    with Store(IN_MEMORY) as store:
        run_campaign(plan, store, runner, is_quiet=True)
        assert summaries(store, plan) == expected
        assert len(store.machines()) == 1
    runner.close()


def test_a_killed_worker_loses_nothing(alone):
    plan, expected = alone
    runner = PoolRunner(2)
    with Store(IN_MEMORY) as store:
        for i, (task, outcome) in enumerate(runner.run(plan.tasks())):
            store.add(task, outcome)
            if i == 2:
                os.kill(next(iter(runner._executor._processes)), signal.SIGKILL)
        assert summaries(store, plan) == expected
    runner.close()


def test_summaries_are_stored_as_they_are(alone):
    plan, expected = alone
    with Store(IN_MEMORY) as store:
        task = next(plan.tasks())
        found = evaluate([task, task], Rig(store, HereRunner()))
    assert found == [json.loads(expected[task.key])] * 2
    assert found[0]["is_stopped"] and found[0]["stopping_distance"] > 40.0


def test_a_failing_strategy_stops_the_campaign_and_keeps_the_rest(small, candidates, tmp_path):
    file = tmp_path / "bad.py"
    file.write_text(
        "from slipbench.contract import Controller, Parameter\n"
        "def update(observation, parameters, memory, command, signals):\n"
        "    command[:, 0] = parameters[0]\n"
        "CONTROLLER = Controller('bad', 'test', update, observes=(),\n"
        "    parameters=(Parameter('valve', 0.0, '-', 0.0, 9.0, 'test'),))\n",
        encoding="utf-8",
    )
    from slipbench.running.candidate import candidate_of
    from slipbench.strategies.registry import find_controller

    bad = candidate_of(find_controller(f"{file}:CONTROLLER"))
    plan = Plan([small], (candidates[1], bad.with_values({"valve": 7.0}, "seven")))
    with Store(IN_MEMORY) as store:
        with pytest.raises(InputError, match=r"strategy seven, seed 0: .*valve 7"):
            run_campaign(plan, store, HereRunner(), is_quiet=True)
        assert len(store) == 1


def test_a_worker_with_other_versions_is_refused(small, candidates, monkeypatch):
    plan = Plan([small], candidates)
    task = next(plan.tasks())
    monkeypatch.setattr("slipbench.running.task.versions_text", lambda: "{}")
    monkeypatch.setattr("slipbench.running.task.versions", dict)
    with pytest.raises(InputError, match=r"other versions than the campaign \(.*numba"):
        run_task(task)


def test_interrupt_tells_what_is_stored(plan, stub):
    class Interrupted(stub):
        def run(self, tasks):
            for i, result in enumerate(super().run(tasks)):
                if i == 5:
                    raise KeyboardInterrupt
                yield result

    with Store(IN_MEMORY) as store:
        with pytest.raises(KeyboardInterrupt, match="after 5 of 16 stops"):
            run_missing(plan.tasks(), len(plan), Rig(store, Interrupted()))
        assert len(store) == 5


def test_one_machine_type_needs_no_comparison(plan, stub):
    with Store(IN_MEMORY) as store:
        assert compare_machines(plan.tasks(), store, stub()) == []


def test_mixed_machine_types_are_compared(plan, stub):
    with Store(IN_MEMORY) as store:
        lines = compare_machines(plan.tasks(), store, stub(("one", "two"), error=1e-3))
    assert len(lines) == 1
    assert "two against one" in lines[0] and "1.0e-03 in 3 stops" in lines[0]


def test_machine_types_too_far_apart_are_refused(plan, stub):
    with (
        Store(IN_MEMORY) as store,
        pytest.raises(InputError, match="do not stand together"),
    ):
        compare_machines(plan.tasks(), store, stub(("one", "two"), error=0.05))


def test_whatever_runs_stops_compares_machine_types_first(plan, stub):
    tasks = list(plan.tasks())
    with Store(IN_MEMORY) as store:
        evaluate(tasks[:2], Rig(store, stub(("one", "two"), error=1e-3)))
        assert store.comparison is not None and "1.0e-03 in 2 stops" in store.comparison[0]
    runner = stub(("one", "two"), error=0.05)
    with Store(IN_MEMORY) as store:
        with pytest.raises(InputError, match="do not stand together"):
            evaluate(tasks, Rig(store, runner))
        assert len(store) == 0


def test_a_tuning_compares_machine_types_first(slip_band, small, stub):
    rails = family_rails([small], 1, 1)
    goal = Goal((OBJECTIVES["distance"],))
    space = parameter_space(slip_band.controller)
    with Store(IN_MEMORY) as store, pytest.raises(InputError, match="do not stand together"):
        tune(slip_band, space, goal, rails, 40, Rig(store, stub(("one", "two"), error=0.05)))


def test_machine_types_without_a_stop_in_common_are_said_to_be_not_compared(plan, stub):
    one, two = Plan(plan.scenarios[:1], plan.candidates), Plan(plan.scenarios[1:2], plan.candidates)
    with Store(IN_MEMORY) as store:
        run_campaign(one, store, stub(("one",)), is_quiet=True)
        store.comparison = None  # as in another process
        counts = run_campaign(two, store, stub(("two",)), is_quiet=True)
    assert counts.notes == ("mixed machine types, not compared with each other: one, two",)


def test_resuming_on_another_machine_type_compares_with_what_is_stored(plan, stub):
    with Store(IN_MEMORY) as store:
        run_campaign(plan, store, stub(("one",)), is_quiet=True)
        store.comparison = None  # as in another process
        counts = run_campaign(plan, store, stub(("two",)), is_quiet=True)
        assert counts.n_found == 16
        assert "two against one" in counts.notes[0] and "0.0e+00" in counts.notes[0]


def test_difference_of_an_overrun_and_a_stop_is_infinite():
    assert campaign.difference({"final_distance": 1.0}, {"final_distance": None}) == float("inf")


def test_memory_does_not_grow_with_the_number_of_stops(small, candidates, stub):
    class Weighing(stub):
        def run(self, tasks):
            yield from super().run(tasks)
            gc.collect()
            self.size = tracemalloc.get_traced_memory()[0]

    def held(n_rails):
        plan = Plan(RandomRails(small, n_rails, seed=1), candidates[:1])
        runner = Weighing()
        with Store(IN_MEMORY) as store:
            tracemalloc.start()
            run_missing(plan.tasks(), len(plan), Rig(store, runner))
            tracemalloc.stop()
        return runner.size

    held(20)  # caches fill
    # names and numbers of 100 scenarios at most are remembered, some 50 kB; one kept summary a stop
    # would be 400 kB more
    assert held(420) - held(120) < 1e5


def test_make_runner_is_this_process_for_one_worker():
    assert isinstance(make_runner(1), HereRunner)

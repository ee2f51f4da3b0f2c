import json
import math

import pytest

from slipbench.campaign.analysis import collect, overruns, verdict_on
from slipbench.campaign.campaign import run_campaign
from slipbench.campaign.objectives import OBJECTIVES
from slipbench.campaign.plan import Plan
from slipbench.campaign.rails import RandomRails
from slipbench.campaign.report import campaign_text, ranking_note
from slipbench.campaign.store import IN_MEMORY, Store
from slipbench.campaign.tuning.report import _tells
from slipbench.ground.errors import InputError
from slipbench.running.candidate import candidate_of
from slipbench.running.task import Outcome, make_task, run_task
from slipbench.statistics.intervals import Interval, Paired

DISTANCE = OBJECTIVES["distance"]


def shifted(stub, shifts, overrun_of=""):
    """Return a runner whose distance is the rail's, plus a shift a candidate, plus a little."""

    class Shifted(stub):
        def run_on(self, machine, task):
            outcome = super().run_on(machine, task)
            summary = json.loads(outcome.summary)
            rail = self.share_of(task.scenario.name)
            distance = 100.0 + 50.0 * rail + shifts[task.candidate.label] + summary["flat_risk"]
            is_over = task.candidate.label == overrun_of and task.scenario.name.endswith(".2")
            summary |= {"final_distance": distance, "is_stopped": not is_over}
            summary["stopping_distance"] = None if is_over else distance
            return Outcome(outcome.key, json.dumps(summary), outcome.machine, 0.0)

    return Shifted()


@pytest.fixture
def collected(small, candidates, stub):
    def make(shifts, overrun_of="", limit=math.inf):
        plan = Plan(RandomRails(small, 12, seed=4), candidates, range(2))
        with Store(IN_MEMORY) as store:
            run_campaign(plan, store, shifted(stub, shifts, overrun_of), is_quiet=True)
            return collect(store, [DISTANCE], limit)

    return make


def test_seeds_are_averaged_and_rails_pair(collected):
    found = collected({"slip_band": 0.0, "none": 10.0})
    assert found.n_seeds == 2 and len(found.rails) == 12
    verdict = verdict_on(found, DISTANCE, "slip_band")
    difference = verdict.against["none"]
    assert difference.n_pairs == 12  # rails, not stops
    # rails differ by up to 50 m, pairs by the 0 to 1 m that a stop has of its own
    assert difference.mean.low > 9.0 and difference.mean.high < 11.0
    assert verdict.ranking.ranks == {"none": (2, 2), "slip_band": (1, 1)}


def test_no_ranking_is_printed_without_support(collected):
    found = collected({"slip_band": 0.0, "none": 0.0})
    verdict = verdict_on(found, DISTANCE, "slip_band")
    text = campaign_text(found, [verdict], "slip_band")
    assert "No ranking" in text
    rows = [line for line in text.splitlines() if line.startswith("none ") and "/" in line]
    assert len(rows) == 1 and rows[0].endswith(" -")  # a dash where a rank would stand
    assert not verdict.ranking.is_supported


def test_too_few_rails_for_any_ranking_are_named(collected):
    found = collected({"slip_band": 0.0, "none": 10.0})
    verdict = verdict_on(found, DISTANCE, "slip_band")
    assert "told apart at 95 %" in ranking_note(verdict, 12)
    empty = verdict_on(collected({"slip_band": 0.0, "none": 0.0}), DISTANCE, "none")
    assert "5 rails are too few for it; at least 6" in ranking_note(empty, 5)


def test_an_overrun_is_counted_and_spoils_only_the_mean(collected):
    found = collected({"slip_band": 0.0, "none": -10.0}, overrun_of="none")
    verdict = verdict_on(found, DISTANCE, "slip_band")
    assert found.n_overruns == {"slip_band": 0, "none": 1}
    assert math.isinf(verdict.means["none"].estimate) or math.isnan(verdict.means["none"].estimate)
    assert verdict.against["none"].median.high < 0.0
    chance = overruns(found)["none"]
    assert chance.estimate == pytest.approx(1 / 12) and 0.0 < chance.low < chance.high < 0.4
    assert "overrun" in campaign_text(found, [verdict], "slip_band")


def test_objectives_read_a_real_summary(small, slip_band):
    summary = json.loads(run_task(make_task(small, candidate_of(slip_band), 0)).summary)
    found = {name: objective.of(summary) for name, objective in OBJECTIVES.items()}
    assert all(math.isfinite(value) for value in found.values())
    assert found["air"] == summary["air_vented_litres"] > 0.0
    assert found["vents"] == sum(summary["vents_by_axle"])
    assert found["flat-length"] == pytest.approx(1e3 * max(summary["flat_length_high"]))
    assert 0.0 <= found["flats"] <= 1.0
    overran = summary | {"is_stopped": False, "stopping_distance": None}
    assert math.isinf(OBJECTIVES["distance"].of(overran))


def test_a_limit_makes_long_stops_overruns(collected):
    found = collected({"slip_band": 0.0, "none": 100.0}, limit=160.0)
    assert found.n_overruns == {"none": 12, "slip_band": 0}


def test_rails_not_met_by_all_are_left_out(small, candidates, stub):
    runner = shifted(stub, {"slip_band": 0.0, "none": 1.0})
    rails = RandomRails(small, 6, seed=4)
    with Store(IN_MEMORY) as store:
        run_campaign(Plan(rails, candidates), store, runner, is_quiet=True)
        run_campaign(Plan(RandomRails(small, 8, 4), candidates[:1]), store, runner, is_quiet=True)
        found = collect(store, [DISTANCE])
    assert len(found.rails) == 6 and found.n_left_out == 2


def test_candidates_keep_the_order_asked_for(small, candidates, stub):
    runner = shifted(stub, {"slip_band": 0.0, "none": 1.0})
    with Store(IN_MEMORY) as store:
        run_campaign(Plan([small], candidates), store, runner, is_quiet=True)
        assert collect(store, [DISTANCE], candidates=["slip_band"]).candidates == ("slip_band",)
        found = collect(store, [DISTANCE], candidates=["slip_band", "none"])
        assert found.candidates == ("slip_band", "none")
        with pytest.raises(InputError, match="no such candidate"):
            verdict_on(found, DISTANCE, "x")
        with pytest.raises(InputError, match="no rail"):
            collect(store, [DISTANCE], candidates=["x"])


@pytest.mark.parametrize(
    ("mean", "median", "said"),
    [
        ((-3.0, -5.0, -1.0), (-2.0, -4.0, 0.5), "better"),
        # the mean's estimate is lower, but only the median's interval says anything
        ((-3.0, -20.0, 4.0), (2.0, 1.0, 5.0), "worse"),
        ((-3.0, -5.0, -1.0), (2.0, 1.0, 5.0), "mean and median disagree"),
        ((-3.0, -5.0, 1.0), (-2.0, -4.0, 0.5), "not told apart"),
        ((math.nan, math.nan, math.nan), (2.0, 1.0, 5.0), "worse"),
    ],
)
def test_a_verdict_is_what_intervals_say(mean, median, said):
    assert _tells(Paired(12, Interval(*mean), Interval(*median), 0, 0, 6.0)) == said

"""How probable it is to pass a marker: margins, both ways, the command."""

import numpy as np
import pytest

from slipbench.campaign.overrun import Question, agreement, find_overrun, past_marker
from slipbench.campaign.rig import Rig
from slipbench.campaign.store import IN_MEMORY, Store
from slipbench.campaign.verdict import Situations, strategy_side
from slipbench.ground.errors import InputError
from slipbench.running.runners import HereRunner
from slipbench.scenario import load_scenario
from slipbench.statistics.designs import Factor
from slipbench.stop.simulation import simulate
from slipbench.strategies.registry import find_controller

RAIL = load_scenario("wet_leaf").replace({"initial_speed": 5.0, "equipment.grade": "clean"})
SITUATIONS = Situations([RAIL], (Factor("film.friction", 0.5, 2.0, is_log=True),))
SIDE = strategy_side(find_controller("none"))


def test_a_margin_is_the_stop_and_the_way_before_it_less_the_marker():
    """At the middle of everything: friction as it is, half of the longest reaction."""
    question = Question(SITUATIONS, 100.0, (0.0, 2.0))
    assert question.n_dims == 3 and question.unordered == (1,)
    with Store(IN_MEMORY) as store:
        found = past_marker(question, SIDE, np.zeros((1, 3)), Rig(store, HereRunner()))
    stop = simulate(RAIL, "none", int(0.5 * 2**31), with_traces=False)
    assert found[0] == pytest.approx(stop.summary["stopping_distance"] + 5.0 - 100.0, rel=1e-12)


def test_counting_and_levels_find_the_same_where_both_reach():
    """A marker that the reaction alone decides about as often as a tenth of the time."""
    with Store(IN_MEMORY) as store:
        stopped = simulate(RAIL, "none", 0, with_traces=False).summary["stopping_distance"]
        question = Question(SITUATIONS, 1.35 * stopped + 10.0)
        own = find_overrun(
            question, SIDE, Rig(store, HereRunner()), n_plain=60, n_each=50, n_repeats=2
        )
    assert own.plain is not None and own.subset is not None
    assert 0.0 < own.plain.estimate < 0.4
    assert agreement(own).endswith("overlap.")
    assert own.n_stops >= 60 + 2 * 50


def test_a_marker_beyond_reach_is_never_passed_and_one_at_once_always():
    runner = HereRunner()
    with Store(IN_MEMORY) as store:
        far = find_overrun(Question(SITUATIONS, 1e6), SIDE, Rig(store, runner), n_plain=8)
        near = find_overrun(
            Question(SITUATIONS, 1e-3), SIDE, Rig(store, runner), n_each=50, n_repeats=2
        )
    assert far.plain is not None and near.subset is not None
    assert (far.plain.estimate, near.subset.estimate) == (0.0, 1.0)
    assert near.thresholds == ((0.0,), (0.0,))


def test_one_repeat_is_refused():
    with Store(IN_MEMORY) as store, pytest.raises(InputError, match="2 or more"):
        find_overrun(
            Question(SITUATIONS, 1.0), SIDE, Rig(store, HereRunner()), n_each=50, n_repeats=1
        )


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (["--marker", "700"], "--marker: '700': a unit is needed"),
        (["--marker", "0m"], "allowed: above 0 m"),
        (["--marker", "infm"], "--marker: 'infm': no number"),
        (["--marker", "700m", "--reaction", "2s:1s"], "lower one first"),
        (["--marker", "700m", "--reaction", "2s"], "write LOW:HIGH"),
        (["--marker", "700m", "--each", "55"], "a multiple of 10 from 50"),
        (["--marker", "700m", "--count", "0"], "nothing is asked"),
        (["--marker", "700m", "--each", "50", "--repeats", "1"], "allowed: 2 or more"),
        (["--marker", "700m", "--seeds", "2"], "give --count instead"),
    ],
)
def test_what_cannot_be_asked_is_one_line(words, part, capsys):
    from slipbench.commands.main import main

    assert main(["overrun", "wet_leaf", "--strategy", "none", *words]) == 2
    said = capsys.readouterr().err
    assert part in said and said.count("\n") == 1

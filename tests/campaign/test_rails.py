import numpy as np
import pytest

from slipbench.campaign.planning import Design, campaign_plan
from slipbench.campaign.rails import RandomRails, law_around, rail_seed
from slipbench.campaign.tuning.rails import family_rails
from slipbench.campaign.variation import FILM, scenario_at
from slipbench.ground.errors import InputError
from slipbench.packing import pack_cells
from slipbench.statistics.designs import Factor


def friction_of(scenario):
    return pack_cells(scenario)[1]["friction"]


def test_a_longer_series_begins_with_the_shorter(small):
    assert list(RandomRails(small, 5, 1))[:3] == list(RandomRails(small, 3, 1))


def test_a_piece_of_a_series_holds_the_same_rails(small):
    series = RandomRails(small, 6, 1)
    assert list(series[2:5]) == [series[2], series[3], series[4]]
    assert list(RandomRails(small, 2, 1, first=4)) == list(series[4:])


def test_rails_differ_and_seeds_are_spread(small):
    rails = RandomRails(small, 3, 1)
    assert len({friction_of(rail).tobytes() for rail in rails}) == 3
    assert len({rail_seed(s, i) for s in range(20) for i in range(20)}) == 400


def test_rails_carry_their_mark(small):
    assert RandomRails(small, 1)[0].provenance["rail.random.seed"].mark == "assumed"


def test_law_around_scales_median_and_clips():
    law = law_around(0.1)
    assert (law.median_friction, law.lowest_friction, law.highest_friction) == (
        0.1,
        pytest.approx(0.016),
        pytest.approx(0.3),
    )


@pytest.mark.parametrize("name", FILM)
def test_every_film_factor_acts_at_both_ends(small, name):
    film = FILM[name]
    low, high = (
        scenario_at(small, (Factor(name, film.low, film.high),), [value])
        for value in (film.low, film.high)
    )
    assert low.rail != high.rail


def test_film_friction_scales_random_rails(small):
    rail = RandomRails(small, 1)[0]
    factor = (Factor("film.friction", 0.5, 2.0),)
    halved = friction_of(scenario_at(rail, factor, [0.5]))
    assert halved == pytest.approx(0.5 * friction_of(rail), rel=1e-12)


@pytest.mark.parametrize("name", ["film.colour", "rail.colour"])
def test_unknown_assumption_is_refused(small, name):
    with pytest.raises(InputError, match="colour"):
        scenario_at(small, (Factor(name, 0.0, 1.0),), [0.5])


def test_training_and_held_out_rails_differ(small):
    rails = family_rails([small, small.replace(name="other")], 3, 4, seed=2)
    names = [s.name for s in (*rails.training, *rails.held_out)]
    assert len(rails.training) == 6 and len(rails.held_out) == 8
    assert len(set(names)) == 14
    assert [s.name.split(".")[0] for s in rails.training[:2]] == ["small", "other"]


def test_plan_pairs_every_candidate_with_every_rail(small, slip_band):
    space = (Factor("fill_slip", 0.05, 0.1), Factor("film.friction", 0.5, 2.0))
    plan = campaign_plan([small], [slip_band], Design(space, "latin", 3), n_random=2, n_seeds=2)
    tasks = list(plan.tasks())
    assert len(tasks) == len(plan) == (3 * 2) * 2 * (1 + 3)
    met = {(t.scenario.name, t.seed) for t in tasks}
    for candidate in plan.candidates:
        own = {(t.scenario.name, t.seed) for t in tasks if t.candidate == candidate}
        assert own == met
    assert len({task.key for task in tasks}) == len(tasks)


def test_plan_refuses_what_cannot_pair(small, slip_band):
    with pytest.raises(InputError, match="no strategy of the campaign has them all"):
        campaign_plan([small], [slip_band], Design((Factor("colour", 0.0, 1.0),)))
    with pytest.raises(InputError, match="give each once"):
        campaign_plan([small], [slip_band, slip_band])


def test_pack_of_a_rail_is_the_same_in_a_longer_stop(small):
    rail = RandomRails(small, 1)[0]
    longer = rail.replace({"run.maximum_distance": 900.0})
    short = friction_of(rail)
    assert np.array_equal(friction_of(longer)[: len(short)], short)

import math

import numpy as np
import pytest
from scipy import stats

from slipbench.ground.errors import InputError
from slipbench.guidance.spread import MEANINGS, Spread, draws, nominal, read_spread, situation
from slipbench.scenario import Driver, HandleEntry, load_scenario


def test_reaction_times_are_log_normal_with_the_mean_and_scatter_said():
    """Against scipy's log-normal with mean 1.25 s and standard deviation 0.46 s."""
    sigma = math.sqrt(math.log(1 + (0.46 / 1.25) ** 2))
    law = stats.lognorm(sigma, scale=1.25 / math.sqrt(1 + (0.46 / 1.25) ** 2))
    assert law.mean() == pytest.approx(1.25)
    assert law.std() == pytest.approx(0.46)
    shares = np.array([0.05, 0.5, 0.95])
    assert Spread().reaction_at(shares) == pytest.approx(law.ppf(shares))
    assert Spread().median_reaction == pytest.approx(law.median())


def test_draws_cover_each_circumstance_evenly():
    found = draws(Spread(), 1024, seed=3)
    waits = np.array([draw.reaction for draw in found])
    assert waits.mean() == pytest.approx(1.25, rel=0.01)
    assert waits.std() == pytest.approx(0.46, rel=0.05)
    logs = np.log([draw.friction for draw in found])
    assert logs.mean() == pytest.approx(0.0, abs=0.005)
    assert logs.std() == pytest.approx(0.2, rel=0.05)
    assert np.mean([draw.wear for draw in found]) == pytest.approx(1.0, rel=0.01)
    assert len({draw.seed for draw in found}) == len(found)


def test_a_longer_series_begins_with_the_shorter_and_another_seed_shares_nothing():
    assert draws(Spread(), 64, seed=1)[:16] == draws(Spread(), 16, seed=1)
    assert not set(draws(Spread(), 64, seed=1)) & set(draws(Spread(), 64, seed=2))


def test_a_situation_has_what_was_drawn():
    base = load_scenario("autumn_guide")
    draw = draws(Spread(), 8)[3]
    made = situation(base, draw)
    before, after = base.rail.sections[0], made.rail.sections[0]
    assert after.friction == pytest.approx(before.friction * draw.friction)
    gain = (before.recovered_friction - before.friction) * draw.recovery
    raised = before.friction * draw.friction + (before.recovered_friction - before.friction)
    assert after.recovered_friction == pytest.approx(
        max(after.friction, min(0.9, after.friction + gain)), rel=0.2
    )
    assert after.recovered_friction < raised + before.recovered_friction
    assert made.driver.programme[0].at_time == draw.reaction
    assert made.equipment.condition.jitter != base.equipment.condition.jitter


def test_the_designed_stop_has_clean_equipment_and_the_untouched_film():
    base = load_scenario("autumn_guide")
    made = situation(base, nominal(Spread()))
    assert made.rail == base.rail
    assert (
        made.equipment.condition == base.replace({"equipment.grade": "clean"}).equipment.condition
    )


def test_the_whole_programme_waits_for_the_driver():
    base = load_scenario("dry")
    entries = (
        HandleEntry(at_time=0.0, position=1),
        HandleEntry(after=2.0, position=2),
        HandleEntry(at_time=5.0, position=3),
        HandleEntry(at_speed=3.0, position=1),
    )
    made = situation(base.replace({"driver": Driver(programme=entries)}), nominal(Spread()))
    wait = Spread().median_reaction
    assert [entry.at_time for entry in made.driver.programme] == [wait, None, 5.0 + wait, None]
    assert made.driver.programme[1].after == 2.0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("friction", "write KEY=VALUE"),
        ("frition=0.3", "friction"),
        ("reaction=2", "a unit is needed"),
        ("wear=3", "allowed: 0 to 2"),
        ("friction=-1", "allowed: 0 to 1"),
        ("reaction=fast", "no number"),
    ],
)
def test_a_broken_spread_is_one_line(text, said):
    with pytest.raises(InputError) as problem:
        read_spread([text])
    assert said in str(problem.value)
    assert "\n" not in str(problem.value)


def test_every_value_of_the_spread_is_explained_and_can_be_set():
    assert set(MEANINGS) == set(Spread.__dataclass_fields__)
    found = read_spread(["friction=0.1", "reaction=1500 ms", "wear=1"])
    assert (found.friction, found.reaction, found.wear) == (0.1, 1.5, 1.0)

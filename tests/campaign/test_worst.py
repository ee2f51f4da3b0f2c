import json

import pytest

from slipbench.campaign.rig import Rig
from slipbench.campaign.store import IN_MEMORY, Store
from slipbench.campaign.worst import Bounds, worst_rail
from slipbench.ground.errors import InputError
from slipbench.running.runners import HereRunner
from slipbench.running.task import Outcome
from slipbench.scenario import load_scenario
from slipbench.stop.shortest import shortest_possible
from slipbench.stop.simulation import simulate

BOUNDS = Bounds(n_patches=2, friction_low=0.02, friction_high=0.1, length_low=5.0, length_high=60.0)


@pytest.fixture(scope="module")
def found(small, slip_band):
    with Store(IN_MEMORY) as store:
        return worst_rail(small, slip_band, 24, Rig(store, HereRunner()), bounds=BOUNDS)


def test_worst_rail_is_worse_than_where_it_began(found):
    assert found.harm > found.harm_before > 1.0
    assert found.n_rails <= 24


def test_worst_rail_stays_in_its_bounds(found):
    sections = found.scenario.rail.sections
    assert len(sections) == 2
    assert all(0.02 <= film.friction <= 0.1 for film in sections)
    assert 5.0 <= sections[1].from_distance <= 60.0
    assert 7.5e3 <= sections[0].cleaning_work <= 30e3


def test_its_file_states_its_bounds(found):
    assert f"# Bounds: {found.bounds.written()}." in found.file()


def test_its_file_gives_the_same_stop(found, slip_band, tmp_path):
    path = tmp_path / "worst.toml"
    path.write_text(found.file(), encoding="utf-8")
    scenario = load_scenario(path)
    assert scenario == found.scenario
    stop = simulate(scenario, slip_band.controller, with_traces=False)
    harm = stop.summary["final_distance"] / shortest_possible(scenario)
    assert harm == pytest.approx(found.harm, rel=1e-12)
    origin = scenario.provenance["rail.sections.1.friction"]
    assert origin.mark == "derived" and "assumed bounds" in origin.source
    assert scenario.provenance["rail.sections.1.friction_ratio"].mark == "assumed"


WORST = 0.05
"""Friction of the second patch that hurts most in `trap`; the first hurts where it is greatest."""


@pytest.fixture
def trap(stub):
    """A rail hurts by the friction of its first patch, and of its second the nearer to `WORST`."""

    class Trap(stub):
        def run_on(self, machine, task):
            outcome = super().run_on(machine, task)
            films = [film.friction for film in task.scenario.rail.sections]
            harm = 1.0 + films[0] - 20.0 * abs(films[-1] - WORST)
            summary = json.loads(outcome.summary)
            summary |= {"final_distance": harm, "longest_lock": harm, "flat_risk": harm}
            return Outcome(outcome.key, json.dumps(summary), outcome.machine, 0.0)

    return Trap


@pytest.mark.parametrize("harm", ["distance", "lock", "flats"])
def test_the_search_finds_what_hurts_most(small, slip_band, trap, harm):
    with Store(IN_MEMORY) as store:
        found = worst_rail(small, slip_band, 300, Rig(store, trap()), bounds=BOUNDS, harm=harm)
    first, second = (film.friction for film in found.scenario.rail.sections)
    # random points of the box are further off: of 300, some tenth of a range in each
    assert first == pytest.approx(BOUNDS.friction_high, abs=0.008)
    assert second == pytest.approx(WORST, abs=0.001)
    assert found.harm == pytest.approx(1.0 + first - 20.0 * abs(second - WORST), rel=1e-12)


@pytest.mark.parametrize("budget", [13, 14, 25, 40, 100])
def test_no_more_rails_are_tried_than_allowed(small, slip_band, stub, budget):
    with Store(IN_MEMORY) as store:
        found = worst_rail(
            small, slip_band, budget, Rig(store, stub()), bounds=BOUNDS, harm="distance"
        )
    assert budget / 2 < found.n_rails <= budget


def test_what_goes_wrong_in_a_stop_is_said_as_it_is(small, slip_band, stub):
    class Failing(stub):
        def run_on(self, machine, task):
            if "~worst" in task.scenario.name:
                raise InputError("the strategy failed")
            return super().run_on(machine, task)

    with Store(IN_MEMORY) as store, pytest.raises(InputError, match=r"^the strategy failed$"):
        worst_rail(small, slip_band, 40, Rig(store, Failing()), harm="distance")


@pytest.mark.parametrize(
    ("bounds", "message"),
    [
        (Bounds(n_patches=0), "0 patches; allowed: 1 to 100"),
        (Bounds(n_patches=101), "101 patches"),
        (Bounds(friction_high=1.5), r"friction 0\.008 to 1\.5; allowed: 0\.002 to 0\.9"),
        (Bounds(friction_low=0.2), "lower one first"),
        (Bounds(length_low=0.5), "patches of 0.5 to 1000 m; allowed: 1 to 10000 m"),
        (Bounds(length_high=1e6), "allowed: 1 to 10000 m"),
    ],
)
def test_bounds_that_cannot_be_are_refused(small, slip_band, stub, bounds, message):
    with Store(IN_MEMORY) as store, pytest.raises(InputError, match=message):
        worst_rail(small, slip_band, 40, Rig(store, stub()), bounds=bounds, harm="distance")


def test_what_cannot_be_searched_is_refused(small, slip_band, stub):
    with Store(IN_MEMORY) as store:
        with pytest.raises(InputError, match="allowed: at least 13"):
            worst_rail(small, slip_band, 12, Rig(store, stub()))
        with pytest.raises(InputError, match="harm 'noise'"):
            worst_rail(small, slip_band, 40, Rig(store, stub()), harm="noise")

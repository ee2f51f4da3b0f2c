import pytest

from bench.campaign.running import HereRunner
from bench.campaign.store import IN_MEMORY, Store
from bench.campaign.worst import Bounds, worst_rail
from bench.errors import InputError
from bench.scenario import load_scenario
from bench.shortest import shortest_possible
from bench.simulation import simulate

BOUNDS = Bounds(n_patches=2, friction_low=0.02, friction_high=0.1, length_low=5.0, length_high=60.0)


@pytest.fixture(scope="module")
def found(small, slip_band):
    with Store(IN_MEMORY) as store:
        return worst_rail(small, slip_band, 24, store, HereRunner(), bounds=BOUNDS)


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


@pytest.mark.parametrize("harm", ["distance", "lock", "flats"])
def test_other_harms(small, slip_band, stub, harm):
    with Store(IN_MEMORY) as store:
        found = worst_rail(small, slip_band, 40, store, stub(), bounds=BOUNDS, harm=harm)
    assert found.harm >= found.harm_before


def test_what_cannot_be_searched_is_refused(small, slip_band, stub):
    with Store(IN_MEMORY) as store:
        with pytest.raises(InputError, match="allowed: at least"):
            worst_rail(small, slip_band, 3, store, stub())
        with pytest.raises(InputError, match="harm 'noise'"):
            worst_rail(small, slip_band, 40, store, stub(), harm="noise")
        with pytest.raises(InputError, match="0 patches"):
            worst_rail(small, slip_band, 40, store, stub(), bounds=Bounds(n_patches=0))

import json

import pytest

from slipbench.campaign.objectives import OBJECTIVES
from slipbench.campaign.report import sensitivity_text
from slipbench.campaign.rig import Rig
from slipbench.campaign.sensitivity import Study, analyse, n_points
from slipbench.campaign.store import IN_MEMORY, Store
from slipbench.campaign.variation import default_space
from slipbench.ground.errors import InputError
from slipbench.running.runners import HereRunner
from slipbench.running.task import Outcome
from slipbench.statistics.designs import Factor

SPACE = (
    Factor("fill_slip", 0.1, 0.2),
    Factor("film.friction", 0.5, 1.0),
    Factor("brake.build_up_time", 1.0, 2.0),
)


@pytest.fixture
def plane(stub):
    """A runner whose distance is a plane over the three factors of `SPACE`."""

    class Plane(stub):
        def run_on(self, machine, task):
            outcome = super().run_on(machine, task)
            fill = task.candidate.parameters()["fill_slip"]
            friction = task.scenario.rail.sections[0].friction / 0.03
            delay = task.scenario.brake.build_up_time
            # over the unit cube each slope is the factor's range: 0.1, 0.5, 1 times 10, 4, -0.5
            distance = 10.0 * fill + 4.0 * friction - 0.5 * delay
            summary = json.loads(outcome.summary)
            summary |= {"stopping_distance": distance, "final_distance": distance}
            return Outcome(outcome.key, json.dumps(summary), outcome.machine, 0.0)

    return Plane


@pytest.fixture
def study(slip_band, small):
    return Study(slip_band, [small], SPACE, (OBJECTIVES["distance"],), range(1))


def test_effects_reach_parameters_film_and_scenario(study, plane):
    runner = plane()
    with Store(IN_MEMORY) as store:
        found = analyse(study, "effects", 3, Rig(store, runner))
    assert found.effects["distance"].mean == pytest.approx([1.0, 2.0, -0.5], abs=1e-9)
    assert found.n_stops == n_points("effects", SPACE, 3) == 12
    assert runner.n_run <= 12


def test_indices_of_a_plane_are_its_squared_slopes(study, plane):
    with Store(IN_MEMORY) as store:
        found = analyse(study, "indices", 128, Rig(store, plane()))
    shares = [1.0 / 5.25, 4.0 / 5.25, 0.25 / 5.25]
    # a Sobol sequence of 128 points does at least as well as random ones: 1 / sqrt(128)
    assert found.indices["distance"].first == pytest.approx(shares, abs=0.09)
    assert found.indices["distance"].total == pytest.approx(shares, abs=0.09)
    assert "film.friction" in sensitivity_text(found).splitlines()[3]  # the largest first


def test_a_broken_off_study_resumes(study, plane, tmp_path):
    path = tmp_path / "s.sqlite"
    with Store(path) as store:
        analyse(study, "effects", 2, Rig(store, plane()))
    runner = plane()
    with Store(path) as store:
        analyse(study, "effects", 2, Rig(store, runner))
    assert runner.n_run == 0


def test_a_changed_base_is_refused(study, plane, tmp_path, small, slip_band):
    path = tmp_path / "s.sqlite"
    with Store(path) as store:
        analyse(study, "effects", 1, Rig(store, plane()))
    other = Study(slip_band, [small.replace(initial_speed=9.0)], SPACE, study.objectives, range(1))
    with Store(path) as store, pytest.raises(InputError, match="base 'small' has changed"):
        analyse(other, "effects", 1, Rig(store, plane()))


def test_friction_matters_in_real_stops(slip_band, small):
    space = (Factor("film.friction", 0.5, 2.0, is_log=True), Factor("fill_slip", 0.05, 0.2))
    study = Study(slip_band, [small], space, (OBJECTIVES["distance"],), range(1))
    with Store(IN_MEMORY) as store:
        found = analyse(study, "effects", 2, Rig(store, HereRunner()))
    effects = found.effects["distance"]
    assert effects.mean[0] < -10.0  # more friction, shorter: tens of metres of about 90
    assert effects.size[0] > 3.0 * effects.size[1]


def test_default_space_has_parameters_and_assumptions(slip_band):
    names = [factor.name for factor in default_space(slip_band.controller)]
    assert names[0] == "fill_slip" and "film.cleaning_work" in names
    assert "film.friction" not in [f.name for f in default_space(slip_band.controller, False)]


@pytest.mark.parametrize("low", [0.0, -1.0])
def test_a_film_is_not_multiplied_by_nothing(study, plane, low):
    space = (Factor("film.friction", low, low),)
    own = Study(study.known, study.scenarios, space, study.objectives, study.seeds)
    with Store(IN_MEMORY) as store, pytest.raises(InputError, match=r"film\.friction = .* above 0"):
        analyse(own, "effects", 1, Rig(store, plane()))

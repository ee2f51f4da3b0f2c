"""When a tuned setting is worth adopting: by its held-out rails alone."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from tests.support_stops import RANDOM_COMMANDS

from slipbench.campaign.objectives import find_objectives
from slipbench.campaign.tuning.flags import flags, flags_text
from slipbench.campaign.tuning.judge import Goal
from slipbench.campaign.tuning.starts import NEUTRAL, at_start, read_starts
from slipbench.campaign.tuning.tuning_all import (
    DRY_ALLOWED,
    best_run,
    dry_extension,
    objections,
    tunable,
)
from slipbench.campaign.variation import parameter_space
from slipbench.controllers import by_name
from slipbench.ground.errors import InputError
from slipbench.statistics.intervals import paired
from slipbench.strategies.effort import is_set_by_hand, outcome
from slipbench.strategies.registry import find_controller, known_controllers

NONE = np.zeros(8)
MUCH = np.arange(8.0) + 5.0


def tuned(overruns: int = 0, family: dict[str, np.ndarray] | None = None, **changes: np.ndarray):  # type: ignore[no-untyped-def]
    """Return a tuning whose held-out numbers change by this from the defaults' it began from."""
    base = {"distance": np.full(8, 500.0), "flats": np.full(8, 0.2), "lock": np.full(8, 30.0)}
    pairs = {name: paired(base[name], base[name] + changes.get(name, NONE)) for name in base}
    own = family or {}
    other = {name: paired(base[name], base[name] + own.get(name, NONE)) for name in base}
    by_family = {"leaf": other, "rust": pairs}
    held = SimpleNamespace(
        differences=pairs,
        from_shipped=pairs,
        by_family=by_family,
        shipped_by_family=by_family,
        default=SimpleNamespace(n_overruns=1),
        tuned=SimpleNamespace(n_overruns=1 + overruns),
        shipped=SimpleNamespace(n_overruns=1),
    )
    return SimpleNamespace(held_out=held, is_from_shipped=True)


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"distance": -MUCH}, []),
        ({"distance": -MUCH, "flats": -MUCH}, []),
        ({}, ["not told shorter"]),
        (
            {"distance": MUCH},
            ["not told shorter", "distance worse", "distance worse on rust"],
        ),
        ({"distance": MUCH * np.array([-1, 1] * 4)}, ["not told shorter"]),
        ({"distance": -MUCH, "flats": 0.01 * MUCH}, ["flats worse", "flats worse on rust"]),
        ({"distance": -MUCH, "lock": MUCH}, ["lock worse", "lock worse on rust"]),
        ({"distance": -MUCH, "overruns": 1}, ["overruns worse"]),
    ],
)
def test_what_speaks_against_a_setting(changes, expected) -> None:  # type: ignore[no-untyped-def]
    assert objections(tuned(**changes), on_dry=1.0) == expected


def test_a_mean_does_not_hide_a_family_that_loses() -> None:
    """Shorter over all rails, longer on every one of a family's: flagged, whatever the interval."""
    mixed = tuned(distance=-MUCH, family={"distance": np.array([0.1] * 7 + [99.0])})
    assert objections(mixed, on_dry=1.0) == ["distance worse on leaf"]
    text = flags_text(mixed)
    assert text.startswith("FLAGGED") and "worse on 8 of 8 rails" in text
    fine = tuned(distance=-MUCH, family={"distance": -MUCH})
    assert flags(fine) == () and "No rail family is told worse" in flags_text(fine)


def test_a_setting_at_work_on_dry_rail_is_not_adopted() -> None:
    assert objections(tuned(distance=-MUCH), on_dry=1.003) == ["0.3 % longer on dry rail"]
    assert objections(tuned(distance=-MUCH), on_dry=math.nan) != []


def test_dry_extension_is_that_of_the_stops() -> None:
    """No shipped strategy acts on dry rail at any setting known; valves at random do."""
    restless = RANDOM_COMMANDS.with_parameters(change_chance=0.5, fill_share=0.8, vent_share=0.1)
    known = find_controller("deep_slip")
    assert dry_extension(known) == pytest.approx(1.0, abs=2e-3)
    assert dry_extension(replace(known, controller=restless), n_seeds=1) > DRY_ALLOWED


def test_every_strategy_with_own_parameters_is_tuned_but_those_with_truth() -> None:
    names = {known.controller.name for known in tunable(list(known_controllers().values()))}
    everyone = set(known_controllers())
    assert names == everyone - {"none", "peak_follower"}


def test_facts_of_the_vehicle_are_not_tuned() -> None:
    names = {factor.name for factor in parameter_space(by_name("train_coordinated"))}
    assert "grip_slip" in names
    assert not names & {"factor_limit", "full_pressure", "brake_gain", "axle_mass", "fill_delay"}
    asked = parameter_space(by_name("train_coordinated"), ["brake_gain"])
    assert [factor.name for factor in asked] == ["brake_gain"]


def test_every_strategy_that_is_tuned_has_a_start_of_its_own() -> None:
    strategies = tunable([k for k in known_controllers().values() if k.is_shipped])
    starts = read_starts()
    assert set(starts) == {known.controller.name for known in strategies}
    for known in strategies:
        at, said = at_start(known, starts[known.controller.name])
        assert said.startswith(starts[known.controller.name].text)
        assert (at.controller.parameter_values != known.controller.parameter_values).any()


def test_a_start_leaves_the_defaults_out_of_it() -> None:
    """What the literature does not give is the middle of its bounds."""
    known = next(k for k in known_controllers().values() if k.controller.name == "slip_band")
    at, _ = at_start(known, NEUTRAL._replace(text="fill_slip=0.065"))
    names = [p.name for p in at.controller.parameters]
    values = dict(zip(names, at.controller.parameter_values.tolist(), strict=True))
    vent = next(p for p in at.controller.parameters if p.name == "vent_slip")
    assert values["fill_slip"] == 0.065
    assert values["vent_slip"] == pytest.approx(0.5 * (vent.low + vent.high))


@pytest.mark.parametrize(
    "text",
    ["slip_band = 3", "[a]\nstart = 'midpoints'", "[a]\nstart = 3\nmark = 'x'\nsource = 'y'"],
)
def test_a_file_of_starts_that_does_not_fit_is_one_line(tmp_path, text) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "starts.toml"
    path.write_text(text)
    with pytest.raises(InputError) as problem:
        read_starts(path)
    assert "\n" not in str(problem.value)


def made_run(*scores: float, goal: Goal) -> SimpleNamespace:
    return SimpleNamespace(
        goal=goal,
        default=SimpleNamespace(scores=(100.0, 0.1)),
        chosen=SimpleNamespace(scores=scores),
    )


def test_the_best_run_is_that_of_the_training_rails() -> None:
    plain = Goal(find_objectives("distance,flats"))
    assert best_run([made_run(90.0, 0.1, goal=plain), made_run(95.0, 0.05, goal=plain)]) == 1
    weighed = Goal(find_objectives("distance,flats"), weights=(1.0, 10.0))
    assert best_run([made_run(90.0, 0.1, goal=weighed), made_run(95.0, 0.05, goal=weighed)]) == 0


def test_defaults_that_are_no_outcome_are_set_by_hand() -> None:
    known = known_controllers()
    given = outcome()
    for name, own in known.items():
        tuned_here = own.is_shipped and name in {k.controller.name for k in tunable([own])}
        assert is_set_by_hand(own) <= tuned_here
        if tuned_here and name not in given:
            assert is_set_by_hand(own)
